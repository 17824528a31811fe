"""Light inside a modifier: what a lamp in a bowl, box or tube of revolution sends out of its mouth.

The body is described by the profile that turns about the axis: walls (frusta), diffusing sheets and the lamp, all at
z <= 0 in metres, with the exit, an open disk, at z = 0. Light is followed backwards, from points of the exit into
the body, so that every angle off the axis, the axis itself included, has its own low noise (`interior_rays`). What
surfaces send out diffusely is solved for first, ring by ring, so that no ray has to follow many bounces.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np

from .interior_rays import OUTSIDE, Body, Rays, follow, lamp_itself, local
from .interior_rings import from_rings, lamp_on_rings
from .interior_store import Record, kept
from .interior_surfaces import Surface, square_at

ANGLES = 64
"""Angles off the axis, from 0 to 90 degrees."""

RINGS = 24
"""Rings of the exit that `Emergent.glow` tells apart."""

GLOW_SPREAD_DEG = 5.0
"""Directions up to this angle off the axis make the glow."""

SAMPLES_OPEN, SAMPLES_COVERED = (2048, 512), (512, 4096)
"""Rays an angle off the axis, and a side of a ring of the surfaces, without sheets and with: where a sheet mixes the
light, all that counts is what the rings get. Powers of two, as the two that follow."""

SAMPLES_AXIS, SAMPLES_GLOW = 16384, 1024
"""Rays on the axis, and a ring of the exit."""

WIDEST_LOBE_DEG = 60.0
"""A lobe that falls to half at 60 degrees goes with the cosine, which is as wide as a lobe gets."""

_CROWDING = 1.5
_TOUCH = 1e-9
_CORNERS = 129  # of the profile of a bulging wall


@dataclass(frozen=True, slots=True)
class Wall:
    """An opaque frustum between circles (z0, r0) and (z1, r1); with z0 == z1 a disk or ring across the axis.

    Its side may bulge: r^2 is that of the straight frustum, plus bulge (z - z0) (z1 - z). Where s is dr/dz of the
    straight one, a bulge of s^2 makes a paraboloid, one of s^2 + 1 a part of a ball.

    Attributes
    ----------
    z0_m, r0_m, z1_m, r1_m : metres; z not above the exit (0), radii not negative.
    reflectance : share of light that either side sends back, whatever its angle, 0 to 1.
    gloss : share of the reflected light that goes into a lobe about the mirror direction; the rest is diffuse.
    spread_deg : angle off the mirror direction at which the lobe falls to half, above 0, at most `WIDEST_LOBE_DEG`.
        The lobe goes with cos^n(angle), n = log(1/2) / log(cos(spread)); see `interior_surfaces.Surface`.
    bulge : 0 for a straight side; not so much, either way, that the radius does not rise or fall all along it.
    """

    z0_m: float
    r0_m: float
    z1_m: float
    r1_m: float
    reflectance: float
    gloss: float = 0.0
    spread_deg: float = 15.0
    bulge: float = 0.0

    def __post_init__(self) -> None:
        _finite("wall", self.z0_m, self.r0_m, self.z1_m, self.r1_m)
        _behind_exit("wall", max(self.z0_m, self.z1_m))
        if min(self.r0_m, self.r1_m) < 0 or math.hypot(self.z1_m - self.z0_m, self.r1_m - self.r0_m) == 0:
            raise ValueError(
                f"wall from (z {self.z0_m}, r {self.r0_m}) to (z {self.z1_m}, r {self.r1_m}): "
                "need radii of 0 or more and two different circles"
            )
        _share("wall reflectance", self.reflectance)
        _share("wall gloss", self.gloss)
        if not 0 < self.spread_deg <= WIDEST_LOBE_DEG:
            raise ValueError(f"wall spread {self.spread_deg}: need above 0, at most {WIDEST_LOBE_DEG:g} degrees")
        self._check_bulge()

    def _check_bulge(self) -> None:
        if not self.bulge:
            return
        _finite("wall bulge", self.bulge)
        long, wide = self.z1_m - self.z0_m, self.r1_m - self.r0_m
        # half of d(r^2)/dz at both circles, times the length
        rises = np.array([self.r0_m * wide, self.r1_m * wide]) + self.bulge * long * long / 2 * np.array([1, -1])
        if not long or not wide or (rises * math.copysign(1.0, wide)).min() < -_TOUCH * wide * wide:
            raise ValueError(f"wall bulge {self.bulge}: its radius has to rise or fall all along it; need nearer to 0")

    def radius_m(self, z_m: np.ndarray) -> np.ndarray:
        """Its radius at places z between its circles; not of a disk or ring."""
        return np.sqrt(np.maximum(square_at((self.z0_m, self.r0_m, self.z1_m, self.r1_m), self.bulge, z_m), 0.0))

    def profile(self, count: int) -> np.ndarray:
        """(count, 2) places (z, r) along it, closer toward its narrow end."""
        if self.z0_m == self.z1_m:
            return np.linspace((self.z0_m, self.r0_m), (self.z1_m, self.r1_m), count)
        share = np.linspace(0, 1, count) ** 2
        share = share if self.r0_m <= self.r1_m else 1 - share[::-1]
        z = self.z0_m + share * (self.z1_m - self.z0_m)
        return np.stack([z, self.radius_m(z)], axis=1)


@dataclass(frozen=True, slots=True)
class Sheet:
    """A thin diffusing disk across the axis at `z_m`, the same on both sides.

    Attributes
    ----------
    z_m, radius_m : metres.
    transmittance, reflectance : shares of light passed and sent back, both diffusely; the rest is absorbed.
    """

    z_m: float
    radius_m: float
    transmittance: float
    reflectance: float

    def __post_init__(self) -> None:
        _finite("sheet", self.z_m, self.radius_m)
        _behind_exit("sheet", self.z_m)
        if not self.radius_m > 0:
            raise ValueError(f"sheet radius {self.radius_m} m: need above 0")
        _share("sheet transmittance", self.transmittance)
        _share("sheet reflectance", self.reflectance)
        if self.transmittance + self.reflectance > 1 + 1e-9:
            raise ValueError(
                f"sheet transmittance {self.transmittance} and reflectance {self.reflectance}: "
                "together they may be at most 1"
            )


@dataclass(frozen=True, slots=True)
class Lamp:
    """The lamp: a ball on the axis, centre at `z_m`, equally bright all over; light that meets it is lost."""

    z_m: float
    radius_m: float

    def __post_init__(self) -> None:
        _finite("lamp", self.z_m, self.radius_m)
        if not self.radius_m > 0:
            raise ValueError(f"lamp radius {self.radius_m} m: need above 0")
        _behind_exit("lamp", self.z_m + self.radius_m)


@dataclass(frozen=True, slots=True)
class Interior:
    """A body of revolution with its lamp; the exit is the open disk of `exit_radius_m` at z = 0.

    Walls and sheets may touch but should not pass through one another: each is cut into rings that are taken as
    evenly lit, also where a ring lies half outside the body.
    """

    walls: tuple[Wall, ...]
    sheets: tuple[Sheet, ...]
    lamp: Lamp
    exit_radius_m: float

    def __post_init__(self) -> None:
        _finite("exit", self.exit_radius_m)
        if not self.exit_radius_m > 0:
            raise ValueError(f"exit radius {self.exit_radius_m} m: need above 0")
        lines: list[tuple[Wall | Sheet, np.ndarray]] = [
            (wall, wall.profile(_CORNERS if wall.bulge else 2)) for wall in self.walls
        ]
        lines += [(sheet, np.array([(sheet.z_m, 0.0), (sheet.z_m, sheet.radius_m)])) for sheet in self.sheets]
        for part, line in lines:
            gap = _distance_m(np.array([self.lamp.z_m, 0.0]), line)
            if gap < self.lamp.radius_m * (1 - _TOUCH):
                raise ValueError(
                    f"lamp of radius {self.lamp.radius_m} m at z {self.lamp.z_m} m touches {part}, {gap:.4g} m from "
                    "its centre: make it smaller or move one of them"
                )


@dataclass(frozen=True, slots=True)
class Emergent:
    """Light that leaves through the exit, per lumen of the lamp.

    Attributes
    ----------
    efficiency : lumens through the exit.
    angles_rad : (n,) off the axis from 0 to pi / 2, closer toward the axis.
    intensity : (n,) cd per lm at these angles; between them it is linear.
    radii : (m,) centres of even rings of the exit, as fractions of its radius.
    glow : (m,) luminance of these rings near the direction of the axis, relative to its mean over the exit.
    """

    efficiency: float
    angles_rad: np.ndarray
    intensity: np.ndarray
    radii: np.ndarray
    glow: np.ndarray

    def even(self, count: int) -> np.ndarray:
        """Intensity (count,) at even steps from the axis to 90 degrees, both included."""
        if count < 2:
            raise ValueError(f"{count} steps: need at least 2")
        return np.interp(np.linspace(0, math.pi / 2, count), self.angles_rad, self.intensity)


@functools.lru_cache(maxsize=256)
def emergent(interior: Interior) -> Emergent:
    """The light that leaves the exit, traced once and kept; the same numbers on every call."""

    def trace() -> Record:
        made = trace_emergent(interior)
        return Record(np.concatenate([[made.efficiency], made.intensity, made.glow]))

    numbers = kept(interior, (), 1 + ANGLES + RINGS, trace).numbers
    return Emergent(float(numbers[0]), _angles(), numbers[1 : 1 + ANGLES], _radii(), numbers[1 + ANGLES :])


def trace_emergent(interior: Interior) -> Emergent:
    """The light that leaves the exit."""
    body, radius = body_of(interior), interior.exit_radius_m
    angles, radii = _angles(), _radii()
    samples, samples_ring = SAMPLES_COVERED if interior.sheets else SAMPLES_OPEN
    sizes = np.full(ANGLES - 1, samples)
    sizes[0] = SAMPLES_AXIS
    lamp, met = follow(body, _toward(angles[:-1], sizes, radius), sees_lamp=False)
    lamp_near, met_near = follow(body, _through_rings(radius), sees_lamp=True)
    sent = sent_by_rings(body, np.concatenate([met.ring, met_near.ring]), samples_ring)

    scattered = (lamp + met.sums(len(lamp), sent)) * np.cos(angles[:-1]) * math.pi * radius**2
    intensity = np.append(scattered + lamp_itself(body, angles[:-1], radius, samples), 0.0)
    rings = lamp_near + met_near.sums(RINGS, sent)
    mean = float(np.average(rings, weights=radii))
    glow = rings / mean if mean > 0 else np.ones(RINGS)
    return Emergent(_flux(angles, intensity), angles, intensity, radii, glow)


def _angles() -> np.ndarray:
    return _shared(math.pi / 2 * (np.arange(ANGLES) / (ANGLES - 1)) ** _CROWDING)


def _radii() -> np.ndarray:
    return _shared((np.arange(RINGS) + 0.5) / RINGS)


def _shared(values: np.ndarray) -> np.ndarray:
    values.setflags(write=False)
    return values


def sent_by_rings(body: Body, seen_from_outside: np.ndarray, samples: int) -> np.ndarray:
    """Luminance (rings,) in cd/m2 per lm that rings send out diffusely, all interreflection included.

    With h the mean luminance a ring gets over cos / pi, and g the part of it that comes from the lamp without a
    diffuse bounce between: h = g + G s and s = M h, where G weighs what rings send, and M turns what they get into it.

    Parameters
    ----------
    seen_from_outside : (n,) numbers of rings that are; those that light reaches only elsewhere stay 0.
    samples : rays a ring.
    """
    sides = 2 * np.array(body.cuts, int)
    matte = np.repeat([float(s.reflectance * (1 - s.gloss)) for s in body.surfaces], sides)
    through = np.repeat([float(s.transmittance) for s in body.surfaces], sides)
    other = body.other_sides()
    got, seen = np.zeros((body.rings, body.rings)), np.zeros(body.rings)
    known, wanted = np.zeros(body.rings, bool), np.zeros(body.rings, bool)
    wanted[seen_from_outside] = True
    while True:
        wanted = (wanted & (matte + through > 0)) | (wanted & (through > 0))[other]
        new = np.flatnonzero(wanted & ~known)
        if not len(new):
            break
        rays, normals, density = from_rings(body, new, samples)
        weights = np.maximum(local(normals, rays.way)[2], 0) / math.pi / density
        # a ring's weights have a mean of 1: held to it, no light is made that many reflections would multiply
        weights /= rays.mean(np.arange(len(weights)), weights)[rays.group]
        lamp, met = follow(body, rays, sees_lamp=False, weights=weights)
        got[new] = met.weights(len(new), body.rings)
        seen[new], known[new] = lamp_on_rings(body, rays, normals) + lamp, True
        wanted = known | got[new].any(axis=0)
    # h = g + G M h, on the rings that take part
    moved = got * matte + got[:, other] * through[other]
    part = np.ix_(known, known)
    received = np.zeros(body.rings)
    received[known] = np.linalg.solve(np.eye(int(known.sum())) - moved[part], seen[known])
    return matte * received + through * received[other]


def body_of(interior: Interior) -> Body:
    """Walls, sheets and lamp as what rays are followed in."""
    walls = [
        Surface(w.z0_m, w.r0_m, w.z1_m, w.r1_m, w.reflectance, 0.0, w.gloss, math.radians(w.spread_deg), w.bulge)
        for w in interior.walls
    ]
    sheets = [Surface(s.z_m, 0.0, s.z_m, s.radius_m, s.reflectance, s.transmittance, 0.0, 0.5) for s in interior.sheets]
    return Body.of(tuple(walls + sheets), (interior.lamp.z_m, interior.lamp.radius_m), interior.exit_radius_m)


def _toward(angles: np.ndarray, sizes: np.ndarray, exit_radius_m: float) -> Rays:
    """Rays into the body from all over the exit, one group of `sizes` rays an angle off the axis."""
    rays = Rays.of(sizes)
    return _aimed(rays, exit_radius_m, np.sqrt(rays.number(0)), angles[rays.group])


def _through_rings(exit_radius_m: float) -> Rays:
    """Rays into the body from rings of the exit, in directions near the axis, evenly over solid angle."""
    rays = Rays.of(np.full(RINGS, SAMPLES_GLOW))
    inner, outer = rays.group / RINGS, (rays.group + 1) / RINGS
    share = np.sqrt(inner**2 + (outer**2 - inner**2) * rays.number(0))
    widest = 1 - math.cos(math.radians(GLOW_SPREAD_DEG))
    return _aimed(rays, exit_radius_m, share, np.arccos(1 - widest * rays.number(2)))


def _aimed(rays: Rays, exit_radius_m: float, share: np.ndarray, off_axis_rad: np.ndarray) -> Rays:
    """Rays from just outside the exit, at shares of its radius, back along light that leaves off the axis."""
    azimuth, sine = math.pi * rays.number(1), np.sin(off_axis_rad)
    rays.r, rays.z = share * exit_radius_m, np.full(share.shape, OUTSIDE * exit_radius_m)
    rays.way = np.array([-sine * np.cos(azimuth), -sine * np.sin(azimuth), -np.cos(off_axis_rad)])
    return rays


def _flux(angles: np.ndarray, intensity: np.ndarray) -> float:
    """Lumens into the half space: 2 pi times the integral of I sin, I linear between the angles."""
    slope = np.diff(intensity) / np.diff(angles)
    cosine, sine = np.cos(angles), np.sin(angles)
    # by parts: integral of I sin = [-I cos] + slope [sin]
    return float(2 * math.pi * (intensity[0] * cosine[0] - intensity[-1] * cosine[-1] + np.sum(slope * np.diff(sine))))


def _distance_m(point: np.ndarray, line: np.ndarray) -> float:
    """Distance of a point (2,) from a line through corners (n, 2), both in the plane of the profile."""
    start, along = line[:-1], np.diff(line, axis=0)
    share = np.clip(((point - start) * along).sum(axis=1) / np.maximum((along * along).sum(axis=1), 1e-30), 0, 1)
    return float(np.linalg.norm(point - start - share[:, None] * along, axis=1).min())


def _finite(what: str, *lengths_m: float) -> None:
    for length in lengths_m:
        if not math.isfinite(length):
            raise ValueError(f"{what}: {length} is no length; need finite metres")


def _behind_exit(what: str, front_m: float) -> None:
    if front_m > _TOUCH:
        raise ValueError(f"{what} reaches {front_m:.4g} m in front of the exit at z = 0: move it back")


def _share(what: str, value: float) -> None:
    if not 0 <= value <= 1:
        raise ValueError(f"{what} {value}: need 0 to 1")
