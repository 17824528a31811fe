"""All shapes of a stage as one mesh, and its finishes as tables. NumPy only."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from materials import Bands, Finish
from scenes.stage import REGIONS, Shape, Stage


@dataclass(frozen=True, slots=True)
class MergedSet:
    """One triangle mesh for the ray tracer.

    The surroundings come last; `extent_m` is the size of the set without them.
    `vertices`, `normals` (n, 3) float32; `tints` (n, 4) uint8: three tint weights and the gloss weight;
    `veil` (n,) float32; `faces` (m, 3) int32; `material`, `region` (m,) int32 indices into `finishes` and `REGIONS`.
    """

    vertices: np.ndarray
    normals: np.ndarray
    tints: np.ndarray
    veil: np.ndarray
    faces: np.ndarray
    material: np.ndarray
    region: np.ndarray
    finishes: tuple[Finish, ...]
    extent_m: float


def merge(stage: Stage) -> MergedSet:
    """Merge the shapes of a stage; shapes that share a finish object share its material index."""
    shapes = (*stage.shapes, *stage.surroundings)
    finishes: dict[int, Finish] = {}
    for shape in shapes:
        finishes.setdefault(id(shape.finish), shape.finish)
    index = {key: i for i, key in enumerate(finishes)}
    starts = np.cumsum([0] + [len(s.vertices) for s in shapes])[:-1]
    return MergedSet(
        vertices=np.concatenate([s.vertices for s in shapes]).astype(np.float32),
        normals=np.concatenate([s.normals for s in shapes]).astype(np.float32),
        tints=np.ascontiguousarray(np.concatenate([_tints(s) for s in shapes])),
        veil=np.concatenate([_veil(s) for s in shapes]),
        faces=np.concatenate([s.faces + start for s, start in zip(shapes, starts, strict=True)]).astype(np.int32),
        material=_per_face(shapes, [index[id(s.finish)] for s in shapes]),
        region=_per_face(shapes, [REGIONS.index(s.region) for s in shapes]),
        finishes=tuple(finishes.values()),
        extent_m=float(np.ptp(np.concatenate([s.vertices for s in stage.shapes]), axis=0).max()),
    )


def _tints(shape: Shape) -> np.ndarray:
    return np.concatenate([shape.tints, shape.gloss[:, None]], axis=1).astype(np.uint8)


def _veil(shape: Shape) -> np.ndarray:
    return np.zeros(len(shape.vertices), np.float32) if shape.veil is None else shape.veil.astype(np.float32)


def _per_face(shapes: tuple[Shape, ...], values: list[int]) -> np.ndarray:
    return np.repeat(np.asarray(values, np.int32), [len(s.faces) for s in shapes])


def finish_tables(finishes: tuple[Finish, ...], bands: Bands) -> tuple[np.ndarray, np.ndarray]:
    """Band reflectances (M, 4, B), and (M, 4): f0 times coat, roughness, gloss roughness, transmission."""
    spectra = np.stack([bands.project(f.reflectance) for f in finishes])
    parameters = np.array([[f.f0 * f.coat, f.roughness, f.gloss_roughness, f.transmission] for f in finishes])
    return spectra, parameters
