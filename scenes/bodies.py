"""Solid geometry: what is inside a closed mesh, a fixture, or the picture."""

from __future__ import annotations

import math

import numpy as np

from .stage import Camera, Fixture

_DIAGONAL = math.sqrt(0.5)


def winding_number(point: np.ndarray, vertices: np.ndarray, faces: np.ndarray) -> float:
    """How often a mesh winds around a point: 1 inside, 0 outside, about that for meshes with holes.

    Parameters
    ----------
    point : (3,). vertices : (n, 3) and faces : (m, 3), counter-clockwise seen from outside.

    References
    ----------
    Van Oosterom and Strackee, IEEE Trans. Biomed. Eng. 30 (1983) 125: solid angle of a triangle. Jacobson et
    al., ACM Trans. Graph. 32 (2013) 33: the sum over an open mesh as a test of inside.
    """
    corners = np.asarray(vertices, float)[faces] - point
    length = np.linalg.norm(corners, axis=2)
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    la, lb, lc = length[:, 0], length[:, 1], length[:, 2]
    volume = np.einsum("ij,ij->i", a, np.cross(b, c))
    dots = [np.einsum("ij,ij->i", p, q) for p, q in ((a, b), (b, c), (c, a))]
    return float(np.arctan2(volume, la * lb * lc + dots[0] * lc + dots[1] * la + dots[2] * lb).sum() / (2 * math.pi))


def in_fixture(fixture: Fixture, points: np.ndarray, margin_m: float = 0.0) -> np.ndarray:
    """Which of the points (n, 3) lie inside a fixture's housing, made larger by a margin: (n,) bool."""
    away = np.asarray(points, float) - fixture.centre_m
    half = fixture.size_m / 2 + margin_m
    if fixture.shape == "sphere":
        inside: np.ndarray = np.einsum("ij,ij->i", away, away) <= half[0] ** 2
        return inside
    x, y, z = away @ fixture.right, away @ fixture.up, away @ fixture.forward
    if fixture.shape == "tube":
        return (np.abs(x) <= half[0]) & (y * y + z * z <= half[1] ** 2)
    inside = (z <= margin_m) & (z >= -fixture.body_depth_m - margin_m)
    if fixture.shape in ("disk", "spot"):
        radius2 = x * x + y * y
        return inside & (radius2 <= half[0] ** 2) & (radius2 >= max(fixture.hole_m / 2 - margin_m, 0) ** 2)
    inside &= (np.abs(x) <= half[0]) & (np.abs(y) <= half[1])
    if fixture.shape == "octagon":
        inside &= (np.abs(x + y) * _DIAGONAL <= half[0]) & (np.abs(x - y) * _DIAGONAL <= half[0])
    return inside


def exit_outline(fixture: Fixture) -> np.ndarray:
    """Outermost points (n, 3) of an exit area: the corners of a rectangle or tube, else eight points of the rim."""
    if fixture.shape == "sphere":
        axes = np.concatenate([np.eye(3), -np.eye(3)])
        return fixture.centre_m + axes * fixture.size_m[0] / 2
    if fixture.shape in ("rectangle", "tube"):
        units = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
    else:
        turn = np.arange(8) * math.pi / 4 + (math.pi / 8 if fixture.shape == "octagon" else 0)
        reach = 1 / math.cos(math.pi / 8) if fixture.shape == "octagon" else 1.0
        units = reach * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    across = units * fixture.size_m / 2
    return fixture.centre_m + across[:, :1] * fixture.right + across[:, 1:] * fixture.up


def project(camera: Camera, points: np.ndarray) -> np.ndarray:
    """Where points (n, 3) fall in the picture: (n, 3) of x and y from -1 to 1 (right, up) and depth in metres.

    A point behind the camera has a negative depth, and its x and y are NaN.
    """
    away = np.asarray(points, float) - camera.origin_m
    depth = away @ camera.forward
    safe = np.where(depth > 1e-9, depth, np.nan)
    x = away @ camera.right / safe / camera.tan_half_width
    y = away @ camera.up / safe / camera.tan_half_height
    return np.stack([x, y, depth], axis=1)


def in_frame(camera: Camera, points: np.ndarray) -> np.ndarray:
    """Which points (n, 3) are in the picture: (n,) bool."""
    seen = project(camera, points)
    with np.errstate(invalid="ignore"):
        inside: np.ndarray = (np.abs(seen[:, 0]) <= 1) & (np.abs(seen[:, 1]) <= 1)
    return inside
