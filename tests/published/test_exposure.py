"""Exposure arithmetic against published tables, constants and worked examples; each test names its source.

Every figure goes through what a preview uses: the meters' readings, the strength of a light, the scale of the picture.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from materials import default_bands
from render.look import exposure_lumens, mid_grey_scale
from render.meterset import Meter, MeterSet
from render.readings import ALL_LIGHTS, Reading, all_readings, find
from scenes import meters
from scenes.field import axial_illuminance_per_lumen
from scenes.model import Light as LightTable
from scenes.model import MeterReading
from scenes.stage import Exposure, Fixture
from scenes.strength import metered, output_of
from tests.render.sets import fixture, light, stage

pytestmark = pytest.mark.quick

EXACT = 1e-12
BANDS = default_bands()
SMALL = fixture("disk", (0.01, 0.01))


def strength(of: Fixture | None = SMALL, **keys: Any) -> float:
    """What a light of a scene file puts out: lm s or lm, or lx of what is far away."""
    output = output_of(LightTable.model_construct(**keys), of)
    return output.lumens if output.lumens is not None else float(output.reading_lux or 0)


def read(*lux_s: float, aim: str = "flat:surface", iso: float = 100, f_number: float = 8) -> list[Reading]:
    """Readings of lights that each give a meter this exposure, and of all together."""
    lights = [light(SMALL, f"light {k}", lumens=1.0, source="E") for k in range(len(lux_s))]
    per_lumen = 1 / BANDS.xyz_weights(lights[0].source.spd)[:, 1].sum()
    transport = np.array(lux_s)[:, None, None] * per_lumen * np.ones((1, len(BANDS.nodes_nm), 1))
    built = stage([], lights, f_number=f_number, iso=iso)
    set_ = MeterSet(BANDS, tuple(li.name for li in lights), (Meter("face", aim),), transport, np.zeros(transport.shape[:2]))
    return all_readings(set_, built)


def shown(lux_s: float, **how: Any) -> float:
    """F-number that a meter shows."""
    return read(lux_s, **how)[0].f_number


@pytest.mark.parametrize(
    ("ev", "shape", "lux"),
    # ISO 2720:1974 recommends C 240-400 (flat) and 320-540 (dome); EV 0 at ISO 100, worked in the documentation of a
    # reference library for camera exposure: 2.5 lx for C 250 and 3.4 lx for C 340. Bright sun, f/16 at 1/100 s, is EV
    # log2(25600): 64 000 lx for C 250
    [(0, "sun", 2.5), (0, "ambient", 3.4), (0, "sky", 2.5), (math.log2(25600), "sun", 64_000), (6, "sun", 160)],
)
def test_an_exposure_value_is_the_tabled_illuminance(ev: float, shape: str, lux: float) -> None:
    assert strength(None, shape=shape, ev=ev) == pytest.approx(lux, rel=EXACT)


def test_f8_at_one_second_is_160_lux() -> None:
    # ISO 2720:1974, N = 8, t = 1 s, S = 100, C = 250; at 1/4 s and ISO 200 it takes 320 lx
    assert metered(MeterReading(f_number=8, distance_m=1, shutter_s=1)) == pytest.approx(160, rel=EXACT)
    assert metered(MeterReading(f_number=8, distance_m=1, shutter_s=1 / 4, iso=200)) == pytest.approx(320, rel=EXACT)


@pytest.mark.parametrize(
    ("mark", "lux_s"),
    # H = C N^2 / S at ISO 100, C 250 (ISO 2720 form with E t for H); the marks are the nominal ones of ISO 517
    [(1, 2.5), (1.4, 5), (2, 10), (2.8, 20), (4, 40), (5.6, 80), (8, 160), (11, 320), (16, 640), (22, 1280), (32, 2560)],
)  # fmt: skip
def test_flash_meter_table(mark: float, lux_s: float) -> None:
    exact = meters.exact_f_number(mark)
    assert metered(MeterReading(f_number=mark, distance_m=1)) == pytest.approx(lux_s, rel=EXACT)
    assert shown(lux_s) == pytest.approx(exact, rel=1e-9)
    assert shown(1.36 * lux_s, aim="dome") == pytest.approx(exact, rel=1e-9)
    assert shown(lux_s, iso=400) == pytest.approx(2 * exact, rel=1e-9)
    assert meters.nominal_f_number(shown(lux_s)) == f"{mark:g}"


def test_a_dome_reads_lower_than_a_flat_meter_in_the_same_frontal_beam() -> None:
    # ISO 2720 constants: log2(340 / 250)
    flat, dome = (read(500, aim=aim)[0].stops for aim in ("flat:surface", "dome"))
    assert flat - dome == pytest.approx(0.444, abs=5e-4)


def test_the_meters_answer_as_a_cosine_and_as_a_dome() -> None:
    # a dome: projected area of a hemisphere, (1 + cos) / 2, rounded to four places; a flat meter: the cosine, blind behind
    from render.backend import init

    init("auto")
    import mitsuba as mi

    from render.kernel.meters import response

    degrees = np.array([0, 30, 45, 60, 90, 120, 150, 180])
    cosines = mi.Float(np.cos(np.radians(degrees)).astype(np.float32))
    dome, flat = (np.array(response(mi.Bool(kind), cosines)) for kind in (True, False))
    assert dome == pytest.approx([1, 0.9330, 0.8536, 0.75, 0.5, 0.25, 0.0670, 0], abs=5e-5)
    assert flat == pytest.approx([1, 0.8660, 0.7071, 0.5, 0, 0, 0, 0], abs=5e-5)


@pytest.mark.parametrize(("f_number", "iso"), [(2.8, 100), (8, 100), (11, 400)])
def test_incident_meter_and_picture_close(f_number: float, iso: float) -> None:
    # ISO 2720: lit by the exposure that a flat meter asks for, H = 250 N^2 / S, a matt surface of reflectance R sends
    # R H / pi (cd s/m2), and must come out as R
    luminance_time = 0.18 * 250 * f_number**2 / iso / math.pi
    assert luminance_time * mid_grey_scale(Exposure(iso, f_number, 0.008, "flash")) == pytest.approx(0.18, rel=1e-9)


@pytest.mark.parametrize(("guide", "intensity"), [(20.0, 1000), (40.0, 4000)])
def test_guide_numbers(guide: float, intensity: float) -> None:
    # GN = sqrt(I S / C) at C 250 (ISO 1230 with the meter of ISO 2720), and GN = N d at any distance
    lumen_seconds = strength(guide_number_m=guide)
    for distance in (0.5, 2.0, 7.0):
        exposure = lumen_seconds * axial_illuminance_per_lumen(SMALL, distance)
        assert exposure * distance**2 == pytest.approx(intensity, rel=2e-4)  # the light is 1 cm across
        assert shown(exposure) * distance == pytest.approx(guide, rel=2e-4)
        assert shown(exposure, iso=400) * distance == pytest.approx(2 * guide, rel=2e-4)


@pytest.mark.parametrize(
    ("of", "intensity", "f_number"),
    # 500 J at 40 lm s/J, no losses: isotropic W eta / 4 pi, Lambertian plane W eta / pi; f at 1 m, ISO 100, C 250
    [(fixture("sphere", (0.01, 0.01)), 1592, 25.2), (SMALL, 6366, 50.5)],
)
def test_flash_budget(of: Fixture, intensity: float, f_number: float) -> None:
    at_1_m = strength(of, energy_ws=500, efficacy_lm_s_per_j=40) * axial_illuminance_per_lumen(of, 1.0)
    assert at_1_m == pytest.approx(intensity, abs=0.5)
    assert shown(at_1_m) == pytest.approx(f_number, abs=0.05)


def test_an_eighth_of_the_power_is_three_stops_less() -> None:
    full, eighth = (strength(energy_ws=500, power=power) for power in (1, 1 / 8))
    assert read(full)[0].stops - read(eighth)[0].stops == pytest.approx(3, abs=1e-9)


@pytest.mark.parametrize(
    ("near", "far", "change"),
    # inverse square law; steps across 0.3 m rounded to a thousandth
    [(1, math.sqrt(2), -1), (1, 2, -2), (1, 1.5, -1.170), (0.6, 0.9, -1.170), (1.2, 1.5, -0.644), (2.4, 2.7, -0.340)],
)
def test_distance_in_stops(near: float, far: float, change: float) -> None:
    before, after = (read(1e5 * axial_illuminance_per_lumen(SMALL, d))[0].stops for d in (near, far))
    assert after - before == pytest.approx(change, abs=6e-4)


@pytest.mark.parametrize(("under", "gain"), [(0, 1.0), (1, 0.585), (2, 0.322), (3, 0.170), (4, 0.087)])
def test_ambient_under_flash_adds(under: float, gain: float) -> None:
    # addition of light: log2(1 + 2^-n), rounded to a thousandth
    readings = read(160, 160 * 2**-under)
    together = find(readings, "face", ALL_LIGHTS, "flat:surface")
    assert readings[0].stops == pytest.approx(0, abs=1e-9)
    assert together.stops == pytest.approx(gain, abs=6e-4)


def test_flash_does_not_follow_the_shutter_and_continuous_light_does() -> None:
    # H = E t for light that stays on; a flash gives its whole energy (ISO 2720, note on flash meters, from memory)
    lamp, none = light(SMALL, lumens=100.0), MeterSet(BANDS, (), (), np.zeros((0, 16, 0)), np.zeros((0, 16)))
    slow = Exposure(100, 8, 1 / 15, "flash")
    assert exposure_lumens(lamp, slow, none) == 100
    assert exposure_lumens(replace(lamp, flash=False), slow, none) == pytest.approx(100 / 15, rel=EXACT)
    assert exposure_lumens(replace(lamp, on=False), slow, none) == 0


@pytest.mark.parametrize(
    ("stops", "key_to_fill", "lit_to_shadow"),
    # common practice, no source; arithmetic of the two definitions
    [(0, 1, 2), (1, 2, 3), (1.5, 2.83, 3.83), (2, 4, 5), (3, 8, 9)],
)
def test_lighting_ratios(stops: float, key_to_fill: float, lit_to_shadow: float) -> None:
    key = 2.0**stops
    assert meters.key_to_fill(key, 1) == pytest.approx(key_to_fill, abs=0.005)
    assert meters.lit_to_shadow(key, 1) == pytest.approx(lit_to_shadow, abs=0.005)


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
