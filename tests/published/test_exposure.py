"""Exposure arithmetic against published tables, constants and worked examples; each test names its source."""

from __future__ import annotations

import math

import pytest

from scenes import exposure as ex
from scenes import meters

EXACT = 1e-12


@pytest.mark.parametrize(
    ("constant", "lux"),
    # ISO 2720:1974 recommends C 240-400 (flat) and 320-540 (dome); EV 0 at ISO 100, worked in the documentation of a
    # reference library for camera exposure: 2.5, 3.3 and 3.4 lx
    [(250, 2.5), (330, 3.3), (340, 3.4)],
)
def test_ev_zero_at_iso_100_is_the_tabled_illuminance(constant: float, lux: float) -> None:
    assert ex.illuminance_from_ev(0, constant) == pytest.approx(lux, rel=EXACT)
    assert ex.ev_from_illuminance(lux, constant) == pytest.approx(0, abs=EXACT)


def test_ev_zero_is_an_eighth_of_a_candela_per_square_metre() -> None:
    # ISO 2720:1974 with K = 12.5: L = 0.125 cd/m2
    assert ex.luminance_from_ev(0) == pytest.approx(0.125, rel=EXACT)


def test_f8_at_one_second_is_160_lux_and_8_candela_per_square_metre() -> None:
    # ISO 2720:1974, N = 8, t = 1 s, S = 100, C = 250, K = 12.5
    ev = ex.exposure_value(8, 1)
    assert ev == 6
    assert ex.illuminance_from_settings(8, 1) == pytest.approx(160, rel=EXACT)
    assert ex.illuminance_from_ev(ev) == pytest.approx(160, rel=EXACT)
    assert ex.luminance_from_ev(ev) == pytest.approx(8, rel=EXACT)


@pytest.mark.parametrize(
    ("k", "c", "percent"), [(12.5, 250, 15.7), (14, 250, 17.6), (12.5, 330, 11.9), (12.5, 340, 11.55)]
)
def test_implied_reflectance(k: float, c: float, percent: float) -> None:
    # J. Conrad, "Exposure Metering": R = pi K / C; figures rounded to 0.1 %
    assert 100 * ex.implied_reflectance(k, c) == pytest.approx(percent, abs=0.06)


def test_bright_sun_rule() -> None:
    # f/16 at 1/ISO s in bright sun: 3200 cd/m2 for K 12.5; 64 000 lx for C 250, 84 480 lx for C 330
    assert ex.luminance_from_ev(ex.exposure_value(16, 1 / 100)) == pytest.approx(3200, rel=EXACT)
    assert ex.illuminance_from_settings(16, 1 / 100, c=250) == pytest.approx(64_000, rel=EXACT)
    assert ex.illuminance_from_settings(16, 1 / 100, c=330) == pytest.approx(84_480, rel=EXACT)


@pytest.mark.parametrize(
    ("mark", "lux_s"),
    # H = C N^2 / S at ISO 100, C 250 (ISO 2720 form with E t for H); the marks are the nominal ones of ISO 517
    [
        (1, 2.5),
        (1.4, 5),
        (2, 10),
        (2.8, 20),
        (4, 40),
        (5.6, 80),
        (8, 160),
        (11, 320),
        (16, 640),
        (22, 1280),
        (32, 2560),
    ],
)
def test_flash_meter_table(mark: float, lux_s: float) -> None:
    exact = meters.exact_f_number(mark)
    assert ex.exposure_from_f_number(exact) == pytest.approx(lux_s, rel=EXACT)
    assert ex.exposure_from_f_number(exact, c=340) == pytest.approx(1.36 * lux_s, rel=EXACT)
    assert meters.nominal_f_number(ex.f_number_from_exposure(lux_s)) == f"{mark:g}"


