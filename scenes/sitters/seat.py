"""The block a seated figure sits on."""

from __future__ import annotations

import numpy as np

from .mesh import unit

WIDTH_M = 0.42
DEPTH_M = 0.40
_BEVEL_M = 0.006


def block(x_m: float, z_m: float, top_m: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Vertices (24, 3), triangles (44, 3) and normals of a box with bevelled edges.

    It stands on y = 0, reaches up to `top_m`, and is centred on x and z. Each corner has one vertex a side,
    with that side's normal; the bevels run between them, so that light rolls over the edges.
    """
    size = np.array([WIDTH_M, top_m, DEPTH_M])
    centre = np.array([x_m, top_m / 2, z_m])
    signs = np.array([[i, j, k] for i in (-1, 1) for j in (-1, 1) for k in (-1, 1)], float)
    vertices: list[np.ndarray] = []
    normals: list[np.ndarray] = []
    number: dict[tuple[int, tuple[float, ...]], int] = {}
    for axis in range(3):
        for sign in signs:
            inset = np.where(np.arange(3) == axis, 0.0, _BEVEL_M)
            number[axis, tuple(sign)] = len(vertices)
            vertices.append(centre + sign * (size / 2 - inset))
            normals.append(sign * (np.arange(3) == axis))
    faces: list[tuple[int, ...]] = []
    for axis in range(3):
        b, c = (axis + 1) % 3, (axis + 2) % 3
        for side in (-1.0, 1.0):
            ring = [_corner(axis, side, b, sb, c, sc) for sb, sc in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
            faces += _fan([number[axis, corner] for corner in ring])
        for sb in (-1.0, 1.0):
            for sc in (-1.0, 1.0):
                low, high = (_corner(axis, s, b, sb, c, sc) for s in (-1.0, 1.0))
                faces += _fan([number[b, low], number[b, high], number[c, high], number[c, low]])
    faces += [tuple(number[axis, tuple(sign)] for axis in range(3)) for sign in signs]
    points = np.array(vertices)
    triangles = np.array(faces)
    a, b_, c_ = (points[triangles[:, k]] for k in range(3))
    inward = (np.cross(b_ - a, c_ - a) * (a - centre)).sum(axis=1) < 0
    triangles[inward] = triangles[inward][:, ::-1]
    return points, triangles, unit(np.array(normals))


def _corner(axis: int, side: float, b: int, side_b: float, c: int, side_c: float) -> tuple[float, float, float]:
    sign = [0.0, 0.0, 0.0]
    sign[axis], sign[b], sign[c] = side, side_b, side_c
    return sign[0], sign[1], sign[2]


def _fan(ring: list[int]) -> list[tuple[int, ...]]:
    return [(ring[0], ring[1], ring[2]), (ring[0], ring[2], ring[3])]
