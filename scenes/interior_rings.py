"""Rays from the rings that surfaces are cut into: what they get, and from where."""

from __future__ import annotations

import math

import numpy as np

from .interior_rays import Body, Rays, local, world
from .interior_surfaces import around


def on_rings(body: Body, which: np.ndarray, samples: int) -> tuple[Rays, np.ndarray]:
    """Rays that stand all over rings `which` (g, ascending numbers), one group of `samples` a ring, without a way yet;
    and the normals (2, n) of their side."""
    rays = Rays.of(np.full(len(which), samples))
    ring, spread = which[rays.group], rays.number(0)
    rays.r, rays.z, normals = np.zeros(len(ring)), np.zeros(len(ring)), np.zeros((2, len(ring)))
    for surface, first, cut in zip(body.surfaces, body.firsts, body.cuts, strict=True):
        on = slice(*np.searchsorted(ring, (first, first + 2 * cut)))
        at, back = (ring[on] - first) % cut, ring[on] - first >= cut
        rays.r[on], rays.z[on] = surface.place_at(at / cut, (at + 1) / cut, spread[on])
        normals[:, on] = surface.normals(rays.r[on], rays.z[on]) * np.where(back, -1.0, 1.0)
    return rays, normals


def from_rings(body: Body, which: np.ndarray, samples: int) -> tuple[Rays, np.ndarray, np.ndarray]:
    """Rays that rings get light along, one group a ring: half of them even over cos / pi, half about the lamp.

    Parameters
    ----------
    which : (g,) numbers of rings, ascending.
    samples : rays a ring.

    Returns
    -------
    The rays, the normals (2, n) of the rings there, and the density (n,) of their directions, 1/sr.
    """
    rays, normals = on_rings(body, which, samples)
    up = np.array([[0.0], [0.0], [1.0]])
    even = world(normals, around(up, np.sqrt(rays.number(1)), rays.number(2)))
    near = body.near_lamp(rays.r, rays.z, rays.number(1), rays.number(2))
    rays.way = np.where(rays.number(3) < 0.5, near, even)
    facing = np.maximum(local(normals, rays.way)[2], 0)
    return rays, normals, (facing / math.pi + body.near_density(rays.r, rays.z, rays.way)) / 2


def lamp_on_rings(body: Body, rays: Rays, normals: np.ndarray) -> np.ndarray:
    """Mean luminance (g,) of the lamp over cos / pi, from where rays start."""
    way = body.toward_lamp(rays.r, rays.z, rays.number(3), rays.number(4))
    facing = np.maximum(local(normals, way)[2], 0)
    gain = facing / math.pi * body.luminance / body.lamp_density(rays.r, rays.z)
    return rays.mean(np.arange(len(rays.group)), body.shown(rays.r, rays.z, way, gain))
