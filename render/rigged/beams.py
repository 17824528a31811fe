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
_LIT, _CORNER = 0.5, 0.1  # of a slide: what counts as lit; how near to the corner of its box that must be


def beam_sides(fixture: Fixture, distance_m: float) -> tuple[float, ...]:
    """How far (m) a beam goes to half of its peak to the right, left, up and down of its axis, at a distance; below 0
    where the axis lies outside; to 80 degrees where it is wider."""
    widest = distance_m * math.tan(math.radians(WIDEST_DEG))
    return tuple(widest if side is None else side for side in spread(fixture, distance_m).beam_sides_m)


def far_rim(fixture: Fixture, distance_m: float, sides_m: tuple[float, ...], least_m: float = 0.0) -> np.ndarray:
    """Rim (n, 3) of a beam on a wall square to its axis, point by point as `front_rim`: an ellipse between its sides,
    or a rectangle where a slide has corners. It is never narrower than `least_m` to either side of its middle."""
    right, left, up, down = sides_m
    middle = np.array([right - left, up - down]) / 2
    half = np.maximum([(right + left) / 2, (up + down) / 2], least_m)
    ring = _ring()
    if _cornered(fixture):
        ring = ring / np.abs(ring).max(axis=1, keepdims=True)
    axes = np.stack([fixture.right, fixture.up])
    rim: np.ndarray = fixture.centre_m + distance_m * fixture.forward + (middle + ring * half) @ axes
    return rim


def front_rim(fixture: Fixture, share: float = 1.0) -> np.ndarray:
    """Rim (n, 3) of a fixture's exit, shrunk about its middle to a share."""
    ring = _ring()
    if fixture.shape == "rectangle":
        ring = ring / np.abs(ring).max(axis=1, keepdims=True)
    axes = np.stack([fixture.right, fixture.up])
    rim: np.ndarray = fixture.centre_m + share * ring * (fixture.size_m / 2) @ axes
    return rim


def _ring() -> np.ndarray:
    turn = np.linspace(0, 2 * math.pi, _AROUND, endpoint=False)
    return np.column_stack([np.cos(turn), np.sin(turn)])


def _cornered(fixture: Fixture) -> bool:
    """Whether the picture in a beam reaches into the corners of the box around what of it is lit."""
    slide = fixture.optics.slide
    if slide is None:
        return False
    lit = np.asarray(slide.values) > _LIT
    rows, columns = np.flatnonzero(lit.any(axis=1)), np.flatnonzero(lit.any(axis=0))
    if not len(rows):
        return False
    box = lit[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    deep, wide = (max(1, round(_CORNER * count)) for count in box.shape)
    corners = (box[:deep, :wide], box[:deep, -wide:], box[-deep:, :wide], box[-deep:, -wide:])
    return all(corner.any() for corner in corners)


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
    sides = beam_sides(fixture, reach)
    wide = math.degrees(sum(math.atan2(side, reach) for side in _widest(sides))) > WIDE_BEAM_DEG
    length = min(reach, SHORT_BEAM_M) if wide else reach
    start = front_rim(fixture, 0.97)
    end = far_rim(fixture, length, tuple(length / reach * side for side in sides), 0.02)
    end = start + _shares(start, end, stage)[:, None] * (end - start)
    mesh, along = _skin(start, end)
    fade = (1 - along) ** 1.2 if wide else 1 - 0.85 * along
    return SetPart(
        f"light.{light.name}.beam", "beam", light.name, mesh, tint_rgb, alpha=0.5, fade=fade, glows=True, two_sided=True
    )


def _widest(sides_m: tuple[float, ...]) -> tuple[float, ...]:
    """The two sides of the wider of width and height."""
    return max((sides_m[:2], sides_m[2:]), key=sum)


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
