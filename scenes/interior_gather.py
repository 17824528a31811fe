"""What glossy walls send on of light that other walls sent them: two reflections and more from the lamp.

Followed ray by ray this light is noisy, since few rays find the bright places near the lamp. Here every ring is asked
once what it gets and from where; each ray that meets the ring, from whatever side, then takes its part of all of that.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .interior_rays import Body, Met, Rays, follow_each, local
from .interior_rings import from_rings
from .interior_surfaces import Gloss

SAMPLES = 512
"""Rays a ring. A power of two."""


@dataclass(frozen=True, slots=True)
class Gathered:
    """What rings of glossy surfaces get, but for what comes straight from the lamp.

    Attributes
    ----------
    rings : (g,) their numbers, ascending.
    into : (3, g * SAMPLES) directions along which they get it, in the surface's frame.
    found : (g * SAMPLES,) luminance that came along them without a diffuse reflection, cd/m2 per lm.
    met : rings that send the rest of it, each direction a group.
    share : (g * SAMPLES,) what each direction stands for, in sr.
    """

    rings: np.ndarray
    into: np.ndarray
    found: np.ndarray
    met: Met
    share: np.ndarray

    @classmethod
    def by(cls, body: Body, rings: np.ndarray) -> Gathered:
        """What `rings` get."""
        glossy = np.repeat([s.gloss * s.reflectance > 0 for s in body.surfaces], 2 * np.array(body.cuts))
        rings = np.unique(rings[glossy[rings]])
        rays, normals, density = from_rings(body, rings, SAMPLES)
        into = local(normals, rays.way)
        above = np.flatnonzero(into[2] > 0)
        found, share = np.zeros(len(density)), np.zeros(len(density))
        found[above], met = follow_each(body, rays.only(above), sees_lamp=False)
        share[above] = 1 / (SAMPLES * density[above])
        return cls(rings, into, found, Met(above[met.group], met.ring, met.weight), share)

    def sent_on(self, body: Body, rays: Rays, sent: np.ndarray) -> np.ndarray:
        """(n,) luminance that rays find in the gloss of what they meet first, while rings send out `sent` diffusely."""
        weight = (self.found + self.met.sums(len(self.found), sent)) * self.share
        hits = body.first_met(rays.r, rays.z, rays.way)
        ring, out = body.ring_of(hits), local(hits.normals, -hits.way)
        got = np.zeros(len(rays.group))
        for k, own in enumerate(self.rings):
            on, part = np.flatnonzero(ring == own), slice(k * SAMPLES, (k + 1) * SAMPLES)
            if len(on):
                gloss = Gloss.of(body.surfaces, hits.number[on], out[:, on])
                got[hits.which[on]] = gloss.sum_over(self.into[:, part], weight[part])
        return got