@pytest.mark.parametrize(("c", "under"), [(340, 0.444), (330, 0.401)])
def test_dome_constant_reads_lower_than_flat(c: float, under: float) -> None:
    # same frontal beam, ISO 2720 constants: log2(340/250) and log2(330/250)
    flat, dome = ex.f_number_from_exposure(500), ex.f_number_from_exposure(500, c=c)
    assert meters.stops_over(flat, dome) == pytest.approx(under, abs=5e-4)


@pytest.mark.parametrize(
    ("degrees", "response"),
    # projected area of a hemisphere, (1 + cos) / 2, rounded to four places
    [(0, 1), (30, 0.9330), (45, 0.8536), (60, 0.75), (90, 0.5), (120, 0.25), (150, 0.0670), (180, 0)],
)
def test_dome_response(degrees: float, response: float) -> None:
    assert ex.dome_response(math.cos(math.radians(degrees))) == pytest.approx(response, abs=5e-5)


def test_flat_response_is_the_cosine_and_blind_behind() -> None:
    assert ex.flat_response(math.cos(math.radians(60))) == pytest.approx(0.5, rel=EXACT)
    assert ex.flat_response(-0.3) == 0


def test_lens_factor_is_0_65_for_the_usual_values() -> None:
    # ISO 12232:2019, q = 0.65; T 0.9, v 0.98, 10 degrees give 0.6516
    assert ex.lens_factor() == pytest.approx(0.6516, abs=5e-5)


@pytest.mark.parametrize(("c", "h_times_s"), [(250, 9.311), (268.5, 10.0), (330, 12.29), (340, 12.66)])
def test_incident_meter_and_camera_close(c: float, h_times_s: float) -> None:
    # an 18 % card lit by the incident reading: H S = q 0.18 C / pi at any f-number and ISO (2720, 12232)
    for f_number, iso in ((2.8, 100), (11, 400)):
        luminance_time = 0.18 * ex.exposure_from_f_number(f_number, iso, c) / math.pi
        assert ex.focal_plane_exposure(luminance_time, f_number) * iso == pytest.approx(h_times_s, rel=5e-4)


def test_reflected_meter_closes_at_8_125() -> None:
    # H S = q K (ISO 2720 and 12232)
    assert ex.focal_plane_exposure(ex.luminance_from_ev(ex.exposure_value(4, 1)), 4) * 100 == pytest.approx(
        8.125, rel=1e-9
    )


@pytest.mark.parametrize(("c", "room"), [(250, 0.593), (330, 0.192), (340, 0.149)])
def test_white_headroom(c: float, room: float) -> None:
    # a perfect white diffuser at the incident reading, against saturation at 78 (ISO 12232)
    assert ex.saturation_stops(1.0, c) == pytest.approx(room, abs=1e-3)


@pytest.mark.parametrize(
    ("intensity", "c", "guide"), [(1000, 250, 20.0), (1000, 330, 17.41), (4000, 250, 40.0), (4000, 330, 34.82)]
)
def test_guide_numbers(intensity: float, c: float, guide: float) -> None:
    # GN = sqrt(I S / C) (ISO 1230 with the meter of ISO 2720), rounded to 0.01 m
    assert ex.guide_number_from_intensity(intensity, c=c) == pytest.approx(guide, abs=0.005)
    assert ex.intensity_from_guide_number(ex.guide_number_from_intensity(intensity, c=c), c=c) == pytest.approx(
        intensity
    )


def test_guide_number_is_f_number_times_distance_at_any_distance_and_grows_with_root_iso() -> None:
    # ISO 1230: GN = N d
    guide = ex.guide_number_from_intensity(1000)
    for distance in (0.5, 2.0, 7.0):
        assert ex.f_number_from_exposure(1000 / distance**2) * distance == pytest.approx(guide, rel=EXACT)
    assert ex.guide_number_from_intensity(1000, iso=400) == pytest.approx(2 * guide, rel=EXACT)


@pytest.mark.parametrize(("coefficient", "c"), [(0.063, 170.9), (0.05, 215.3)])
def test_beam_candlepower_rule_in_feet(coefficient: float, c: float) -> None:
    # handbook rule GN(ft) = sqrt(k BCPS S), from memory; with 0.3048 m to the foot C = 1 / (0.3048^2 k)
    feet = math.sqrt(coefficient * 1000 * 100)
    assert ex.guide_number_from_intensity(1000, c=c) / 0.3048 == pytest.approx(feet, rel=5e-4)


