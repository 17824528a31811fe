"""Grids whose cell walls reflect: how much of the light gets through, mirrored once or more off the walls.

Walls mirror: light meets them at a grazing angle, where rolled foil and even satin metal reflect mostly so. A mirror
that runs along the axis keeps a ray's angle to the axis. So a cell lets through, at every angle, what goes straight and
what is reflected n times, dimmed by the reflectance to the power n, from light that came in at that angle off the
axis, whatever its azimuth. Where what is behind the grid is round, the light far away is exact; close to the grid it is
taken for that which would have come straight. Widths as in `scenes.cells`.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np

from .cells import SIXTY, transmission

LEAST = 1e-3
"""Share of the light on the axis under which what gets through counts as nothing."""

STEPS = 24
"""Columns of a table for each cell width by which light moves across a cell on its way through."""

_AZIMUTHS, _PLACES, _MEAN_CHORD = 12, 4096, math.pi / 4
_REPEATS = {"round": 1, "hexagon": 6}


@dataclass(frozen=True, slots=True)
class CellTable:
    """Share of a cell's opening that passes light: `values` (azimuths, columns) float32.

    Columns are `STEPS` for each cell width that the light moves across on its way through; beyond the last, nothing
    passes. Rows go evenly over a `1 / repeats` of a full turn, the first not repeated.
    """

    values: np.ndarray
    repeats: int

    @property
    def widest(self) -> float:
        """How far across a cell light may move and still get through, in cell widths."""
        return (self.values.shape[1] - 1) / STEPS

    def passed(self, across: np.ndarray, azimuth_rad: np.ndarray) -> np.ndarray:
        """Share for light that moves so far across (cell widths), linear between the table's entries."""
        rows, columns = self.values.shape
        column = np.asarray(across, float) * STEPS
        turns = np.asarray(azimuth_rad, float) * self.repeats / (2 * math.pi)
        row = (turns - np.floor(turns)) * rows
        i, j = np.minimum(column.astype(int), columns - 2), row.astype(int) % rows
        s, t = column - i, row - np.floor(row)
        after = (j + 1) % rows
        near = self.values[j, i] * (1 - s) + self.values[j, i + 1] * s
        far = self.values[after, i] * (1 - s) + self.values[after, i + 1] * s
        return np.where(column <= columns - 1, near * (1 - t) + far * t, 0.0)


@functools.cache
def cell_table(kind: str, reflectance: float) -> CellTable:
    """What cells with mirroring walls let through.

    Parameters
    ----------
    kind : "round" or "hexagon". reflectance : of the walls, above 0 and below 1.
    """
    most = math.ceil(math.log(LEAST) / math.log(reflectance) * _MEAN_CHORD)
    across = np.arange(most * STEPS + 1) / STEPS
    if kind == "round":
        mirrored = _mirrored_round(across, reflectance)[None]
        azimuth = np.zeros(1)
    else:
        azimuth = np.arange(_AZIMUTHS) * math.pi / 3 / _AZIMUTHS
        mirrored = np.stack([_mirrored_hexagon(across, turn, reflectance) for turn in azimuth])
    straight = transmission(kind, 1.0, across * np.cos(azimuth)[:, None], across * np.sin(azimuth)[:, None])
    return CellTable((straight + mirrored).astype(np.float32), _REPEATS[kind])


def _mirrored_round(across: np.ndarray, reflectance: float) -> np.ndarray:
    """The part reflected at least once by a round cell. A ray goes round it along chords of one length c, from a place
    that is even along the first: over a way a it meets the wall k times, or k + 1, k the whole part of a / c."""
    node, weight = np.polynomial.legendre.leggauss(256)
    turn = node * math.pi / 2  # of the chord's middle about the cell's: its length is the cosine
    chord = np.cos(turn)
    share = chord**2 * weight * math.pi / 2 * 2 / math.pi
    count = across[:, None] / chord
    whole = np.floor(count)
    rest = count - whole
    kept = (1 - rest) * np.where(whole > 0, reflectance**whole, 0.0) + rest * reflectance ** (whole + 1)
    return np.asarray(kept @ share, float)


def _mirrored_hexagon(across: np.ndarray, azimuth: float, reflectance: float) -> np.ndarray:
    """The part reflected at least once by a hexagonal cell, by rays from an even choice of places in it."""
    flats = np.array([[0.0, 1.0], [SIXTY[1], SIXTY[0]], [SIXTY[1], -SIXTY[0]]])
    flats = np.concatenate([flats, -flats])
    place = _even_places(flats)
    way = np.tile([math.cos(azimuth), math.sin(azimuth)], (len(place), 1))
    gone, kept = np.zeros(len(place)), np.ones(len(place))
    total = np.zeros(len(across))
    while (gone < across[-1]).any() and kept[0] > LEAST / 10:
        toward = way @ flats.T
        reach = np.where(toward > 1e-12, (0.5 - place @ flats.T) / np.where(toward > 1e-12, toward, 1), np.inf)
        wall = np.argmin(reach, axis=1)
        step = np.maximum(reach[np.arange(len(place)), wall], 0)
        place, gone = place + step[:, None] * way, gone + step
        way = way - 2 * (way * flats[wall]).sum(axis=1)[:, None] * flats[wall]
        # from here on the ray counts by the reflectance less than before
        met = np.searchsorted(np.sort(gone), across, side="right") / len(place)
        total += met * (kept[0] * reflectance - (kept[0] if kept[0] < 1 else 0.0))
        kept = kept * reflectance
    return np.maximum(total, 0)


def _even_places(flats: np.ndarray) -> np.ndarray:
    """Places (n, 2) spread evenly over a hexagon one wide from flat to flat (Roberts 2018, the R2 sequence)."""
    root = 1.32471795724474602596
    index = np.arange(_PLACES)
    place = (np.stack([index / root, index / root**2], axis=1) % 1 - 0.5) * [2 / math.sqrt(3), 1.0]
    inside: np.ndarray = place[(place @ flats.T <= 0.5).all(axis=1)]
    return inside
