"""Narrow lines: bands that fall between them are found out, and bands that meet them are made."""

from __future__ import annotations

import numpy as np
import pytest

from materials import LIMIT_DE00, WAVELENGTHS_NM, bands_for, colour_error, default_bands, make_gel, make_source, xyz
from materials.difference import ciede2000, cielab
from materials.narrow import MOST_BANDS
from materials.spectra import resample
from tests.materials.test_bands import judged

FLASH = make_source("flash").spd


def lines(*given: tuple[float, float]) -> np.ndarray:
    """Spectrum (401,) of lines, each (nm, power), shared between the two nearest nanometres."""
    spd = np.zeros(401)
    for nm, power in given:
        below = int(nm) - 380
        spd[below] += power * (1 - nm % 1)
        spd[below + 1] += power * (nm % 1)
    return spd


# Line wavelengths from the NIST Atomic Spectra Database (from memory, to 0.1 nm); laser lines are common ones
SODIUM = lines((589.0, 2.0), (589.6, 1.0))
MERCURY = lines((404.7, 0.3), (435.8, 0.7), (546.1, 1.0), (577.0, 0.3), (579.1, 0.3))
LASERS = lines((445, 1.0), (520, 1.0), (638, 1.0))
VIOLET = lines((405, 1.0))
NARROW = {"sodium": SODIUM, "mercury": MERCURY, "lasers": LASERS, "violet": VIOLET}


def _worst(bands, spd: np.ndarray, white: np.ndarray) -> float:
    """The largest error on what `tests.materials.test_bands` judges, by colour-science alone."""
    import colour

    reflectances, first, second = judged()
    spd, white = spd / xyz(spd)[1], xyz(white) / xyz(white)[1]
    numbers = bands.project(reflectances)
    exact = np.concatenate([reflectances, reflectances[first] * reflectances[second]])
    carried = np.concatenate([numbers, numbers[first] * numbers[second]]) @ bands.xyz_weights(spd)
    one, other = (colour.XYZ_to_Lab(v / white, colour.XYZ_to_xy(np.ones(3))) for v in (xyz(exact * spd), carried))
    return float(colour.delta_E(one, other, method="CIE 2000").max())


def test_the_difference_is_that_of_the_published_pairs_and_of_colour_science():
    """Sharma, Wu and Dalal 2005, The CIEDE2000 color-difference formula, table 1, pairs 1, 7, 10, 17 and 25 (from
    memory); and 5,000 random pairs through colour-science."""
    import colour

    pairs = [
        ((50.0, 2.6772, -79.7751), (50.0, 0.0, -82.7485), 2.0425),
        ((50.0, 0.0, 0.0), (50.0, -1.0, 2.0), 2.3669),
        ((50.0, 2.49, -0.001), (50.0, -2.49, 0.0011), 7.2195),
        ((50.0, 2.5, 0.0), (73.0, 25.0, -18.0), 27.1492),
        ((60.2574, -34.0099, 36.2677), (60.4626, -34.1751, 39.4387), 1.2644),
    ]
    for one, other, wanted in pairs:
        assert ciede2000(np.array(one), np.array(other)) == pytest.approx(wanted, abs=1e-4)
    rng = np.random.default_rng(0)
    one = rng.uniform((0, -100, -100), (100, 100, 100), (5000, 3))
    other = one + rng.normal(0, 10, one.shape)
    np.testing.assert_allclose(ciede2000(one, other), colour.delta_E(one, other, method="CIE 2000"), atol=1e-9)
    ratio = rng.uniform(0, 1.2, (500, 3))
    np.testing.assert_allclose(cielab(ratio), colour.XYZ_to_Lab(ratio, colour.XYZ_to_xy(np.ones(3))), atol=1e-9)


@pytest.mark.parametrize("name", list(NARROW))
def test_narrow_lines_get_bands_that_carry_them(name):
    """Off by more than dE00 1 in the usual bands, within 0.5 in their own, by an independent measure; and flash beside
    them is still right."""
    spd = NARROW[name]
    assert _worst(default_bands(), spd, FLASH) > LIMIT_DE00
    bands = bands_for([spd, FLASH])
    assert 16 < len(bands.nodes_nm) <= MOST_BANDS
    assert _worst(bands, spd, FLASH) < 0.5
    assert _worst(bands, FLASH, FLASH) < 0.5
    assert np.diff(bands.nodes_nm).min() > 3  # nodes close together would blow up noise
    np.testing.assert_allclose(bands.basis.sum(axis=1), 1, rtol=1e-9)


def test_the_error_is_the_worst_of_both_whites():
    for spd in NARROW.values():
        assert colour_error(default_bands(), spd, spd) >= _worst(default_bands(), spd, FLASH) - 1e-6
    assert colour_error(default_bands(), np.zeros(401), FLASH) == 0
    assert colour_error(default_bands(), FLASH * 7, FLASH) == pytest.approx(colour_error(default_bands(), FLASH, FLASH))


def test_light_that_the_usual_bands_carry_keeps_them():
    kinds = ("flash", "A", "FL2", "FL11", "HP1", "LED-B3", "LED-RGB1")
    assert bands_for(make_source(kind).spd for kind in kinds) is default_bands()
    assert bands_for([]) is default_bands()
    assert bands_for([MERCURY, SODIUM]) is bands_for([SODIUM, MERCURY, SODIUM])


def test_gels_never_choose_the_bands():
    """A narrow gel is judged, not followed: what it lets through of flash at 400 nm the usual bands cannot carry."""
    slit = np.exp(-(((WAVELENGTHS_NM - 402) / 2) ** 2))
    assert colour_error(default_bands(), FLASH * slit, FLASH) > 5
    assert colour_error(default_bands(), FLASH * make_gel("violet").transmittance, FLASH) < 0.31


def test_a_line_finer_than_a_nanometre_is_not_lost():
    """Steps of 0.1 nm: two lines between whole nanometres keep their energy to a rounding."""
    nm = np.arange(3800, 7801) / 10
    values = np.interp(nm, [589.2, 589.3, 589.4], [0, 1, 0]) + np.interp(nm, [546.4, 546.5, 546.6], [0, 2, 0])
    spd = resample(nm, values, "lines")
    assert spd.sum() == pytest.approx(np.trapezoid(values, nm), rel=1e-9)
    assert spd[209] == pytest.approx(0.1, rel=1e-9)
    assert (spd[166], spd[167]) == pytest.approx((0.1, 0.1), rel=1e-9)
    coarse = np.interp(WAVELENGTHS_NM, [380, 500, 780], [0, 3, 1])
    np.testing.assert_allclose(resample(WAVELENGTHS_NM, coarse, "coarse"), coarse)
