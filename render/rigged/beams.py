"""Beams as translucent bodies: from a light's front to what it is aimed at, as wide as it lies there."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from scenes.beams import WIDEST_DEG, spread
from scenes.stage import Fixture, Light, Stage

from .parts import SetPart
from .reach import first_surface
from .shapes import solid

if TYPE_CHECKING:
    import trimesh

SHORT_BEAM_M = 0.55
"""Length to which a wide beam is drawn, metres: beyond, it is everywhere."""

WIDE_BEAM_DEG = 48.0
"""Full angle above which a beam is drawn short."""

LONGEST_BEAM_M = 6.0
_AROUND, _ALONG = 64, 12
_ABOVE_FLOOR_M = 0.004


def beam_half_widths(fixture: Fixture, distance_m: float) -> tuple[float, float]:
    """Half of the width and height (m) of a beam at a distance, out to half of its peak; to 80 degrees where wider."""
    widest = distance_m * math.tan(math.radians(WIDEST_DEG))
    across, up = (widest if w is None else w / 2 for w in spread(fixture, distance_m).beam_m)
    return across, up


def beam_part(light: Light, stage: Stage, tint_rgb: tuple[float, float, float]) -> SetPart | None:
    """The beam of a light; None for one that is off or shines all around.

    A beam is drawn to the first surface on its axis, a wide one only as far as it still says a direction. Its rays stop
    at the floor and at the background.
    """
    fixture = light.fixture
    if fixture is None or not light.on or fixture.shape in ("sphere", "tube"):
        return None
    reach = first_surface(stage, fixture.centre_m + 0.01 * fixture.forward, fixture.forward) or LONGEST_BEAM_M
    reach = min(max(reach, 0.1), LONGEST_BEAM_M)
    across, up = beam_half_widths(fixture, reach)
    wide = 2 * math.degrees(math.atan2(max(across, up), reach)) > WIDE_BEAM_DEG
    length = min(reach, SHORT_BEAM_M) if wide else reach
    start, end = _rims(fixture, length, length / reach * across, length / reach * up)
    end = start + _shares(start, end, stage)[:, None] * (end - start)
    mesh, along = _skin(start, end)
    fade = (1 - along) ** 1.2 if wide else 1 - 0.85 * along
    return SetPart(
        f"light.{light.name}.beam", "beam", light.name, mesh, tint_rgb, alpha=0.5, fade=fade, glows=True, two_sided=True
    )


def _rims(fixture: Fixture, length: float, across: float, up: float) -> tuple[np.ndarray, np.ndarray]:
    """Rims of the beam at the front and at its end, (n, 3) each, point by point along the same rays."""
    turn = np.linspace(0, 2 * math.pi, _AROUND, endpoint=False)
    ring = np.column_stack([np.cos(turn), np.sin(turn)])
    half = fixture.size_m / 2
    front = ring * half
    if fixture.shape == "rectangle":
        front = ring / np.abs(ring).max(axis=1, keepdims=True) * half
    ends = ring * np.maximum([across, up], 0.02)
    base = fixture.centre_m
    axes = np.stack([fixture.right, fixture.up])
    return base + 0.97 * front @ axes, base + length * fixture.forward + ends @ axes


def _shares(start: np.ndarray, end: np.ndarray, stage: Stage) -> np.ndarray:
    """Share of each ray up to the floor or the background, whichever comes first."""
    way = end - start
    shares = np.ones(len(start))
    down = way[:, 1] < -1e-9
    to_floor = (_ABOVE_FLOOR_M - start[:, 1]) / np.where(down, way[:, 1], -1.0)
    shares = np.where(down, np.minimum(shares, to_floor), shares)
    if "background" in stage.landmarks:
        z = stage.landmarks["background"][2] + 0.01
        back = (way[:, 2] < -1e-9) & (start[:, 2] > z)
        to_wall = (z - start[:, 2]) / np.where(back, way[:, 2], -1.0)
        shares = np.where(back, np.minimum(shares, to_wall), shares)
    return np.clip(shares, 0.01, 1)


def _skin(start: np.ndarray, end: np.ndarray) -> tuple[trimesh.Trimesh, np.ndarray]:
    """The mantle between two rims, and how far along it (0 to 1) every vertex lies."""
    steps = np.linspace(0, 1, _ALONG + 1)
    points = start[None] + steps[:, None, None] * (end - start)[None]
    count = len(start)
    index = np.arange(count)
    faces = []
    for row in range(_ALONG):
        a, b = row * count + index, row * count + np.roll(index, -1)
        faces += [np.column_stack([a, b, b + count]), np.column_stack([a, b + count, a + count])]
    way = (end - start).mean(axis=0)
    out = points - points.mean(axis=1, keepdims=True)
    out -= (out @ way)[..., None] * way / (way @ way)
    normals = out / np.maximum(np.linalg.norm(out, axis=2, keepdims=True), 1e-9)
    mesh = solid(points.reshape(-1, 3), np.concatenate(faces), normals.reshape(-1, 3))
    return mesh, np.repeat(steps, count)
