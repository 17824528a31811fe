"""How readings are said."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scenes import meters


@pytest.mark.parametrize(
    ("f_number", "thirds", "tenths"),
    [
        (8.0, "f/8", "f/8"),
        (2 ** (19 / 6), "f/8 + 1/3", "f/8 + 0.3"),
        (2 ** (20 / 6), "f/8 + 2/3", "f/8 + 0.7"),
        (11.2, "f/11", "f/11"),
        (0.707, "f/0.7", "f/0.7"),
        (1.0, "f/1", "f/1"),
        (0.1, "f/0.1", "f/0.1"),
        (500.0, "f/500", "f/500"),
        (0.0, "no light", "no light"),
    ],
)
def test_readings(f_number: float, thirds: str, tenths: str) -> None:
    assert meters.format_f_number(f_number) == thirds
    assert meters.format_f_number_tenths(f_number) == tenths


def test_a_tenth_that_rounds_up_carries_into_the_next_stop() -> None:
    assert meters.format_f_number_tenths(2 ** (3.98)) == "f/16"
    assert meters.format_f_number(2 ** (3.95)) == "f/16"


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
