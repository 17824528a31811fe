"""Exit profiles of fixtures: what one lumen through the exit area does.

A disk, rectangle or octagon is a diffuse (Lambertian) panel, a sphere a diffuse ball and a tube a diffuse rod with dark
ends: the same luminance from every direction. A spot sends, from every point of its lens, the
intensity profile

    I(theta) = I0 2^-((theta / half_beam)^p),   p = ln(log2 10) / ln(half_field / half_beam),

which is I0 / 2 at the half beam angle and I0 / 10 at the half field angle; it is cut where it falls below 1e-4 of
I0, or at 90 degrees. All profiles are scaled so that the whole output is one lumen.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np

from .stage import Fixture

SPOT_CUT = 1e-4
"""Fraction of the axial intensity under which a spot emits nothing."""

NARROWEST_EDGE = 1.02
"""Smallest ratio of field to beam angle that the profile allows."""

_TAN_OCTANT = math.tan(math.pi / 8)


@dataclass(frozen=True, slots=True)
class SpotProfile:
    """Intensity profile of a spot that emits one lumen.

    `peak_cd_per_lm` is I0, `half_beam_rad` the half angle at 50 %, `power` the exponent p, and `cut_rad` the
    angle beyond which nothing is emitted.
    """

    peak_cd_per_lm: float
    half_beam_rad: float
    power: float
    cut_rad: float


def exit_area_m2(fixture: Fixture) -> float:
    """Area of the exit surface in m2 (the whole surface of a sphere, the mantle of a tube; without a ring's hole)."""
    return area_m2(fixture.shape, fixture.size_m) - math.pi * fixture.hole_m**2 / 4.0


def area_m2(shape: str, size_m: np.ndarray) -> float:
    """Area in m2 of a shape of `FIXTURE_SHAPES` and its size (2,)."""
    width, height = float(size_m[0]), float(size_m[1])
    if shape == "rectangle":
        return width * height
    if shape == "octagon":
        return 2.0 * _TAN_OCTANT * width**2
    if shape == "sphere":
        return math.pi * width**2
    if shape == "tube":
        return math.pi * width * height
    return math.pi * width**2 / 4.0


def spot_profile(fixture: Fixture) -> SpotProfile:
    """Profile of a spot from its beam and field angles.

    Raises
    ------
    ValueError
        When the fixture is no spot.
    """
    if fixture.shape != "spot" or fixture.beam_deg is None or fixture.field_deg is None:
        raise ValueError("only a spot has a beam and a field angle")
    return _profile(float(fixture.beam_deg), float(fixture.field_deg))


@functools.lru_cache(maxsize=256)
def _profile(beam_deg: float, field_deg: float) -> SpotProfile:
    if not 0 < beam_deg < field_deg < 180:
        raise ValueError(f"beam {beam_deg} and field {field_deg}: need 0 < beam < field < 180 degrees")
    half_beam = math.radians(beam_deg) / 2
    power = math.log(math.log2(10)) / math.log(field_deg / beam_deg)
    cut = min(half_beam * math.log2(1 / SPOT_CUT) ** (1 / power), math.pi / 2)
    return SpotProfile(1.0 / _solid_angle(half_beam, power, cut), half_beam, power, cut)


def _relative(theta: np.ndarray, half_beam: float, power: float) -> np.ndarray:
    with np.errstate(over="ignore", under="ignore"):
        return np.exp2(-((theta / half_beam) ** power))


def _solid_angle(half_beam: float, power: float, cut: float) -> float:
    """Integral of I / I0 over the sphere (sr): 2 pi times that of f(theta) sin(theta) up to the cut.

    The pieces follow the levels of the exponent, so a hard edge is resolved as well as a soft one.
    """
    levels = np.logspace(-8, math.log10(math.log2(1 / SPOT_CUT)), 48)
    edges = np.concatenate([[0.0], half_beam * levels ** (1 / power)])
    theta, weight = _gauss(np.append(edges[edges < cut], cut))
    return float(2 * math.pi * np.sum(weight * _relative(theta, half_beam, power) * np.sin(theta)))


def _gauss(edges: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Nodes and weights of a 12-point Gauss-Legendre rule on every interval between `edges`."""
    nodes, weights = np.polynomial.legendre.leggauss(12)
    middle, half = (edges[1:] + edges[:-1]) / 2, np.diff(edges) / 2
    return (middle[:, None] + half[:, None] * nodes).ravel(), (half[:, None] * weights).ravel()


def spot_intensity(fixture: Fixture, theta_rad: np.ndarray | float) -> np.ndarray:
    """Intensity (cd per lm) of a spot at an angle off its axis; 0 beyond the cut.

    Parameters
    ----------
    theta_rad : any shape, radians from 0 to pi.
    """
    profile = spot_profile(fixture)
    theta = np.asarray(theta_rad, float)
    relative = _relative(theta, profile.half_beam_rad, profile.power)
    return np.where(theta <= profile.cut_rad, profile.peak_cd_per_lm * relative, 0.0)


def front_m(fixture: Fixture) -> float:
    """How far before its centre the front of a fixture lies, in metres: the radius of a ball or tube, else 0."""
    return float({"sphere": fixture.size_m[0] / 2, "tube": fixture.size_m[1] / 2}.get(fixture.shape, 0.0))


def plain_axial_intensity(fixture: Fixture) -> float:
    """Far-field intensity on the axis of a fixture with plain optics (cd per lm): 1 / pi of a flat panel, 1 / 4 pi of a
    ball, 1 / pi^2 of a tube, I0 of a spot."""
    if fixture.shape == "spot":
        return spot_profile(fixture).peak_cd_per_lm
    if fixture.shape == "tube":
        return 1.0 / math.pi**2
    return 1.0 / (4.0 * math.pi) if fixture.shape == "sphere" else 1.0 / math.pi


def plain_axial_illuminance(fixture: Fixture, distance_m: float) -> float:
    """Illuminance (lx per lm) on the axis of a fixture with plain optics, facing it, exact for the finite exit area.

    Parameters
    ----------
    distance_m : from the centre of the exit area, of the ball or of the tube. Positive, and outside the ball or tube.

    Raises
    ------
    ValueError
        When the distance is not positive or lies inside the ball or tube.

    References
    ----------
    Howell and Menguc, view-factor catalogue: disk a^2 / (a^2 + h^2); rectangle as four corner rectangles;
    sphere (R / d)^2. Octagon: Lambert's polygon formula for a regular polygon centred on the axis. Tube: its side as
    seen, in closed form along it and by Gauss's rule around it.
    """
    h, (width, height) = float(distance_m), (float(s) for s in fixture.size_m)
    if not h > front_m(fixture):
        raise ValueError(f"a distance of {h} m is not in front of this fixture")
    if fixture.shape == "spot":
        return _spot_axial(spot_profile(fixture), width / 2, h)
    if fixture.shape == "sphere":
        return 1.0 / (4.0 * math.pi * h * h)
    if fixture.shape == "tube":
        return _rod_factor(width / 2, height / 2, h) / exit_area_m2(fixture)
    hole = fixture.hole_m / 2
    ring = _panel_factor("disk", hole, hole, h) if hole else 0.0
    return (_panel_factor(fixture.shape, width / 2, height / 2, h) - ring) / exit_area_m2(fixture)


def _panel_factor(shape: str, a: float, b: float, h: float) -> float:
    """Configuration factor of a centred panel of half sizes a, b at height h over a parallel receiver."""
    if shape == "disk":
        return a * a / (a * a + h * h)
    if shape == "octagon":
        slant = math.hypot(a, h)
        return 8 / math.pi * (a / slant) * math.atan(a * _TAN_OCTANT / slant)
    p, q = math.hypot(a, h), math.hypot(b, h)
    return 2 / math.pi * (a / p * math.atan(b / p) + b / q * math.atan(a / q))


def _rod_factor(half_length: float, radius: float, h: float) -> float:
    """Configuration factor of the side of a rod over a receiver `h` from its middle that faces it."""
    turn, weight = _gauss(np.linspace(0.0, math.acos(radius / h), 9))
    cosine = np.cos(turn)
    away2 = h * h + radius * radius - 2 * h * radius * cosine
    away = np.sqrt(away2)
    along = half_length / (away2 * (away2 + half_length**2)) + np.arctan(half_length / away) / away**3
    return float(2 * radius / math.pi * np.sum(weight * (h * cosine - radius) * (h - radius * cosine) * along))


def _spot_axial(profile: SpotProfile, radius: float, h: float) -> float:
    """Mean over the lens of I(theta) cos(theta) / d^2 for a receiver on the axis at `h`.

    With r = h tan(theta) that is (2 / a^2) times the integral of I(theta) sin(theta) dtheta to the lens's rim.
    """
    rim = min(math.atan2(radius, h), profile.cut_rad)
    theta, weight = _gauss(np.linspace(0.0, rim, 65))
    relative = _relative(theta, profile.half_beam_rad, profile.power)
    return float(2 / radius**2 * profile.peak_cd_per_lm * np.sum(weight * relative * np.sin(theta)))
