"""Skies and the sun's direction: normalised, symmetric, brightest where the sun is, and turned the right way."""

from __future__ import annotations

import math
from datetime import UTC, datetime

import numpy as np
import pytest

from materials import KeyfallError, UnknownName
from scenes.aiming import direction
from scenes.daylight import (
    KINDS,
    SKIES,
    SKY_WORDS,
    relative_luminance,
    sky_kind,
    sky_luminance,
    sun_direction,
    sun_place,
    turns_with_sun,
)

EVERY = range(1, KINDS + 1)
SUN = direction(40, 35)


def looking(values: np.ndarray, toward: np.ndarray) -> np.ndarray:
    """Luminance of a table in directions (n, 3), linear between its entries as the tracer reads it."""
    zenith = np.arccos(np.clip(toward[:, 1], -1, 1)) / (math.pi / 2) * (values.shape[1] - 1)
    turn = np.arctan2(-toward[:, 2], toward[:, 0]) / (2 * math.pi) % 1 * len(values)
    row, column = turn.astype(int), np.minimum(zenith.astype(int), values.shape[1] - 2)
    v, u = turn - row, zenith - column
    row = row % len(values)
    near, far = values[row], values[(row + 1) % len(values)]
    index = np.arange(len(toward))
    both = [t[index, column] * (1 - u) + t[index, column + 1] * u for t in (near, far)]
    return both[0] * (1 - v) + both[1] * v


def hemisphere(count: int) -> np.ndarray:
    """Directions (n, 3) spread over the upper half, each standing for the same projected solid angle, pi / n."""
    index = np.arange(count) + 0.5
    sine, turn = np.sqrt(index / count), index * math.pi * (3 - math.sqrt(5))
    return np.stack([sine * np.cos(turn), np.sqrt(1 - sine**2), sine * np.sin(turn)], axis=1)


@pytest.mark.parametrize("kind", EVERY)
def test_a_level_meter_reads_one_lux(kind: int) -> None:
    sky = sky_luminance(kind, SUN)
    assert (sky.of, sky.widest_rad) == ("luminance", math.pi / 2)
    assert np.isfinite(sky.values).all()
    assert sky.values.min() > 0
    assert math.pi * looking(sky.values, hemisphere(200_000)).mean() == pytest.approx(1, rel=2e-4)


@pytest.mark.parametrize("kind", EVERY)
def test_the_table_follows_the_formula(kind: int) -> None:
    """At each entry exactly; between, for what meters gather (over patches) and to 2 % for every direction but the few
    degrees at the horizon, where hazy skies rise steeply."""
    sky = sky_luminance(kind, SUN)
    toward = hemisphere(20_000)
    toward = toward[toward[:, 1] > math.sin(math.radians(2))]
    exact = relative_luminance(kind, np.arccos(toward[:, 1]), np.arccos(np.clip(toward @ SUN, -1, 1)))
    ratio = looking(sky.values, toward) / exact
    ratio /= np.median(ratio)
    assert np.abs(ratio - 1).max() < 0.02
    assert abs(ratio.mean() - 1) < 1e-3


@pytest.mark.parametrize("kind", EVERY)
def test_left_and_right_of_the_sun_are_alike(kind: int) -> None:
    sky = sky_luminance(kind, direction(90, 35)).values  # the sun's row is the first
    np.testing.assert_allclose(sky[1:], sky[:0:-1], rtol=1e-5)


@pytest.mark.parametrize("kind", [k for k in EVERY if not turns_with_sun(k)])
def test_skies_that_do_not_turn_are_the_same_all_round(kind: int) -> None:
    assert kind in (1, 3, 5)
    one, other = sky_luminance(kind, SUN), sky_luminance(kind, direction(-100, 80))
    assert one.values.shape == (1, 91)
    assert np.array_equal(one.values, other.values)


