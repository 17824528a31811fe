"""What a beam does at a distance, with no set: its strength and width on a wall, its edge, its fall along the axis."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from .field import axial_illuminance_per_lumen, axial_intensity_per_lumen, illuminance
from .fixtures import plain_axial_illuminance
from .optics import PLAIN
from .stage import Fixture

BEAM_SHARE, FIELD_SHARE = 0.5, 0.1
"""Shares of the brightest place that bound a beam and a field."""

WIDEST_DEG = 80.0
"""Beams are followed this far off their axis."""

_ANGLES = 161
_FINE, _COARSE = 192, 32


@dataclass(frozen=True, slots=True)
class Spread:
    """A beam on a wall square to its axis.

    Attributes
    ----------
    distance_m : from the exit to the wall.
    axis_lx_per_lm, peak_lx_per_lm : on the axis, and where it is brightest along the two lines that follow.
    beam_m, field_m : (along the fixture's right, along its up) in metres: out to the last place with half, and with a
        tenth, of the peak; None where the beam is wider than 80 degrees off its axis.
    edge_stops_per_deg : how steeply it falls at half of the peak, on the steeper of the two lines, in stops a degree;
        None where it never falls that far.
    """

    distance_m: float
    axis_lx_per_lm: float
    peak_lx_per_lm: float
    beam_m: tuple[float | None, float | None]
    field_m: tuple[float | None, float | None]
    edge_stops_per_deg: float | None


def spread(fixture: Fixture, distance_m: float) -> Spread:
    """How wide a fixture's light lies on a wall square to its axis.

    Raises
    ------
    ValueError
        When the wall would stand inside the fixture.
    """
    axis = axial_illuminance_per_lumen(fixture, distance_m)
    degrees = np.linspace(0, WIDEST_DEG, _ANGLES)
    radii = distance_m * np.tan(np.radians(degrees))
    lines = [_mean_of_sides(fixture, distance_m, radii, fixture.right)]
    lines.append(lines[0] if _is_round(fixture) else _mean_of_sides(fixture, distance_m, radii, fixture.up))
    peak = max(axis, *(float(line.max()) for line in lines))
    widths = [[_last(radii, line, share * peak) for line in lines] for share in (BEAM_SHARE, FIELD_SHARE)]
    slopes = [s for line in lines if (s := _slope(degrees, line, BEAM_SHARE * peak)) is not None]
    return Spread(
        distance_m=distance_m,
        axis_lx_per_lm=axis,
        peak_lx_per_lm=peak,
        beam_m=(widths[0][0], widths[0][1]),
        field_m=(widths[1][0], widths[1][1]),
        edge_stops_per_deg=max(slopes, default=None),
    )


def _is_lopsided(fixture: Fixture) -> bool:
    """Whether the two sides of the axis may differ."""
    optics = fixture.optics
    turned = optics.angular is not None and len(optics.angular.values) > 1
    return turned or optics.edges is not None or optics.slide is not None


def _is_round(fixture: Fixture) -> bool:
    """Whether all azimuths are alike."""
    optics = fixture.optics
    disks = fixture.shape in ("disk", "spot", "sphere") and (optics.source is None or optics.source.shape == "disk")
    return disks and not _is_lopsided(fixture) and (optics.cells is None or optics.cells.kind == "round")


def _mean_of_sides(fixture: Fixture, distance_m: float, radii: np.ndarray, along: np.ndarray) -> np.ndarray:
    """Illuminance at these distances off the axis, the mean of both sides."""
    centre = fixture.centre_m + distance_m * fixture.forward
    signs = (1, -1) if _is_lopsided(fixture) else (1,)
    sides = [
        illuminance(fixture, centre + sign * radii[:, None] * along, -fixture.forward, steps=_COARSE) for sign in signs
    ]
    return np.asarray(np.mean(sides, axis=0), float)


def _last(radii: np.ndarray, line: np.ndarray, level: float) -> float | None:
    """Twice the distance off the axis at which a line falls below a level for good; None when it never does."""
    above = np.flatnonzero(line >= level)
    if not len(above):
        return 0.0
    last = int(above[-1])
    if last == len(line) - 1:
        return None
    share = (line[last] - level) / (line[last] - line[last + 1])
    return float(2 * (radii[last] + share * (radii[last + 1] - radii[last])))


def _slope(degrees: np.ndarray, line: np.ndarray, level: float) -> float | None:
    """Stops a degree at the place where a line falls below a level for good."""
    above = np.flatnonzero(line >= level)
    if not len(above) or above[-1] >= len(line) - 2 or line[above[-1] + 1] <= 0:
        return None
    k = int(above[-1])
    return float(math.log2(line[k] / line[k + 1]) / (degrees[k + 1] - degrees[k]))


def wall(fixture: Fixture, distance_m: float, x_m: np.ndarray, y_m: np.ndarray) -> np.ndarray:
    """Illuminance (lx per lm) on a wall square to the axis, rows of `y_m` (h,) and columns of `x_m` (w,): places along
    the fixture's up and right, counted from the axis."""
    x, y = np.asarray(x_m, float), np.asarray(y_m, float)
    if _is_round(fixture):
        away = np.hypot(x[None, :], y[:, None])
        radii = np.linspace(0, float(away.max()), 3 * max(away.shape))
        return np.interp(away, radii, _mean_of_sides(fixture, distance_m, radii, fixture.right))
    if not _is_lopsided(fixture):
        sides, column = np.unique(np.abs(x).round(9), return_inverse=True)
        heights, row = np.unique(np.abs(y).round(9), return_inverse=True)
        return _on_wall(fixture, distance_m, sides, heights)[row[:, None], column[None, :]]
    return _on_wall(fixture, distance_m, x, y)


def _on_wall(fixture: Fixture, distance_m: float, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    centre = fixture.centre_m + distance_m * fixture.forward
    points = centre + y[:, None, None] * fixture.up + x[None, :, None] * fixture.right
    flat = illuminance(fixture, points.reshape(-1, 3), -fixture.forward, steps=_COARSE)
    return flat.reshape(len(y), len(x))


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


def intensity(fixture: Fixture, off_axis_rad: np.ndarray, azimuth_rad: np.ndarray) -> np.ndarray:
    """Far-field intensity (cd per lm): rows of azimuths (c,), columns of angles off the axis (g,), radians."""
    far = 1000 * float(max(fixture.size_m))
    off, turn = np.asarray(off_axis_rad, float)[None, :], np.asarray(azimuth_rad, float)[:, None]
    out = (
        (np.sin(off) * np.cos(turn))[..., None] * fixture.right
        + (np.sin(off) * np.sin(turn))[..., None] * fixture.up
        + (np.cos(off) * np.ones_like(turn))[..., None] * fixture.forward
    ).reshape(-1, 3)
    values = illuminance(fixture, fixture.centre_m + far * out, -out) * far**2
    return values.reshape(np.broadcast_shapes(off.shape, turn.shape))
