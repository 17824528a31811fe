"""Small operations on indexed meshes."""

from __future__ import annotations

import numpy as np

_TINY = 1e-12


def unit(vectors: np.ndarray) -> np.ndarray:
    """Vectors (..., 3) scaled to length 1; a zero vector stays zero."""
    return vectors / np.maximum(np.linalg.norm(vectors, axis=-1, keepdims=True), _TINY)


def triangulate(quads: np.ndarray) -> np.ndarray:
    """Triangles (<= 2 m, 3) of quads (m, 4); triangles with a repeated corner are left out."""
    halves = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]], axis=1).reshape(-1, 3)
    a, b, c = halves.T
    return halves[(a != b) & (b != c) & (a != c)]


def compact(faces: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Indices of the vertices in use (ascending), and `faces` renumbered to them."""
    used = np.zeros(int(faces.max()) + 1, bool)
    used[faces] = True
    return np.flatnonzero(used), (np.cumsum(used) - 1)[faces]


def scatter_sum(index: np.ndarray, values: np.ndarray, count: int) -> np.ndarray:
    """Sum of the rows of `values` (k, d) by `index` (k,): (count, d)."""
    return np.stack([np.bincount(index, column, count) for column in values.T], axis=1)


def vertex_normals(vertices: np.ndarray, faces: np.ndarray) -> np.ndarray:
    """Unit normals (n, 3), each the area-weighted mean of the triangles around a vertex.

    A vertex that no triangle with area touches gets +y.
    """
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    weighted = np.cross(b - a, c - a)
    total = scatter_sum(faces.T.ravel(), np.tile(weighted, (3, 1)), len(vertices))
    length = np.linalg.norm(total, axis=1, keepdims=True)
    return np.where(length > 1e-20, total / np.maximum(length, 1e-20), [0.0, 1.0, 0.0])