@pytest.mark.parametrize("kind", [7, 8, 10, 11, 12, 13, 14, 15])
@pytest.mark.parametrize(("azimuth", "elevation"), [(90, 45), (0, 50), (-130, 60), (20, 89)])
def test_bright_skies_are_brightest_around_the_sun(kind: int, azimuth: float, elevation: float) -> None:
    sun = direction(azimuth, elevation)
    values = sky_luminance(kind, sun).values
    row, column = np.unravel_index(np.argmax(values), values.shape)
    zenith, turn = math.radians(column), math.radians(row)
    seen = np.array([math.sin(zenith) * math.cos(turn), math.cos(zenith), -math.sin(zenith) * math.sin(turn)])
    assert math.degrees(math.acos(min(1.0, float(seen @ sun)))) < 1


def test_azimuth_runs_from_camera_right_toward_the_back() -> None:
    for azimuth, row in ((90, 0), (180, 90), (-90, 180), (0, 270)):
        values = sky_luminance(12, direction(azimuth, 30)).values
        assert int(np.argmax(values.max(axis=1))) == row


@pytest.mark.parametrize(
    ("front", "bearing", "expected"),
    # the camera stands at the front and looks at the sitter: with the front to the south it looks north, east on its right
    [(180, 180, (0, 0, 1)), (180, 90, (1, 0, 0)), (180, 0, (0, 0, -1)), (0, 270, (1, 0, 0)), (90, 0, (1, 0, 0))],
)
def test_bearings_on_the_set(front: float, bearing: float, expected: tuple[float, ...]) -> None:
    assert sun_direction(bearing, 0, front) == pytest.approx(expected, abs=1e-12)
    lifted = sun_direction(bearing, 60, front)
    assert lifted == pytest.approx([0.5 * expected[0], math.sqrt(0.75), 0.5 * expected[2]], abs=1e-12)


def test_the_sun_below_the_horizon_is_told_by_its_sign() -> None:
    assert sun_place(datetime(2025, 6, 21, 0, 0, tzinfo=UTC), 50, 0)[1] == pytest.approx(-(90 - 50 - 23.44), abs=0.2)


def test_names_are_numbers_of_the_standard() -> None:
    assert (sky_kind("overcast"), sky_kind("clear"), sky_kind("even"), sky_kind(9)) == (1, 12, 5, 9)
    assert len(SKY_WORDS) == KINDS == 15
    assert all(1 <= number <= KINDS for number in SKIES.values())


@pytest.mark.parametrize(
    ("call", "kind", "words"),
    [
        (lambda: sky_kind("overcats"), UnknownName, "Did you mean overcast"),
        (lambda: sky_kind(0), KeyfallError, "Allowed: 1 to 15"),
        (lambda: sky_luminance(16, SUN), KeyfallError, "Allowed: 1 to 15"),
        (lambda: sky_luminance(12, direction(0, -5)), KeyfallError, "under the horizon"),
        (lambda: sky_luminance(12, np.array([0, np.nan, 1])), KeyfallError, "under the horizon"),
        (lambda: sun_place(datetime(2025, 6, 21), 50, 8), KeyfallError, "offset from UTC"),
        (lambda: sun_place(datetime.fromisoformat("0001-01-01T00:00+05:00"), 50, 8), KeyfallError, "1800 to 2200"),
        (lambda: sun_place(datetime.fromisoformat("9999-12-31T23:30-05:00"), 50, 8), KeyfallError, "1800 to 2200"),
        (lambda: sun_place(datetime(2025, 6, 21, tzinfo=UTC), 91, 8), KeyfallError, "latitude -90 to 90"),
        (lambda: sun_place(datetime(2025, 6, 21, tzinfo=UTC), float("nan"), 8), KeyfallError, "latitude -90 to 90"),
    ],
)  # fmt: skip
def test_impossible_daylight_is_refused(call, kind: type[Exception], words: str) -> None:
    with pytest.raises(kind, match=words):
        call()
