"""What lies around the set: ground out to the horizon, and a hedge, a wall, trees or hills before the sky."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from .model import Ground, Room, Scene
from .studio import Surface, joined_quads

HORIZON_M = 5000.0
"""Where the ground ends: at eye height its edge lies 0.02 degrees under the horizon, less than a pixel."""

STEP_DOWN_M = 0.2
"""How far ground outside lies under a room's floor where the scene does not say (common practice, no source)."""

BEHIND_CAMERA_M = 3.0
"""How far a hedge or wall stands behind a camera that would be beyond it, metres."""

_RINGS_M = (400.0, HORIZON_M)
_AROUND = 64
_OUTLINE = 1440


def has_outside(room: Room | None, lights: bool) -> bool:
    """Whether there is an outdoors to see: an open location, or a room with a way out and light from far away."""
    return room is None or bool(room.window) or (bool(room.open) and lights)


def far_surfaces(scene: Scene, near_radius_m: float) -> Iterator[tuple[Surface, str, str]]:
    """Surfaces around the set, each with its region and the name of its finish; none around a closed room.

    Parameters
    ----------
    near_radius_m : where the near ground of an open location ends.
    """
    far_lights = any(light.shape in ("sun", "sky") for light in scene.light.values())
    if not has_outside(scene.room, far_lights):
        return
    ground = scene.ground or Ground()
    level = 0.0 if scene.room is None else -(ground.below_m or STEP_DOWN_M)
    radii = [near_radius_m, *(r for r in _RINGS_M if r > near_radius_m)]
    if scene.room is not None:
        radii = [0.0, 50.0, *_RINGS_M]
    yield _rings("around.ground", radii, level), "floor", ground.finish
    side = ground.far_side()
    if side is None:
        return
    distance, height, finish = side
    if ground.beyond in ("hedge", "wall"):
        yield _enclosure(f"around.{ground.beyond}", distance, height, level, _camera_xz(scene)), "wall", finish
    else:
        yield _skyline(f"around.{ground.beyond}", distance, height, level, ground.beyond == "hills"), "wall", finish


def _camera_xz(scene: Scene) -> tuple[float, float]:
    x, _, z = scene.camera.at_m or (0.0, 0.0, scene.camera.distance_m or 0.0)
    return x, z


def enclosure(distance_m: float, camera_xz: tuple[float, float]) -> tuple[np.ndarray, np.ndarray]:
    """Corners (2,) in x and z of what a hedge or wall encloses: `distance_m` to every side of the sitter, and farther
    where the camera stands there."""
    camera = np.array(camera_xz)
    low, high = np.full(2, -distance_m), np.full(2, distance_m)
    return np.minimum(low, camera - BEHIND_CAMERA_M), np.maximum(high, camera + BEHIND_CAMERA_M)


def hides(ground: Ground, camera_xz: tuple[float, float], point: np.ndarray, toward: np.ndarray, level: float) -> bool:
    """Whether what stands beyond the ground stands between a point (3,) and what is far away `toward` (3,)."""
    side = ground.far_side()
    if side is None:
        return False
    distance, height, _ = side
    if ground.beyond in ("hedge", "wall"):
        low, high = enclosure(distance, camera_xz)
        flat = toward[[0, 2]]
        edge = np.where(flat > 0, high, low) - point[[0, 2]]
        run = float(np.min(edge[np.abs(flat) > 1e-9] / flat[np.abs(flat) > 1e-9], initial=np.inf))
        return bool(point[1] + run * toward[1] < level + height)
    level_run = math.hypot(float(toward[0]), float(toward[2]))
    if level_run < 1e-9:
        return False
    turn = math.atan2(float(toward[0]), float(toward[2]))
    top = level + height * float(_outline(np.array([turn]), ground.beyond == "hills")[0])
    return bool(point[1] + distance * float(toward[1]) / level_run < top)


def _rings(name: str, radii: list[float], level: float) -> Surface:
    """Rings of ground, facing up."""
    turn = np.linspace(0, 2 * math.pi, _AROUND, endpoint=False)
    circle = np.stack([np.sin(turn), np.zeros(_AROUND), np.cos(turn)], axis=1)
    vertices = np.concatenate([r * circle for r in radii]) + np.array([0, level, 0])
    i = np.arange(_AROUND)
    after = (i + 1) % _AROUND
    faces = []
    for ring in range(len(radii) - 1):
        a, b = ring * _AROUND, (ring + 1) * _AROUND
        faces += [np.stack([a + i, b + i, b + after], axis=1), np.stack([a + i, b + after, a + after], axis=1)]
    normals = np.tile([0.0, 1.0, 0.0], (len(vertices), 1))
    return Surface(
        name, vertices.astype(np.float32), np.concatenate(faces).astype(np.int32), normals.astype(np.float32)
    )


def _enclosure(name: str, distance: float, height: float, level: float, camera_xz: tuple[float, float]) -> Surface:
    low, high = enclosure(distance, camera_xz)
    corners = [(low[0], low[1]), (high[0], low[1]), (high[0], high[1]), (low[0], high[1])]
    quads = []
    for (ax, az), (bx, bz) in zip(corners, corners[1:] + corners[:1], strict=True):
        quads.append(np.array([[ax, level, az], [bx, level, bz], [bx, level + height, bz], [ax, level + height, az]]))
    return joined_quads(name, quads, toward=np.zeros(3))


def _skyline(name: str, distance: float, height: float, level: float, far: bool) -> Surface:
    """A band around the set whose upper edge is that of tree tops, or of hills."""
    turn = np.linspace(0, 2 * math.pi, _OUTLINE, endpoint=False)
    top = level + height * _outline(turn, far)
    x, z = distance * np.sin(turn), distance * np.cos(turn)
    vertices = np.concatenate([np.stack([x, np.full(_OUTLINE, level), z], 1), np.stack([x, top, z], 1)])
    i = np.arange(_OUTLINE)
    after = (i + 1) % _OUTLINE
    faces = np.concatenate(
        [np.stack([i, i + _OUTLINE, after + _OUTLINE], axis=1), np.stack([i, after + _OUTLINE, after], axis=1)]
    )
    normals = np.tile(np.stack([-np.sin(turn), np.zeros(_OUTLINE), -np.cos(turn)], 1), (2, 1))
    return Surface(name, vertices.astype(np.float32), faces.astype(np.int32), normals.astype(np.float32))


def _outline(turn: np.ndarray, far: bool) -> np.ndarray:
    """Height of the outline by direction (radians), relative to its greatest, from 0.5 to 1; always the same."""
    waves = ((5, 0.3, 0.4), (13, 0.3, 2.1), (37, 0.25, 4.0), (83, 0.1, 1.0), (190, 0.05, 3.0))
    if not far:
        waves = ((7, 0.15, 0.4), (31, 0.25, 2.1), (67, 0.25, 4.0), (131, 0.2, 1.0), (260, 0.15, 2.6))
    total = np.zeros_like(turn)
    for count, share, phase in waves:
        total = total + share * np.sin(count * turn + phase)
    return 0.75 + 0.25 * total
