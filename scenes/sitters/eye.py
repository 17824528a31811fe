"""The eyeball: a surface of revolution about the gaze, cornea and white in one smooth piece.

The cornea is an exact sphere of 8.2 mm (common anatomical figures are 7.7-8.0 mm for the front surface; the
globes here are a little large), so that the catchlights are clean pictures of the lights. Iris and pupil are
weights on its surface.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .noise import smooth_step, value_noise

CORNEA_RADIUS_M = 0.0082
IRIS_RADIUS_M = 0.0059
PUPIL_RADIUS_M = 0.0017
_SECTORS = 128
_BACK_RAD = np.radians(115.0)


@dataclass(frozen=True, slots=True)
class EyeMesh:
    """Vertices (n, 3), faces (m, 3), unit normals (n, 3) and weights (n, 3) in [0, 1] of one eye."""

    vertices: np.ndarray
    faces: np.ndarray
    normals: np.ndarray
    tints: np.ndarray


def _arc(radius: float, centre: float, angles: np.ndarray) -> np.ndarray:
    """Rows (distance from the axis, height on it, the normal's angle) along a circle about the axis."""
    return np.stack([radius * np.sin(angles), centre + radius * np.cos(angles), angles], axis=1)


def _fillet(start: np.ndarray, end: np.ndarray, count: int) -> np.ndarray:
    """Rows of a cubic Hermite curve that leaves `start` and reaches `end` along their tangents."""
    span = float(np.hypot(*(end[:2] - start[:2])))
    tangent0, tangent1 = (span * np.array([np.cos(p[2]), -np.sin(p[2])]) for p in (start, end))
    t = np.linspace(0.0, 1.0, count + 2)[1:-1, None]
    place = (
        (2 * t**3 - 3 * t**2 + 1) * start[:2]
        + (t**3 - 2 * t**2 + t) * tangent0
        + (3 * t**2 - 2 * t**3) * end[:2]
        + (t**3 - t**2) * tangent1
    )
    slope = (
        (6 * t**2 - 6 * t) * (start[:2] - end[:2]) + (3 * t**2 - 4 * t + 1) * tangent0 + (3 * t**2 - 2 * t) * tangent1
    )
    return np.column_stack([place, np.arctan2(-slope[:, 1], slope[:, 0])])


def profile(globe_radius_m: float) -> np.ndarray:
    """The outline (k, 3) of an eye: distance from the axis, height on it, the normal's angle to the axis."""
    limbus = np.arcsin(IRIS_RADIUS_M / globe_radius_m)
    seat = globe_radius_m * np.cos(limbus) - np.sqrt(CORNEA_RADIUS_M**2 - IRIS_RADIUS_M**2)
    radii = np.concatenate(
        [
            np.linspace(0.0, 0.94, 5) * PUPIL_RADIUS_M,
            np.array([1.0, 1.08]) * PUPIL_RADIUS_M,
            np.linspace(1.2 * PUPIL_RADIUS_M, 0.94 * IRIS_RADIUS_M, 18),
        ]
    )
    cornea = _arc(CORNEA_RADIUS_M, seat, np.arcsin(radii / CORNEA_RADIUS_M))
    white_angles = np.linspace(limbus + np.radians(2.0), _BACK_RAD, 34)
    white = _arc(globe_radius_m, 0.0, white_angles)
    return np.concatenate([cornea, _fillet(cornea[-1], white[0], 6), white])


def eye_mesh(centre: np.ndarray, globe_radius_m: float, axes: np.ndarray, seed: int) -> EyeMesh:
    """An eye at `centre` (3,) whose gaze is the third column of `axes` (3, 3).

    Weights: 1 the iris, 2 pupil and dark limbus, 3 the red of the corners; the rest is the white.
    """
    outline = profile(globe_radius_m)
    angle = np.arange(_SECTORS) * 2 * np.pi / _SECTORS
    around = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    radial, along, tilt = outline.T
    local = np.concatenate(
        [radial[:, None, None] * around, np.broadcast_to(along[:, None, None], (len(outline), _SECTORS, 1))],
        axis=-1,
    ).reshape(-1, 3)
    facing = np.concatenate(
        [
            np.sin(tilt)[:, None, None] * around,
            np.broadcast_to(np.cos(tilt)[:, None, None], (len(outline), _SECTORS, 1)),
        ],
        axis=-1,
    ).reshape(-1, 3)
    ring = np.arange(len(outline) - 1)[:, None] * _SECTORS
    here = np.arange(_SECTORS)[None]
    after = (here + 1) % _SECTORS
    corners = [ring + here, ring + _SECTORS + here, ring + _SECTORS + after, ring + after]
    a, b, c, d = (x.ravel() for x in np.broadcast_arrays(*corners))
    faces = np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)])
    # The innermost ring has radius 0: its first triangles have no area.
    faces = faces[~((faces[:, 0] < _SECTORS) & (faces[:, 2] < _SECTORS))]
    return EyeMesh(local @ axes.T + centre, faces, facing @ axes.T, _weights(outline, around, local, seed))


def _weights(outline: np.ndarray, around: np.ndarray, local: np.ndarray, seed: int) -> np.ndarray:
    rings = len(outline)
    radial = np.repeat(outline[:, 0], _SECTORS)
    front = np.repeat(outline[:, 2] < np.pi / 2, _SECTORS)
    azimuth = np.tile(around, (rings, 1))
    u = np.clip((radial - PUPIL_RADIUS_M) / (IRIS_RADIUS_M - PUPIL_RADIUS_M), 0.0, 1.0)

    fibre = value_noise(np.column_stack([azimuth * 9.0, 1.2 * u]), 1.0, seed)
    fibre += 0.7 * value_noise(np.column_stack([azimuth * 20.0, 2.5 * u]), 1.0, seed + 3)
    fibre = 0.5 + 0.5 * np.tanh(0.8 * fibre)
    edge = np.where(front, smooth_step(1.09 * IRIS_RADIUS_M, 0.97 * IRIS_RADIUS_M, radial), 0.0)
    pupil = smooth_step(1.10 * PUPIL_RADIUS_M, 0.97 * PUPIL_RADIUS_M, radial) * front
    dark = 0.06 + 0.55 * fibre * (1 - 0.4 * u) + 0.60 * smooth_step(0.68, 0.99, u)
    collarette = np.exp(-(((u - 0.28) / 0.10) ** 2))
    dark = np.clip(dark - 0.20 * collarette, 0.02, 0.9)
    light = 0.09 * (1 - fibre) * (1 - smooth_step(0.6, 0.9, u))

    pupil_share = edge * (pupil + (1 - pupil) * dark * (1 - light))
    iris_share = edge * (1 - pupil) * (1 - dark) * (1 - light)

    off_axis = np.arctan2(radial, np.maximum(local[:, 2], -1.0))
    corner = smooth_step(np.radians(26.0), np.radians(55.0), off_axis) * np.abs(azimuth[:, 0]) ** 2
    thread = 1.0 - np.abs(np.tanh(2.2 * value_noise(local * [0.35, 1.0, 1.0], 0.0011, seed + 5)))
    vein = (1 - edge) * (0.05 + 0.30 * corner + 0.35 * np.sqrt(corner) * thread**6)
    return np.column_stack([iris_share, pupil_share, vein])
