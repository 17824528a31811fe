"""Photometric files whose lumens are known exactly, through the reader and through a fixture made of them.

Source of the exact figures: the integral of I sin(gamma) over the sphere, by hand: 1000 cos gives 1000 pi lm, 2000
cos^3 gives 4000 pi / 4 = 1000 pi, 500 everywhere 2000 pi, 100 in front 200 pi; the Gaussian beam by adaptive
quadrature. Files: data/photometric, written by those formulas. The figures for straight lines between the listed angles were
integrated apart from this project's code.

Tolerance of the flux: 0.5 %, what straight lines over 5 degrees (1 degree for the narrow beam) leave; of the straight
lines themselves the printed digits, as their integral has a closed form.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad

from scenes.field import illuminance
from scenes.photometric import Photometry, read_photometric, to_optics
from scenes.stage import Fixture

DATA = Path(__file__).parent / "data" / "photometric"
FORMULAS = {
    "lambert_1000cd.ies": (lambda g: 1000 * math.cos(g), math.pi / 2),
    "cos3_2000cd.ies": (lambda g: 2000 * math.cos(g) ** 3, math.pi / 2),
    "uniform_500cd_sphere.ies": (lambda g: 500.0, math.pi),
    "isotropic_hemi_100cd.ies": (lambda g: 100.0, math.pi / 2),
    "gauss_fwhm10_10kcd.ies": (lambda g: 10000 * 2 ** (-((math.degrees(g) / 5) ** 2)), math.radians(30)),
    "lambert_1000lm.ldt": (lambda g: 1000 / math.pi * max(math.cos(g), 0), math.pi),
}
EXACT_LM = {
    "lambert_1000cd.ies": 3141.593,
    "cos3_2000cd.ies": 3141.593,
    "uniform_500cd_sphere.ies": 6283.185,
    "isotropic_hemi_100cd.ies": 628.319,
    "gauss_fwhm10_10kcd.ies": 344.528,
    "lambert_1000lm.ldt": 1000.0,
}
STRAIGHT_LINES_LM = {
    "lambert_1000cd.ies": 3139.597,
    "cos3_2000cd.ies": 3147.569,
    "uniform_500cd_sphere.ies": 6283.185,
    "isotropic_hemi_100cd.ies": 628.319,
    "gauss_fwhm10_10kcd.ies": 346.109,
}
NAMES = list(FORMULAS)


def read(name: str) -> Photometry:
    return read_photometric(DATA / name)


@pytest.mark.parametrize("name", NAMES)
def test_the_exact_lumens_are_those_of_the_formula(name: str) -> None:
    intensity, end = FORMULAS[name]
    flux, _ = quad(lambda g: 2 * math.pi * intensity(g) * math.sin(g), 0, end, points=[min(end, math.pi / 2)])
    assert flux == pytest.approx(EXACT_LM[name], rel=2e-6)


@pytest.mark.parametrize("name", NAMES)
def test_a_file_is_read_to_its_exact_lumens(name: str) -> None:
    assert read(name).lumens == pytest.approx(EXACT_LM[name], rel=0.005)


@pytest.mark.parametrize("name", list(STRAIGHT_LINES_LM))
def test_lumens_are_the_closed_form_of_straight_lines(name: str) -> None:
    assert read(name).lumens == pytest.approx(STRAIGHT_LINES_LM[name], abs=6e-4)


@pytest.mark.parametrize("name", NAMES)
def test_every_intensity_is_the_formula_at_its_angle(name: str) -> None:
    photometry = read(name)
    wanted = [FORMULAS[name][0](math.radians(g)) for g in photometry.gamma_deg]
    np.testing.assert_allclose(photometry.candela[0], wanted, atol=0.006)  # two decimals in the file


@pytest.mark.parametrize("name", NAMES)
def test_a_fixture_made_of_a_file_gives_its_lumens_and_its_intensities(name: str) -> None:
    """Meters on a sphere of 40 m around it: their mean gives the flux, each the intensity over distance squared.

    Tolerance 0.5 % of the flux as above; of the intensity 1e-3 of the peak between the listed angles.
    """
    photometry = read(name)
    shape, size, optics = to_optics(photometry)
    right, up, forward = np.eye(3)
    fixture = Fixture(shape, size, np.zeros(3), right, up, forward, None, None, False, 0.0, optics=optics)
    nodes, weights = np.polynomial.legendre.leggauss(48)
    widest = optics.angular.widest_rad
    gamma = (nodes + 1) / 2 * widest
    directions = np.stack([np.sin(gamma), 0 * gamma, np.cos(gamma)], axis=1)
    lumens = photometry.lumens / optics.efficiency
    seen = illuminance(fixture, 40 * directions, -directions) * 40**2 * lumens
    flux = 2 * math.pi * np.sum(weights * widest / 2 * np.sin(gamma) * seen)
    assert flux == pytest.approx(EXACT_LM[name], rel=0.005)
    between = np.interp(np.degrees(gamma), photometry.gamma_deg, photometry.candela[0])
    np.testing.assert_allclose(seen, between, atol=1e-3 * photometry.candela.max())


def test_a_lambertian_file_lights_like_a_small_panel() -> None:
    """A small Lambertian emitter of 100 lm gives 100 / pi lx at 1 m on the axis; 0.5 %, the file's lumens."""
    shape, size, optics = to_optics(read("lambert_1000cd.ies"))
    fixture = Fixture(shape, size, np.zeros(3), *np.eye(3), None, None, False, 0.0, optics=optics)
    at, facing = np.array([[0.0, 0.0, 1.0]]), np.array([[0.0, 0.0, -1.0]])
    assert 100 * illuminance(fixture, at, facing)[0] == pytest.approx(100 / math.pi, rel=0.005)
