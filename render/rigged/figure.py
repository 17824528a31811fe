"""The stage's own meshes, made small enough to draw and to hand on, with their colours."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from scenes.stage import Shape

from .colours import finish_rgb
from .shapes import solid

if TYPE_CHECKING:
    import trimesh

_CELL_M = {"face": 0.002, "eye": 0.001, "hair": 0.005}
_OTHER_CELL_M = 0.005
_SMALL = 4000


def shape_mesh(shape: Shape, coarseness: float = 1.0) -> tuple[trimesh.Trimesh, np.ndarray]:
    """A shape of the stage for drawing, and its linear sRGB (n, 3) by vertex.

    Fine meshes are simplified: vertices that share a cell of 1 to 5 mm become one, which no set view shows.
    `coarseness` multiplies that.
    """
    weights = shape.tints.astype(float) / 255
    mixed = np.column_stack([1 - weights.sum(axis=1), weights])
    colours = np.clip(mixed @ finish_rgb(shape.finish), 0, 1)
    if len(shape.faces) <= _SMALL:
        return solid(shape.vertices, shape.faces, shape.normals), colours
    return _thinned(shape, colours, coarseness * _CELL_M.get(shape.region, _OTHER_CELL_M))


def _thinned(shape: Shape, colours: np.ndarray, cell_m: float) -> tuple[trimesh.Trimesh, np.ndarray]:
    cells = np.floor(shape.vertices.astype(float) / cell_m).astype(np.int64)
    # opposite sides of thin cloth and strands must not melt together, so the way a vertex faces counts too
    facing = (shape.normals > 0).astype(np.int64) @ [1, 2, 4]
    cells -= cells.min(axis=0)
    spans = cells.max(axis=0) + 1
    key = ((cells[:, 0] * spans[1] + cells[:, 1]) * spans[2] + cells[:, 2]) * 8 + facing
    _, sample, index = np.unique(key, return_index=True, return_inverse=True)
    index = index.reshape(-1)
    count = np.bincount(index)[:, None]

    def mean(values: np.ndarray) -> np.ndarray:
        return np.column_stack([np.bincount(index, column) for column in values.astype(float).T]) / count

    normals = mean(shape.normals)
    length = np.linalg.norm(normals, axis=1, keepdims=True)
    any_one = shape.normals[sample]
    normals = np.where(length > 1e-3, normals / np.maximum(length, 1e-3), any_one)
    faces = index[shape.faces]
    faces = faces[(faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])]
    low, middle, high = np.sort(faces, axis=1).T.astype(np.int64)
    _, first = np.unique((low * len(count) + middle) * len(count) + high, return_index=True)
    return solid(mean(shape.vertices), faces[np.sort(first)], normals), mean(colours)
