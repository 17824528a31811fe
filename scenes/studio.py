"""Meshes of the place: the sides of a room with their holes, near ground, background."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from .model import Background, Room

GROUND_RADIUS_M = 12.0
CURVE_RADIUS_M = 0.5
PAPER_LIFT_M = 0.002
SWEEP_PAST_SITTER_M = 0.6
_SIDES = ("front", "back", "left", "right", "ceiling", "floor")


@dataclass(frozen=True, slots=True)
class Surface:
    """A mesh without a finish: `vertices` (n, 3) float32 in metres, `faces` (m, 3) int32, `normals` (n, 3) float32; of
    what lies far away also `tints` (n, 3) uint8 and `veil` (n,) float32, as in `stage.Shape`."""

    name: str
    vertices: np.ndarray
    faces: np.ndarray
    normals: np.ndarray
    tints: np.ndarray | None = None
    veil: np.ndarray | None = None


def _surface(name: str, vertices: np.ndarray, faces: np.ndarray, normals: np.ndarray) -> Surface:
    return Surface(
        name,
        np.ascontiguousarray(vertices, np.float32),
        np.ascontiguousarray(faces, np.int32),
        np.ascontiguousarray(normals, np.float32),
    )


def quad(name: str, corners: list[tuple[float, float, float]]) -> Surface:
    """A flat four-cornered surface; its corners run counter-clockwise seen from its front."""
    points = np.array(corners, float)
    normal = np.cross(points[1] - points[0], points[2] - points[0])
    normal /= np.linalg.norm(normal)
    return _surface(name, points, np.array([[0, 1, 2], [0, 2, 3]]), np.tile(normal, (4, 1)))


def joined_quads(name: str, corners: list[np.ndarray], toward: np.ndarray | None = None) -> Surface:
    """Flat four-cornered surfaces (4, 3) as one; each faces as its corners run, or, with `toward`, that point (3,)."""
    points = np.concatenate(corners).astype(float).reshape(-1, 4, 3)
    normals = np.cross(points[:, 1] - points[:, 0], points[:, 2] - points[:, 0])
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    if toward is not None:
        away = ((toward - points.mean(axis=1)) * normals).sum(axis=1) < 0
        points[away] = points[away][:, ::-1]
        normals[away] *= -1
    first = 4 * np.arange(len(points))[:, None]
    faces = np.concatenate([first + np.array([0, 1, 2]), first + np.array([0, 2, 3])])
    return _surface(name, points.reshape(-1, 3), faces, np.repeat(normals, 4, axis=0))


def holed(whole: Surface, holes: list[tuple[np.ndarray, np.ndarray]]) -> Surface:
    """An upright four-cornered surface with holes, each given by two opposite corners (3,) in its plane."""
    corners = whole.vertices.astype(float)
    along = corners[1] - corners[0]
    length = float(np.linalg.norm(along))
    along /= length
    spans = [
        (sorted(float((end - corners[0]) @ along) for end in hole), sorted(float(end[1]) for end in hole))
        for hole in holes
    ]
    top = float(corners[:, 1].max())
    u = np.unique(np.clip([0.0, length, *(value for span, _ in spans for value in span)], 0, length))
    v = np.unique(np.clip([0.0, top, *(value for _, span in spans for value in span)], 0, top))
    quads = []
    for left, right in pairwise(u):
        for low, high in pairwise(v):
            x, y = (left + right) / 2, (low + high) / 2
            if not any(a[0] < x < a[1] and b[0] < y < b[1] for a, b in spans):
                at = corners[0] * [1, 0, 1]
                quads.append(np.stack([at + s * along + [0, t, 0] for s, t in
                                       ((left, low), (right, low), (right, high), (left, high))]))  # fmt: skip
    return joined_quads(whole.name, quads)


def room_surfaces(room: Room) -> dict[str, Surface]:
    """The closed sides of a room, by side, facing inward, whole; centred left to right on the origin."""
    x, top = room.size_m[0] / 2, room.size_m[2]
    back, front = room.back_z_m(), room.front_z_m()
    corners: dict[str, list[tuple[float, float, float]]] = {
        "front": [(x, 0, front), (-x, 0, front), (-x, top, front), (x, top, front)],
        "back": [(-x, 0, back), (x, 0, back), (x, top, back), (-x, top, back)],
        "left": [(-x, 0, front), (-x, 0, back), (-x, top, back), (-x, top, front)],
        "right": [(x, 0, back), (x, 0, front), (x, top, front), (x, top, back)],
        "ceiling": [(-x, top, back), (x, top, back), (x, top, front), (-x, top, front)],
        "floor": [(-x, 0, front), (x, 0, front), (x, 0, back), (-x, 0, back)],
    }
    return {side: quad(side, corners[side]) for side in _SIDES if side not in room.open}


def ground_surface(radius_m: float = GROUND_RADIUS_M) -> Surface:
    """A disk of ground around the origin, facing up."""
    around = np.linspace(0, 2 * math.pi, 64, endpoint=False)
    rim = np.stack([radius_m * np.sin(around), np.zeros(64), radius_m * np.cos(around)], axis=1)
    index = np.arange(64)
    faces = np.stack([np.zeros(64, int), index + 1, (index + 1) % 64 + 1], axis=1)
    vertices = np.concatenate([np.zeros((1, 3)), rim])
    return _surface("ground", vertices, faces, np.tile([0.0, 1.0, 0.0], (65, 1)))


def background_profile(background: Background) -> np.ndarray:
    """Line (n, 2) of (y, z) in metres from the top of a background to its lower or front end.

    A sweep comes down to a quarter circle, of at most 0.5 m and at most half its height, and runs forward on the
    floor; any other background hangs straight to the floor.
    """
    z, top = -background.distance_m, background.height_m
    if not background.sweeps():
        return np.array([[top, z], [0.0, z]])
    run = background.floor_length_m or background.distance_m + SWEEP_PAST_SITTER_M
    radius = min(CURVE_RADIUS_M, top / 2, run / 2)
    turn = np.linspace(0, math.pi / 2, 17)
    curve = np.stack([PAPER_LIFT_M + radius * (1 - np.sin(turn)), z + radius * (1 - np.cos(turn))], axis=1)
    return np.concatenate([[[top, z]], curve, [[PAPER_LIFT_M, z + run]]])


def background_surface(background: Background) -> Surface:
    """The background as a smooth sheet that faces the sitter."""
    line = background_profile(background)
    step = np.gradient(line, axis=0) if len(line) > 2 else np.diff(line, axis=0).repeat(2, axis=0)
    if background.sweeps():
        step[0], step[1], step[-2], step[-1] = (-1, 0), (-1, 0), (0, 1), (0, 1)
    step /= np.linalg.norm(step, axis=1, keepdims=True)
    half, count = background.width_m / 2, len(line)
    normals = np.stack([np.zeros(count), step[:, 1], -step[:, 0]], axis=1)
    left = np.stack([np.full(count, -half), line[:, 0], line[:, 1]], axis=1)
    right = left * [-1.0, 1.0, 1.0]
    i = np.arange(count - 1)
    faces = np.concatenate(
        [np.stack([i, i + 1, i + 1 + count], axis=1), np.stack([i, i + 1 + count, i + count], axis=1)]
    )
    return _surface("background", np.concatenate([left, right]), faces, np.concatenate([normals, normals]))
