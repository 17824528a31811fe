"""Where things stand and which way they look, said as a photographer says it.

Azimuth 0 is toward the front of the set (+z) and grows toward the camera's right (+x); elevation grows upward;
distances are straight lines, as a tape measures them.
"""

from __future__ import annotations

import math

import numpy as np

_UP = np.array([0.0, 1.0, 0.0])
_BACK = np.array([0.0, 0.0, -1.0])
_PLUMB = 1e-3
_ROUNDING = 1e-9


def direction(azimuth_deg: float, elevation_deg: float) -> np.ndarray:
    """Unit vector (3,) from the aim point toward a place at this azimuth and elevation (degrees)."""
    azimuth, elevation = math.radians(azimuth_deg), math.radians(elevation_deg)
    level = math.cos(elevation)
    return np.array([level * math.sin(azimuth), math.sin(elevation), level * math.cos(azimuth)])


def angles_deg(toward: np.ndarray) -> tuple[float, float]:
    """Azimuth (-180 to 180) and elevation, degrees, of a direction (3,) of any length: what `direction` undoes."""
    x, y, z = (float(v) for v in toward)
    return math.degrees(math.atan2(x, z)), math.degrees(math.atan2(y, math.hypot(x, z)))


def angles_from_camera_deg(toward: np.ndarray, camera_azimuth_deg: float) -> tuple[float, float]:
    """Azimuth (-180 to 180) and elevation, degrees, of a direction (3,) from the sitter, as every output says it.

    Azimuth 0 is the camera's direction, positive to camera right. The camera's direction is the azimuth at which it
    stands, 0 at the front of the set; so with the camera there, azimuths are those of the scene file.
    """
    azimuth, elevation = angles_deg(toward)
    return (azimuth - camera_azimuth_deg + 180.0) % 360.0 - 180.0, elevation


def elevation_for_height(aim_height_m: float, height_m: float, distance_m: float) -> float:
    """Elevation (degrees) at which something `distance_m` from the aim point is `height_m` above the floor.

    Raises
    ------
    ValueError
        When the height differs from the aim's by more than the distance.
    """
    rise = height_m - aim_height_m
    if abs(rise) > distance_m * (1 + _ROUNDING):
        raise ValueError("the height differs from the aim point's by more than the distance")
    return math.degrees(math.asin(max(-1.0, min(1.0, rise / distance_m))))


def place_around(aim_m: np.ndarray, azimuth_deg: float, elevation_deg: float, distance_m: float) -> np.ndarray:
    """Place (3,) in metres at this azimuth, elevation and distance around the aim point."""
    return np.asarray(aim_m, float) + distance_m * direction(azimuth_deg, elevation_deg)


def look_frame(
    origin_m: np.ndarray, target_m: np.ndarray, roll_deg: float = 0.0
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Right, up and forward (each (3,), orthonormal) of something at `origin_m` that looks at `target_m`.

    The horizon is level; looking straight up or down, "up" points to the back of the set (down) or its front (up).
    `roll_deg` then turns it clockwise as it sees the world.

    Raises
    ------
    ValueError
        When both places are the same.
    """
    forward = np.asarray(target_m, float) - np.asarray(origin_m, float)
    length = float(np.linalg.norm(forward))
    if length < 1e-6:
        raise ValueError("cannot aim at the very place one stands on")
    forward /= length
    plumb = math.hypot(forward[0], forward[2]) < _PLUMB
    hint = _BACK * -math.copysign(1.0, forward[1]) if plumb else _UP
    right = np.cross(forward, hint)
    right /= np.linalg.norm(right)
    up = np.cross(right, forward)
    c, s = math.cos(math.radians(roll_deg)), math.sin(math.radians(roll_deg))
    return c * right - s * up, c * up + s * right, forward


def turn_about_up(points: np.ndarray, turn_deg: float) -> np.ndarray:
    """Points or directions (..., 3) turned about the vertical; positive turns the front toward camera right."""
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    x, y, z = points[..., 0], points[..., 1], points[..., 2]
    return np.stack([c * x + s * z, y, c * z - s * x], axis=-1).astype(points.dtype)
