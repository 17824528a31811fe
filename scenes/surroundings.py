"""What lies around the set: ground out to the horizon, and a hedge, a wall, trees or hills before the sky."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from .model import Ground, Room, Scene
from .skyline import DARK, LIGHT, air_share, outline, skyline, visibility_through_m
from .stage import Camera
from .studio import Surface, joined_quads

if TYPE_CHECKING:
    from materials.finishes import Finish

HORIZON_M = 5000.0
"""Where the ground ends: at eye height its edge lies 0.02 degrees under the horizon, less than a pixel."""

STEP_DOWN_M = 0.2
"""How far ground outside lies under a room's floor where the scene does not say (common practice, no source)."""

BEHIND_CAMERA_M = 3.0
"""How far a hedge or wall stands behind a camera that would be beyond it, metres."""

_RINGS_M = (50.0, 100.0, 200.0, 400.0, 800.0, 1500.0, 2800.0, HORIZON_M)
_AROUND = 64


def has_outside(room: Room | None, lights: bool) -> bool:
    """Whether there is an outdoors to see: an open location, or a room with a way out and light from far away."""
    return room is None or bool(room.window) or (bool(room.open) and lights)


def far_surfaces(
    scene: Scene, near_radius_m: float, camera: Camera | None = None
) -> Iterator[tuple[Surface, str, str | Finish]]:
    """Surfaces around the set, each with its region and finish or the name of one; none around a closed room.

    Parameters
    ----------
    near_radius_m : where the near ground of an open location ends.
    camera : where it looks, what is far away is finest.
    """
    far_lights = any(light.shape in ("sun", "sky") for light in scene.light.values())
    if not has_outside(scene.room, far_lights):
        return
    ground = scene.ground or Ground()
    level = 0.0 if scene.room is None else -(ground.below_m or STEP_DOWN_M)
    radii = [near_radius_m, *(r for r in _RINGS_M if r > near_radius_m)]
    if scene.room is not None:
        radii = [0.0, *_RINGS_M]
    sight = ground.visibility_m or visibility_through_m(_aerosol_depth(scene))
    yield _rings("around.ground", radii, level, sight), "floor", ground.finish
    side = ground.far_side()
    if side is None:
        return
    distance, height, finish = side
    if ground.beyond in ("hedge", "wall"):
        yield _enclosure(f"around.{ground.beyond}", distance, height, level, _camera_xz(scene)), "wall", finish
    else:
        from materials.finishes import make_finish, mottled

        view = 0.0 if camera is None else math.atan2(float(camera.forward[0]), float(camera.forward[2]))
        leafy = mottled(make_finish(finish), DARK, LIGHT)
        for band in skyline(ground.beyond, distance, height, level, view, sight):
            yield band, "wall", leafy


def _aerosol_depth(scene: Scene) -> float:
    """Of the air that a sun or sky of the scene names, else of clear air."""
    from materials.atmosphere import CLEAR_AIR, aerosol_depth

    named = (light.air for light in scene.light.values() if light.air is not None and light.on)
    return aerosol_depth(next(named, CLEAR_AIR))


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
    top = level + height * float(outline(ground.beyond, np.array([turn]), height / distance)[0])
    return bool(point[1] + distance * float(toward[1]) / level_run < top)


def _rings(name: str, radii: list[float], level: float, visibility_m: float) -> Surface:
    """Rings of ground, facing up, paler with distance."""
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
    veil = np.repeat(air_share(np.array(radii), visibility_m), _AROUND).astype(np.float32)
    return Surface(
        name, vertices.astype(np.float32), np.concatenate(faces).astype(np.int32), normals.astype(np.float32), veil=veil
    )


def _enclosure(name: str, distance: float, height: float, level: float, camera_xz: tuple[float, float]) -> Surface:
    low, high = enclosure(distance, camera_xz)
    corners = [(low[0], low[1]), (high[0], low[1]), (high[0], high[1]), (low[0], high[1])]
    quads = []
    for (ax, az), (bx, bz) in zip(corners, corners[1:] + corners[:1], strict=True):
        quads.append(np.array([[ax, level, az], [bx, level, bz], [bx, level + height, bz], [ax, level + height, az]]))
    return joined_quads(name, quads, toward=np.zeros(3))
