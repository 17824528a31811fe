"""What holds a light's exit: the housing by its shape, size and modifiers, and the head behind it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..appearance import Appearance, Look
from ..stage import Fixture
from .solid import Solid

HEAD_RADIUS_M, HEAD_LENGTH_M = 0.055, 0.2
"""Size of a head behind its modifier, metres (common practice, no source)."""

WIDEST_BOWL_M = 0.35


def look_of(fixture: Fixture, appearance: Appearance | None) -> Look:
    """What a light's housing looks like: as what shapes it says, else by its shape and size."""
    if fixture.shape == "sphere":
        return "bulb"
    if fixture.shape == "tube":
        return "rod"
    if appearance is not None and appearance.look is not None:
        return appearance.look
    if fixture.shape == "spot":
        return "barrel"
    if fixture.shape in ("rectangle", "octagon"):
        return "box" if fixture.body_depth_m >= 0.1 else "panel"
    if fixture.hole_m:
        return "ring"
    if fixture.optics.back_share:
        return "umbrella"
    width = float(fixture.size_m[0])
    if fixture.body_depth_m > 2 * width:
        return "snoot"
    return "bowl" if width <= WIDEST_BOWL_M else "dish"


def rear_m(fixture: Fixture, look: Look) -> float:
    """How far behind the front a stand holds a light, metres along its axis."""
    if look in ("bulb", "rod"):
        return float(fixture.size_m[1]) / 2
    if look == "umbrella":
        return -0.3 * float(fixture.size_m[0]) if not fixture.optics.back_share else 0.4 * float(fixture.size_m[0])
    if look == "barrel":
        return 0.6 * fixture.body_depth_m
    return fixture.body_depth_m + (0.02 if look in ("panel", "ring") else HEAD_LENGTH_M * 0.5)


def solids_of(fixture: Fixture, look: Look) -> tuple[Solid, ...]:
    """The bodies of a light in the world: what shapes it, and the head; none for a window."""
    if look == "window":
        return ()
    half, depth = fixture.size_m / 2, fixture.body_depth_m
    wide = float(half.max())
    if look == "box":
        depth = max(depth, 0.1)
        narrow = np.minimum(half, 0.08)
        return (
            _body(fixture, [(0, half), (min(0.04, depth / 4), half), (depth, narrow)], fixture.shape == "rectangle"),
            _head(fixture, depth),
        )
    if look in ("bowl", "dish"):
        depth = max(depth, 0.05 if look == "bowl" else 0.1)
        rear, bend = min(HEAD_RADIUS_M, wide), 2.0 if look == "bowl" else 2.2
        line = [(depth * s, _round(rear + (wide - rear) * (1 - s**bend))) for s in (0.0, 0.25, 0.5, 0.75, 1.0)]
        return _body(fixture, line), _head(fixture, depth)
    if look == "snoot":
        length, rear = max(depth, 0.1), max(0.065, wide)
        line = [(0, half), (0.8 * length, _round(rear)), (length, _round(rear))]
        return _body(fixture, line), _head(fixture, length)
    if look == "umbrella":
        return _umbrella(fixture, wide, depth or 0.32 * wide)
    if look == "barrel":
        depth, thick = max(depth, 0.15), max(wide + 0.03, 0.075)
        line = [(0, _round(wide + 0.012)), (0.4 * depth, _round(wide + 0.012)), (0.45 * depth, _round(thick))]
        return (_body(fixture, [*line, (depth, _round(thick))]),)
    if look == "rod":
        ends = half + np.array([0.03, 0.0])
        return (_body(fixture, [(-half[1], ends), (half[1], ends)], True),)
    if look == "bulb":
        rise = np.linspace(-1, 1, 9)
        return (_body(fixture, [(wide * s, _round(wide * max(1 - s * s, 0.0) ** 0.5)) for s in rise]),)
    rim = half + 0.015
    body = _body(fixture, [(0, rim), (max(depth, 0.03), rim)], fixture.shape == "rectangle")
    if look == "ring":
        body = Solid(body.origin_m, body.axes, body.depths_m, body.halves_m, False, fixture.hole_m / 2 or wide / 2)
    return (body,)


def _round(radius: float) -> np.ndarray:
    return np.array([radius, radius])


def _body(fixture: Fixture, line: Sequence[tuple[float, np.ndarray]], square: bool = False) -> Solid:
    axes = np.stack([fixture.right, fixture.up, -fixture.forward], axis=1)
    depths = np.array([float(depth) for depth, _ in line])
    return Solid(fixture.centre_m, axes, depths, np.array([half for _, half in line], float), square)


def _head(fixture: Fixture, depth: float) -> Solid:
    return _body(fixture, [(depth, _round(HEAD_RADIUS_M)), (depth + HEAD_LENGTH_M, _round(0.8 * HEAD_RADIUS_M))])


def _umbrella(fixture: Fixture, wide: float, depth: float) -> tuple[Solid, ...]:
    """The cap, open toward the head, which stands in front of a reflecting umbrella and behind one shot through."""
    if fixture.optics.back_share:
        cap = _body(fixture, [(-depth, _round(0.02)), (-0.4 * depth, _round(0.75 * wide)), (0, _round(wide))])
        return cap, _head(fixture, 0.8 * wide)
    cap = _body(fixture, [(0, _round(wide)), (0.4 * depth, _round(0.75 * wide)), (depth, _round(0.02))])
    return cap, _head(fixture, -0.6 * wide - HEAD_LENGTH_M)
