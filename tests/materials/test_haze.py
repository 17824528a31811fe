"""Haze fluids against published relations and Mie theory by another hand.

Koschmieder 1924: visibility = ln 50 / extinction. Henyey and Greenstein 1941: integral 1, mean cosine g. Mass extinction
of glycol (index 1.44) and mineral oil (1.46) droplets, log-normal with deviation 1.6, computed for this project once more
with miepython at 550 nm; mean cosines there 0.71 to 0.74.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.special import spherical_jn, spherical_yn

from materials import WAVELENGTHS_NM, haze_tables
from materials.errors import KeyfallError
from materials.haze import FLUIDS, KOSCHMIEDER, PHASE_NM, Phase, droplet_range_um, make_medium, phase_shares

AT_550 = int(np.flatnonzero(WAVELENGTHS_NM == 550)[0])


@pytest.mark.parametrize(("metres", "sigma"), [(20, 0.1956), (50, 0.0782), (100, 0.0391), (200, 0.0196)])
def test_visibility_is_koschmieders(metres, sigma):
    medium = make_medium("glycol", visibility_m=metres)
    assert medium.extinction_per_m[AT_550] == pytest.approx(sigma, abs=5e-5)
    assert medium.visibility_m == pytest.approx(metres)
    assert make_medium("oil", extinction_per_m=sigma).visibility_m == pytest.approx(KOSCHMIEDER / sigma)


@pytest.mark.parametrize(
    ("fluid", "droplet", "per_m"),
    [("glycol", 0.5, 0.0575), ("glycol", 1, 0.0459), ("glycol", 2, 0.0196), ("glycol", 3, 0.0119),
     ("oil", 0.5, 0.079), ("oil", 1, 0.060), ("oil", 2, 0.025), ("oil", 3, 0.0155)],
)  # fmt: skip
def test_ten_milligrams_of_droplets(fluid, droplet, per_m):
    medium = make_medium(fluid, concentration_mg_m3=10, droplet_um=droplet)
    assert medium.extinction_per_m[AT_550] == pytest.approx(per_m, rel=0.035)  # the table is coarse in size
    assert medium.concentration_mg_m3 == pytest.approx(10)
    assert 0.70 < medium.phase.mean_cosine() < 0.75


@pytest.mark.parametrize("g", [0.0, 0.5, 0.8, -0.3])
def test_a_lobe_is_henyey_and_greensteins(g):
    cosine, weight = np.polynomial.legendre.leggauss(400)
    lobe = Phase(g, 0.0, 1.0).value(cosine)
    assert 2 * math.pi * (weight * lobe).sum() == pytest.approx(1, abs=1e-9)
    assert 2 * math.pi * (weight * lobe * cosine).sum() == pytest.approx(g, abs=1e-9)
    if g == 0.5:
        assert Phase(g, 0.0, 1.0).value([1, 0, -1]) == pytest.approx([0.477465, 0.042706, 0.017684], abs=1e-6)


@pytest.mark.parametrize("fluid", FLUIDS)
def test_amounts_agree_with_each_other(fluid):
    seen = make_medium(fluid, visibility_m=80)
    again = make_medium(fluid, concentration_mg_m3=seen.concentration_mg_m3)
    assert again.extinction_per_m == pytest.approx(seen.extinction_per_m)
    assert np.all((seen.albedo > 0) & (seen.albedo <= 1))
    assert seen.phase.forward > 0 > seen.phase.back


def test_fine_droplets_scatter_more_blue_and_coarse_ones_all_alike():
    fine, coarse = (make_medium("glycol", visibility_m=50, droplet_um=d).extinction_per_m for d in (0.35, 4))
    assert fine[20] / fine[-81] > 2
    assert coarse[20] / coarse[-81] == pytest.approx(1, abs=0.06)


@pytest.mark.parametrize(
    ("fluid", "given", "says"),
    [
        ("steam", {"visibility_m": 10}, "fluid"),
        ("glycol", {}, "exactly one"),
        ("glycol", {"visibility_m": 10, "extinction_per_m": 0.1}, "exactly one"),
        ("glycol", {"visibility_m": 0}, "positive"),
        ("glycol", {"visibility_m": math.nan}, "positive"),
        ("dry-ice", {"visibility_m": 10, "droplet_um": 0.5}, "Allowed: 3 to 20"),
    ],
)
def test_what_cannot_be(fluid, given, says):
    with pytest.raises(KeyfallError, match=says):
        make_medium(fluid, **given)


def _mie(index: float, size: float, cosine: np.ndarray) -> tuple[float, np.ndarray]:
    """Scattering efficiency and unpolarised intensity (n,), of any scale, of a clear sphere (Bohren and Huffman 1983,
    section 4.4 and appendix A), written for this test."""
    count = int(size + 4.05 * size ** (1 / 3) + 2)
    order = np.arange(1, count + 1)
    psi = size * spherical_jn(order, size)
    before = np.append(np.sin(size), psi[:-1])
    chi = size * spherical_yn(order, size)
    xi, xi_before = psi + 1j * chi, before + 1j * np.append(-np.cos(size), chi[:-1])
    inside = index * size
    slope = spherical_jn(order, inside, derivative=True) / spherical_jn(order, inside) + 1 / inside
    one, two = slope / index + order / size, slope * index + order / size
    a, b = (one * psi - before) / (one * xi - xi_before), (two * psi - before) / (two * xi - xi_before)
    efficiency = 2 / size**2 * ((2 * order + 1) * (abs(a) ** 2 + abs(b) ** 2)).sum()
    first, second = np.zeros(len(cosine), complex), np.zeros(len(cosine), complex)
    last, now = np.zeros_like(cosine), np.ones_like(cosine)
    for n in order:
        turn = n * cosine * now - (n + 1) * last
        factor = (2 * n + 1) / (n * (n + 1))
        first += factor * (a[n - 1] * now + b[n - 1] * turn)
        second += factor * (a[n - 1] * turn + b[n - 1] * now)
        last, now = now, ((2 * n + 1) * cosine * now - (n + 1) * last) / n
    return float(efficiency), abs(first) ** 2 + abs(second) ** 2


def test_the_tests_own_mie_series_is_the_published_one():
    """Bohren and Huffman 1983, appendix A, sample of their program (from memory): index 1.55, size 5.213: 3.10543 for
    scattering, 2.92534 backward."""
    size = 2 * math.pi * 0.525 / 0.6328
    efficiency, intensity = _mie(1.55, size, np.array([-1.0, 1.0]))
    assert efficiency == pytest.approx(3.10543, abs=1e-5)
    assert intensity[0] / 2 * 4 / size**2 == pytest.approx(2.92534, abs=2e-5)


def _droplets(fluid: str, median_um: float, wavelength_nm: float, angles: int) -> tuple[float, np.ndarray]:
    """Mass extinction (m2/g) and phase function (1/sr) of droplets as `materials.haze_tables` describes them, by the
    series above."""
    diameter, number = haze_tables.droplet_sizes(median_um)
    theta = np.linspace(0, math.pi, angles)
    found = [_mie(haze_tables.INDEX[fluid], math.pi * d * 1000 / wavelength_nm, np.cos(theta)) for d in diameter]
    section = np.array([q for q, _ in found]) * math.pi * diameter**2 / 4 * number
    phase = np.zeros(angles)
    for share, (_, intensity) in zip(section, found, strict=True):
        phase += share * intensity / (2 * math.pi * np.trapezoid(intensity * np.sin(theta), theta))
    mass = (haze_tables.DENSITY_G_CM3[fluid] * math.pi * diameter**3 / 6 * number).sum()
    return float(section.sum() / mass), phase / section.sum()


@pytest.mark.parametrize(
    ("fluid", "droplet"),
    [
        ("glycol", 1.34164),
        ("oil", 0.634423),
        pytest.param("dry-ice", 7.74597, marks=pytest.mark.slow),
    ],
)
def test_the_table_is_what_mie_theory_gives(fluid, droplet):
    """At sizes of the table; the lobes stay within a factor of 1.6 of the true phase function from 20 to 150 degrees,
    where portraits are lit from, and keep its mean cosine. Large water droplets have a rainbow there, which two lobes
    smooth away: a factor of 2.3."""
    low, high = droplet_range_um(fluid)
    assert low <= droplet <= high
    medium = make_medium(fluid, concentration_mg_m3=1000, droplet_um=droplet)
    for wavelength in (400, 700):
        per_mass, phase = _droplets(fluid, droplet, wavelength, haze_tables.ANGLES)
        _compare(fluid, medium.phases[PHASE_NM.index(wavelength)], phase)
        at = int(np.flatnonzero(WAVELENGTHS_NM == wavelength)[0])
        assert medium.extinction_per_m[at] == pytest.approx(per_mass, rel=2e-3)
    per_mass, phase = _droplets(fluid, droplet, 550.0, haze_tables.ANGLES)
    assert medium.extinction_per_m[AT_550] == pytest.approx(per_mass, rel=1e-3)
    _compare(fluid, medium.phase, phase)


def _compare(fluid: str, lobes: Phase, phase: np.ndarray) -> None:
    angle = np.linspace(0, math.pi, haze_tables.ANGLES)
    usual = (angle > math.radians(20)) & (angle < math.radians(150))
    apart = np.abs(np.log(lobes.value(np.cos(angle[usual])) / phase[usual]))
    assert np.exp(np.quantile(apart, 0.95)) < (2.3 if fluid == "dry-ice" else 1.6)
    mean = (phase * np.cos(angle) * np.sin(angle)).sum() / (phase * np.sin(angle)).sum()
    assert lobes.mean_cosine() == pytest.approx(mean, abs=0.01)


def test_between_the_tabulated_wavelengths_phase_functions_mix():
    """The mixture stays a phase function, and at 475 nm it is that of Mie theory as closely as the lobes are."""
    shares = phase_shares(np.array([380.0, 400.0, 475.0, 550.0, 625.0, 780.0]))
    assert shares.sum(axis=1) == pytest.approx(np.ones(6))
    assert shares[:, 1] == pytest.approx([0, 0, 0.5, 1, 0.5, 0])
    medium = make_medium("glycol", concentration_mg_m3=1000, droplet_um=0.3)
    _, truth = _droplets("glycol", 0.3, 475.0, 181)
    angle = np.linspace(0, math.pi, 181)
    mixed = sum(share * p.value(np.cos(angle)) for share, p in zip(shares[2], medium.phases, strict=True))
    old = medium.phase.value(np.cos(angle))
    usual = (angle > math.radians(20)) & (angle < math.radians(150))
    far, before = (np.abs(np.log(model / truth))[usual].mean() for model in (mixed, old))
    assert far < min(0.25, 0.9 * before)
