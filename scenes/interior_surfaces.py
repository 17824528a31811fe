"""Surfaces of revolution: where rays meet them, and how they scatter.

Everything turns about the z axis, so a ray is told in the half plane y = 0: it starts at (r, 0, z) in metres, and its
direction is (x, y, z) with x away from the axis, y around it. A surface then has one normal all over.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np

_LEVELS = 128


@dataclass(frozen=True, slots=True)
class Surface:
    """A frustum, disk or ring that scatters the same on both sides.

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

    @property
    def length_m(self) -> float:
        """Length of the profile."""
        return math.hypot(self.z1_m - self.z0_m, self.r1_m - self.r0_m)

    @property
    def normal(self) -> tuple[float, float]:
        """(r, z) of the unit normal of the front side; the other side is the back."""
        return (self.z1_m - self.z0_m) / self.length_m, (self.r0_m - self.r1_m) / self.length_m

    def share_of(self, r: np.ndarray, z: np.ndarray) -> np.ndarray:
        """How far along the profile points of the surface lie, 0 to 1."""
        along_r, along_z = self.r1_m - self.r0_m, self.z1_m - self.z0_m
        share = ((r - self.r0_m) * along_r + (z - self.z0_m) * along_z) / self.length_m**2
        return np.clip(share, 0.0, 1.0)

    def place_at(self, low: np.ndarray, high: np.ndarray, number: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(r, z) between two shares of the profile, evenly over the area for numbers evenly in 0..1."""
        widening = self.r1_m - self.r0_m
        inner, outer = self.r0_m + low * widening, self.r0_m + high * widening
        r = np.sqrt(inner**2 + (outer**2 - inner**2) * number)
        share = (r - self.r0_m) / widening if abs(widening) > 1e-9 * self.length_m else low + (high - low) * number
        return r, self.z0_m + share * (self.z1_m - self.z0_m)

    def hit_m(self, r: np.ndarray, z: np.ndarray, way: np.ndarray, near_m: float) -> np.ndarray:
        """Distance along rays to this surface, beyond `near_m`; infinite where they miss."""
        if self.z0_m == self.z1_m:
            t = (self.z0_m - z) / way[2]
            at2 = (r + t * way[0]) ** 2 + (t * way[1]) ** 2
            low, high = sorted((self.r0_m, self.r1_m))
            return np.where((t > near_m) & (at2 >= low * low) & (at2 <= high * high), t, np.inf)
        slope = (self.r1_m - self.r0_m) / (self.z1_m - self.z0_m)
        low, high = sorted((self.z0_m, self.z1_m))
        radius = self.r0_m + slope * (z - self.z0_m)
        # radius(t)^2 = x(t)^2 + y(t)^2 as a t^2 + 2 b t + c = 0, solved without cancellation
        a = 1 - way[2] ** 2 * (1 + slope * slope)
        b = r * way[0] - slope * way[2] * radius
        c = r * r - radius * radius
        square = b * b - a * c
        q = -(b + np.copysign(np.sqrt(np.maximum(square, 0)), b))
        best = np.full(r.shape, np.inf)
        for t in (q / a, c / q):
            at = z + t * way[2]
            # between the circles, and not on the other half of the cone
            fits = (t > near_m) & (at >= low) & (at <= high) & (radius + slope * t * way[2] >= 0) & (t < best)
            best = np.where(fits & (square >= 0), t, best)
        return best


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
