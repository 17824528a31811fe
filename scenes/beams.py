"""What a beam does at a distance, with no set: its strength and width on a wall, its edge, its fall along the axis."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from .beam_extent import SIDES, WIDEST_DEG, Lux, Raster, edge, reach_m, refined_peak, sides_of
from .field import STEPS, axial_illuminance_per_lumen, axial_intensity_per_lumen, illuminance
from .fixtures import plain_axial_illuminance
from .optics import PLAIN, Angular
from .stage import Fixture

BEAM_SHARE, FIELD_SHARE = 0.5, 0.1
"""Shares of the brightest place that bound a beam and a field."""

_ANGLES = 161
_WALL_SIDE, _SLIDE_SIDE = 41, 65
"""Places from the axis to each side of a raster of the wall, evenly by angle; for patterns, which have more detail."""

_FINE, _COARSE, _FEW = 192, 28, 8
_ALIKE = 0.02
"""Difference in a relative glow that counts as none: it comes from the raster at a round frame's rim."""


@dataclass(frozen=True, slots=True)
class Spread:
    """A beam on a wall square to its axis.

    A width goes from the outermost place on one side with that share of the peak to the outermost on the other,
    wherever on the wall the two lie: a beam with bars or a hole is as wide as the whole of it, and a lopsided one is
    not as wide as twice its wider side.

    Attributes
    ----------
    distance_m : from the exit to the wall.
    axis_lx_per_lm, peak_lx_per_lm : on the axis, and where the wall is brightest.
    beam_m, field_m : (along the fixture's right, along its up) in metres, out to half and to a tenth of the peak; None
        where the beam is wider than 80 degrees off its axis.
    beam_sides_m, field_sides_m : how far that is from the axis to the right, left, up and down; below 0 where the axis
        lies outside; None where it is wider than 80 degrees.
    beam_to_field_stops_per_deg : how hard its edge is: the fall from the edge of the beam to that of the field, in
        stops a degree, on its steepest side; None where it never falls that far.
    """

    distance_m: float
    axis_lx_per_lm: float
    peak_lx_per_lm: float
    beam_m: tuple[float | None, float | None]
    field_m: tuple[float | None, float | None]
    beam_sides_m: tuple[float | None, ...]
    field_sides_m: tuple[float | None, ...]
    beam_to_field_stops_per_deg: float | None


