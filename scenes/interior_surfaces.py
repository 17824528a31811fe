"""Surfaces of revolution: where rays meet them, and how they scatter.

Everything turns about the z axis, so a ray is told in the half plane y = 0: it starts at (r, 0, z) in metres, and its
direction is (x, y, z) with x away from the axis, y around it.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np

_LEVELS = 128
_BLOCK = 64  # rays at a time, so that all stays in the processor's cache
_STEPS = 2048  # along a profile, where it is looked up


@dataclass(frozen=True, slots=True)
class Surface:
    """A frustum, straight or bulging, or a disk or ring, that scatters the same on both sides.

    Between its circles (z0, r0) and (z1, r1), r^2 is that of the straight frustum, plus bulge (z - z0) (z1 - z).

    For unit vectors at angles a (in) and b (out) to the normal, w off the mirror direction, f cos(a) is

        reflectance ((1 - gloss) cos(a) / pi + gloss (lobe(w) cos(a) / max(cos(a), cos(b)) + d cos(a) / pi))
        lobe(w) = (n + 1) / (2 pi) cos^n(w),  d = (1 - E(a)) (1 - E(b)) / (1 - mean of E)

    to the side the light comes from, where E is the share of a lobe that stays above the surface and d puts the rest
    back, diffusely; and transmittance cos(a) / pi to the other side. So `reflectance` is what comes back at every
    angle, and an exchange of a and b changes nothing. n = log(1/2) / log(cos(spread)).

    References
    ----------
    Lobe: Neumann, Neumann and Szirmay-Kalos 1999, Compact metallic reflectance models. What is put back: Kelemen and
    Szirmay-Kalos 2001, A microfacet based coupled specular-matte BRDF model.
    """

    z0_m: float
    r0_m: float
    z1_m: float
    r1_m: float
    reflectance: float
    transmittance: float
    gloss: float
    spread_rad: float
    bulge: float = 0.0

    @property
    def flat(self) -> bool:
        """Whether it is a disk or ring across the axis."""
        return self.z0_m == self.z1_m

    @property
    def slope(self) -> float:
        """dr/dz of the straight frustum."""
        return (self.r1_m - self.r0_m) / (self.z1_m - self.z0_m)

    @property
    def way_m(self) -> float:
        """Way along the profile, steps along the axis and across it added."""
        return abs(self.z1_m - self.z0_m) + abs(self.r1_m - self.r0_m)

    def normals(self, r: np.ndarray, z: np.ndarray) -> np.ndarray:
        """(2, n) unit normals (r, z) of the front side at points (n,) of the surface; the other side is the back."""
        if self.flat:
            return np.array([np.zeros(r.shape), np.full(r.shape, math.copysign(1.0, self.r0_m - self.r1_m))])
        forward = math.copysign(1.0, self.z1_m - self.z0_m)
        along = self._half_rise(z)
        length = np.maximum(np.hypot(r, along), 1e-30)
        return forward * np.array([r, -along]) / length

    def share_of(self, r: np.ndarray, z: np.ndarray) -> np.ndarray:
        """How far along the profile points of the surface lie, 0 to 1."""
        return np.clip((np.abs(r - self.r0_m) + np.abs(z - self.z0_m)) / self.way_m, 0.0, 1.0)

    def place_at(self, low: np.ndarray, high: np.ndarray, number: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(r, z) between two shares of the profile, for numbers evenly in 0..1; evenly over the area where the profile
        is straight between them."""
        (inner, start), (outer, end) = self._circle(low), self._circle(high)
        widening = outer - inner
        r = np.sqrt(inner**2 + (outer**2 - inner**2) * number)
        narrow = np.abs(widening) <= 1e-9 * self.way_m
        share = np.where(narrow, number, (r - inner) / np.where(narrow, 1.0, widening))
        z = start + share * (end - start)
        return (r, z) if self.flat else (self._radius(z), z)

    def hit_m(self, r: np.ndarray, z: np.ndarray, way: np.ndarray, near_m: float) -> np.ndarray:
        """Distance along rays to this surface, beyond `near_m`; infinite where they miss."""
        if self.flat:
            t = (self.z0_m - z) / way[2]
            at2 = (r + t * way[0]) ** 2 + (t * way[1]) ** 2
            low, high = sorted((self.r0_m, self.r1_m))
            return np.where((t > near_m) & (at2 >= low * low) & (at2 <= high * high), t, np.inf)
        low, high = sorted((self.z0_m, self.z1_m))
        # radius(t)^2 = x(t)^2 + y(t)^2 as a t^2 + 2 b t + c = 0, solved without cancellation
        a = 1 - way[2] ** 2 * (1 + self.slope**2 - self.bulge)
        b = r * way[0] - way[2] * self._half_rise(z)
        c = r * r - self._square(z)
        square = b * b - a * c
        q = -(b + np.copysign(np.sqrt(np.maximum(square, 0)), b))
        best = np.full(r.shape, np.inf)
        for t in (q / a, c / q):
            at = z + t * way[2]
            best = np.where((t > near_m) & (at >= low) & (at <= high) & (t < best) & (square >= 0), t, best)
        return best

    def _square(self, z: np.ndarray) -> np.ndarray:
        """r^2 of the surface, and of what it goes on as beyond its circles."""
        return square_at((self.z0_m, self.r0_m, self.z1_m, self.r1_m), self.bulge, z)

    def _half_rise(self, z: np.ndarray) -> np.ndarray:
        """Half of d(r^2)/dz."""
        straight = (self.r0_m + self.slope * (z - self.z0_m)) * self.slope
        return straight + self.bulge * ((self.z0_m + self.z1_m) / 2 - z)

    def _radius(self, z: np.ndarray) -> np.ndarray:
        return np.sqrt(np.maximum(self._square(z), 0.0))

    def _circle(self, share: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(r, z) at shares of the profile."""
        if self.flat:
            return self.r0_m + share * (self.r1_m - self.r0_m), np.full(share.shape, self.z0_m)
        z = np.linspace(self.z0_m, self.z1_m, _STEPS)
        z = np.interp(share, self.share_of(self._radius(z), z), z)
        return self._radius(z), z


def square_at(circles_m: tuple[float, float, float, float], bulge: float, z_m: np.ndarray) -> np.ndarray:
    """r^2 at places z of a side from circle (z0, r0) to (z1, r1), not at the same z."""
    z0, r0, z1, r1 = circles_m
    return np.asarray((r0 + (r1 - r0) / (z1 - z0) * (z_m - z0)) ** 2 + bulge * (z_m - z0) * (z1 - z_m))


def lobe_exponent(spread_rad: float) -> float:
    """Exponent n of a lobe that falls to half at an angle."""
    return math.log(0.5) / math.log(math.cos(spread_rad))


@functools.lru_cache(maxsize=64)
def lobe_share(spread_rad: float) -> np.ndarray:
    """Share E of a lobe that stays above the surface, for even steps of cos(b) from 0 to 1."""
    middle = (np.arange(96) + 0.5) / 96
    cosine = middle ** (1 / (lobe_exponent(spread_rad) + 1))
    sine = np.sqrt(np.maximum(1 - cosine**2, 0))
    level = np.linspace(0, 1, _LEVELS + 1)[:, None, None]
    up = level * cosine[:, None] + np.sqrt(1 - level**2) * sine[:, None] * np.cos(math.pi * middle)
    return np.asarray((np.maximum(up, 0) / np.maximum(np.maximum(up, level), 1e-30)).mean(axis=(1, 2)))


@dataclass(frozen=True, slots=True)
class Gloss:
    """The gloss part of f cos (of `Surface`) for rays on different surfaces, with directions in the surface's frame.

    Attributes
    ----------
    mirrored : (3, n) mirror directions, z along the normal on the ray's side.
    strength, exponent : (n,) reflectance times gloss, and the lobe's exponent.
    lobe_chance : (n,) share of samples that go into the lobe; the others are diffuse.
    put_back : (n,) (1 - E(b)) / (1 - mean of E).
    tables, number : (s, levels) E of every surface, and which surface each ray is on.
    """

    mirrored: np.ndarray
    strength: np.ndarray
    exponent: np.ndarray
    lobe_chance: np.ndarray
    put_back: np.ndarray
    tables: np.ndarray
    number: np.ndarray

    @classmethod
    def of(cls, surfaces: tuple[Surface, ...], number: np.ndarray, out: np.ndarray) -> Gloss:
        """Of rays that leave surfaces `number` along `out` (3, n)."""
        tables = np.array([lobe_share(surface.spread_rad) for surface in surfaces])
        levels = np.linspace(0, 1, _LEVELS + 1)
        lost = np.maximum(1 - 2 * np.trapezoid(tables * levels, levels, axis=1), 1e-12)
        strength = np.array([surface.reflectance * surface.gloss for surface in surfaces])
        exponent = np.array([lobe_exponent(surface.spread_rad) for surface in surfaces])
        chance = _between(tables, number, out[2])
        mirrored = np.array([-out[0], -out[1], out[2]])
        back = (1 - chance) / lost[number]
        return cls(mirrored, strength[number], exponent[number], chance, back, tables, number)

    def value(self, into: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """f cos for light from `into` (3, n), and the density with which `sample` chooses it."""
        facing = np.maximum(into[2], 0)
        cosine = np.maximum((into * self.mirrored).sum(0), 0)
        lobe = (self.exponent + 1) / (2 * math.pi) * cosine**self.exponent
        steepest = np.maximum(np.maximum(facing, self.mirrored[2]), 1e-30)
        diffuse = facing / math.pi
        back = self.put_back * (1 - _between(self.tables, self.number, facing))
        density = self.lobe_chance * lobe + (1 - self.lobe_chance) * diffuse
        return self.strength * (lobe * facing / steepest + back * diffuse), density

    def sum_over(self, into: np.ndarray, weight: np.ndarray) -> np.ndarray:
        """(n,) sums of f cos times `weight` (m,) over directions `into` (3, m); all rays are on one surface."""
        facing = np.maximum(into[2], 0)
        toward, mirrored = into.T.astype(np.float32), self.mirrored.astype(np.float32)
        facing_column, weighed = facing[:, None].astype(np.float32), weight.astype(np.float32)
        exponent, lobes = np.float32(self.exponent[0]), np.zeros(mirrored.shape[1])
        for start in range(0, len(lobes), _BLOCK):
            part = slice(start, start + _BLOCK)
            lobe = np.maximum(toward @ mirrored[:, part], 0) ** exponent
            lobe *= np.minimum(facing_column / np.maximum(mirrored[2, part], np.float32(1e-9)), 1)
            lobes[part] = weighed @ lobe
        lobes *= (self.exponent[0] + 1) / (2 * math.pi)
        back = 1 - np.interp(facing, np.linspace(0, 1, _LEVELS + 1), self.tables[self.number[0]])
        return np.asarray(self.strength * (lobes + self.put_back * (weight @ (back * facing)) / math.pi))

    def sample(self, choice: np.ndarray, first: np.ndarray, second: np.ndarray) -> np.ndarray:
        """Directions (3, n) that light comes from; those below the surface bring nothing."""
        in_lobe = choice < self.lobe_chance
        power = np.where(in_lobe, 1 / (self.exponent + 1), 0.5)
        axis = np.where(in_lobe, self.mirrored, [[0.0], [0.0], [1.0]])
        return around(axis, first**power, second)


def around(axis: np.ndarray, cosine: np.ndarray, turn: np.ndarray) -> np.ndarray:
    """Directions (3, n) at angles of `cosine` to `axis` (3, n; its z not negative), turned by 0..1 of a full turn.

    References
    ----------
    Frisvad 2012, Building an orthonormal basis from a 3D unit vector without normalization.
    """
    u, v, w = axis
    sine = np.sqrt(np.maximum(1 - cosine * cosine, 0))
    p, q = sine * np.cos(2 * math.pi * turn), sine * np.sin(2 * math.pi * turn)
    a = -1 / (1 + w)
    mixed = u * v * a
    x = p * (1 + u * u * a) + q * mixed + cosine * u
    return np.array([x, p * mixed + q * (1 + v * v * a) + cosine * v, cosine * w - p * u - q * v])


def _between(tables: np.ndarray, number: np.ndarray, cosine: np.ndarray) -> np.ndarray:
    at = np.clip(cosine, 0, 1) * _LEVELS
    low = np.minimum(at.astype(int), _LEVELS - 1)
    first = tables[number, low]
    return np.asarray(first + (at - low) * (tables[number, low + 1] - first))
