"""Bands: the measurement that fixes how many there are, and what they keep exactly."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from materials import (
    GELS,
    KM_LM_PER_W,
    SKIN_TONES,
    Bands,
    colour_matching,
    default_bands,
    make_gel,
    make_source,
    skin_finish,
    xyz,
)
from materials.bands import spline_bands
from tests.materials.chart import chart, colour_difference, lab

LIGHTS = ("A", "D55", "flash", "FL2", "FL11", "LED-B3", "LED-RGB1")


@cache
def lights() -> tuple[np.ndarray, np.ndarray]:
    """Spectra (n, 401) of each light alone and through each gel, each brought back to one lumen as if the power
    were raised, and the white (n, 3) of the bare light, to which the camera is set."""
    spectra, whites = [], []
    for kind in LIGHTS:
        bare = make_source(kind).spd
        for gel in (None, *GELS):
            spd = bare if gel is None else bare * make_gel(gel).transmittance
            spectra.append(spd / xyz(spd)[1])
            whites.append(xyz(bare))
    return np.array(spectra), np.array(whites)


@cache
def judged() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Chart patches, skins, lips and ruddy skins (n, 401), and the index pairs of all products of two."""
    skins = [skin_finish(tone).reflectance[:3] for tone in SKIN_TONES]
    reflectances = np.concatenate([np.array(list(chart().values())), *skins])
    return reflectances, *np.triu_indices(len(reflectances))


def errors(bands: Bands, reflectances: np.ndarray, first: np.ndarray, second: np.ndarray) -> tuple[float, float, float]:
    """Largest dE00 against 1 nm integration of one reflectance and of two in a row, and the 99th percentile of all."""
    spectra, whites = lights()
    fine = spectra[:, :, None] * KM_LM_PER_W * colour_matching()
    coarse = np.einsum("kb,lkc->lbc", bands.basis, fine, optimize=True)
    numbers = bands.project(reflectances)
    white = whites[:, None, :]
    found = []
    for exact, carried in (
        (reflectances, numbers),
        (reflectances[first] * reflectances[second], numbers[first] * numbers[second]),
    ):
        truth = lab(np.einsum("nk,lkc->lnc", exact, fine, optimize=True), white)
        found.append(colour_difference(lab(np.einsum("nb,lbc->lnc", carried, coarse, optimize=True), white), truth))
    single, double = found
    return float(single.max()), float(double.max()), float(np.percentile(double, 99))


def test_the_bands_keep_every_colour_within_a_third_of_a_just_visible_step() -> None:
    # The project's rule: dE00 at most 0.3 from 1 nm integration, chart and skins, one and two reflections, seven lights
    # alone and through every stock gel.
    single, double, _ = errors(default_bands(), *judged())
    assert single <= 0.3
    assert double <= 0.3
    # the figures `materials.bands` tells its readers
    assert (single, double) == pytest.approx((0.285, 0.299), abs=0.002)


def test_evenly_spaced_nodes_of_the_same_number_would_not_do() -> None:
    nodes = default_bands().nodes_nm
    even = spline_bands(np.round(np.linspace(nodes[0], nodes[-1], len(nodes))))
    assert errors(even, *judged())[1] > 1.0


def test_the_bands_hold_for_reflectances_they_were_not_placed_on() -> None:
    # 99 measured reflectances of nature and industry: the fidelity samples of CIE 224:2017, through colour-science
    from colour import SpectralShape
    from colour.quality.cfi2017 import load_TCS_CIE2017

    samples = load_TCS_CIE2017(SpectralShape(380, 780, 1)).values.T
    assert samples.shape == (99, 401)
    single, double, most = errors(default_bands(), samples, np.arange(98), np.arange(1, 99))
    assert most < 0.25
    assert max(single, double) < 0.9


def test_flat_spectra_are_kept_exactly() -> None:
    bands = default_bands()
    np.testing.assert_allclose(bands.basis.sum(axis=1), 1, rtol=1e-12)
    np.testing.assert_allclose(bands.basis @ bands.project(np.full(401, 0.3)), 0.3, rtol=1e-12)


def test_numbers_of_a_reflectance_are_reflectances() -> None:
    reflectances, first, second = judged()
    numbers = default_bands().project(reflectances)
    assert numbers.min() >= 0
    assert numbers.max() <= 1
    products = default_bands().project(reflectances[first] * reflectances[second])
    np.testing.assert_allclose(products, numbers[first] * numbers[second], rtol=1e-12)


def test_the_basis_interpolates_its_nodes_as_scipy_does() -> None:
    from scipy.interpolate import CubicSpline

    bands = default_bands()
    values = np.random.default_rng(1).random(len(bands.nodes_nm))
    inside = np.arange(bands.nodes_nm[0], bands.nodes_nm[-1] + 1)
    reference = CubicSpline(bands.nodes_nm, values, bc_type="natural")(inside)
    np.testing.assert_allclose((bands.basis @ values)[inside.astype(int) - 380], reference, atol=1e-12)


@pytest.mark.parametrize("kind", LIGHTS)
def test_a_white_surface_under_one_lumen_gives_the_lights_own_xyz(kind: str) -> None:
    spd = make_source(kind).spd
    np.testing.assert_allclose(default_bands().xyz_weights(spd).sum(axis=0), xyz(spd), rtol=1e-12)
    gel = make_gel("teal").transmittance
    np.testing.assert_allclose(default_bands().xyz_weights(spd * gel).sum(axis=0), xyz(spd * gel), rtol=1e-12)


def test_projection_keeps_leading_axes() -> None:
    assert default_bands().project(np.zeros((2, 4, 401))).shape == (2, 4, len(default_bands().nodes_nm))
