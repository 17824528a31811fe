"""Rays inside a body of revolution, followed backwards to the lamp and to the rings that its surfaces are cut into.

A ray ends where it meets a ring: what the ring sends out diffusely is the same in all directions, so only its number
is noted. Where the surface has gloss too, the ray goes on into the lobe; there the lamp is sampled besides, and rays
of either kind that meet the lamp are weighted by the balance heuristic (Veach and Guibas 1995).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from .interior_surfaces import Gloss, Surface, around

GENERATOR = 2205
"""Of the lattice the samples lie on: powers of it, modulo the number of samples, are the steps along each axis.
Found by a search of our own for even cover."""

LATTICE_BOUNCES = 3
"""Bounces whose choices lie on the lattice; later ones are random."""

FAINT, PATIENCE, GIVE_UP = 0.1, 64, 20_000
"""Rays of which surfaces left less than FAINT play roulette, after PATIENCE bounces all do; none is left at GIVE_UP."""

RINGS_IN_ALL, RINGS_LEAST = 160, 4
"""Rings the profile is cut into, all surfaces together, and the least a surface."""

NEAR = 1e-6
"""Rays leave a surface without meeting it again closer than this, in radii of the exit."""

OUTSIDE = 1e-5
"""Rays start this far in front of the exit, in its radii, so that they meet what lies across it."""

SEED = 7

NEAR_LAMP, SHARP = 0.4, 100.0
"""Share of the bounces off wide lobes that go to what stands about the lamp; it is half that for this exponent."""

_FIRST, _EACH = 5, 5
_CERTAIN = 1e300


@dataclass(frozen=True, slots=True)
class Hits:
    """What rays (n,) meet first.

    Attributes
    ----------
    lit : (n,) whether it is the lamp.
    which : (m,) numbers of the rays that meet a surface instead.
    number, r, z : (m,) the surface, and the place in the half plane into which all is turned, metres.
    normals, way : (2, m) normal (r, z) of the side that is met, and (3, m) the ray's direction there.
    back : (m,) whether that side is the back.
    """

    lit: np.ndarray
    which: np.ndarray
    number: np.ndarray
    r: np.ndarray
    z: np.ndarray
    normals: np.ndarray
    way: np.ndarray
    back: np.ndarray


@dataclass(frozen=True, slots=True)
class Body:
    """The inside: surfaces, cut into rings, and the lamp.

    Attributes
    ----------
    surfaces : all that light meets but the lamp.
    lamp_z_m, lamp_radius_m : the lamp's ball.
    near_m : shortest way from a surface to the next.
    cuts : rings of each surface. Rings are numbered through, from circle 0 to circle 1, front before back.
    firsts : number of each surface's first ring.
    """

    surfaces: tuple[Surface, ...]
    lamp_z_m: float
    lamp_radius_m: float
    near_m: float
    cuts: tuple[int, ...]
    firsts: tuple[int, ...]

    @classmethod
    def of(cls, surfaces: tuple[Surface, ...], lamp: tuple[float, float], exit_radius_m: float) -> Body:
        """With about `RINGS_IN_ALL` rings of even width."""
        total = sum(surface.way_m for surface in surfaces)
        cuts = [max(RINGS_LEAST, round(RINGS_IN_ALL * surface.way_m / total)) for surface in surfaces]
        firsts = np.cumsum([0, *(2 * n for n in cuts)])[:-1]
        return cls(surfaces, *lamp, NEAR * exit_radius_m, tuple(cuts), tuple(int(n) for n in firsts))

    @property
    def rings(self) -> int:
        """Rings in all, front and back."""
        return 2 * sum(self.cuts)

    @property
    def luminance(self) -> float:
        """Of the lamp, cd/m2 per lm: a diffuse ball sends out pi L over its surface."""
        return 1 / (4 * math.pi**2 * self.lamp_radius_m**2)

    def first_met(self, r: np.ndarray, z: np.ndarray, way: np.ndarray) -> Hits:
        """What rays meet first."""
        distance, number = self.nearest(r, z, way)
        lit = self.lamp_m(r, z, way) < distance
        which = np.flatnonzero(~lit & (number >= 0))
        number, distance, way = number[which], distance[which], way[:, which]
        z = z[which] + distance * way[2]
        r, way = turned(r[which] + distance * way[0], distance * way[1], way)
        normals = np.zeros((2, len(which)))
        for k, surface in enumerate(self.surfaces):
            on = number == k
            normals[:, on] = surface.normals(r[on], z[on])
        back = normals[0] * way[0] + normals[1] * way[2] > 0
        return Hits(lit, which, number, r, z, np.where(back, -normals, normals), way, back)

    def ring_of(self, hits: Hits) -> np.ndarray:
        """(m,) the ring of each place on a surface."""
        ring = np.zeros(len(hits.number), int)
        for k, surface in enumerate(self.surfaces):
            on = hits.number == k
            at = (surface.share_of(hits.r[on], hits.z[on]) * self.cuts[k]).astype(int)
            ring[on] = self.firsts[k] + np.minimum(at, self.cuts[k] - 1) + self.cuts[k] * hits.back[on]
        return ring

    def other_sides(self) -> np.ndarray:
        """(rings,) for every ring the one on its other side."""
        pairs = zip(self.firsts, self.cuts, strict=True)
        return np.concatenate([[], *(first + np.r_[cut : 2 * cut, 0:cut] for first, cut in pairs)]).astype(int)

    def nearest(self, r: np.ndarray, z: np.ndarray, way: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Distance to the nearest surface and its number; infinite and -1 where rays meet none."""
        best, number = np.full(r.shape, np.inf), np.full(r.shape, -1)
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            for k, surface in enumerate(self.surfaces):
                t = surface.hit_m(r, z, way, self.near_m)
                closer = t < best
                best[closer], number[closer] = t[closer], k
        return best, number

    def lamp_m(self, r: np.ndarray, z: np.ndarray, way: np.ndarray) -> np.ndarray:
        """Distance along rays to the lamp; infinite where they miss it."""
        along = (self.lamp_z_m - z) * way[2] - r * way[0]
        inside = self.lamp_radius_m**2 - (r * r + (self.lamp_z_m - z) ** 2 - along * along)
        return np.where((inside > 0) & (along > 0), along - np.sqrt(np.maximum(inside, 0)), np.inf)

    def lamp_cap(self, r: np.ndarray, z: np.ndarray) -> np.ndarray:
        """1 - cos of the half angle that the lamp fills."""
        sine2 = np.minimum(self.lamp_radius_m**2 / (r * r + (z - self.lamp_z_m) ** 2), 1)
        return sine2 / (1 + np.sqrt(1 - sine2))

    def lamp_density(self, r: np.ndarray, z: np.ndarray) -> np.ndarray:
        """Density (1/sr) of `toward_lamp`."""
        return 1 / (2 * math.pi * self.lamp_cap(r, z))

    def toward_lamp(self, r: np.ndarray, z: np.ndarray, first: np.ndarray, second: np.ndarray) -> np.ndarray:
        """Directions (3, n) evenly over the cone that the lamp fills."""
        return self._off_lamp(r, z, first * self.lamp_cap(r, z), second)

    def near_lamp(self, r: np.ndarray, z: np.ndarray, first: np.ndarray, second: np.ndarray) -> np.ndarray:
        """Directions (3, n) about the lamp, the more of them the closer to it: what stands there is bright."""
        cap = self.lamp_cap(r, z)
        return self._off_lamp(r, z, np.minimum(cap * np.expm1(first * np.log1p(2 / cap)), 2.0), second)

    def near_density(self, r: np.ndarray, z: np.ndarray, way: np.ndarray) -> np.ndarray:
        """Density (1/sr) of `near_lamp`."""
        cap = self.lamp_cap(r, z)
        axis_r, axis_z = self._lamp_axis(r, z)
        return 1 / (2 * math.pi * (1 - way[0] * axis_r - way[2] * axis_z + cap) * np.log1p(2 / cap))

    def _off_lamp(self, r: np.ndarray, z: np.ndarray, fall: np.ndarray, turn: np.ndarray) -> np.ndarray:
        """Directions (3, n) at 1 - cos = `fall` off the lamp's middle, turned by 0..1 of a full turn."""
        p, q, cosine = around(np.array([[0.0], [0.0], [1.0]]), 1 - fall, turn)
        axis_r, axis_z = self._lamp_axis(r, z)
        return np.array([cosine * axis_r + p * axis_z, q, cosine * axis_z - p * axis_r])

    def _lamp_axis(self, r: np.ndarray, z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        distance = np.hypot(r, z - self.lamp_z_m)
        return -r / distance, (self.lamp_z_m - z) / distance

    def shown(self, r: np.ndarray, z: np.ndarray, way: np.ndarray, gain: np.ndarray) -> np.ndarray:
        """`gain`, 0 where a surface stands between here and the lamp."""
        asked = np.flatnonzero(gain > 0)
        r, z, way = r[asked], z[asked], way[:, asked]
        gain = gain.copy()
        gain[asked[self.nearest(r, z, way)[0] < self.lamp_m(r, z, way)]] = 0
        return gain


@dataclass(slots=True)
class Rays:
    """Rays to follow, in groups whose means are asked for.

    Attributes
    ----------
    sizes : (g,) rays a group; group, index : (n,) the group of each ray, and its number in the group.
    r, z : (n,) metres; way : (3, n) unit vectors, backwards along the light.
    """

    sizes: np.ndarray
    group: np.ndarray
    index: np.ndarray
    shifts: np.ndarray
    r: np.ndarray
    z: np.ndarray
    way: np.ndarray

    @classmethod
    def of(cls, sizes: np.ndarray) -> Rays:
        """Rays without a place yet."""
        group = np.repeat(np.arange(len(sizes)), sizes)
        index = np.arange(len(group)) - np.repeat(np.cumsum(sizes) - sizes, sizes)
        shifts = np.random.default_rng(SEED).random((len(sizes), _FIRST + _EACH * LATTICE_BOUNCES))
        none = np.zeros(0)
        return cls(sizes, group, index, shifts, none, none, none)

    def number(self, dimension: int, rays: np.ndarray | slice = slice(None)) -> np.ndarray:
        """A number in 0..1 for each of `rays`, spread evenly over its group, jointly with those of other dimensions."""
        kinds, which = np.unique(self.sizes, return_inverse=True)
        steps = np.array([pow(GENERATOR, dimension, int(size)) / size for size in kinds])[which]
        group = self.group[rays]
        at = self.index[rays] * steps[group] + self.shifts[group, dimension]
        return np.clip(np.abs(2 * (at - np.floor(at)) - 1), 1e-12, 1 - 1e-12)

    def only(self, kept: np.ndarray) -> Rays:
        """Those of the rays that are `kept` (n,); they keep their numbers."""
        part = (self.r[kept], self.z[kept], self.way[:, kept])
        return Rays(self.sizes, self.group[kept], self.index[kept], self.shifts, *part)

    def mean(self, rays: np.ndarray, values: np.ndarray) -> np.ndarray:
        """(g,) what `rays` bring to the mean of their group."""
        return np.bincount(self.group[rays], values, len(self.sizes)) / self.sizes


@dataclass(frozen=True, slots=True)
class Met:
    """Rings that rays met: the group of each ray that did, the ring, and the weight of what the ring sends out."""

    group: np.ndarray
    ring: np.ndarray
    weight: np.ndarray

    def weights(self, groups: int, rings: int) -> np.ndarray:
        """(groups, rings) the weight of what every ring sends to every group."""
        sums = np.bincount(self.group * rings + self.ring, self.weight, groups * rings)
        return np.asarray(sums.reshape(groups, rings), float)

    def sums(self, groups: int, sent: np.ndarray) -> np.ndarray:
        """(groups,) what every group gets when the rings send out `sent` (rings,)."""
        return np.bincount(self.group, self.weight * sent[self.ring], groups)


def follow(body: Body, rays: Rays, sees_lamp: bool, weights: np.ndarray | float = 1.0) -> tuple[np.ndarray, Met]:
    """What the rays of every group find in the mean.

    Parameters
    ----------
    sees_lamp : whether rays that meet the lamp at once count; else the caller takes care of it.
    weights : (n,) of the rays.

    Returns
    -------
    (g,) luminance (cd/m2 per lm) of the lamp, and the rings that were met.
    """
    found, met = follow_each(body, rays, sees_lamp, weights=weights)
    group = rays.group[met.group]
    return rays.mean(np.arange(len(rays.group)), found), Met(group, met.ring, met.weight / rays.sizes[group])


def follow_each(
    body: Body, rays: Rays, sees_lamp: bool, reflections: int = GIVE_UP, weights: np.ndarray | float = 1.0
) -> tuple[np.ndarray, Met]:
    """What every ray finds, as `follow`, each ray a group of its own.

    Parameters
    ----------
    reflections : of the lamp's light by gloss, the most that count.
    """
    found = np.zeros(len(rays.group))
    met_rings: list[tuple[np.ndarray, np.ndarray, np.ndarray]] = []
    strengths = np.array([surface.reflectance * surface.gloss for surface in body.surfaces])
    rng = np.random.default_rng(SEED)
    ids, r, z, way = np.arange(len(rays.group)), rays.r, rays.z, rays.way
    weight, left = np.broadcast_to(weights, ids.shape), np.ones(len(ids))
    density = np.full(len(ids), _CERTAIN if sees_lamp else 0.0)
    for bounce in range(GIVE_UP):
        hits = body.first_met(r, z, way)
        lit = hits.lit
        share = density[lit] / (density[lit] + body.lamp_density(r[lit], z[lit]))
        found[ids[lit]] += weight[lit] * share * body.luminance
        if bounce == reflections:
            break

        ids, weight, left = ids[hits.which], weight[hits.which], left[hits.which]
        met_rings.append((ids, body.ring_of(hits), weight))
        left = left * strengths[hits.number]
        chance = np.minimum(left / FAINT, 1.0 if bounce < PATIENCE else 0.95)
        kept = rng.random(len(ids)) < chance
        if not kept.any():
            break
        ids, number, r, z, normals = ids[kept], hits.number[kept], hits.r[kept], hits.z[kept], hits.normals[:, kept]
        weight, left = weight[kept] / chance[kept], left[kept] / chance[kept]
        gloss = Gloss.of(body.surfaces, number, local(normals, -hits.way[:, kept]))
        if bounce < LATTICE_BOUNCES:
            choices = [rays.number(_FIRST + _EACH * bounce + k, ids) for k in range(_EACH)]
        else:
            choices = list(rng.random((_EACH, len(ids))))

        way = body.toward_lamp(r, z, *choices[3:])
        value, density = gloss.value(local(normals, way))
        near = NEAR_LAMP / (1 + gloss.exponent / SHARP)
        density += near * (body.near_density(r, z, way) - density)
        gain = weight * value * body.luminance / (body.lamp_density(r, z) + density)
        found[ids] += body.shown(r, z, way, gain)

        way = world(normals, gloss.sample((choices[0] - near) / (1 - near), *choices[1:3]))
        way = np.where(choices[0] < near, body.near_lamp(r, z, *choices[1:3]), way)
        value, density = gloss.value(local(normals, way))
        density += near * (body.near_density(r, z, way) - density)
        kept = value > 0
        ids, r, z, density, way, left = ids[kept], r[kept], z[kept], density[kept], way[:, kept], left[kept]
        weight = weight[kept] * value[kept] / density
    else:
        raise ArithmeticError(f"light did not come out or fade within {GIVE_UP} bounces")
    return found, Met(*(np.concatenate(part) for part in zip(*met_rings, strict=True)))


def turned(x: np.ndarray, y: np.ndarray, way: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Radius of points, and directions from them, after a turn about the axis into the half plane."""
    radius = np.hypot(x, y)
    cosine = np.divide(x, radius, out=np.ones_like(x), where=radius > 0)
    sine = np.divide(y, radius, out=np.zeros_like(y), where=radius > 0)
    return radius, np.array([cosine * way[0] + sine * way[1], cosine * way[1] - sine * way[0], way[2]])


def local(normals: np.ndarray, way: np.ndarray) -> np.ndarray:
    """Directions (3, n) as (in the half plane, around the axis, along the normal)."""
    return np.array([normals[1] * way[0] - normals[0] * way[2], way[1], normals[0] * way[0] + normals[1] * way[2]])


def world(normals: np.ndarray, into: np.ndarray) -> np.ndarray:
    """Directions (3, n) back from `local`."""
    return np.array([normals[1] * into[0] + normals[0] * into[2], into[1], normals[1] * into[2] - normals[0] * into[0]])


def lamp_itself(body: Body, angles_rad: np.ndarray, exit_radius_m: float, samples: int) -> np.ndarray:
    """Intensity (cd per lm) of what is seen of the lamp through the exit, at angles off the axis below 90 degrees."""
    rays = Rays.of(np.full(len(angles_rad), samples))
    sine, cosine = np.sin(angles_rad)[rays.group], np.cos(angles_rad)[rays.group]
    # the disk that the lamp shows, across the direction (sine, 0, cosine), and the front of the ball above it
    from_centre, turn = np.sqrt(rays.number(0)), math.pi * rays.number(1)
    p, q = from_centre * np.cos(turn), from_centre * np.sin(turn)
    front = np.sqrt(np.maximum(1 - from_centre**2, 0))
    x, y = (p * cosine + front * sine) * body.lamp_radius_m, q * body.lamp_radius_m
    z = body.lamp_z_m + (front * cosine - p * sine) * body.lamp_radius_m
    r, way = turned(x, y, np.array([sine, np.zeros_like(sine), cosine]))
    reach = (OUTSIDE * exit_radius_m - z) / way[2]
    leaves = np.hypot(r + reach * way[0], reach * way[1]) <= exit_radius_m
    leaves[leaves] = body.nearest(r[leaves], z[leaves], way[:, leaves])[0] > reach[leaves]
    shown = rays.mean(np.arange(len(rays.group)), leaves.astype(float))
    return shown * body.luminance * math.pi * body.lamp_radius_m**2
