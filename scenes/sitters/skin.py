"""The bare skin of a figure: refined, cut into face and body, and painted."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from .complexion import SkinSite, paint
from .features import Features, open_lids, reshape_face
from .mesh import compact, vertex_normals
from .packing import Archive, from_box, join_bytes, read_points, undelta
from .subdivision import refine, refine_part

MASKS = ("lips", "nails", "mouth", "ears", "lids")
_FINE_ABOVE = -0.13
"""Height in the head's frame (metres) above which the skin is refined twice, for close-ups."""


@dataclass(frozen=True, slots=True)
class Frame:
    """The head's frame: its origin (3,) and axes (3, 3, as columns) in the figure's stored frame."""

    origin: np.ndarray
    axes: np.ndarray

    def inward(self, points: np.ndarray) -> np.ndarray:
        """Places (..., 3) in the head's frame."""
        return (points - self.origin) @ self.axes

    def outward(self, points: np.ndarray) -> np.ndarray:
        """Places (..., 3) from the head's frame."""
        return points @ self.axes.T + self.origin

    def turn(self, directions: np.ndarray) -> np.ndarray:
        """Directions (..., 3) from the head's frame."""
        return directions @ self.axes.T


@dataclass(frozen=True, slots=True)
class Skin:
    """The skin as one mesh.

    Attributes
    ----------
    vertices, normals : (n, 3) float64.
    faces : (m, 3) int64.
    on_face : (m,) bool, which triangles count as "face" (the head above the jaw line).
    tints, gloss : (n, 3) and (n,) weights in [0, 1].
    surface_of : where a vertex of the uncut base body now is, {base index: index into `vertices`}.
    """

    vertices: np.ndarray
    normals: np.ndarray
    faces: np.ndarray
    on_face: np.ndarray
    tints: np.ndarray
    gloss: np.ndarray
    surface_of: dict[int, int]


def _cage(archive: Archive, topology: Archive) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Points with mask columns (n, 3 + 6), quads (m, 4) and base indices (n,) of the uncovered body."""
    quads = undelta(join_bytes(topology["body"], np.uint16)).astype(np.int64).reshape(-1, 4)
    kept = quads[np.unpackbits(archive["body.keep"])[: len(quads)].astype(bool)]
    base, renumbered = compact(kept)
    columns = [topology[name][base] for name in MASKS] + [archive["body.scalp"]]
    masks = np.stack(columns, axis=1) / 255.0
    return np.column_stack([read_points(archive, "body"), masks]), renumbered, base


def build_skin(
    archive: Archive,
    topology: Archive,
    frame: Frame,
    places: dict[str, np.ndarray],
    eyes: list[tuple[np.ndarray, float]],
    features: Features,
    beard: float,
    age: float,
) -> Skin:
    """Reshape, refine and paint the skin.

    `places` are the landmarks before reshaping and `eyes` the balls (centre, radius), in the head's frame.
    """
    points, quads, base = _cage(archive, topology)
    head = frame.inward(points[:, :3])
    head = open_lids(head, head, eyes, features.lids_deg)
    points[:, :3] = frame.outward(reshape_face(head, places, features))
    places = {name: reshape_face(place, places, features) for name, place in places.items()}
    level = refine(points, quads)
    height = frame.inward(level.points[:, :3])[:, 1]
    points, faces = refine_part(level.points, level.quads, (height[level.quads] > _FINE_ABOVE).all(axis=1))
    used, faces = compact(faces)
    points = points[used]
    # Moved vertices come first in every level, so a base vertex keeps its index.
    now_at = np.searchsorted(used, np.arange(len(base)))
    surface_of = {int(b): int(i) for b, i in zip(base, now_at, strict=True)}

    vertices = points[:, :3]
    head = frame.inward(vertices)
    masks = {name: np.clip(points[:, 3 + k], 0.0, 1.0) for k, name in enumerate((*MASKS, "scalp"))}
    tints, gloss = paint(SkinSite(head, masks, places, beard, age))
    return Skin(
        vertices, vertex_normals(vertices, faces), faces, _face_side(head, faces, places), tints, gloss, surface_of
    )


def _face_side(head: np.ndarray, faces: np.ndarray, places: dict[str, np.ndarray]) -> np.ndarray:
    """Triangles above a plane from just under the chin to just under the ears."""
    chin, ear = places["chin"], places["ear_L"]
    slope = (ear[1] - 0.045 - (chin[1] - 0.010)) / (ear[2] - chin[2])
    middle = head[faces].mean(axis=1)
    limit = chin[1] - 0.010 + slope * np.minimum(middle[:, 2] - chin[2], 0.0)
    return middle[:, 1] > limit


def read_teeth(archive: Archive, topology: Archive) -> tuple[np.ndarray, np.ndarray]:
    """Positions (n, 3) and quads (m, 4) of the teeth."""
    return from_box(archive["teeth.v"], archive["teeth.b"]), topology["teeth"].astype(np.int64)


def head_frame(meta: dict[str, Any]) -> Frame:
    """The head's frame out of a figure's notes."""
    return Frame(np.array(meta["head"]["origin"]), np.array(meta["head"]["axes"]))
