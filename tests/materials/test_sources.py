"""Sources: one lumen each, the right colour temperature, and clear refusals."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from materials import (
    SOURCE_KINDS,
    DataError,
    KeyfallError,
    UnknownName,
    correlated_colour_temperature,
    make_source,
    white_point,
    xyz,
)

pytestmark = pytest.mark.quick

TUNED = {"flash": (3000, 15000), "daylight": (4000, 25000), "blackbody": (1000, 25000), "tungsten": (2000, 6000)}
FIXED = [name for name in SOURCE_KINDS if name not in TUNED and name != "csv"]


@pytest.mark.parametrize("name", FIXED)
def test_every_fixed_source_is_one_lumen_and_nowhere_negative(name: str) -> None:
    source = make_source(name)
    assert xyz(source.spd)[1] == pytest.approx(1, rel=1e-12)
    assert source.spd.min() >= 0
    assert source.spd.shape == (401,)


@settings(max_examples=40, deadline=None)
@given(st.sampled_from(sorted(TUNED)), st.floats(0, 1))
def test_every_tuned_source_is_one_lumen_at_its_temperature(kind: str, share: float) -> None:
    low, high = TUNED[kind]
    wanted = low * (high / low) ** share
    source = make_source(kind, wanted)
    assert xyz(source.spd)[1] == pytest.approx(1, rel=1e-12)
    assert (source.spd >= 0).all()
    reached, _ = correlated_colour_temperature(xyz(source.spd))
    # The CIE daylight formula rounds its coefficients; its own colour temperature is up to 0.1 % off the nominal one.
    tolerance = 2e-3 if kind == "daylight" else 1e-5
    assert reached == pytest.approx(wanted, rel=tolerance)


def test_flash_and_tungsten_have_their_usual_temperatures() -> None:
    assert correlated_colour_temperature(xyz(make_source("flash").spd))[0] == pytest.approx(5500, abs=0.1)
    assert correlated_colour_temperature(xyz(make_source("tungsten").spd))[0] == pytest.approx(3200, abs=0.1)


def test_flash_keeps_daylight_structure_when_shifted() -> None:
    ratio = make_source("flash", 6500).spd / make_source("flash", 5500).spd
    bend = np.abs(np.diff(np.log(ratio), 2))
    assert bend.max() < 1e-4, "the shift must be smooth: a ratio of two black bodies"


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("flash", 2000.0), "Allowed: 3000 to 15000 K"),
        (("flash", float("nan")), "Allowed: 3000 to 15000 K"),
        (("daylight", None), "needs cct_k"),
        (("daylight", 3900.0), "Allowed: 4000 to 25000 K"),
        (("blackbody", float("inf")), "Allowed: 1000 to 25000 K"),
        (("D65", 6500.0), "has a fixed colour"),
        (("csv", None), "needs a file"),
        (("csv", 5000.0, Path("lamp.csv")), "its own colour"),
        (("A", None, Path("lamp.csv")), "takes no file"),
    ],
)
def test_a_wrong_request_is_refused(arguments: tuple, message: str) -> None:
    with pytest.raises(KeyfallError, match=message):
        make_source(*arguments)


def test_an_unknown_source_gets_the_nearest_name() -> None:
    with pytest.raises(UnknownName, match="Did you mean tungsten"):
        make_source("tungstn")


def test_a_measured_source_is_brought_to_one_lumen(tmp_path: Path) -> None:
    path = tmp_path / "lamp.csv"
    path.write_text("380,1\n780,3\n")
    source = make_source("csv", csv=path)
    assert source.name == "lamp"
    assert xyz(source.spd)[1] == pytest.approx(1, rel=1e-12)
    assert source.spd[-1] == pytest.approx(3 * source.spd[0])


@pytest.mark.parametrize(("text", "message"), [("380,1\n780,-1\n", "negative power"), ("380,0\n780,0\n", "no visible")])
def test_an_impossible_measured_source_is_refused(tmp_path: Path, text: str, message: str) -> None:
    path = tmp_path / "lamp.csv"
    path.write_text(text)
    with pytest.raises(DataError, match=message):
        make_source("csv", csv=path)


def test_white_point_moves_without_a_jump() -> None:
    kelvin = np.geomspace(1000, 25000, 2000)
    whites = np.array([white_point(k) for k in kelvin])
    steps = np.abs(np.diff(np.log(whites[:, [0, 2]]), axis=0)).max(axis=1) / np.abs(np.diff(1e6 / kelvin))
    assert steps.max() < 0.012, "per mired; a jump from black body to daylight at 4000 K would be ten times this"
    np.testing.assert_allclose(whites[:, 1], 1, rtol=1e-12)


def test_white_point_is_a_black_body_when_low_and_daylight_when_high() -> None:
    for kelvin, kind in ((2856, "blackbody"), (4000, "blackbody"), (5000, "daylight"), (6500, "daylight")):
        np.testing.assert_allclose(white_point(kelvin), xyz(make_source(kind, kelvin).spd), rtol=1e-12)


@pytest.mark.parametrize("kelvin", [999.0, 25001.0, float("nan")])
def test_white_balance_out_of_range_is_refused(kelvin: float) -> None:
    with pytest.raises(KeyfallError, match="Allowed: 1000 to 25000 K"):
        white_point(kelvin)


def test_a_saturated_colour_has_no_colour_temperature() -> None:
    with pytest.raises(KeyfallError, match="too far"):
        correlated_colour_temperature(np.array([0.2, 0.7, 0.05]))
