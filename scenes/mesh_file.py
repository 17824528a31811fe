"""Meshes of the user's own: read as they are, all bodies of a file joined, nothing merged or repaired."""

from __future__ import annotations

import io
import logging
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import unquote

import numpy as np

from materials.errors import DataError
from materials.plain import shortened, visible
from materials.reading import NotRead, read_bounded

from .mesh_text import broken_line, checked_text

if TYPE_CHECKING:
    import trimesh

MOST_BYTES = 600_000_000
MOST_FACES = 20_000_000
LARGEST_COORDINATE = 1e15
"""Beyond, squares of areas no longer fit into the numbers that are traced."""

FLATTEST = 1e-9
"""Least height of a mesh relative to its width."""

_WITHOUT_FACES = {"xyz", "stl_ascii"}  # points only; a second name of "stl"


@dataclass(frozen=True, slots=True)
class MeshData:
    """Triangles of a mesh file in its own units.

    `vertices` (n, 3) float64; `faces` (m, 3) int32; `normals` (n, 3) float64, unit length: the file's own, else
    smooth ones. `materials` tells whether the file, or one it names, describes materials.
    """

    vertices: np.ndarray
    faces: np.ndarray
    normals: np.ndarray
    materials: bool = False


def read_mesh(path: Path) -> MeshData:
    """Read a mesh file; the bodies of a file with several are joined, each placed as the file says.

    Raises
    ------
    DataError
        When the file is missing, of an unknown kind, broken, without faces or without height, when a face names a
        vertex that is not there, or a coordinate is not finite or beyond 1e15.
    """
    name = visible(shortened(path.name, 80))
    try:
        data = read_bounded(path, MOST_BYTES)
    except NotRead as problem:
        raise DataError(f"the mesh file {problem}. Names are read relative to the scene file.") from None
    import trimesh

    kinds = sorted(set(trimesh.exchange.load.mesh_formats()) - _WITHOUT_FACES)
    kind = path.suffix.lower().removeprefix(".")
    if kind not in kinds:
        raise DataError(f"'{name}' is no kind of mesh file that can be read. Allowed: {', '.join(kinds)}.")
    if not data.strip():
        raise DataError(f"the mesh file '{name}' is empty. Export it again.")
    data, noted = checked_text(kind, data, name)
    bodies = list(_bodies(data, kind, path, name))
    if not bodies:
        raise DataError(f"the mesh file '{name}' has no faces. Export it as a surface mesh (triangles or quads).")
    for body in bodies:
        _check_faces(body, name)
    starts = np.cumsum([0] + [len(b.vertices) for b in bodies])[:-1]
    vertices = np.concatenate([np.asarray(b.vertices, float) for b in bodies])
    faces = np.concatenate([np.asarray(b.faces, np.int64) + s for b, s in zip(bodies, starts, strict=True)])
    _check_points(vertices[np.unique(faces)], name)
    with np.errstate(over="ignore", invalid="ignore"):
        normals = np.concatenate([_normals(b.vertices, b.faces, _own_normals(b)) for b in bodies])
    return MeshData(vertices, faces.astype(np.int32), normals, noted)


def _bodies(data: bytes, kind: str, path: Path, name: str) -> Iterator[trimesh.Trimesh]:
    """Bodies with faces, each placed."""
    import trimesh

    logging.getLogger("trimesh").setLevel(logging.CRITICAL)
    beside: Any = {"resolver": _Beside(path.parent)} if kind == "gltf" else {}
    try:
        with np.errstate(all="ignore"), warnings.catch_warnings():
            warnings.simplefilter("ignore")
            scene = trimesh.load_scene(
                io.BytesIO(data), file_type=kind, process=False, maintain_order=True, skip_materials=True, **beside
            )
            bodies = [b for b in scene.dump() if isinstance(b, trimesh.Trimesh)]
    except DataError:
        raise
    except MemoryError:
        raise DataError(f"the mesh file '{name}' does not fit into memory. Export it again, smaller.") from None
    except Exception:  # the readers of many formats raise whatever they meet, in words that help nobody here
        line = broken_line(kind, data)
        what = f"is damaged: {line}" if line else f"is damaged, or is no {kind.upper()} file"
        raise DataError(f"the mesh file '{name}' {what}. Export it again.") from None
    yield from (b for b in bodies if len(b.faces))


