"""Meshes of the user's own: read as they are, all bodies of a file joined, nothing merged or repaired."""

from __future__ import annotations

import logging
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from materials.errors import DataError

_WITHOUT_FACES = {"xyz", "stl_ascii"}  # points only; a second name of "stl"


@dataclass(frozen=True, slots=True)
class MeshData:
    """Triangles of a mesh file in its own units.

    `vertices` (n, 3) float64; `faces` (m, 3) int32; `normals` (n, 3) float64, unit length: the file's own, else
    smooth ones.
    """

    vertices: np.ndarray
    faces: np.ndarray
    normals: np.ndarray


def read_mesh(path: Path) -> MeshData:
    """Read a mesh file; the bodies of a file with several are joined, each placed as the file says.

    Raises
    ------
    DataError
        When the file is missing, of an unknown kind, broken, without faces, or holds numbers that are not finite.
    """
    if not path.is_file():
        what = "is a folder" if path.is_dir() else "does not exist"
        raise DataError(f"the mesh file '{path}' {what}. Names are read relative to the scene file.")
    import trimesh

    kinds = sorted(set(trimesh.exchange.load.mesh_formats()) - _WITHOUT_FACES)
    kind = path.suffix.lower().removeprefix(".")
    if kind not in kinds:
        raise DataError(f"'{path.name}' is no kind of mesh file that can be read. Allowed: {', '.join(kinds)}.")
    logging.getLogger("trimesh").setLevel(logging.CRITICAL)
    try:
        scene = trimesh.load_scene(path, process=False, maintain_order=True)
        bodies = [b for b in scene.dump() if isinstance(b, trimesh.Trimesh)]
    except Exception as problem:  # the readers of its many formats raise whatever they meet
        raise DataError(f"the mesh file '{path.name}' is broken: {_reason(problem)}. Export it again.") from None
    bodies = [b for b in bodies if len(b.faces)]
    if not bodies:
        raise DataError(f"the mesh file '{path.name}' has no faces. Export it as a surface mesh (triangles or quads).")
    starts = np.cumsum([0] + [len(b.vertices) for b in bodies])[:-1]
    mesh = MeshData(
        np.concatenate([np.asarray(b.vertices, float) for b in bodies]),
        np.concatenate([np.asarray(b.faces) + s for b, s in zip(bodies, starts, strict=True)]).astype(np.int32),
        np.concatenate([_normals(b.vertices, b.faces, _own_normals(b)) for b in bodies]),
    )
    if not np.isfinite(mesh.vertices[np.unique(mesh.faces)]).all():
        raise DataError(f"the mesh file '{path.name}' holds coordinates that are not finite numbers. Export it again.")
    return mesh


def _reason(problem: Exception) -> str:
    return (str(problem).splitlines() or [type(problem).__name__])[0][:120] or type(problem).__name__


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
