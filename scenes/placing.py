"""The sitter on its place: parts in world coordinates and the places on it that lights aim at and meters read."""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from .aiming import turn_about_up
from .backdrop import spread_over
from .bodies import winding_number
from .mesh_file import MeshData, read_mesh
from .model import Sitter
from .sitters.figure import Landmark, SitterPart
from .sitters.figure import Sitter as StockFigure

HEAD_HEIGHT_M = 0.23
"""Chin to crown of an adult, metres (common practice, no source); only to find the face of a bare mesh."""

FACE_POINTS = ("nose", "forehead", "chin", "cheek_L", "cheek_R")
_SOFT_SLOTS = ("hair", "brow", "lash")


@dataclass(frozen=True, eq=False)
class PlacedSitter:
    """A sitter in the world frame.

    Attributes
    ----------
    parts : meshes, without finishes.
    landmarks : name to place and outward normal; always holds face, eyes, chest and the face points.
    figure : the stock figure behind it; None for a mesh.
    height_m : from its lowest to its highest point, before it is raised.
    low, high : corners (each (3,)) of the box around all parts, metres.
    materials : whether a mesh file describes materials, which are not read.
    """

    parts: tuple[SitterPart, ...]
    landmarks: dict[str, Landmark]
    figure: StockFigure | None
    height_m: float
    low: np.ndarray
    high: np.ndarray
    materials: bool = False

    @functools.cached_property
    def cover_m(self) -> np.ndarray:
        """Points (n, 3) over all of it, metres; see `spread_over`."""
        return np.concatenate([spread_over(part.vertices, part.faces) for part in self.parts])


@functools.lru_cache(maxsize=4)
def stock_figure(name: str) -> StockFigure:
    """A stock figure, kept for the next use."""
    from .sitters import load_sitter

    return load_sitter(name)


@functools.lru_cache(maxsize=4)
def _place_figure(name: str, turn_deg: float, x_m: float, z_m: float) -> PlacedSitter:
    figure = stock_figure(name)
    move = _mover(turn_deg, np.array([x_m, 0.0, z_m]))
    parts = tuple(_moved(part, move, turn_deg) for part in figure.parts)
    placed = {k: _moved_mark(m, move, turn_deg) for k, m in _with_hands(figure.landmarks).items()}
    return _boxed(parts, placed, figure, figure.height_m)


def place_sitter(sitter: Sitter, folder: Path) -> PlacedSitter:
    """Load, turn and place the sitter of a scene.

    Raises
    ------
    KeyfallError
        When there is no such figure, or the mesh file cannot be used.
    """
    if sitter.figure is not None:
        return _place_figure(sitter.figure, sitter.turn_deg, *sitter.at_m)
    return _place_mesh(sitter, read_mesh(folder / str(sitter.mesh)))


def _boxed(
    parts: tuple[SitterPart, ...], landmarks: dict[str, Landmark], figure: StockFigure | None, height_m: float
) -> PlacedSitter:
    low = np.min([np.min(part.vertices, axis=0) for part in parts], axis=0).astype(float)
    high = np.max([np.max(part.vertices, axis=0) for part in parts], axis=0).astype(float)
    return PlacedSitter(parts, landmarks, figure, height_m, low, high)


def point_in_sitter(point: np.ndarray, sitter: PlacedSitter) -> bool:
    """Whether a point is inside the sitter's body, clothes or seat (hair does not count)."""
    low, high = sitter.low, sitter.high
    if (point < low).any() or (point > high).any():
        return False
    solid = [part for part in sitter.parts if part.slot not in _SOFT_SLOTS]
    return sum(winding_number(point, part.vertices, part.faces) for part in solid) > 0.5


def _with_hands(marks: dict[str, Landmark]) -> dict[str, Landmark]:
    """The figure's landmarks, with the place between its hands."""
    left, right = marks["hand_L"], marks["hand_R"]
    normal = np.asarray(left.normal, float) + right.normal
    length = float(np.linalg.norm(normal))
    unit = normal / length if length > 1e-6 else np.array([0.0, 0.0, 1.0])
    return {**marks, "hands": Landmark((left.position_m + right.position_m) / 2, unit)}


def _mover(turn_deg: float, foot_m: np.ndarray) -> Callable[[np.ndarray], np.ndarray]:
    """Points of the sitter's own frame to world points, its origin going to `foot_m`."""

    def move(points: np.ndarray) -> np.ndarray:
        moved: np.ndarray = turn_about_up(np.asarray(points, float), turn_deg) + foot_m
        return moved

    return move


def _moved(part: SitterPart, move: Callable[[np.ndarray], np.ndarray], turn_deg: float) -> SitterPart:
    return replace(
        part,
        vertices=np.ascontiguousarray(move(part.vertices), np.float32),
        normals=np.ascontiguousarray(turn_about_up(part.normals, turn_deg), np.float32),
    )


