"""Gels: what the stock promises, stacks, and measured files."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest

from materials import GELS, DataError, Gel, KeyfallError, UnknownName, make_gel, make_source, read_gel_csv, stack
from materials.gels import edge_transmittance, mired_transmittance
from materials.spectra import WAVELENGTHS_NM
from materials.standards import DATA

pytestmark = pytest.mark.quick

FLASH = make_source("flash")
PARTY = [name for name, entry in tomllib.loads((DATA / "gels.toml").read_text()).items() if "levels" in entry]


@pytest.mark.parametrize("name", GELS)
def test_every_stock_gel_takes_light_and_never_makes_any(name: str) -> None:
    gel = make_gel(name)
    assert gel.transmittance.shape == (401,)
    assert gel.transmittance.min() > 0
    assert gel.transmittance.max() <= 0.92 + 1e-12, "two air surfaces reflect 8 %"
    assert 0.1 < gel.loss_stops(FLASH) < 5
    assert len(GELS[name]) > 15, "a gel says what it is for"


def test_there_are_party_gels_for_every_mood() -> None:
    losses = {name: make_gel(name).loss_stops(FLASH) for name in PARTY}
    assert 22 <= len(PARTY) <= 28
    # common practice, no source: party gels cost up to one stop when pale and up to four or five when saturated
    assert all(loss < 1 for name, loss in losses.items() if name.startswith("pale-"))
    assert losses["pale-amber"] == pytest.approx(0.4, abs=0.1)
    assert 3 < losses["blue"] < 5
    assert 4 < losses["deep-blue"] < 5


def test_no_two_party_gels_are_the_same_colour() -> None:
    points = {name: np.array(make_gel(name).chromaticity(FLASH)) for name in PARTY}
    names = list(points)
    for index, first in enumerate(names):
        for second in names[index + 1 :]:
            assert np.hypot(*(points[first] - points[second])) > 0.008, f"{first} and {second}"


@pytest.mark.parametrize("stops", ["half", "1", "2", "3", "4"])
def test_a_neutral_gel_costs_its_stops_under_any_light_and_keeps_the_colour(stops: str) -> None:
    gel = make_gel("nd-half-stop" if stops == "half" else f"nd-{stops}-stop")
    for source in (FLASH, make_source("A"), make_source("FL11")):
        assert gel.loss_stops(source) == pytest.approx(0.5 if stops == "half" else float(stops), abs=1e-12)
        bare = stack([make_gel("nd-1-stop")]).chromaticity(source)
        assert gel.chromaticity(source) == pytest.approx(bare, abs=1e-12)


def test_plus_and_minus_green_cancel_in_colour() -> None:
    both = stack([make_gel("plus-green"), make_gel("minus-green")])
    clear = Gel("clear", "", np.ones(401))
    assert both.chromaticity(FLASH) == pytest.approx(clear.chromaticity(FLASH), abs=1e-9)


def test_two_halves_of_green_make_the_full_one() -> None:
    full, half = make_gel("plus-green"), make_gel("half-plus-green")
    twice = stack([half, half])
    np.testing.assert_allclose(twice.transmittance / 0.92, full.transmittance, rtol=1e-12)


def test_a_stack_multiplies_and_names_its_sheets() -> None:
    amber, grey = make_gel("amber"), make_gel("nd-1-stop")
    both = stack([amber, grey])
    assert both.name == "amber + nd-1-stop"
    np.testing.assert_allclose(both.transmittance, amber.transmittance / 2, rtol=1e-12)
    assert both.loss_stops(FLASH) == pytest.approx(amber.loss_stops(FLASH) + 1, abs=1e-12)
    assert stack([amber]) is amber
    with pytest.raises(KeyfallError, match="at least one gel"):
        stack([])


def test_an_opaque_sheet_loses_everything_and_has_no_colour() -> None:
    black = Gel("black", "", np.zeros(401))
    assert black.loss_stops(FLASH) == float("inf")
    with pytest.raises(KeyfallError, match="no light"):
        black.chromaticity(FLASH)


def test_an_unknown_gel_gets_the_nearest_name() -> None:
    with pytest.raises(UnknownName, match="Did you mean half-cto"):
        make_gel("Half CTO")


def test_a_measured_gel_is_read_and_wrong_values_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "mine.csv"
    path.write_text("380,0.1\n780,0.5\n")
    gel = read_gel_csv(path)
    assert gel.name == "mine"
    assert gel.transmittance[200] == pytest.approx(0.3)
    path.write_text("380,10\n780,50\n")
    with pytest.raises(DataError, match="in percent, divide by 100"):
        read_gel_csv(path)
    path.write_text("380,-0.1\n780,0.5\n")
    with pytest.raises(DataError, match=r"transmittance -0\.1 at 380 nm"):
        read_gel_csv(path)


@pytest.mark.parametrize(
    ("mired", "from_k", "to_k"),
    # common practice, no source: orange sheets turn daylight of 5500 K to tungsten of 3200 K, blue ones the other way
    # about; the shift is the difference of the reciprocal temperatures
    [(1e6 / 3200 - 1e6 / 5500, 5500, 3200), (1e6 / 5500 - 1e6 / 3200, 3200, 5500), (-60, 3200, 3960.4)],
)
def test_a_correction_gel_turns_one_black_body_into_another(mired: float, from_k: float, to_k: float) -> None:
    """Between 400 and 700 nm the light behind it is Planck's at the other temperature, to a factor; level outside."""

    def planck(kelvin: float) -> np.ndarray:
        metres = WAVELENGTHS_NM * 1e-9
        return metres**-5 / np.expm1(0.014387768775 / (metres * kelvin))  # CODATA 2018, c2

    gel = mired_transmittance(mired)
    inside = (WAVELENGTHS_NM >= 400) & (WAVELENGTHS_NM <= 700)
    behind = (gel * planck(from_k) / planck(to_k))[inside]
    np.testing.assert_allclose(behind / behind[0], 1, rtol=1e-4)  # c2 as CIE 15 has it, 1.4388e-2
    assert gel.max() == pytest.approx(0.92)
    assert np.ptp(gel[WAVELENGTHS_NM <= 400]) == 0
    assert np.ptp(gel[WAVELENGTHS_NM >= 700]) == 0