class _Beside:
    """Files beside a glTF file that it names, read within bounds and from its own folder alone."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def get(self, name: str) -> bytes:
        """Bytes of a file; a name that leads out of the folder is refused."""
        place = self._folder / unquote(name)
        if not place.resolve().is_relative_to(self._folder.resolve()):
            raise DataError(f"the mesh names '{visible(shortened(name))}', which is not in its folder. Put it there.")
        try:
            return read_bounded(place, MOST_BYTES)
        except NotRead as problem:
            raise DataError(f"the mesh needs a file beside it: {problem}. Put it there, or export one .glb.") from None

    __getitem__ = get


def _check_faces(body: Any, name: str) -> None:
    faces, count = np.asarray(body.faces), len(body.vertices)
    if np.shape(body.vertices) != (count, 3):
        raise DataError(f"the mesh file '{name}' is damaged: its points are not three numbers each. Export it again.")
    if len(faces) > MOST_FACES:
        raise DataError(
            f"the mesh file '{name}' has {len(faces)} triangles. Allowed: up to {MOST_FACES}. Simplify it first."
        )
    wrong = (faces < 0) | (faces >= count)
    if wrong.any():
        row = int(np.argmax(wrong.any(axis=1)))
        given = int(faces[row][wrong[row]][0])
        raise DataError(
            f"the mesh file '{name}' is damaged: triangle {row + 1} names vertex {given + 1}, and there are {count}. "
            "Export it again."
        )


def _check_points(points: np.ndarray, name: str) -> None:
    if not np.isfinite(points).all():
        raise DataError(f"the mesh file '{name}' holds coordinates that are not finite numbers. Export it again.")
    largest = float(np.abs(points).max())
    if largest > LARGEST_COORDINATE:
        raise DataError(
            f"the mesh file '{name}' holds a coordinate of {largest:.3g}. Allowed: up to {LARGEST_COORDINATE:g} of its "
            "units. Export it again."
        )
    width, height, depth = (float(size) for size in np.ptp(points, axis=0))
    if height <= FLATTEST * max(width, depth):
        hint = " Its +y must point up; it seems to lie on its back." if depth > 0 and width > 0 else ""
        raise DataError(f"the mesh file '{name}' has no height: all its points are level.{hint} Export it again.")


def _own_normals(body: object) -> np.ndarray | None:
    """The file's vertex normals, where it has them (the reader keeps them in its cache)."""
    cache = getattr(body, "_cache", None)
    return cache["vertex_normals"] if cache is not None and "vertex_normals" in cache else None


def _normals(vertices: np.ndarray, faces: np.ndarray, own: np.ndarray | None) -> np.ndarray:
    smooth = smooth_normals(np.asarray(vertices, float), np.asarray(faces))
    if own is None or np.shape(own) != smooth.shape:
        return smooth
    own = np.asarray(own, float)
    length = np.linalg.norm(own, axis=1, keepdims=True)
    good = np.isfinite(length) & (length > 1e-6)
    return np.where(good, own / np.where(good, length, 1), smooth)


def smooth_normals(vertices: np.ndarray, faces: np.ndarray) -> np.ndarray:
    """Vertex normals (n, 3): the mean of the faces around each place, weighted by area.

    Vertices at one place share their normal, so a seam in the file does not show as an edge; a vertex without a
    face of any area points up.
    """
    corners = vertices[faces]
    areas = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    _, place = np.unique(vertices, axis=0, return_inverse=True)
    place = place.ravel()
    total = np.zeros((int(place.max(initial=-1)) + 1, 3))
    for corner in range(3):
        np.add.at(total, place[faces[:, corner]], areas)
    length = np.linalg.norm(total, axis=1, keepdims=True)
    usable = np.isfinite(length) & (length > 0)
    unit = np.where(usable, total / np.where(usable, length, 1), [0.0, 1.0, 0.0])
    normals: np.ndarray = unit[place]
    return normals
