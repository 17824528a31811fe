"""Hair, brows and lashes: strands widened to ribbons that shade like round fibres."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .mesh import unit


@dataclass(frozen=True, slots=True)
class Ribbons:
    """Vertices (n, 3), triangles (m, 3) and unit normals (n, 3) of ribbons."""

    vertices: np.ndarray
    faces: np.ndarray
    normals: np.ndarray


def along(strands: np.ndarray) -> np.ndarray:
    """Unit tangents (n, k, 3) of strands (n, k, 3)."""
    return unit(np.gradient(strands, axis=1))


def ribbons(
    strands: np.ndarray, width_m: np.ndarray, outward: np.ndarray, twist: np.ndarray, round_deg: float
) -> Ribbons:
    """Ribbons about strands (n, k, 3), `width_m` (n, k) wide, facing `outward` (n, k, 3).

    `twist` (n,) is the tangent of the angle by which each ribbon leans about its own length. The normals of
    the two edges lean apart by `round_deg` each, so that light runs off across a ribbon as it does on a
    round fibre or a lock and neighbouring ribbons do not join into one wet-looking sheet.
    """
    tangent = along(strands)
    across = unit(np.cross(tangent, outward))
    across = unit(across + np.cross(tangent, across) * twist[:, None, None])
    face = np.cross(across, tangent)
    half = across * (width_m / 2)[..., None]
    lean = np.radians(round_deg)
    n, k, _ = strands.shape
    vertices = np.stack([strands - half, strands + half], axis=2).reshape(-1, 3)
    normals = np.stack(
        [np.cos(lean) * face - np.sin(lean) * across, np.cos(lean) * face + np.sin(lean) * across], axis=2
    ).reshape(-1, 3)
    first = ((np.arange(n) * k)[:, None] + np.arange(k - 1)).ravel() * 2
    faces = np.concatenate(
        [
            np.stack([first, first + 1, first + 3], axis=1),
            np.stack([first, first + 3, first + 2], axis=1),
        ]
    )
    return Ribbons(vertices, faces, unit(normals))


def taper(points: int, at: tuple[float, ...], share: tuple[float, ...]) -> np.ndarray:
    """Share (points,) of the full width along a strand, linear between the given stations in [0, 1]."""
    return np.interp(np.linspace(0.0, 1.0, points), at, share)


def split(strands: np.ndarray, copies: int, spread_m: float, fan: float, rng: np.random.Generator) -> np.ndarray:
    """`copies` finer strands (copies n, k, 3) for each of (n, k, 3), beside it by about `spread_m`.

    They drift apart along the strand: at the tip the distance is (1 + fan) times that at the root.
    """
    n, k, _ = strands.shape
    many = np.repeat(strands, copies, axis=0)
    offset = rng.normal(size=(n * copies, 1, 3)) * spread_m
    tangent = along(many)
    offset = offset - tangent * (offset * tangent).sum(axis=-1, keepdims=True)
    return many + offset * (1.0 + fan * np.linspace(0.0, 1.0, k))[None, :, None]
