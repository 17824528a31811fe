"""Catmull-Clark subdivision of quad meshes, and a finer level on a part of one without cracks.

Rules of the scheme: Catmull and Clark 1978, "Recursively generated B-spline surfaces on arbitrary topological
meshes"; open borders follow the cubic B-spline curve.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .mesh import scatter_sum, triangulate


@dataclass(frozen=True, slots=True)
class Refined:
    """One level of subdivision.

    Attributes
    ----------
    points : (n + e + m, d) moved vertices, then one point an edge, then one point a face.
    quads : (4 m, 4); the four children of a face stand together, in the order of its corners.
    edge_points : (m, 4) index of the point on the edge from corner k to corner k + 1 of each face.
    face_points : (m,) index of the point of each face.
    """

    points: np.ndarray
    quads: np.ndarray
    edge_points: np.ndarray
    face_points: np.ndarray


def refine(points: np.ndarray, quads: np.ndarray) -> Refined:
    """Subdivide once; `points` (n, d) may carry attributes after x, y, z, which are smoothed alike.

    Every vertex must belong to a face.
    """
    n, m = len(points), len(quads)
    centres = points[quads].mean(axis=1)
    ends = np.sort(np.stack([quads, np.roll(quads, -1, axis=1)], axis=-1).reshape(-1, 2), axis=1)
    keys, edge_of_side = np.unique(ends[:, 0] * n + ends[:, 1], return_inverse=True)
    edges = np.stack([keys // n, keys % n], axis=1)
    e = len(edges)

    sides = np.bincount(edge_of_side, minlength=e)
    middles = points[edges].mean(axis=1)
    beside = scatter_sum(edge_of_side, np.repeat(centres, 4, axis=0), e)
    border = sides == 1
    on_edges = np.where(border[:, None], middles, (2 * middles + beside) / (2 + sides)[:, None])

    corner = quads.ravel()
    faces_at = np.bincount(corner, minlength=n)[:, None]
    mean_centre = scatter_sum(corner, np.repeat(centres, 4, axis=0), n) / faces_at
    edges_at = np.bincount(edges.ravel(), minlength=n)[:, None]
    mean_middle = scatter_sum(edges.T.ravel(), np.tile(middles, (2, 1)), n) / edges_at
    moved = (mean_centre + 2 * mean_middle + (edges_at - 3) * points) / edges_at

    rim = edges[border]
    rim_count = np.bincount(rim.ravel(), minlength=n)[:, None]
    across = scatter_sum(rim.T.ravel(), np.concatenate([points[rim[:, 1]], points[rim[:, 0]]]), n)
    on_rim = 0.75 * points + 0.25 * across / np.maximum(rim_count, 1)
    moved = np.where(rim_count > 0, on_rim, moved)

    edge_points = edge_of_side.reshape(m, 4) + n
    face_points = np.arange(m) + n + e
    children = [
        np.stack([quads[:, k], edge_points[:, k], face_points, edge_points[:, k - 1]], axis=1) for k in range(4)
    ]
    return Refined(
        np.concatenate([moved, on_edges, centres]),
        np.stack(children, axis=1).reshape(-1, 4),
        edge_points,
        face_points,
    )


def refine_part(points: np.ndarray, quads: np.ndarray, fine: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Subdivide only the faces marked in `fine` (m,) and return points and conforming triangles.

    The fine part is refined together with its neighbours, so that its border follows the same surface; the
    neighbours take over the border's new points and are cut into fans around their own middle. No edge is
    left with a vertex hanging on it.
    """
    n = len(points)
    touched = np.zeros(n, bool)
    touched[quads[fine]] = True
    near = touched[quads].any(axis=1)
    local = np.full(n, -1)
    used = np.unique(quads[near])
    local[used] = np.arange(len(used))
    level = refine(points[used], local[quads[near]])

    fine_near = fine[near]
    out = points.copy()
    out[touched] = level.points[local[touched]]
    # The refined vertices stand for the old ones; edge and face points follow after the old list.
    place = np.concatenate([used, n + np.arange(len(level.points) - len(used))])
    out = np.concatenate([out, level.points[len(used) :]])

    fine_triangles = triangulate(place[level.quads[np.repeat(fine_near, 4)]])
    split = np.zeros(len(level.points), bool)
    split[level.edge_points[fine_near]] = True
    rim = ~fine_near
    has_split = split[level.edge_points[rim]]
    fans = has_split.any(axis=1)
    rim_quads = quads[near][rim]
    corner, following = rim_quads[fans], np.roll(rim_quads[fans], -1, axis=1)
    middle = np.repeat(place[level.face_points[rim][fans]], 4)
    on_edge = np.where(has_split[fans], place[level.edge_points[rim][fans]], following)
    first = np.stack([middle, corner.ravel(), on_edge.ravel()], axis=1)
    second = np.stack([middle, on_edge.ravel(), following.ravel()], axis=1)
    second = second[has_split[fans].ravel()]

    plain = np.concatenate([quads[~near], rim_quads[~fans]])
    return out, np.concatenate([fine_triangles, first, second, triangulate(plain)])
