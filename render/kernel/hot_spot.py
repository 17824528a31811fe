"""Where most light of a mouth comes from: what its sampling is planned by, before anything is traced.

A bowl is brightest near its lamp, deep inside. Most samples of its mouth are therefore drawn over a disk across the
axis at some depth, which follows the parallax; and since a screen hides other parts of the inside from every side,
over other parts of that disk for every angle at which a point lies off the axis.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from scenes.emission import Emission

RINGS = 32
"""Rings of even area of the disk."""

SECTORS = 8
"""Parts of half a turn; the other half is its mirror image."""

STEP_DEG, STEPS = 5.0, 15
"""Angles off the axis that have a table of their own."""

STRIDE = RINGS + 1 + RINGS * (SECTORS + 1)
"""Numbers in the table of one angle."""

_DEPTHS = (0.0, 0.5, 1.0)
_NEAR = 4.0  # radii of the mouth: distance of the nearest points that are planned for
_SHARES = (0.5, 0.8, 0.9)
_PLACES = 2048
_WITHIN_STEP = (-0.3, 0.3)  # angles by which a table is made, in steps from its own
_EVEN = 0.1
_WORTH = 0.9
_PLANNED = 11  # angles that are weighed when depth and share are chosen: those at which people are lit


@dataclass(frozen=True, slots=True)
class HotSpot:
    """How to draw places of a disk as large as the round mouth, at a depth behind it.

    Attributes
    ----------
    share : share of the samples that are drawn by it; 0 where it brings nothing.
    depth_m : metres behind the mouth.
    table : (STEPS * STRIDE,) float32. For every angle off the axis: shares, from 0 to 1, within squared radii that rise
        evenly (RINGS + 1); then for every ring those within turns, from the side of the point that is lit to the other
        side, that rise evenly (SECTORS + 1).
    """

    share: float
    depth_m: float
    table: np.ndarray


def hot_spot(emission: Emission) -> HotSpot:
    """The one that leaves the least noise, over points up to 50 degrees off the axis, far away and near; planned once.

    Parameters
    ----------
    emission : its outline does not matter.
    """
    alike = tuple(getattr(emission, f.name) for f in fields(emission) if f.name not in ("values", "outline", "half_m"))
    return _planned(emission.values.tobytes(), emission.values.dtype.str, emission.values.shape, alike)


@functools.lru_cache(maxsize=64)
def _planned(content: bytes, kind: str, shape: tuple[int, ...], alike: tuple[Any, ...]) -> HotSpot:
    radius = alike[0].radius_m
    values = np.frombuffer(content, kind).reshape(shape)
    round_ = Emission(values, *alike, outline="disk", half_m=np.full(2, radius))
    number = np.arange(_PLACES) + 0.5
    r, turn = radius * np.sqrt(number / _PLACES), number * math.pi * (3 - math.sqrt(5))
    x, y = r * np.cos(turn), np.abs(r * np.sin(turn))
    angles = np.radians(STEP_DEG * (np.arange(STEPS)[:, None] + _WITHIN_STEP)).reshape(STEPS, -1, 1)
    own = np.radians(STEP_DEG * np.arange(STEPS)).reshape(STEPS, 1, 1)
    far = _level(round_, x, y, np.tan(angles), 0 * angles)
    best = HotSpot(0.0, 0.0, _table(np.ones((STEPS, RINGS, SECTORS))))
    least = math.inf
    for depth in np.array(_DEPTHS) * round_.hull.depth_m:
        # slopes toward a point of that angle as the middle of the disk sees it
        height = _NEAR * radius * np.cos(own)
        slope_x, slope_y = (np.tan(own) * (height + depth) - x) / height, -y / height
        near = _level(round_, x, y, slope_x, slope_y)
        at_far = _cells((x - depth * np.tan(angles)) / radius, y / radius)
        at_near = _cells((x - depth * slope_x) / radius, (y - depth * slope_y) / radius)
        level, cell = (np.concatenate(p, axis=1).reshape(STEPS, -1) for p in ((far, near), (at_far, at_near)))
        if least == math.inf:
            least = _WORTH * float((level[:_PLANNED] ** 2).mean())
        shares = _shares(cell, level)
        drawn = np.append(shares.reshape(STEPS, -1) * RINGS * SECTORS, np.zeros((STEPS, 1)), axis=1)
        drawn = np.take_along_axis(drawn, cell, axis=1)
        if depth:  # the disk as the point sees it is larger or smaller than the mouth
            shrink = height / (height + depth)
            drawn[:, far.shape[1] * _PLACES :] /= np.square(shrink).reshape(STEPS, 1)
        for share in _SHARES:
            noise = float((level**2 / (share * drawn + 1 - share))[:_PLANNED].mean())
            if noise < least:
                least, best = noise, HotSpot(share, float(depth), _table(shares))
    return best


def _level(round_: Emission, x: np.ndarray, y: np.ndarray, slope_x: np.ndarray, slope_y: np.ndarray) -> np.ndarray:
    """Light of places (n,) along slopes toward points (STEPS, m, n or 1), about its mean for each point."""
    away = np.sqrt(1 + slope_x**2 + slope_y**2)
    lit = round_.walls(x, y, np.stack(np.broadcast_arrays(slope_x, slope_y, 1.0)) / away) / away**4
    return lit / np.maximum(lit.mean(axis=2, keepdims=True), 1e-30)


def _cells(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Number of the cell in which places lie, in radii of the disk; one more than there are outside it."""
    x, y = np.broadcast_arrays(x, y)
    square = x * x + y * y
    sector = np.minimum((np.arctan2(y, x) / math.pi * SECTORS).astype(int), SECTORS - 1)
    return np.where(square < 1, (square * RINGS).astype(int) * SECTORS + sector, RINGS * SECTORS)


def _shares(cell: np.ndarray, level: np.ndarray) -> np.ndarray:
    """Share (STEPS, RINGS, SECTORS) of the samples that every cell gets: by the root of its mean square, which leaves
    the least noise; a part of them everywhere."""
    size = RINGS * SECTORS + 1
    number = (cell + size * np.arange(STEPS)[:, None]).ravel()
    count = np.bincount(number, minlength=STEPS * size)
    square = np.bincount(number, level.ravel() ** 2, STEPS * size) / np.maximum(count, 1)
    root = np.sqrt(square * (count > 0)).reshape(STEPS, size)[:, :-1]
    share = root / np.maximum(root.sum(axis=1, keepdims=True), 1e-30)
    share = (1 - _EVEN) * share + _EVEN / (size - 1)
    return (share / share.sum(axis=1, keepdims=True)).reshape(STEPS, RINGS, SECTORS)


def _table(shares: np.ndarray) -> np.ndarray:
    rings = shares.sum(axis=2)
    parts = [_within(rings / rings.sum(axis=1, keepdims=True)), _within(shares / rings[..., None]).reshape(STEPS, -1)]
    return np.concatenate(parts, axis=1).ravel().astype(np.float32)


def _within(shares: np.ndarray) -> np.ndarray:
    """Sums from 0 to 1 along the last axis."""
    return np.concatenate([np.zeros((*shares.shape[:-1], 1)), np.cumsum(shares, axis=-1)], axis=-1)
