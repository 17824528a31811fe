"""Colour against CIE, ISO and published tables; each test names its source."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from materials import (
    KM_LM_PER_W,
    WAVELENGTHS_NM,
    adapt_matrix,
    chromaticity,
    correlated_colour_temperature,
    default_bands,
    display_matrix,
    luminance_weight,
    make_gel,
    make_source,
    white_point,
    xyz,
)
from materials.gels import mired_transmittance
from materials.locus import planck
from tests.materials.chart import chart, colour_difference, lab
from tests.published.tables import table

# XYZ of illuminants for Y = 1 and correlated colour temperature, CIE 1931 observer: CIE 015:2018 tables 5, 10 and 12
# for the illuminants, computed by colour-science 0.4.7. They integrate 360 to 780 nm, we 380 to 780: up to 3e-4 apart.
WHITES = {
    "A": (1.09849, 0.35591, 2856), "D50": (0.96424, 0.82513, 5001), "D55": (0.95683, 0.92138, 5502),
    "D65": (0.95047, 1.08883, 6503), "FL2": (0.99147, 0.67319, 4225), "E": (1.00008, 1.00033, 5456),
    "LED-B1": (1.11771, 0.33384, 2735), "LED-B3": (1.00862, 0.67634, 4103), "LED-B5": (0.96310, 1.12478, 6591),
    "LED-RGB1": (1.08229, 0.29242, 2840),
}  # fmt: skip

# Luminous efficacy of radiation 360 to 780 nm, lm/W: computed by colour-science 0.4.7 from CIE 015:2018.
EFFICACIES = {"A": 155.3, "D65": 199.2, "D50": 204.4, "LED-B3": 316.9}


@pytest.mark.parametrize("name", WHITES)
def test_white_points_are_those_of_the_cie(name: str) -> None:
    x, z, cct = WHITES[name]
    tristimulus = xyz(make_source(name).spd)
    assert tristimulus[[0, 2]] == pytest.approx([x, z], abs=5e-4)
    assert correlated_colour_temperature(tristimulus)[0] == pytest.approx(cct, abs=5)


@pytest.mark.parametrize("name", EFFICACIES)
def test_luminous_efficacy_of_radiation(name: str) -> None:
    spd = make_source(name).spd
    # the 20 nm below 380 that we leave out hold up to 3 % of daylight's watts and no light: ours is a little higher
    assert 0.999 <= 1 / spd.sum() / EFFICACIES[name] < 1.03


def test_the_peak_is_683_lumens_per_watt_at_555_nm() -> None:
    # CIE 018:2019: Km = 683.002 lm/W for the standard observer, at 555 nm
    weight = luminance_weight()
    assert WAVELENGTHS_NM[np.argmax(weight)] == 555
    assert weight.max() == pytest.approx(683.002, abs=1e-3)
    assert KM_LM_PER_W == 683.002


@pytest.mark.parametrize("row", table("ciede2000_pairs.csv"), ids=lambda row: row["dE00"])
def test_the_colour_difference_we_judge_by_is_ciede2000(row: dict[str, str]) -> None:
    # Sharma, Wu and Dalal 2005, table 1, 34 pairs to 4 decimals
    first, second = (np.array([float(row[c + i]) for c in "Lab"]) for i in "12")
    assert colour_difference(first, second) == pytest.approx(float(row["dE00"]), abs=1e-4)


def _chart_through_bands(illuminant: str) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """CIELAB of the chart carried as band numbers, its reference and its patches' names."""
    rows = table("chart.csv")
    bands, spd = default_bands(), make_source(illuminant).spd
    numbers = bands.project(np.array([chart()[row["patch"]] for row in rows]))
    got = lab(numbers @ bands.xyz_weights(spd), xyz(spd))
    wanted = np.array([[float(row[f"{c}_{illuminant}"]) for c in "Lab"] for row in rows])
    return got, wanted, [row["patch"] for row in rows]


