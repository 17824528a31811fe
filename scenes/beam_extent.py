"""How far a beam reaches on a wall square to its axis: where it falls below a share of its peak for good.

The wall is read on a raster that covers where light can be, and the raster is refined where the peak lies and at the
outermost places over each share, so that the answer does not depend on its spacing.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from .field import source_of, widest_slope_of
from .stage import Fixture

WIDEST_DEG = 80.0
"""Beams are followed this far off their axis, to each side."""

Lux = Callable[[np.ndarray, np.ndarray], np.ndarray]
"""Illuminance at places on the wall, along the fixture's right and up; arrays of one shape in, the same shape out."""

SIDES = ((0, 1), (0, -1), (1, 1), (1, -1))
"""Right, left, up and down: axis of the wall, and sense along it."""

_FINER, _ROUNDS = 8, 4
_FLAT = ("disk", "spot", "rectangle", "octagon")


@dataclass(frozen=True, slots=True)
class Raster:
    """Light on the wall at `x` (w,) and `y` (h,), metres from the axis, ascending; `lux` (h, w)."""

    x: np.ndarray
    y: np.ndarray
    lux: np.ndarray


def reach_m(fixture: Fixture, distance_m: float) -> np.ndarray:
    """Half sizes (2,) along right and up of the box outside which a wall gets no light, at most to `WIDEST_DEG`."""
    widest = distance_m * math.tan(math.radians(WIDEST_DEG))
    if fixture.shape not in _FLAT:
        return np.full(2, widest)
    half, source, slide = fixture.size_m / 2, source_of(fixture), fixture.optics.slide
    out = half + distance_m * min(widest_slope_of(fixture), 1e9)
    if source.depth_m > 0:
        out = np.minimum(out, half + distance_m * (half + source.size_m / 2) / source.depth_m)
    if slide is not None:
        there = distance_m / slide.distance_m
        out = np.minimum(out, half * abs(1 - there) + slide.half_size_m * there)
    return np.minimum(1.001 * out, widest)


def sides_of(half_m: float, distance_m: float, count: int) -> np.ndarray:
    """Places from the axis out: evenly by angle, and closer together toward the axis, where narrow beams are."""
    widest = math.atan(half_m / distance_m)
    even = np.linspace(0, widest, count)
    return distance_m * np.tan(np.union1d(even, widest * np.geomspace(1e-3, 1, count // 8)))


def refined_peak(lux: Lux, raster: Raster) -> tuple[float, Raster]:
    """The brightest place, found by refining the raster about its brightest point; and the raster in proportion to
    it, since it may have been read with fewer rays."""
    row, column = (int(k) for k in np.unravel_index(int(np.argmax(raster.lux)), raster.lux.shape))
    windows, at = [_window(raster.x, column), _window(raster.y, row)], [float(raster.x[column]), float(raster.y[row])]
    for _ in range(_ROUNDS):
        places = np.meshgrid(*(_filled(window, place) for window, place in zip(windows, at, strict=True)))
        values = lux(*places)
        best = int(np.argmax(values))
        at = [float(place.flat[best]) for place in places]
        windows = [_shrunk(window, place) for window, place in zip(windows, at, strict=True)]
    peak, seen = float(values.max()), float(raster.lux.max())
    return peak, replace(raster, lux=raster.lux * (peak / seen)) if seen > 0 else raster


def edge(lux: Lux, raster: Raster, level: float, axis: int, sense: int) -> float | None:
    """How far the outermost place with at least a level of light lies to one side of the axis, metres; negative where
    all of them lie on the other side. None when the light reaches the end of the raster."""
    along, across = (raster.x, raster.y) if axis == 0 else (raster.y, raster.x)
    over = raster.lux if axis == 0 else raster.lux.T  # rows across, columns along
    if sense < 0:
        along, over = -along[::-1], over[:, ::-1]
    lit = np.flatnonzero((over >= level).any(axis=0))
    if not len(lit):
        return 0.0
    last = int(lit[-1])
    if last == len(along) - 1:
        return None

    def at(out: np.ndarray, beside: np.ndarray) -> np.ndarray:
        return lux(sense * out, beside) if axis == 0 else lux(beside, sense * out)

    row = int(np.argmax(over[:, last]))
    window = _window(across, row)
    inner, outer = float(along[max(last - 1, 0)]), float(along[min(last + 2, len(along) - 1)])
    best, value, dark = float(across[row]), level, level
    for _ in range(_ROUNDS):
        out, beside = np.meshgrid(np.linspace(inner, outer, _FINER + 1), _filled(window, best))
        values = at(out, beside)
        columns = np.flatnonzero((values >= level).any(axis=0))
        k = int(columns[-1]) if len(columns) else 0
        row = int(np.argmax(values[:, k]))
        best, value = float(beside[row, 0]), float(values[row, k])
        if k == _FINER:
            return outer
        inner, outer, dark = float(out[0, k]), float(out[0, k + 1]), float(values[row, k + 1])
        window = _shrunk(window, best)
    share = np.clip((value - level) / (value - dark), 0, 1) if value > dark else 0.0
    return inner + float(share) * (outer - inner)


def _window(places: np.ndarray, index: int) -> tuple[float, float]:
    """From the place before to the place after one of a raster."""
    return float(places[max(index - 1, 0)]), float(places[min(index + 1, len(places) - 1)])


def _filled(window: tuple[float, float], *also: float) -> np.ndarray:
    """Places over a window, and those that must not be missed; a single one where it has no width."""
    low, high = window
    return np.unique([low, *also] if low == high else [*np.linspace(low, high, 5), *also])


def _shrunk(window: tuple[float, float], middle: float) -> tuple[float, float]:
    quarter = (window[1] - window[0]) / 4
    return max(middle - quarter, window[0]), min(middle + quarter, window[1])
