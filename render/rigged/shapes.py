"""Simple solids for drawing the set, each a triangle mesh with one normal a corner.

Local axes of everything that has a front: +x to its right, +y up, +z to its back, so its front looks along -z.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import trimesh

SIDES = 32


def solid(vertices: np.ndarray, faces: np.ndarray, normals: np.ndarray) -> trimesh.Trimesh:
    """A mesh as given, nothing merged: `vertices` (n, 3), `faces` (m, 3), `normals` (n, 3)."""
    import trimesh

    return trimesh.Trimesh(
        vertices=np.asarray(vertices, float), faces=np.asarray(faces, np.int64),
        vertex_normals=np.asarray(normals, float), process=False, validate=False,
    )  # fmt: skip


def joined(meshes: Sequence[trimesh.Trimesh]) -> trimesh.Trimesh:
    """Several meshes as one."""
    starts = np.cumsum([0, *(len(m.vertices) for m in meshes)])
    return solid(
        np.concatenate([m.vertices for m in meshes]),
        np.concatenate([m.faces + start for m, start in zip(meshes, starts, strict=False)]),
        np.concatenate([m.vertex_normals for m in meshes]),
    )


def placed(mesh: trimesh.Trimesh, at_m: np.ndarray, axes: np.ndarray) -> trimesh.Trimesh:
    """A mesh of local axes moved to a place (3,), its axes the columns of a rotation (3, 3)."""
    return solid(mesh.vertices @ axes.T + np.asarray(at_m, float), mesh.faces, mesh.vertex_normals @ axes.T)


def lifted(place_m: np.ndarray, by_m: float) -> np.ndarray:
    """A place (3,) so much higher."""
    return np.asarray(place_m, float) + np.array([0.0, by_m, 0.0])


def axes_along(direction: np.ndarray) -> np.ndarray:
    """A rotation (3, 3) whose third column is a direction (3,)."""
    z = np.asarray(direction, float) / np.linalg.norm(direction)
    x = np.cross(np.array([0.0, 1.0, 0.0]) if abs(z[1]) < 0.9 else np.array([1.0, 0.0, 0.0]), z)
    x /= np.linalg.norm(x)
    return np.stack([x, np.cross(z, x), z], axis=1)


def quads(corners: np.ndarray) -> trimesh.Trimesh:
    """Flat four-cornered faces (n, 4, 3), counter-clockwise seen from their front."""
    corners = np.asarray(corners, float)
    normal = np.cross(corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1])
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-12)
    first = 4 * np.arange(len(corners))[:, None]
    faces = np.concatenate([first + np.array(corner) for corner in ((0, 1, 2), (0, 2, 3))])
    return solid(corners.reshape(-1, 3), faces, np.repeat(normal, 4, axis=0))


def lathe(profile: Sequence[tuple[float, float]], sides: int = SIDES) -> trimesh.Trimesh:
    """A body of revolution about z from a line of (z, radius), metres; it faces out where the line runs toward +z.

    Round between its sides (for eight sides or fewer, flat), with an edge at every point of the line.
    """
    line = np.asarray(profile, float)
    turn = np.linspace(0, 2 * math.pi, sides + 1)
    ring = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    meshes = []
    for (z0, r0), (z1, r1) in pairwise(line):
        low = np.column_stack([r0 * ring, np.full(sides + 1, z0)])
        high = np.column_stack([r1 * ring, np.full(sides + 1, z1)])
        corners = np.stack([low[:-1], low[1:], high[1:], high[:-1]], axis=1)
        strip = quads(corners)
        if sides > 8:
            slope = np.array([z1 - z0, r0 - r1]) / max(math.hypot(z1 - z0, r1 - r0), 1e-12)
            normals = np.column_stack([slope[0] * ring, np.full(sides + 1, slope[1])])
            strip = solid(strip.vertices, strip.faces, _around(normals))
        meshes.append(strip)
    return joined(meshes)


def _around(normals: np.ndarray) -> np.ndarray:
    return np.stack([normals[:-1], normals[1:], normals[1:], normals[:-1]], axis=1).reshape(-1, 3)


def rod(start_m: np.ndarray, end_m: np.ndarray, radius_m: float, sides: int = 12) -> trimesh.Trimesh:
    """A round rod between two places (3,)."""
    along = np.asarray(end_m, float) - start_m
    length = float(np.linalg.norm(along))
    body = lathe([(0, 0), (0, radius_m), (length, radius_m), (length, 0)], sides)
    return placed(body, start_m, axes_along(along))


def ball(centre_m: np.ndarray, radius_m: float) -> trimesh.Trimesh:
    """A ball, smooth all over."""
    import trimesh

    body = trimesh.creation.icosphere(subdivisions=3, radius=radius_m)
    return solid(body.vertices + np.asarray(centre_m, float), body.faces, body.vertices / radius_m)


def box(low: Sequence[float], high: Sequence[float]) -> trimesh.Trimesh:
    """A box between two corners (3,)."""
    (x0, y0, z0), (x1, y1, z1) = low, high
    a, b, c, d = (x0, y0), (x1, y0), (x1, y1), (x0, y1)
    return loft(np.array([a, b, c, d]), z0, np.array([a, b, c, d]), z1)


def loft(near: np.ndarray, z_near: float, far: np.ndarray, z_far: float, *, caps: bool = True) -> trimesh.Trimesh:
    """The flat-sided body between two outlines (n, 2), counter-clockwise seen from +z, at two depths."""
    low = np.column_stack([near, np.full(len(near), z_near)])
    high = np.column_stack([far, np.full(len(far), z_far)])
    sides = quads(np.stack([low, np.roll(low, -1, 0), np.roll(high, -1, 0), high], axis=1))
    if not caps:
        return sides
    return joined([sides, plate(near, z_near, front=True), plate(far, z_far, front=False)])


def plate(outline: np.ndarray, z: float, *, front: bool) -> trimesh.Trimesh:
    """A flat convex plate (n, 2) at a depth, seen from the front (-z) or the back."""
    count = len(outline)
    rim = np.arange(count)
    faces = np.column_stack([np.full(count, count), rim, np.roll(rim, -1)])
    points = np.column_stack([np.vstack([outline, outline.mean(axis=0)]), np.full(count + 1, z)])
    normals = np.tile([0.0, 0.0, -1.0 if front else 1.0], (count + 1, 1))
    return solid(points, faces[:, ::-1] if front else faces, normals)


def flipped(mesh: trimesh.Trimesh) -> trimesh.Trimesh:
    """The same surface seen from its other side."""
    return solid(mesh.vertices, mesh.faces[:, ::-1], -mesh.vertex_normals)


def rectangle(width_m: float, height_m: float) -> np.ndarray:
    """Outline (4, 2) of a rectangle."""
    return np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * [width_m / 2, height_m / 2]


def regular(diameter_m: float, corners: int) -> np.ndarray:
    """Outline (n, 2) of a regular polygon, `diameter_m` across its flats, two of them upright."""
    turn = (np.arange(corners) + 0.5) * 2 * math.pi / corners
    reach = diameter_m / 2 / math.cos(math.pi / corners)
    return reach * np.column_stack([np.cos(turn), np.sin(turn)])
