"""How readings are said."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scenes import meters
from scenes.numbers import significant

pytestmark = pytest.mark.quick


@pytest.mark.parametrize(
    ("f_number", "text"),
    [
        (8.0, "f/8"),
        (2 ** (19 / 6), "f/8 + 0.3"),
        (2 ** (20 / 6), "f/8 + 0.7"),
        (11.2, "f/11"),
        (1.0, "f/1"),
        (128.0, "f/128"),
        (0.707, "under f/1"),
        (1e-9, "under f/1"),
        (140.0, "over f/128"),
        (500.0, "over f/128"),
        (0.0, "no light"),
    ],
)
def test_a_reading_is_a_full_stop_and_tenths(f_number: float, text: str) -> None:
    assert meters.aperture_words(f_number) == text


def test_a_tenth_that_rounds_up_carries_into_the_next_stop() -> None:
    assert meters.aperture_words(2 ** (3.98)) == "f/16"
    assert meters.aperture_words(2 ** (3.94)) == "f/11 + 0.9"


@given(st.floats(-7, 7), st.floats(-20, 20))
def test_what_is_said_of_a_reading_can_be_read_back(stops: float, off: float) -> None:
    """Mark and tenths give the reading within half a tenth, and never in a form with an exponent or a negative nought."""
    f_number = 2 ** (stops / 2)
    said = meters.aperture_words(f_number)
    mark, _, tenths = said.removeprefix("f/").partition(" + 0.")
    if said.startswith("f/"):
        back = 2 * math.log2(meters.exact_f_number(float(mark))) + (int(tenths) / 10 if tenths else 0)
        assert abs(back - stops) <= 0.05 + 1e-9
    else:
        assert said == "under f/1"
        assert stops < 0
    words = meters.difference_words(off)
    if words != "as set":
        size, side = words.split(" ")
        assert abs(float(size) - abs(off)) <= 0.05 + 1e-9
        assert side == ("over" if off > 0 else "under")
    assert "e" not in words.replace("over", "").replace("under", "").replace("set", "")


def test_apertures_as_they_are_set() -> None:
    said = [meters.aperture_mark(n) for n in (2**2.5, 5.6, 8.0, 7.0, 0.5, 180.0, 2 ** (19 / 6))]
    assert said == ["5.6", "5.6", "8", "7", "0.5", "180", "9"]


@given(st.floats(1e-12, 1e12), st.integers(1, 4))
def test_numbers_are_written_out(value: float, digits: int) -> None:
    text = significant(value, digits)
    assert set(text) <= set("0123456789.")
    assert float(text) == pytest.approx(value, rel=0.6 * 10.0 ** (1 - digits))
    assert significant(-0.0, digits) == "0"


@pytest.mark.parametrize(
    ("seconds", "text"), [(1 / 125, "1/125 s"), (0.5, "0.5 s"), (2, "2 s"), (1 / 4, "1/4 s"), (1 / 8000, "1/8000 s")]
)
def test_shutter(seconds: float, text: str) -> None:
    assert meters.format_shutter(seconds) == text


@pytest.mark.parametrize(("value", "text"), [(1.26, "+1.3"), (-0.04, "0.0"), (0.04, "0.0"), (-2, "-2.0")])
def test_stops_carry_a_sign_but_nought_does_not(value: float, text: str) -> None:
    assert meters.format_stops(value) == text


@pytest.mark.parametrize(
    ("fraction", "text"),
    [(1, "full"), (1 / 8, "1/8 (-3.0)"), (0.3, "1/4 + 0.3 (-1.7)"), (0.9, "1/2 + 0.8 (-0.2)")],
)
def test_power(fraction: float, text: str) -> None:
    assert meters.format_power(fraction) == text


def test_ratios_name_the_lack_of_fill() -> None:
    assert meters.key_to_fill(1, 0) == math.inf
    assert meters.format_ratio(meters.lit_to_shadow(1, 0)) == "no fill"
    assert meters.format_ratio(3.0) == "3:1"
    assert meters.format_ratio(2.83) == "2.8:1"


def test_off_the_scale_is_refused() -> None:
    with pytest.raises(ValueError, match="outside the scale"):
        meters.nominal_f_number(400)


@given(st.floats(0.8, 110))
def test_the_nearest_mark_is_within_a_sixth_of_a_stop(f_number: float) -> None:
    exact = meters.exact_f_number(float(meters.nominal_f_number(f_number)))
    assert abs(meters.stops_over(f_number, exact)) <= 1 / 6 + 1e-9


@given(st.floats(0.5, 128), st.floats(0.5, 128))
def test_stops_over_changes_sign_when_the_two_are_exchanged(a: float, b: float) -> None:
    assert meters.stops_over(a, b) == pytest.approx(-meters.stops_over(b, a), abs=1e-12)
