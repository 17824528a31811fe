"""The hair parts of a figure, from the strands in its data file."""

from __future__ import annotations

import numpy as np

from .features import Features, open_lids, reshape_face
from .fibres import Ribbons, along, ribbons, split, taper
from .mesh import unit
from .packing import Archive, read_strands

# Where the scalp's outward directions come from, in the head's frame: the middle of the skull.
_SKULL_CENTRE = np.array([0.0, 0.06, 0.0])


def _join(pieces: list[Ribbons]) -> Ribbons:
    starts = np.cumsum([0] + [len(p.vertices) for p in pieces[:-1]])
    return Ribbons(
        np.concatenate([p.vertices for p in pieces]),
        np.concatenate([p.faces + start for p, start in zip(pieces, starts, strict=True)]),
        np.concatenate([p.normals for p in pieces]),
    )


def without_strays(strands: np.ndarray, parted: bool) -> np.ndarray:
    """Strands (n, k, 3) in the head's frame without those a hairdresser would lay down.

    Left out are strands that hang in front of throat or mouth and, in hair with a parting, those that
    stand up from it instead of falling to a side.
    """
    x, y, z = np.moveaxis(strands, -1, 0)
    stray = ((np.abs(x) < 0.055) & (z > 0.03) & (y < 0.0)).any(axis=1)
    if parted:
        stray |= (y[:, 0] > 0.10) & (y.max(axis=1) - y[:, 0] > 0.015)
    return strands[~stray]


def head_hair(archive: Archive, parted: bool) -> Ribbons:
    """Ribbons of the hair, in the head's frame: each stored strand as two finer ones."""
    names = sorted(key[:-2] for key in archive if key.startswith("hair") and key.endswith(".s"))
    pieces = []
    for name in names:
        rng = np.random.default_rng(11)
        strands = without_strays(read_strands(archive, name), parted)
        strands = split(strands, 2, 0.00045, 1.0, rng)
        count, points, _ = strands.shape
        width = 0.00078 * taper(points, (0, 0.1, 0.6, 1), (0.7, 1, 0.9, 0.15))
        width = width * rng.uniform(0.7, 1.2, (count, 1))
        outward = unit(strands - _SKULL_CENTRE)
        pieces.append(ribbons(strands, width, outward, rng.normal(0, 0.5, (count,)), 40.0))
    return _join(pieces)


def brows(archive: Archive, places: dict[str, np.ndarray], features: Features) -> Ribbons:
    """Ribbons of both brows, in the head's frame: fine tapered hairs, thinned out at random."""
    rng = np.random.default_rng(5)
    strands = reshape_face(read_strands(archive, "brows"), places, features)
    strands = split(strands, 2, 0.00045, 0.8, rng)
    strands = strands[rng.random(len(strands)) < 0.72]
    count, points, _ = strands.shape
    width = 0.00014 * taper(points, (0, 0.35, 0.7, 1), (0.8, 1, 0.7, 0.1))
    width = width * rng.uniform(0.7, 1.15, (count, 1))
    outward = np.broadcast_to([0.0, 0.25, 1.0], strands.shape)
    return ribbons(strands, width, outward, rng.normal(0, 0.4, (count,)), 50.0)


def lashes(
    archive: Archive,
    eyes: list[tuple[np.ndarray, float]],
    places: dict[str, np.ndarray],
    features: Features,
) -> Ribbons:
    """Ribbons of the lashes of both eyes, in the head's frame, each stored lash as two."""
    stored = read_strands(archive, "lashes")
    roots = np.broadcast_to(stored[:, :1], stored.shape)
    strands = reshape_face(open_lids(stored, roots, eyes, features.lids_deg), places, features)
    strands = split(strands, 2, 0.00012, 5.0, np.random.default_rng(8))
    count, points, _ = strands.shape
    width = 0.00016 * taper(points, (0, 0.35, 0.7, 1), (1, 0.9, 0.6, 0.1))
    # Lashes stand out from the lid: their flat side faces up and forward, across the strand's own run.
    tangent = along(strands)
    outward = unit(np.cross(tangent, np.cross([0.0, 1.0, 0.35], tangent)))
    rng = np.random.default_rng(3)
    return ribbons(strands, np.broadcast_to(width, (count, points)), outward, rng.normal(0, 0.5, (count,)), 50.0)