@pytest.mark.parametrize(
    ("share_per_sr", "intensity", "f_number"),
    # 500 J at 40 lm s/J, no losses: isotropic W eta / 4 pi, Lambertian plane W eta / pi; f at 1 m, ISO 100, C 250
    [(1 / (4 * math.pi), 1592, 25.2), (1 / math.pi, 6366, 50.5)],
)
def test_flash_budget(share_per_sr: float, intensity: float, f_number: float) -> None:
    i = ex.flash_lumen_seconds(500, 40) * share_per_sr
    assert i == pytest.approx(intensity, abs=0.5)
    assert ex.f_number_from_exposure(i) == pytest.approx(f_number, abs=0.05)


def test_flash_energy_is_linear_in_power() -> None:
    assert ex.stops(ex.flash_lumen_seconds(500, 40) / ex.flash_lumen_seconds(500, 40, 1 / 8)) == 3


@pytest.mark.parametrize(
    ("near", "far", "change"),
    # inverse square law; steps across 0.3 m rounded to a thousandth
    [(1, math.sqrt(2), -1), (1, 2, -2), (1, 1.5, -1.170), (0.6, 0.9, -1.170), (1.2, 1.5, -0.644), (2.4, 2.7, -0.340)],
)
def test_distance_in_stops(near: float, far: float, change: float) -> None:
    assert ex.distance_stops(near, far) == pytest.approx(change, abs=5e-4)


@pytest.mark.parametrize(("under", "gain"), [(0, 1.0), (1, 0.585), (2, 0.322), (3, 0.170), (4, 0.087)])
def test_ambient_under_flash_adds(under: float, gain: float) -> None:
    # addition of light: log2(1 + 2^-n), rounded to a thousandth
    assert ex.flash_over_ambient_gain(under) == pytest.approx(gain, abs=6e-4)


@pytest.mark.parametrize(
    ("stops", "key_to_fill", "lit_to_shadow"),
    # common practice, no source; arithmetic of the two definitions
    [(0, 1, 2), (1, 2, 3), (1.5, 2.83, 3.83), (2, 4, 5), (3, 8, 9)],
)
def test_lighting_ratios(stops: float, key_to_fill: float, lit_to_shadow: float) -> None:
    key = 2.0**stops
    assert meters.key_to_fill(key, 1) == pytest.approx(key_to_fill, abs=0.005)
    assert meters.lit_to_shadow(key, 1) == pytest.approx(lit_to_shadow, abs=0.005)


@pytest.mark.parametrize(("ratio", "stops"), [(3, 1.0), (4, 1.585), (8, 2.807)])
def test_key_stops_for_a_face_ratio(ratio: float, stops: float) -> None:
    # common practice, no source: R to 1 between the sides of the face needs log2(R - 1) stops of key over fill
    assert meters.key_stops_for_lit_to_shadow(ratio) == pytest.approx(stops, abs=5e-4)


def test_f_number_marks_are_the_rounded_series() -> None:
    # ISO 517: nominal marks of the series 2^(k/6); whole stops 1.4142, 2.8284, 5.6569, 11.3137, 22.6274, 45.2548
    for mark, exact in (
        ("1.4", 1.4142),
        ("2.8", 2.8284),
        ("5.6", 5.6569),
        ("11", 11.3137),
        ("22", 22.6274),
        ("45", 45.2548),
    ):
        assert meters.nominal_f_number(exact) == mark
        assert meters.exact_f_number(float(mark)) == pytest.approx(exact, abs=5e-5)
    for k, mark in enumerate(meters.NOMINAL_THIRDS):
        assert float(mark) == pytest.approx(2 ** ((k - 3) / 6), rel=0.05)  # 1.2 stands for 1.26
