"""What of a light's body the camera would see, had it been drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..bodies import project
from ..placing import PlacedSitter
from ..sitters.figure import SitterPart
from ..stage import Camera
from .solid import Solid
from .stands import Paper

HIDDEN_SHARE, SHOWN_SHARE = 0.004, 0.01
"""Shares of the sitter hidden, and of the frame covered, under which nothing is told."""

_CELLS = 64
_POINTS = 400
_CELL_M = 0.03
_COARSE_FACES, _SPREAD_POINTS = 30_000, 100_000


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """The sitter as the camera sees it: points (n, 3) all over what is in the picture, and its depth in each cell of
    the frame (64, 64), infinite beside it."""

    camera: Camera
    points: np.ndarray
    depths_m: np.ndarray

    def hidden_share(self, solids: tuple[Solid, ...]) -> float:
        """Share of the sitter, as far as it is in the picture, that bodies stand before."""
        if not len(self.points):
            return 0.0
        before = np.zeros(len(self.points), bool)
        for solid in solids:
            before |= solid.stops(self.camera.origin_m, self.points)
        return float(before.mean())

    def shown_share(self, solids: tuple[Solid, ...], paper: Paper | None) -> float:
        """Share of the frame over which bodies would show, not counting what sitter and background hide."""
        covered = np.zeros((_CELLS, _CELLS), bool)
        for solid in solids:
            row, column = self._free_cells(solid.surface, paper)
            for r in np.unique(row):  # a row is covered between its outermost cells
                own = column[row == r]
                covered[r, own.min() : own.max() + 1] = True
        return float(covered.mean())

    def shows(self, points: np.ndarray, paper: Paper | None) -> bool:
        """Whether any of some points (n, 3) would be seen."""
        return len(self._free_cells(points, paper)[0]) > 0

    def _free_cells(self, points: np.ndarray, paper: Paper | None) -> tuple[np.ndarray, np.ndarray]:
        if paper is not None and len(points):
            points = points[[paper.behind(p) == 0 or p[1] > paper.height_m for p in points]]
        seen = project(self.camera, points)
        seen = seen[_inside(seen)]
        row, column = _cells(seen)
        free = seen[:, 2] < self.depths_m[row, column]
        return row[free], column[free]


_KEPT: list[tuple[PlacedSitter, bytes, Frame]] = []
_MOST_KEPT = 3


def frame_of(camera: Camera, sitter: PlacedSitter) -> Frame:
    """The sitter in the camera's frame; the last few are kept, since variants of a scene share them."""
    key = np.concatenate(
        [camera.origin_m, camera.forward, camera.up, [camera.tan_half_width, camera.tan_half_height]]
    ).tobytes()  # fmt: skip
    for kept, of, frame in _KEPT:
        if kept is sitter and of == key:
            return frame
    frame = _frame_of(camera, sitter)
    _KEPT.insert(0, (sitter, key, frame))
    del _KEPT[_MOST_KEPT:]
    return frame


def _frame_of(camera: Camera, sitter: PlacedSitter) -> Frame:
    vertices = points_on(sitter.parts)
    seen = project(camera, vertices)
    inside = _inside(seen)
    vertices, seen = vertices[inside], seen[inside]
    depths = np.full((_CELLS, _CELLS), np.inf)
    np.minimum.at(depths, _cells(seen), seen[:, 2])
    padded = np.pad(depths, 1, constant_values=np.inf)  # gaps between vertices are closed
    around = [padded[i : i + _CELLS, j : j + _CELLS] for i in range(3) for j in range(3)]
    return Frame(camera, _thinned(vertices), np.asarray(np.min(around, axis=0), float))


def points_on(parts: Sequence[SitterPart]) -> np.ndarray:
    """Points (n, 3) on some parts of a sitter: its vertices, and more on the triangles of a coarse mesh."""
    vertices = [part.vertices.astype(float) for part in parts]
    count = sum(len(part.faces) for part in parts)
    if 0 < count < _COARSE_FACES:
        steps = int(np.clip(np.sqrt(2 * _SPREAD_POINTS / count), 2, 60))
        vertices += [_spread(part.vertices[part.faces].astype(float), steps) for part in parts]
    return np.concatenate(vertices) if vertices else np.zeros((0, 3))


def _spread(corners: np.ndarray, steps: int) -> np.ndarray:
    """Points (n, 3) all over triangles (m, 3, 3)."""
    shares = np.array([(a, b, steps - a - b) for a in range(steps + 1) for b in range(steps + 1 - a)], float) / steps
    return np.einsum("sk,mkj->msj", shares, corners).reshape(-1, 3)


def _thinned(points: np.ndarray) -> np.ndarray:
    """One of every cell of 3 cm, so that the finely meshed face does not count alone; some 400."""
    if not len(points):
        return points
    cells = np.floor((points - points.min(axis=0)) / _CELL_M).astype(np.int64)
    spans = cells.max(axis=0) + 1
    _, first = np.unique((cells[:, 0] * spans[1] + cells[:, 1]) * spans[2] + cells[:, 2], return_index=True)
    return np.asarray(points[np.sort(first)][:: max(1, len(first) // _POINTS)], float)


def _inside(seen: np.ndarray) -> np.ndarray:
    with np.errstate(invalid="ignore"):
        return np.asarray((np.abs(seen[:, :2]) < 1).all(axis=1) & (seen[:, 2] > 0), bool)


def _cells(seen: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    cells = np.clip(((seen[:, :2] + 1) / 2 * _CELLS).astype(int), 0, _CELLS - 1)
    return cells[:, 1], cells[:, 0]