def _moved_mark(mark: Landmark, move: Callable[[np.ndarray], np.ndarray], turn_deg: float) -> Landmark:
    return Landmark(move(mark.position_m), turn_about_up(np.asarray(mark.normal, float), turn_deg))


def _place_mesh(sitter: Sitter, mesh: MeshData) -> PlacedSitter:
    """A mesh scaled, its box centred over its place, its lowest point `raise_m` above the floor."""
    vertices = mesh.vertices * sitter.scale
    used = vertices[np.unique(mesh.faces)]
    low, high = used.min(axis=0), used.max(axis=0)
    foot = np.array([(low[0] + high[0]) / 2, low[1], (low[2] + high[2]) / 2])
    vertices = vertices - foot
    move = _mover(sitter.turn_deg, np.array([sitter.at_m[0], sitter.raise_m, sitter.at_m[1]]))
    height = float(high[1] - low[1])
    marks = mesh_landmarks(vertices, mesh.faces, sitter.face_height_m)
    placed = {name: _moved_mark(m, move, sitter.turn_deg) for name, m in marks.items()}
    parts = _face_and_rest(vertices, mesh, float(marks["face"].position_m[1]), min(HEAD_HEIGHT_M, height))
    boxed = _boxed(tuple(_moved(part, move, sitter.turn_deg) for part in parts), placed, None, height)
    return replace(boxed, materials=mesh.materials)


def _face_and_rest(vertices: np.ndarray, mesh: MeshData, face_m: float, head_m: float) -> list[SitterPart]:
    """The mesh in two parts, so that the maps of the face show the head's height alone."""
    middle = vertices[mesh.faces, 1].mean(axis=1)
    is_face = np.abs(middle - face_m) <= 0.55 * head_m
    parts = []
    for name, region, chosen in (("head", "face", is_face), ("body", "skin", ~is_face)):
        if chosen.any():
            used, faces = np.unique(mesh.faces[chosen], return_inverse=True)
            blank = np.zeros((len(used), 4), np.uint8)
            faces = faces.reshape(-1, 3).astype(np.int32)
            parts.append(
                SitterPart(name, "mesh", region, vertices[used], faces, mesh.normals[used], blank[:, :3], blank[:, 3])
            )
    return parts


def mesh_landmarks(vertices: np.ndarray, faces: np.ndarray, face_height_m: float | None) -> dict[str, Landmark]:
    """Landmarks of a bare mesh that stands on y = 0 and looks to +z, estimated from its height.

    The face's middle lies 0.55 of a head's height under the top, or at `face_height_m`; each landmark is where the
    mesh is met from the front at its height and side.
    """
    top = vertices[faces].reshape(-1, 3)
    crown = top[np.argmax(top[:, 1])]
    height = float(crown[1])
    head = min(HEAD_HEIGHT_M, height)
    face = face_height_m if face_height_m is not None else height - 0.55 * head
    side = 0.25 * head
    wanted = {
        "face": (0.0, 0.0), "eyes": (0.0, 0.07), "nose": (0.0, -0.1), "forehead": (0.0, 0.3),
        "chin": (0.0, -0.42), "cheek_L": (1.0, -0.08), "cheek_R": (-1.0, -0.08), "chest": (0.0, -1.5),
    }  # fmt: skip
    marks = {name: _front(vertices, faces, dx * side, face + dy * head) for name, (dx, dy) in wanted.items()}
    return {**marks, "crown": Landmark(np.array(crown, float), np.array([0.0, 1.0, 0.0]))}


def _front(vertices: np.ndarray, faces: np.ndarray, x: float, y: float) -> Landmark:
    """The foremost point of a mesh at (x, y); its nearest vertex, seen from the front, where it has none there."""
    a, b, c = (vertices[faces[:, corner]] for corner in range(3))
    with np.errstate(divide="ignore", invalid="ignore"):
        area = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (c[:, 0] - a[:, 0]) * (b[:, 1] - a[:, 1])
        v = ((x - a[:, 0]) * (c[:, 1] - a[:, 1]) - (c[:, 0] - a[:, 0]) * (y - a[:, 1])) / area
        w = ((b[:, 0] - a[:, 0]) * (y - a[:, 1]) - (x - a[:, 0]) * (b[:, 1] - a[:, 1])) / area
        z = np.where((v >= 0) & (w >= 0) & (v + w <= 1), a[:, 2] + v * (b - a)[:, 2] + w * (c - a)[:, 2], -np.inf)
    hit = int(np.argmax(z))
    if np.isfinite(z[hit]):
        normal = np.cross(b[hit] - a[hit], c[hit] - a[hit])
        normal *= np.copysign(1 / np.linalg.norm(normal), normal[2])
        return Landmark(np.array([x, y, z[hit]]), normal)
    points = vertices[np.unique(faces)]
    nearest = points[np.argmin(np.hypot(points[:, 0] - x, points[:, 1] - y))]
    return Landmark(np.array(nearest, float), np.array([0.0, 0.0, 1.0]))
