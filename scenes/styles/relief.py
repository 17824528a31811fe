"""A face as its front view: a raster of points with heights and normals, and the shadows it casts on itself."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from .frame import FaceFrame

CELL_M = 0.002
"""Side of a raster cell, metres: a nose is some eighteen cells wide."""

_HALF_WIDTH = 1.35
_ABOVE_BROW, _BELOW_CHIN = 0.35, 0.1
_DEEPEST = 1.4
_STEEPEST = 0.2
_REACH_M = 0.07
_LIFT_M = 0.0004
_STANDS_OUT_M = 0.003
_MOST_SAMPLES = 64


@dataclass(frozen=True, slots=True)
class Relief:
    """The front view of a face on a raster of (rows, columns): row 0 is lowest, column 0 at the sitter's right.

    Attributes
    ----------
    frame : the face.
    u_m : (columns,), v_m : (rows,), middles of the cells in the face's own coordinates, metres.
    height_m : (rows, columns), w of the foremost surface; NaN where there is none.
    normals : (rows, columns, 3), unit normals along the face's own axes.
    seen : (rows, columns) bool, cells of the face that count: there is skin, and it does not stand edge-on.
    """

    frame: FaceFrame
    u_m: np.ndarray
    v_m: np.ndarray
    height_m: np.ndarray
    normals: np.ndarray
    seen: np.ndarray

    def points(self) -> np.ndarray:
        """(rows, columns, 3), the cells in the face's own coordinates."""
        u, v = np.meshgrid(self.u_m, self.v_m)
        return np.stack([u, v, self.height_m], axis=-1)

    def tip(self) -> np.ndarray:
        """(3,), the tip of the nose in the face's own coordinates: the foremost cell about the nose landmark."""
        frame, points = self.frame, self.points()
        reach = 0.25 * frame.eye_span_m
        near = np.hypot(points[..., 0] - frame.nose_m[0], points[..., 1] - frame.nose_m[1]) < reach
        height = np.where(near & np.isfinite(self.height_m), self.height_m, -np.inf)
        row, column = np.unravel_index(int(np.argmax(height)), height.shape)
        found: np.ndarray = points[row, column] if np.isfinite(height[row, column]) else frame.nose_m
        return found


def face_relief(frame: FaceFrame, meshes: Iterable[tuple[np.ndarray, np.ndarray, np.ndarray]]) -> Relief:
    """The front view of a face.

    Parameters
    ----------
    meshes : vertices (n, 3) in the world, faces (m, 3) and vertex normals (n, 3) of the skin of the head.
    """
    span = frame.eye_span_m
    u_m = np.arange(-_HALF_WIDTH * span, _HALF_WIDTH * span + CELL_M / 2, CELL_M)
    v_m = np.arange(frame.chin_m - _BELOW_CHIN * span, frame.brow_m + _ABOVE_BROW * span, CELL_M)
    height = np.full((len(v_m), len(u_m)), np.nan)
    normals = np.zeros((*height.shape, 3))
    deepest = frame.nose_m[2] - _DEEPEST * span
    for vertices, faces, vertex_normals in meshes:
        own = frame.local(vertices)
        near = (np.abs(own[:, 0]) < u_m[-1] + CELL_M) & (own[:, 1] > v_m[0] - CELL_M) & (own[:, 1] < v_m[-1] + CELL_M)
        points, turned = _samples(own, faces[(near & (own[:, 2] > deepest))[faces].any(axis=1)], vertex_normals)
        turned = frame.turned(turned)
        column = np.rint((points[:, 0] - u_m[0]) / CELL_M).astype(int)
        row = np.rint((points[:, 1] - v_m[0]) / CELL_M).astype(int)
        inside = (column >= 0) & (column < len(u_m)) & (row >= 0) & (row < len(v_m)) & (points[:, 2] > deepest)
        row, column, points, turned = (array[inside] for array in (row, column, points, turned))
        level = _in_the_middle(points, turned, u_m[column], v_m[row])
        order = np.argsort(level, kind="stable")
        row, column, level, turned = (array[order] for array in (row, column, level, turned))
        higher = ~(level <= height[row, column])
        height[row[higher], column[higher]] = level[higher]  # the last of several, the foremost, stays
        normals[row[higher], column[higher]] = turned[higher]
    seen = np.isfinite(height) & (normals[..., 2] > _STEEPEST)
    return Relief(frame, u_m, v_m, height, normals, seen)


def _in_the_middle(points: np.ndarray, normals: np.ndarray, u_m: np.ndarray, v_m: np.ndarray) -> np.ndarray:
    """Heights (n,) of the planes through points (n, 3) with normals (n, 3) at the middles of their cells: on a steep
    flank a point beside the middle lies as much as a cell higher or lower."""
    rise = normals[:, 0] * (points[:, 0] - u_m) + normals[:, 1] * (points[:, 1] - v_m)
    found: np.ndarray = points[:, 2] + np.clip(rise / np.maximum(normals[:, 2], _STEEPEST), -CELL_M, CELL_M)
    return found