@pytest.mark.parametrize("softness", [8.0, 20.0])
def test_an_edge_is_half_way_at_its_wavelength_and_soft_as_it_says(softness: float) -> None:
    """A logistic step in density: half-way at the edge, 1 / (1 + e^2) = 12 % and 88 % one softness to either side."""
    density = -np.log10(edge_transmittance([0.8, 0.02], [560], [softness]))
    share = (density - density[0]) / (density[-1] - density[0])
    at = 180 + np.array([-softness, 0, softness]).astype(int)
    np.testing.assert_allclose(share[at], [1 / (1 + np.e**2), 0.5, 1 / (1 + np.e**-2)], atol=1e-6)
    assert 10 ** -density[[0, -1]] == pytest.approx([0.8, 0.02], rel=1e-6)


def test_green_correction_works_on_the_green_third_with_soft_edges() -> None:
    """Logistic flanks of 10 nm at 495 and 595 nm: half-way there, 1 / (1 + e^2) = 12 % and 88 % twice that to a side;
    the whole density at 545 nm. Plus green takes the rest of the spectrum, minus green the green."""
    at = np.array([475, 495, 515, 545, 575, 595, 615, 700]) - 380
    window = np.array([0.1192, 0.5, 0.8808, 0.9867, 0.8808, 0.5, 0.1192, 0.0]) / 0.9867
    for name, share in (("minus-green", window), ("plus-green", 1 - window)):
        density = -np.log10(make_gel(name).transmittance / 0.92)[at]
        np.testing.assert_allclose(density / 0.30, share, atol=2e-3)
