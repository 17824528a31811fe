"""Sun and sky against published values: solar-position reports, an almanac, a reference library, the CIE's skies."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest

from scenes.daylight import SKIES, relative_luminance, sky_luminance, sun_direction, sun_place

MST = timezone(timedelta(hours=-7))
GOLDEN = (39.742476, -105.1786)
ZENITH = np.array([0.0, 1.0, 0.0])


def test_worked_example_of_the_solar_position_algorithm() -> None:
    """Reda and Andreas, NREL/TP-560-34302 (2008), table A5.1: 2003-10-17 12:30:30 at UTC-7, azimuth 194.34024, zenith
    50.11162 degrees. They take the air of 1830 m (820 hPa), which lifts the sun 0.004 degrees less than that of 0 m."""
    bearing, elevation = sun_place(datetime(2003, 10, 17, 12, 30, 30, tzinfo=MST), *GOLDEN)
    assert bearing == pytest.approx(194.34024, abs=0.0005)
    assert elevation == pytest.approx(90 - 50.11162, abs=0.005)


@pytest.mark.parametrize(("month", "day", "hour", "minute", "second"), [(1, 2, 12, 4, 45), (8, 2, 12, 6, 58)])
def test_the_sun_is_due_south_when_it_culminates(month: int, day: int, hour: int, minute: int, second: int) -> None:
    """Transits over Golden in 2015 from the NREL solar-position calculator, given to a second (0.008 degrees here)."""
    bearing, _ = sun_place(datetime(2015, month, day, hour, minute, second, tzinfo=MST), *GOLDEN)
    assert bearing == pytest.approx(180, abs=0.01)


@pytest.mark.parametrize(
    ("month", "day", "hour", "minute"),
    [(1, 1, 7, 22), (1, 2, 7, 22), (8, 2, 5, 0), (1, 1, 16, 47), (1, 3, 16, 49), (8, 2, 19, 13)],
)
def test_rise_and_set_of_an_almanac(month: int, day: int, hour: int, minute: int) -> None:
    """U.S. Naval Observatory, Golden, Colorado, 2015: upper edge on the horizon. The centre, as one sees it, is then
    16 minutes of arc lower. Times are whole minutes, in which the sun climbs 0.16 degrees; air differs by 0.05."""
    _, elevation = sun_place(datetime(2015, month, day, hour, minute, tzinfo=MST), *GOLDEN)
    assert elevation == pytest.approx(-16 / 60, abs=0.16)


def test_declination_of_a_worked_example() -> None:
    """Meeus, Astronomical Algorithms (1998), example 25.b (from memory): 1992-10-13 0h dynamical time (59 s after UT),
    declination -7.783871 degrees. At the south pole that is the elevation, less parallax of 8.8 seconds of arc, plus
    the lift of air by his formula 16.4."""
    true = 7.783871 - 8.8 / 3600
    lift = 1.02 / math.tan(math.radians(true + 10.3 / (true + 5.11))) / 60 * (283 / 288)
    _, elevation = sun_place(datetime(1992, 10, 12, 23, 59, 1, tzinfo=UTC), -90, 0)
    assert elevation == pytest.approx(true + lift, abs=0.003)


@pytest.mark.parametrize(("kind", "ratio"), [(1, 0.8325846), (12, 0.4544524)])
def test_relative_luminance_of_a_reference_library(kind: int, ratio: float) -> None:
    """Documentation of colour-science (development version of 2025), luminance over that of the zenith: 45 degrees from
    the zenith, opposite a sun 30 degrees from it."""
    sky, zenith = relative_luminance(kind, np.radians([45.0, 0.0]), np.radians([75.0, 30.0]))
    assert sky / zenith == pytest.approx(ratio, abs=1e-7)


# CIE S 011/E:2003, table 1 as in colour-science (development version of 2025): the standard builds its fifteen skies
# from six gradations (a, b) and six indicatrices (c, d, e), numbered from 1.
GRADATIONS = ((4.0, -0.70), (1.1, -0.80), (0.0, -1.0), (-1.0, -0.55), (-1.0, -0.32), (-1.0, -0.15))
INDICATRICES = (
    (0.0, -1.0, 0.0), (2.0, -1.5, 0.15), (5.0, -2.5, 0.30), (10.0, -3.0, 0.45), (16.0, -3.0, 0.30), (24.0, -2.8, 0.15),
)  # fmt: skip
PAIRS = ("11", "12", "21", "22", "31", "32", "33", "34", "42", "43", "44", "54", "55", "65", "66")


@pytest.mark.parametrize("kind", range(1, 16))
def test_every_sky_has_the_gradation_and_indicatrix_of_the_standard(kind: int) -> None:
    (a, b), (c, d, e) = (
        group[int(n) - 1] for group, n in zip((GRADATIONS, INDICATRICES), PAIRS[kind - 1], strict=True)
    )
    zenith, from_sun = np.radians([0.0, 30.0, 60.0, 80.0]), np.radians([5.0, 45.0, 90.0, 150.0])
    expected = [
        (1 + a * math.exp(b / math.cos(z)))
        * (1 + c * (math.exp(d * x) - math.exp(d * math.pi / 2)) + e * math.cos(x) ** 2)
        for z, x in zip(zenith, from_sun, strict=True)
    ]
    assert relative_luminance(kind, zenith, from_sun) == pytest.approx(expected, rel=1e-9)


def test_indicatrix_of_a_reference_library() -> None:
    """The same: 3.3264628 at 30 degrees from the sun for c = 10, d = -3, e = 0.45, those of kind 8, which has no
    gradation; and 2.9863412 for the zenith of kind 1."""
    assert relative_luminance(8, np.zeros(1), np.radians([30.0]))[0] == pytest.approx(3.3264628, abs=1e-7)
    assert relative_luminance(1, np.zeros(1), np.zeros(1))[0] == pytest.approx(2.9863412, abs=1e-7)


def test_the_overcast_sky_is_three_times_as_bright_overhead() -> None:
    """Moon and Spencer 1942, CIE 1955: (1 + 2 sin h) / 3. The general sky's first kind stands for it: within 0.5 %
    at both ends; between it is darker, at most by 9.2 % of the zenith (15 degrees above the horizon)."""
    values = sky_luminance(SKIES["overcast"], ZENITH).values[0].astype(float)
    assert values[0] / values[-1] == pytest.approx(3, rel=0.005)
    height = np.linspace(math.pi / 2, 0, len(values))
    assert np.abs(values / values[0] - (1 + 2 * np.sin(height)) / 3).max() < 0.093
    # zenith luminance over horizontal illuminance of (1 + 2 sin h) / 3: 9 / (7 pi)
    assert values[0] == pytest.approx(9 / (7 * math.pi), rel=0.01)


def test_a_wall_under_the_overcast_sky() -> None:
    """An unobstructed upright face gets 39.6 % of the light on level ground (BRE daylight handbooks; closed form for
    (1 + 2 sin h) / 3: 3/14 + 4/(7 pi)). The general sky, darker low down, gives 4 to 5 % less."""
    sky = sky_luminance(SKIES["overcast"], ZENITH).values[0].astype(float)
    zenith = np.linspace(0, math.pi / 2, len(sky))
    share = 2 * np.trapezoid(sky * np.sin(zenith) ** 2, zenith)
    assert 0.95 < share / (3 / 14 + 4 / (7 * math.pi)) < 0.96


def test_evening_sun_shines_from_the_west() -> None:
    """At the equator at the equinox the sun rises due east and sets due west, whatever the front of the set."""
    morning = datetime(2025, 3, 20, 7, 0, tzinfo=UTC)
    for hours, bearing in ((0, 90), (10, 270)):
        seen, elevation = sun_place(morning + timedelta(hours=hours), 0, 0)
        assert seen == pytest.approx(bearing, abs=0.5)
        # front to the north: camera right, of one who looks south toward the sitter, is west
        level = math.cos(math.radians(elevation))
        assert sun_direction(seen, elevation, 0)[0] == pytest.approx(-level if bearing == 90 else level, abs=1e-3)