@pytest.mark.parametrize("illuminant", ["D50", "D65", "A"])
def test_the_chart_comes_out_of_the_bands_as_published(illuminant: str) -> None:
    # ISO 17321-1 chart, CIELAB computed by colour-science 0.4.7. The rendering goal is mean < 0.5 and max < 1; the
    # bands alone must leave nearly all of that to the tracer.
    got, wanted, _ = _chart_through_bands(illuminant)
    difference = colour_difference(got, wanted)
    assert difference.mean() < 0.1
    assert difference.max() < 0.35


def test_the_chart_has_its_srgb_codes() -> None:
    # ISO 17321-1 chart under D65, 8-bit sRGB (IEC 61966-2-1), by colour-science 0.4.7; tolerance 2 codes
    rows = table("chart.csv")
    bands, spd = default_bands(), make_source("D65").spd
    tristimulus = bands.project(np.array([chart()[row["patch"]] for row in rows])) @ bands.xyz_weights(spd)
    linear = np.clip(tristimulus @ display_matrix("srgb").T, 0, 1)
    codes = 255 * np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    wanted = np.array([[float(row[c]) for c in ("red", "green", "blue")] for row in rows])
    assert np.abs(codes - wanted).max() <= 2


def test_a_grey_is_as_bright_under_every_light() -> None:
    # luminance invariance of an achromatic patch: Y = 0.18 of the white
    bands = default_bands()
    for name in WHITES:
        weights = bands.xyz_weights(make_source(name).spd)
        grey = bands.project(np.full(401, 0.18)) @ weights
        assert grey[1] == pytest.approx(0.18, rel=1e-12)
        np.testing.assert_allclose(grey / 0.18, xyz(make_source(name).spd), rtol=1e-12)


# D65 to D50 between the whites above, computed by colour-science 0.4.7.
D65, D50 = np.array([0.95047, 1.0, 1.08883]), np.array([0.96424, 1.0, 0.82513])
ILLUMINANT_A = np.array([1.09850, 1.0, 0.35585])


def test_bradford_matrix_from_d65_to_d50() -> None:
    wanted = [[1.04793, 0.022947, -0.050192], [0.029628, 0.990434, -0.017074], [-0.009243, 0.015055, 0.751874]]
    np.testing.assert_allclose(adapt_matrix(D65, D50, method="Bradford"), wanted, atol=2e-4)


def test_cat16_matrix_from_d65_to_d50() -> None:
    np.testing.assert_allclose(adapt_matrix(D65, D50)[0], [1.010854, 0.040709, -0.034145], atol=2e-4)


@pytest.mark.parametrize(
    ("method", "wanted"),
    [("Bradford", (0.174529, 0.111627, 0.159402)), ("CAT16", (0.180792, 0.118166, 0.150999))],
)
def test_adaptation_of_a_colour_from_a_to_d65(method: str, wanted: tuple[float, ...]) -> None:
    # computed by colour-science 0.4.7; whites are given to 5 decimals, hence the tolerance
    adapted = adapt_matrix(ILLUMINANT_A, D65, method=method) @ np.array([0.20, 0.12, 0.05])
    np.testing.assert_allclose(adapted, wanted, atol=1e-4)


@pytest.mark.parametrize("method", ["Bradford", "CAT16"])
def test_adaptation_agrees_with_colour_science(method: str) -> None:
    import colour

    reference = colour.adaptation.matrix_chromatic_adaptation_VonKries(ILLUMINANT_A, D65, transform=method)
    np.testing.assert_allclose(adapt_matrix(ILLUMINANT_A, D65, method=method), reference, atol=1e-9)
    np.testing.assert_allclose(adapt_matrix(ILLUMINANT_A, D65, method=method) @ ILLUMINANT_A, D65, atol=1e-12)


@pytest.mark.parametrize(("gamut", "name"), [("srgb", "sRGB"), ("p3", "Display P3")])
def test_display_primaries_agree_with_colour_science(gamut: str, name: str) -> None:
    import colour

    # derived here from the primaries, there rounded to 4 decimals as IEC 61966-2-1 prints them
    np.testing.assert_allclose(display_matrix(gamut), colour.RGB_COLOURSPACES[name].matrix_XYZ_to_RGB, atol=6e-4)
    np.testing.assert_allclose(display_matrix(gamut) @ [0.3127 / 0.3290, 1, 0.3583 / 0.3290], 1, atol=1e-12)