def spread(fixture: Fixture, distance_m: float) -> Spread:
    """How wide a fixture's light lies on a wall square to its axis.

    Raises
    ------
    ValueError
        When the wall would stand inside the fixture.
    """
    axis = axial_illuminance_per_lumen(fixture, distance_m)

    def lux(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return _lux_at(fixture, distance_m, x, y, _COARSE)

    peaks, rasters = zip(*(refined_peak(lux, raster) for raster in _rasters(fixture, distance_m)), strict=True)
    peak = max(axis, *peaks)
    beam, field = (_sides(lux, rasters, share * peak) for share in (BEAM_SHARE, FIELD_SHARE))
    falls = [fall for pair in zip(beam, field, strict=True) if (fall := _fall(*pair, distance_m)) is not None]
    return Spread(
        distance_m=distance_m,
        axis_lx_per_lm=axis,
        peak_lx_per_lm=peak,
        beam_m=(_width(*beam[:2]), _width(*beam[2:])),
        field_m=(_width(*field[:2]), _width(*field[2:])),
        beam_sides_m=tuple(beam),
        field_sides_m=tuple(field),
        beam_to_field_stops_per_deg=max(falls, default=None),
    )


def _width(one: float | None, other: float | None) -> float | None:
    return None if one is None or other is None else one + other


def _fall(beam_m: float | None, field_m: float | None, distance_m: float) -> float | None:
    if beam_m is None or field_m is None:
        return None
    degrees = math.degrees(math.atan(field_m / distance_m) - math.atan(beam_m / distance_m))
    return math.log2(BEAM_SHARE / FIELD_SHARE) / degrees if degrees > 0 else None


def _sides(lux: Lux, rasters: Sequence[Raster], level: float) -> list[float | None]:
    """How far it is to a level on the right, left, up and down."""
    if len(rasters[0].x) > 1 < len(rasters[0].y):
        return [edge(lux, rasters[0], level, *side) for side in SIDES]
    right = edge(lux, rasters[0], level, *SIDES[0])
    up = right if len(rasters) == 1 else edge(lux, rasters[1], level, *SIDES[2])
    return [right, right, up, up]


def _rasters(fixture: Fixture, distance_m: float) -> list[Raster]:
    """The wall where sides differ; else lines from the axis to the right and up, one where all azimuths are alike."""
    reach = reach_m(fixture, distance_m)
    if not _is_lopsided(fixture):
        none = np.zeros(1)
        right, up = (sides_of(half, distance_m, _ANGLES) for half in reach)
        lines = [(right, none)] if _is_round(fixture) else [(right, none), (none, up)]
        steps = _COARSE
    else:
        fine = fixture.optics.slide is not None
        sides = [sides_of(half, distance_m, _SLIDE_SIDE if fine else _WALL_SIDE) for half in reach]
        x, y = (np.concatenate([-side[:0:-1], side]) for side in sides)
        if fixture.optics.angular is not None:
            off = distance_m * _brightest_slopes(fixture.optics.angular)
            x, y = np.union1d(x, np.clip(off[0], x[0], x[-1])), np.union1d(y, np.clip(off[1], y[0], y[-1]))
        lines, steps = [(x, y)], _FEW
    return [Raster(x, y, _on_wall(fixture, distance_m, x, y, steps)) for x, y in lines]


def _brightest_slopes(angular: Angular) -> np.ndarray:
    """Slopes (2, 1) of the greatest value of a directional table, so that no raster steps over a narrow beam."""
    values = np.asarray(angular.values, float)
    row, column = np.unravel_index(int(np.argmax(values)), values.shape)
    slope = math.tan(min(column * angular.widest_rad / (values.shape[1] - 1), math.radians(WIDEST_DEG)))
    turn = row * 2 * math.pi / len(values)
    return slope * np.array([[math.cos(turn)], [math.sin(turn)]])


def _lux_at(fixture: Fixture, distance_m: float, x: np.ndarray, y: np.ndarray, steps: int) -> np.ndarray:
    """Illuminance (lx per lm) at places on the wall, along right and up; x and y of one shape."""
    centre = fixture.centre_m + distance_m * fixture.forward
    points = centre + x[..., None] * fixture.right + y[..., None] * fixture.up
    return illuminance(fixture, points.reshape(-1, 3), -fixture.forward, steps=steps).reshape(x.shape)


def _is_lopsided(fixture: Fixture) -> bool:
    """Whether the two sides of the axis may differ."""
    optics = fixture.optics
    turned = optics.angular is not None and len(optics.angular.values) > 1
    return turned or optics.edges is not None or optics.slide is not None or not _mirrored(optics.glow)


def _mirrored(glow: np.ndarray | None) -> bool:
    """Whether a picture of a glow is its own image left to right and upside down."""
    return glow is None or all(np.allclose(glow, image, atol=_ALIKE) for image in (glow[::-1], glow[:, ::-1]))


def _is_round(fixture: Fixture) -> bool:
    """Whether all azimuths are alike."""
    optics, glow = fixture.optics, fixture.optics.glow
    disks = fixture.shape in ("disk", "spot", "sphere") and (optics.source is None or optics.source.shape == "disk")
    even = glow is None or np.allclose(glow, glow.T, atol=_ALIKE)
    return disks and even and not _is_lopsided(fixture) and (optics.cells is None or optics.cells.kind == "round")


def _line(fixture: Fixture, distance_m: float, radii: np.ndarray) -> np.ndarray:
    """Illuminance at these distances to the right of the axis."""
    return _lux_at(fixture, distance_m, radii, np.zeros_like(radii), _COARSE)


def wall(fixture: Fixture, distance_m: float, x_m: np.ndarray, y_m: np.ndarray) -> np.ndarray:
    """Illuminance (lx per lm) on a wall square to the axis, rows of `y_m` (h,) and columns of `x_m` (w,): places along
    the fixture's up and right, counted from the axis."""
    x, y = np.asarray(x_m, float), np.asarray(y_m, float)
    if _is_round(fixture):
        away = np.hypot(x[None, :], y[:, None])
        radii = np.linspace(0, float(away.max()), 3 * max(away.shape))
        return np.interp(away, radii, _line(fixture, distance_m, radii))
    if not _is_lopsided(fixture):
        sides, column = np.unique(np.abs(x).round(9), return_inverse=True)
        heights, row = np.unique(np.abs(y).round(9), return_inverse=True)
        return _on_wall(fixture, distance_m, sides, heights)[row[:, None], column[None, :]]
    return _on_wall(fixture, distance_m, x, y)


def _on_wall(fixture: Fixture, distance_m: float, x: np.ndarray, y: np.ndarray, steps: int = _COARSE) -> np.ndarray:
    across, up = np.meshgrid(x, y)
    return _lux_at(fixture, distance_m, across, up, steps)


def along_axis(fixture: Fixture, distances_m: np.ndarray) -> np.ndarray:
    """Illuminance (lx per lm) facing the light at these distances (n,) along the axis."""
    distances = np.asarray(distances_m, float)
    if fixture.optics is PLAIN:
        return np.array([plain_axial_illuminance(fixture, d) for d in distances])
    return illuminance(fixture, fixture.centre_m + distances[:, None] * fixture.forward, -fixture.forward, steps=_FINE)


def near_field_error(fixture: Fixture, distances_m: np.ndarray) -> np.ndarray:
    """How much the inverse square of the far intensity overstates the light at these distances: 0.329 is 32.9 %.

    The inverse square is taken from the exit, as a tape measures.
    """
    distances = np.asarray(distances_m, float)
    return axial_intensity_per_lumen(fixture) / distances**2 / along_axis(fixture, distances) - 1


def intensity(fixture: Fixture, off_axis_rad: np.ndarray, azimuth_rad: np.ndarray, steps: int = STEPS) -> np.ndarray:
    """Far-field intensity (cd per lm): rows of azimuths (c,), columns of angles off the axis (g,), radians."""
    far = 1000 * float(max(fixture.size_m))
    off, turn = np.asarray(off_axis_rad, float)[None, :], np.asarray(azimuth_rad, float)[:, None]
    out = (
        (np.sin(off) * np.cos(turn))[..., None] * fixture.right
        + (np.sin(off) * np.sin(turn))[..., None] * fixture.up
        + (np.cos(off) * np.ones_like(turn))[..., None] * fixture.forward
    ).reshape(-1, 3)
    values = illuminance(fixture, fixture.centre_m + far * out, -out, steps) * far**2
    return values.reshape(np.broadcast_shapes(off.shape, turn.shape))


def far_reach_deg(fixture: Fixture) -> float:
    """Angle off the axis beyond which nothing leaves a fixture; 180 where it has no such bound."""
    if fixture.shape in ("sphere", "tube") or fixture.optics.back_share:
        return 180.0
    far = 1000 * float(max(fixture.size_m))
    reach = reach_m(fixture, far)
    if reach.max() >= far * math.tan(math.radians(WIDEST_DEG)):
        return 90.0
    return math.degrees(math.atan(float(np.hypot(*reach)) / far))


def symmetry(fixture: Fixture) -> Literal["round", "mirrored", "none"]:
    """Whether all azimuths of a beam are alike, or the sides of its main planes, or none."""
    if _is_round(fixture):
        return "round"
    return "none" if _is_lopsided(fixture) else "mirrored"