def _samples(points: np.ndarray, faces: np.ndarray, normals: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Points (n, 3) and unit normals spread over triangles that look to the front, closer than half a cell."""
    a, b, c = (points[faces[:, k]] for k in range(3))
    longest = np.max([np.ptp(np.stack([p, q]), axis=0).max(axis=1) for p, q in ((a, b), (b, c), (c, a))], axis=0)
    front = np.cross(b - a, c - a)[:, 2] > 0
    steps = np.clip(np.ceil(2 * longest / CELL_M).astype(int), 1, _MOST_SAMPLES)
    spots, ways = [points[:0]], [np.zeros((0, 3))]
    for count in np.unique(steps[front]):
        chosen = faces[front & (steps == count)]
        i, j = np.meshgrid(np.arange(count + 1), np.arange(count + 1))
        kept = i + j <= count
        share = np.stack([i[kept], j[kept], count - i[kept] - j[kept]], axis=1) / count
        spots.append(np.einsum("sk,fkx->fsx", share, points[chosen]).reshape(-1, 3))
        ways.append(np.einsum("sk,fkx->fsx", share, normals[chosen]).reshape(-1, 3))
    way = np.concatenate(ways)
    return np.concatenate(spots), way / np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-9)


def nose_zone(frame: FaceFrame, points: np.ndarray) -> np.ndarray:
    """Which points (..., 3), in the face's own coordinates, belong to the nose: (...) bool.

    A wedge from the bridge between the eyes to under the nostrils, as wide there as noses are (0.66 of the distance
    between the pupils, from memory).
    """
    span, nose = frame.eye_span_m, frame.nose_m
    top = frame.eye_line_m + 0.05 * span
    down = np.clip((top - points[..., 1]) / (top - nose[1]), 0, 1)
    half = span * (0.16 + 0.17 * down)
    inside: np.ndarray = (
        (np.abs(points[..., 0] - nose[0]) < half)
        & (points[..., 1] < top)
        & (points[..., 1] > _nose_base(frame))
        & (points[..., 2] > nose[2] - span)
    )
    return inside


def nose_cells(relief: Relief) -> np.ndarray:
    """Cells of the nose itself, (rows, columns) bool: those of its wedge that stand out of the face about it, which is
    taken to run straight across from one side of the wedge to the other."""
    wedge = nose_zone(relief.frame, relief.points())
    columns = np.arange(len(relief.u_m))
    found = np.zeros_like(wedge)
    for row in np.flatnonzero(wedge.any(axis=1)):
        beside = np.isfinite(relief.height_m[row]) & ~wedge[row]
        if beside.any():
            face = np.interp(columns, columns[beside], relief.height_m[row, beside])
            found[row] = wedge[row] & (relief.height_m[row] > face + _STANDS_OUT_M)
    return found


def under_nose(frame: FaceFrame, points: np.ndarray) -> np.ndarray:
    """Which points (..., 3), in the face's own coordinates, lie between the nostrils and the upper lip: (...) bool."""
    base = _nose_base(frame)
    inside: np.ndarray = (
        (np.abs(points[..., 0] - frame.nose_m[0]) < 0.33 * frame.eye_span_m)
        & (points[..., 1] <= base)
        & (points[..., 1] > frame.lip_m)
    )
    return inside


def _nose_base(frame: FaceFrame) -> float:
    """Where the nose meets the upper lip, along the face's own v."""
    return float(frame.nose_m[1] - 0.28 * (frame.nose_m[1] - frame.lip_m))


def without_nose(relief: Relief) -> Relief:
    """The same face with a hole where the nose was."""
    nose = nose_zone(relief.frame, relief.points())
    height = np.where(nose, relief.height_m - relief.frame.eye_span_m, relief.height_m)
    return replace(relief, height_m=height)


def shadowed(relief: Relief, light_m: np.ndarray, points: np.ndarray | None = None) -> np.ndarray:
    """Which cells the face itself keeps from a small light: (rows, columns) bool.

    Parameters
    ----------
    light_m : (3,) in the face's own coordinates, metres.
    points : (rows, columns, 3), cells in the face's own coordinates, where they are not those of the relief.
    """
    known = np.isfinite(relief.height_m) if points is None else np.isfinite(points[..., 2])
    start = (relief.points() if points is None else points)[known]
    toward = light_m - start
    toward = toward / np.linalg.norm(toward, axis=-1, keepdims=True)
    filled = np.where(np.isfinite(relief.height_m), relief.height_m, -np.inf)
    covered = np.zeros(len(start), bool)
    for step in np.arange(1.5 * CELL_M, _REACH_M, CELL_M):
        at = start + step * toward
        covered |= _height_at(relief, filled, at) > at[:, 2] + _LIFT_M
    dark = np.zeros(known.shape, bool)
    dark[known] = covered
    return dark


def _height_at(relief: Relief, filled: np.ndarray, at: np.ndarray) -> np.ndarray:
    """Height of the relief at points (n, 3), linear between the middles of its cells; minus infinity where one of them
    is beside the face."""
    rows, columns = filled.shape
    x, y = (at[:, 0] - relief.u_m[0]) / CELL_M, (at[:, 1] - relief.v_m[0]) / CELL_M
    inside = (x >= 0) & (x <= columns - 1) & (y >= 0) & (y <= rows - 1)
    x, y = np.where(inside, x, 0), np.where(inside, y, 0)
    j, i = np.minimum(x.astype(int), columns - 2), np.minimum(y.astype(int), rows - 2)
    s, t = x - j, y - i
    corners = [(filled[i + di, j + dj], (t if di else 1 - t) * (s if dj else 1 - s)) for di in (0, 1) for dj in (0, 1)]
    whole = inside & np.all([np.isfinite(value) for value, _ in corners], axis=0)
    found: np.ndarray = np.where(whole, sum(np.where(whole, value, 0) * share for value, share in corners), -np.inf)
    return found
