"""The clothes: meshes with a folded-in rim at every hem, whose edges are evened out at load.

The garments were cut along smooth lines through a coarse mesh, which leaves hems that waver from cell to
cell; a hem of real cloth runs straight.
"""

from __future__ import annotations

import numpy as np

from .mesh import compact, scatter_sum, vertex_normals

_STEPS = 24
# Smoothing and un-shrinking factors after Taubin 1995, "A signal processing approach to fair surface design".
_SMOOTH, _RESTORE = 0.5, -0.52


def border_edges(faces: np.ndarray, count: int) -> np.ndarray:
    """Edges (k, 2) that belong to one triangle only; `count` is the number of vertices."""
    ends = np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    keys, uses = np.unique(ends[:, 0] * count + ends[:, 1], return_counts=True)
    lone = keys[uses == 1]
    return np.stack([lone // count, lone % count], axis=1)


def even_line(points: np.ndarray, edges: np.ndarray) -> np.ndarray:
    """Points (n, 3) with the lines along `edges` (k, 2) freed of ripples.

    Each point goes to and fro about the straight line between its two neighbours; a point without exactly
    two stays.
    """
    out = points.copy()
    ends = np.concatenate([edges, edges[:, ::-1]])
    inner = np.bincount(edges.ravel(), minlength=len(points)) == 2
    ends = ends[inner[ends[:, 0]]]
    for step in range(2 * _STEPS):
        factor = _SMOOTH if step % 2 == 0 else _RESTORE
        chord = out[ends[:, 1]] - out[ends[:, 0]]
        weight = 1.0 / np.maximum(np.linalg.norm(chord, axis=1), 1e-5)
        pull = scatter_sum(ends[:, 0], chord * weight[:, None], len(points))
        total = np.bincount(ends[:, 0], weight, len(points))
        out += factor * pull / np.maximum(total, 1e-12)[:, None]
    return out


def finish_garment(vertices: np.ndarray, faces: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Vertices (n, 3), triangles (m, 3) and normals (n, 3) of a garment with even and crisp hems.

    The vertices of the hem's edge are doubled, so that cloth and rim shade apart: shared normals would round
    the edge over whatever triangles happen to lie beside it.
    """
    count = len(vertices)
    ends = border_edges(faces, count)
    in_rim = np.zeros(count, bool)
    in_rim[ends] = True
    rim = in_rim[faces].any(axis=1)
    cloth, fold = faces[~rim], faces[rim]
    even = even_line(vertices, np.concatenate([ends, border_edges(cloth, count)]))

    used_cloth, cloth = compact(cloth)
    used_fold, fold = compact(fold)
    sheet, hem = even[used_cloth], even[used_fold]
    return (
        np.concatenate([sheet, hem]),
        np.concatenate([cloth, fold + len(sheet)]),
        np.concatenate([vertex_normals(sheet, cloth), vertex_normals(hem, fold)]),
    )
