"""Where a straight line first meets the set."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from scenes.stage import Shape, Stage

_NEAREST_M = 1e-4


def first_surface(stage: Stage, origin_m: np.ndarray, direction: np.ndarray) -> float | None:
    """Distance (m) along a unit direction (3,) to the first surface of the stage; None where the line meets nothing.

    References
    ----------
    Moller and Trumbore 1997, Fast, minimum storage ray/triangle intersection.
    """
    return first_met(stage.shapes, origin_m, direction)


def first_met(shapes: Iterable[Shape], origin_m: np.ndarray, direction: np.ndarray) -> float | None:
    """Distance (m) along a unit direction (3,) to the first of some surfaces; None where the line meets none."""
    met = [_meet(shape, np.asarray(origin_m, float), np.asarray(direction, float)) for shape in shapes]
    nearest = min(met, default=np.inf)
    return float(nearest) if np.isfinite(nearest) else None


def _meet(shape: Shape, origin: np.ndarray, direction: np.ndarray) -> float:
    if not _crosses_box(shape, origin, direction):
        return float("inf")
    a, b, c = (shape.vertices[shape.faces[:, k]].astype(float) for k in range(3))
    p = np.cross(direction, c - a)
    det = np.einsum("ij,ij->i", b - a, p)
    flat = np.abs(det) < 1e-14
    inverse = 1 / np.where(flat, 1.0, det)
    away = origin - a
    u = np.einsum("ij,ij->i", away, p) * inverse
    q = np.cross(away, b - a)
    v = q @ direction * inverse
    t = np.einsum("ij,ij->i", c - a, q) * inverse
    met = ~flat & (u >= 0) & (v >= 0) & (u + v <= 1) & (t > _NEAREST_M)
    return float(t[met].min()) if met.any() else float("inf")


def _crosses_box(shape: Shape, origin: np.ndarray, direction: np.ndarray) -> bool:
    low, high = shape.vertices.min(axis=0) - 1e-3, shape.vertices.max(axis=0) + 1e-3
    safe = np.where(np.abs(direction) < 1e-12, 1e-12, direction)
    near, far = (low - origin) / safe, (high - origin) / safe
    return bool(np.minimum(near, far).max() <= np.maximum(near, far).min())
