"""Fixtures made of photometric files."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from materials.errors import DataError
from scenes.aiming import look_frame
from scenes.field import illuminance
from scenes.photometric import POINT_SIZE_M, Photometry, flux_lm, make_photometry, to_optics
from scenes.stage import Fixture
from tests.scenes.photometric_files import GAMMA, TURN, ies, lopsided, read_text, table


@pytest.fixture
def read(tmp_path: Path) -> Callable[..., Photometry]:
    return partial(read_text, tmp_path)


def fixture_of(photometry: Photometry) -> Fixture:
    shape, size, optics = to_optics(photometry)
    origin = np.array([0.0, 3.0, 0.0])
    return Fixture(shape, size, origin, *look_frame(origin, np.zeros(3)), None, None, False, 0.0, optics=optics)


def seen_cd(photometry: Photometry, c_deg: np.ndarray, gamma_deg: np.ndarray, distance_m: float = 60.0) -> np.ndarray:
    """Intensity of the fixture as far meters see it (cd), for the lamp lumens that the file rates."""
    fixture = fixture_of(photometry)
    c, g = np.broadcast_arrays(np.radians(c_deg), np.radians(gamma_deg))
    way = (
        np.outer(np.sin(g) * np.cos(c), fixture.right)
        + np.outer(np.sin(g) * np.sin(c), fixture.up)
        + np.outer(np.cos(g), fixture.forward)
    )
    lamp = photometry.lumens if photometry.rated_lumens is None else photometry.rated_lumens
    return illuminance(fixture, fixture.centre_m + distance_m * way, -way) * distance_m**2 * lamp


@pytest.mark.parametrize("last", [90, 180])
def test_a_fixture_shows_each_side_its_own_intensity(last: int) -> None:
    """C0 lies to its right, C90 up, gamma 0 forward; tolerance 0.3 %: the exit's raster, and its size at 60 m,
    over which straight lines have their kinks: 1e-5 of the peak."""
    gamma = np.arange(0, last + 1, 5)
    candela = table(lopsided, TURN, gamma)
    photometry = make_photometry("lamp", candela, TURN, gamma, width_m=0.3, length_m=0.2, height_m=0.1)
    c, g = (a.ravel() for a in np.meshgrid(TURN, np.arange(0, last - 4, 10)))
    got = seen_cd(photometry, c, g)
    np.testing.assert_allclose(got, lopsided(c, g), rtol=0.003, atol=0.01)
    flipped = lopsided(-c, g)
    assert np.abs(got / flipped - 1).max() > 0.1  # a mirrored frame would show


def test_a_ceiling_luminaire_turned_about_its_axis_keeps_c0_right() -> None:
    """Seen from behind the luminaire, C runs counter-clockwise from its right: CIE 121, and LM-63 from above."""
    fixture = fixture_of(make_photometry("lamp", [[1, 1, 0]], [0], [0, 45, 90]))
    np.testing.assert_allclose(np.cross(fixture.right, fixture.up), -fixture.forward, atol=1e-12)


def test_lamp_lumens_give_the_luminaires_own_output(read) -> None:
    photometry = read(ies(lamps="1 400"))
    _, _, optics = to_optics(photometry)
    assert optics.efficiency == pytest.approx(photometry.lumens / 400, rel=1e-6)
    assert to_optics(read(ies()))[2].efficiency == 1


@pytest.mark.parametrize(
    ("size", "last", "shape", "wanted"),
    [
        ({"width_m": 0.3, "length_m": 0.2}, 90, "rectangle", (0.3, 0.2)),
        ({"width_m": 0.3, "length_m": 0.3, "round": True}, 90, "disk", (0.3, 0.3)),
        ({"width_m": 0.4, "length_m": 0.1, "round": True}, 90, "disk", (0.2, 0.2)),
        ({"width_m": 0.3}, 90, "rectangle", (0.3, POINT_SIZE_M)),
        ({}, 90, "disk", (POINT_SIZE_M, POINT_SIZE_M)),
        ({}, 180, "sphere", (POINT_SIZE_M, POINT_SIZE_M)),
        ({"width_m": 0.3, "length_m": 0.3, "height_m": 0.3, "round": True}, 180, "sphere", (0.3, 0.3)),
        ({"width_m": 0.2, "length_m": 0.2, "height_m": 0.2}, 180, "sphere", (0.2764, 0.2764)),
        ({"width_m": 0.2, "length_m": 0.2, "height_m": 0.4, "round": True}, 180, "sphere", (0.3162, 0.3162)),
    ],
)
def test_the_exit_is_as_large_as_the_opening(size: dict, last: int, shape: str, wanted) -> None:
    """Ball sizes by Cauchy: a cube of 0.2 m has 0.24 m2 of surface, the cylinder 0.1 pi, and a ball pi d^2."""
    photometry = make_photometry("lamp", [[100, 50, 10 if last > 90 else 0]], [0], [0, last / 2, last], **size)
    got_shape, got_size, _ = to_optics(photometry)
    assert got_shape == shape
    np.testing.assert_allclose(got_size, wanted, atol=1e-4)
    assert bool(photometry.notes) == (not size.get("length_m"))


def test_stray_light_behind_is_left_out_and_told() -> None:
    candela = np.where(np.arange(0, 181, 10) > 90, 0.01, 100 * np.maximum(np.cos(np.radians(np.arange(0, 181, 10))), 0))
    photometry = make_photometry("lamp", candela[None], [0], np.arange(0, 181, 10), width_m=0.1, length_m=0.1)
    shape, _, optics = to_optics(photometry)
    assert shape == "rectangle"
    assert optics.angular.widest_rad <= math.pi / 2 + 1e-9
    assert "stray light" in photometry.notes[0]
    twice = make_photometry("lamp", candela[None] + (candela[None] == 0.01), [0], np.arange(0, 181, 10))
    assert to_optics(twice)[0] == "sphere"


def test_even_angles_are_kept_as_they_are() -> None:
    candela = table(lopsided, TURN, GAMMA)
    _, _, optics = to_optics(make_photometry("lamp", candela, TURN, GAMMA, width_m=0.1, length_m=0.1))
    assert optics.angular.values.shape == candela.shape
    np.testing.assert_allclose(optics.angular.values, candela / flux_lm(candela, TURN, GAMMA), rtol=1e-6)
    assert flux_lm(optics.angular.values, TURN, GAMMA) == pytest.approx(1, rel=1e-6)


def test_uneven_angles_with_a_common_step_are_kept_exactly() -> None:
    gamma, planes = [0, 1, 2, 3.5, 5, 10, 20, 45, 60, 90], [0, 10, 30, 90, 170, 260, 300]
    candela = table(lopsided, planes, gamma)
    _, _, optics = to_optics(make_photometry("lamp", candela, planes, gamma, width_m=0.1, length_m=0.1))
    rows, columns = optics.angular.values.shape
    assert (rows, columns) == (36, 181)
    at = np.ix_([p // 10 for p in planes], [round(2 * g) for g in gamma])
    np.testing.assert_allclose(optics.angular.values[at], candela / flux_lm(candela, planes, gamma), rtol=1e-6)


def test_uneven_angles_without_a_common_step_err_by_little() -> None:
    """Bound: a kink falls between two new angles, at most the finest step apart: an eighth of the change of slope times
    that step, here under 0.5 % of the peak; the flux under 0.1 %."""
    gamma = np.append(90 * (np.arange(40) / 40) ** 1.37, 90.0)
    candela = lopsided(np.zeros(1)[:, None], gamma[None])
    photometry = make_photometry("lamp", candela, [0], gamma, width_m=0.1, length_m=0.1)
    _, _, optics = to_optics(photometry)
    even = np.linspace(0, np.degrees(optics.angular.widest_rad), optics.angular.values.shape[1])
    assert even[1] <= np.diff(gamma).min() * (1 + 1e-9)
    got = np.interp(gamma, even, optics.angular.values[0]) * photometry.lumens
    np.testing.assert_allclose(got, candela[0], atol=0.005 * candela.max())
    assert optics.efficiency == 1
    assert flux_lm(optics.angular.values, [0], even) == pytest.approx(1, rel=1e-6)


def test_a_narrow_beam_ends_where_its_light_ends() -> None:
    gamma = np.arange(0, 91, 1.0)
    candela = np.where(gamma < 8, 1000 * np.exp2(-((gamma / 3) ** 2)), 0.0)
    _, _, optics = to_optics(make_photometry("spot", candela[None], [0], gamma, width_m=0.1, length_m=0.1))
    assert np.degrees(optics.angular.widest_rad) == pytest.approx(8)
    assert optics.angular.values.shape == (1, 9)


def test_an_uplight_sends_nothing_forward() -> None:
    gamma = np.arange(90, 181, 10.0)
    photometry = make_photometry("up", np.full((1, 10), 100.0), [0], gamma, width_m=0.1, length_m=0.1)
    shape, _, optics = to_optics(photometry)
    assert shape == "sphere"
    even = np.linspace(0, 180, optics.angular.values.shape[1])
    assert optics.angular.values[0][even <= 89].max() == 0
    above = optics.angular.values[0][even >= 90] * photometry.lumens
    np.testing.assert_allclose(above, 100, rtol=0.006)  # half a degree of ramp at the edge takes its flux


@pytest.mark.parametrize(
    ("candela", "c_deg", "gamma_deg", "words"),
    [
        ([[1, 2]], [0], [0, 45, 90], "do not fit"),
        ([[1]], [0], [0], "at least two angles"),
        ([[1, math.nan]], [0], [0, 90], "finite"),
        ([[1, -1]], [0], [0, 90], "not negative"),
        ([[0, 0]], [0], [0, 90], "not all 0"),
        ([[1, 1]], [0], [90, 0], "gamma angles must ascend"),
        ([[1, 1]], [0], [0, 200], "within 0 to 180"),
        ([[1, 1], [1, 1]], [0, 360], [0, 90], "C angles must ascend within 0 to below 360"),
        ([[1, 1]], [15], [0, 90], "It must be C0"),
    ],
)
def test_a_table_that_makes_no_sense_is_refused(candela, c_deg, gamma_deg, words: str) -> None:
    with pytest.raises(DataError, match=words):
        make_photometry("table", candela, c_deg, gamma_deg)