@pytest.mark.parametrize(
    ("start_k", "shift", "end_k"),
    [(6500, 131, 3511), (5500, 64, 4068), (5500, 109, 3439), (3200, -131, 5510), (3200, -78, 4264)],
)
def test_mired_shifts_add(start_k: float, shift: float, end_k: float) -> None:
    # mired: M = 1e6 / T, and a correction gel adds a fixed number of them (handbook arithmetic). A gel is drawn for
    # one black body; on another its shift is a little off: 1 % of the temperature.
    gel = mired_transmittance(shift)
    reached, off = correlated_colour_temperature(xyz(planck(start_k) * gel))
    assert reached == pytest.approx(end_k, rel=0.01)
    assert abs(off) < 0.003


@pytest.mark.parametrize(
    ("start_k", "end_k", "transmittance"),
    # luminous transmittance of an ideal black-body-ratio filter, at most 1 between 400 and 700 nm: computed apart
    [(5500, 3200, 0.522), (5500, 3800, 0.665), (5500, 4500, 0.815), (3200, 5500, 0.261)],
)
def test_ideal_correction_filters_lose_the_light_they_must(start_k: float, end_k: float, transmittance: float) -> None:
    source = make_source("blackbody", start_k).spd
    gel = mired_transmittance(1e6 / end_k - 1e6 / start_k, peak=1.0)
    assert xyz(source * gel)[1] == pytest.approx(transmittance, abs=2e-3)


@pytest.mark.parametrize(("name", "start_k", "end_k"), [("full-cto", 5500, 3200), ("full-ctb", 3200, 5500)])
def test_full_correction_gels_join_flash_and_tungsten(name: str, start_k: float, end_k: float) -> None:
    through = xyz(planck(start_k) * make_gel(name).transmittance)
    assert correlated_colour_temperature(through)[0] == pytest.approx(end_k, rel=0.005)


def test_correction_fractions_are_fractions_in_mired() -> None:
    for family, start_k in (("cto", 5500.0), ("ctb", 3200.0)):
        shifts = []
        for word in ("full", "half", "quarter", "eighth"):
            through = xyz(planck(start_k) * make_gel(f"{word}-{family}").transmittance)
            shifts.append(1e6 / correlated_colour_temperature(through)[0] - 1e6 / start_k)
        for larger, smaller in pairwise(shifts):
            assert larger / smaller == pytest.approx(2, rel=0.02)


@pytest.mark.parametrize(
    ("name", "source", "low", "high"),
    # common practice, no source: losses of correction gels in stops
    [("full-cto", "flash", 0.6, 1.1), ("half-cto", "flash", 0.4, 0.7), ("quarter-cto", "flash", 0.2, 0.45),
     ("full-ctb", "tungsten", 1.5, 2.1), ("half-ctb", "tungsten", 0.8, 1.2)],
)  # fmt: skip
def test_correction_gels_cost_what_practice_says(name: str, source: str, low: float, high: float) -> None:
    assert low <= make_gel(name).loss_stops(make_source(source)) <= high


def test_daylight_white_balance_has_the_cie_chromaticity() -> None:
    # CIE 015:2018: D65 is the D-series phase at 6504 K, x = 0.31272, y = 0.32903
    white = white_point(6504)
    assert white[0] / white.sum() == pytest.approx(0.31272, abs=1e-4)
    assert white[1] / white.sum() == pytest.approx(0.32903, abs=1e-4)


def test_photographic_daylight_has_its_chromaticity() -> None:
    # ISO 7589 photographic daylight, by colour-science 0.4.7: x = 0.33211, y = 0.34732, 5516 K. Shifting ours to
    # 5516 K must give that back.
    x, y = chromaticity(make_source("flash", 5516).spd)
    assert (x, y) == pytest.approx((0.33211, 0.34732), abs=3e-4)
