"""Exit profiles against closed forms, tables and brute-force integration."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scenes.bodies import exit_outline
from scenes.field import luminance
from scenes.fixtures import (
    SPOT_CUT,
    exit_area_m2,
    plain_axial_illuminance,
    plain_axial_intensity,
    spot_intensity,
    spot_profile,
)
from scenes.stage import Fixture

pytestmark = pytest.mark.quick


def fixture(
    shape: str, width: float, height: float | None = None, beam: float | None = None, field: float | None = None
) -> Fixture:
    size = np.array([width, width if height is None else height])
    return Fixture(
        shape,
        size,
        np.zeros(3),
        np.array([1.0, 0, 0]),
        np.array([0, 1.0, 0]),
        np.array([0, 0, -1.0]),
        beam,
        field,
        False,
        0.1,
    )


def factor(panel: Fixture, distance: float) -> float:
    """Configuration factor F = E / (pi L)."""
    return plain_axial_illuminance(panel, distance) * exit_area_m2(panel)


@pytest.mark.parametrize(
    ("width", "height", "distance", "expected"),
    # Howell and Menguc, view-factor catalogue, differential to parallel rectangle, summed over four corners
    [
        (1, 1, 0.5, 0.5541264), (1, 1, 1, 0.2394565), (1, 1, 2, 0.0734776), (1, 1, 5, 0.0125650),
        (0.6, 0.9, 1.2, 0.1052735), (1.2, 0.3, 1, 0.0924722),
    ],
)  # fmt: skip
def test_rectangle_table(width: float, height: float, distance: float, expected: float) -> None:
    assert factor(fixture("rectangle", width, height), distance) == pytest.approx(expected, abs=5e-8)


def test_disk_closed_form_and_five_times_rule() -> None:
    # a^2 / (a^2 + h^2); IES Lighting Handbook: at five diameters the inverse square law is 1.00 % too high
    assert factor(fixture("disk", 1.0), 1.0) == pytest.approx(0.2, rel=1e-12)
    disk = fixture("disk", 1.0)
    for diameters, percent in ((1, 25), (2, 6.25), (5, 1.0), (10, 0.25)):
        point = plain_axial_intensity(disk) / diameters**2
        assert 100 * (point / plain_axial_illuminance(disk, diameters) - 1) == pytest.approx(percent, rel=1e-9)


def test_sphere_closed_form() -> None:
    # (R / d)^2 = 0.01 for R = 0.1 at 1 m
    assert factor(fixture("sphere", 0.2), 1.0) == pytest.approx(0.01, rel=1e-12)
    with pytest.raises(ValueError, match="not in front"):
        plain_axial_illuminance(fixture("sphere", 0.2), 0.05)


def test_octagon_against_lamberts_polygon_formula() -> None:
    octagon = fixture("octagon", 0.9)
    corners = exit_outline(octagon) - np.array([0, 0, -0.8])
    total = 0.0
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        across = np.cross(a, b)
        angle = math.acos(a @ b / np.linalg.norm(a) / np.linalg.norm(b))
        total += angle * across[2] / np.linalg.norm(across)
    assert factor(octagon, 0.8) == pytest.approx(abs(total) / (2 * math.pi), rel=1e-9)


def test_octagon_area_is_that_of_its_outline() -> None:
    octagon = fixture("octagon", 0.9)
    x, y, _ = exit_outline(octagon).T
    shoelace = 0.5 * abs(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))
    assert exit_area_m2(octagon) == pytest.approx(shoelace, rel=1e-12)


@given(
    st.sampled_from(["disk", "rectangle", "octagon"]),
    st.floats(0.05, 2),
    st.floats(0.05, 2),
)
def test_a_panel_sends_one_lumen(shape: str, width: float, height: float) -> None:
    panel = fixture(shape, width, height if shape == "rectangle" else None)
    level = float(luminance(panel, *np.zeros(4)))
    assert math.pi * level * exit_area_m2(panel) == pytest.approx(1, rel=1e-12)


@given(st.sampled_from(["disk", "rectangle", "octagon", "sphere", "spot"]), st.floats(0.05, 1))
def test_far_away_the_inverse_square_law_holds(shape: str, size: float) -> None:
    light = fixture(shape, size, beam=20 if shape == "spot" else None, field=35 if shape == "spot" else None)
    distance = 1000 * size
    expected = plain_axial_intensity(light) / distance**2
    assert plain_axial_illuminance(light, distance) == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize(("beam", "field"), [(20, 35), (10, 60), (60, 61.5), (5, 5.2), (90, 140)])
def test_spot_is_half_at_the_beam_and_a_tenth_at_the_field_angle_and_sends_one_lumen(beam: float, field: float) -> None:
    spot = fixture("spot", 0.15, beam=beam, field=field)
    profile = spot_profile(spot)
    peak = float(spot_intensity(spot, 0.0))
    assert peak == profile.peak_cd_per_lm
    assert float(spot_intensity(spot, math.radians(beam / 2))) == pytest.approx(peak / 2, rel=1e-9)
    assert float(spot_intensity(spot, math.radians(field / 2))) == pytest.approx(peak / 10, rel=1e-9)
    theta = np.linspace(0, math.pi / 2, 2_000_001)
    flux = np.trapezoid(spot_intensity(spot, theta) * np.sin(theta), theta) * 2 * math.pi
    assert flux == pytest.approx(1, rel=2e-5)  # the trapezoid's error at the cut


def test_spot_is_cut_at_a_ten_thousandth() -> None:
    spot = fixture("spot", 0.15, beam=20, field=35)
    cut = spot_profile(spot).cut_rad
    assert float(spot_intensity(spot, cut * 0.999)) > SPOT_CUT * spot_profile(spot).peak_cd_per_lm * 0.99
    assert float(spot_intensity(spot, cut * 1.001)) == 0


def test_spot_on_axis_against_brute_force_over_the_lens() -> None:
    spot, h = fixture("spot", 0.3, beam=30, field=50), 0.4
    edges = np.linspace(0, 0.15, 4001)
    r = (edges[1:] + edges[:-1]) / 2
    d2 = r * r + h * h
    ring = 2 * math.pi * r * np.diff(edges) / exit_area_m2(spot)
    direct = np.sum(spot_intensity(spot, np.arctan2(r, h)) * ring * h / np.sqrt(d2) / d2)
    assert plain_axial_illuminance(spot, h) == pytest.approx(direct, rel=1e-6)


def test_a_panel_has_no_beam_and_a_spot_one_that_widens() -> None:
    with pytest.raises(ValueError, match="only a spot"):
        spot_profile(fixture("disk", 0.1))
    with pytest.raises(ValueError, match="beam"):
        spot_profile(fixture("spot", 0.1, beam=30, field=20))


def test_isotropic_and_lambertian_hundred_lumens() -> None:
    # at 1 m: 7.96 lx from an isotropic source, 31.8 lx on the axis of a small Lambertian one
    assert 100 * plain_axial_illuminance(fixture("sphere", 0.01), 1) == pytest.approx(7.96, abs=0.005)
    assert 100 * plain_axial_illuminance(fixture("disk", 0.001), 1) == pytest.approx(31.83, abs=0.005)
