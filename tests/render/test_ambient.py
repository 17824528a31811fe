"""What is said of light that is not flash: settings that cameras have, and not a word of flash where there is none."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from render.ambient import ISOS, SHUTTERS_S, AmbientReport, ambient_audit
from render.readings import Reading
from scenes.aiming import direction
from scenes.exposure import C_DOME
from scenes.stage import Distant

from .sets import fixture, light, stage

SUN = replace(light(None, "sun"), distant=Distant("sun", direction(0, 10), 0.53, None))
SKY = replace(light(None, "sky"), distant=Distant("sky", np.array([0.0, 1, 0]), 0.0, None))
LAMP = replace(light(fixture(), "lamp"), flash=False)
KEY = light(fixture(), "key")


def audit(*lights, stops: float, iso=100.0, f_number=8.0, shutter_s=1 / 125) -> AmbientReport:
    """Audit of a set whose lights that are not flash read together so many stops from the aperture."""
    steady = [li for li in lights if not li.flash]
    total = C_DOME * f_number**2 / iso * 2.0**stops
    readings = [Reading("face", li.name, "dome", total / max(len(steady), 1), 8.0, 0.0) for li in lights]
    return ambient_audit(stage([], lights, f_number=f_number, iso=iso, shutter_s=shutter_s), readings)


@pytest.mark.parametrize("lights", [(SUN,), (SKY, SUN), (LAMP,), (SUN, LAMP)])
def test_a_set_without_flash_hears_what_the_meter_asks_for(lights):
    for stops in np.arange(-9, 9.5, 0.7):
        told = audit(*lights, stops=float(stops))
        assert "loses it" not in told.words
        assert "without flash" not in told.words
        assert told.words.startswith("No flash on this set: ")
        assert (told.black_shutter_s, told.black_iso, told.beyond_sync) == (None, None, False)
        ways = 0
        for value, scale, exact in (
            (told.metered_shutter_s, SHUTTERS_S, 1 / 125 / 2**stops),
            (told.metered_iso, ISOS, 100 / 2**stops),
        ):
            if value is not None:
                ways += 1
                assert value in scale
                assert value == pytest.approx(exact, rel=0.16)
        if told.metered_f_number is not None:
            ways += 1
            assert told.metered_f_number == pytest.approx(8 * 2 ** (stops / 2), rel=0.1)
            assert 1.4 <= told.metered_f_number <= 22
        if abs(stops) > 0.2:
            assert ("The meter asks for" in told.words) == (ways > 0)
    assert audit(SKY, SUN, stops=2).words == (
        "No flash on this set: the sun and the sky read 2.0 stops over the aperture at the face. "
        "The meter asks for 1/500 s or f/16 instead."
    )
    assert audit(SUN, stops=0.1).words.endswith("the sun is the exposure, and the face reads the set aperture.")
    assert "change more than one" in audit(SUN, stops=-16).words


def test_beside_flash_only_settings_that_cameras_have_are_named():
    told = audit(SUN, KEY, stops=1)
    assert (told.flash, told.black, told.black_iso) == (True, False, None)
    assert told.black_shutter_s == pytest.approx(1 / 8000)
    assert "ISO" not in told.words
    assert told.words.startswith("The sun alone reads 1.0 stops over the aperture at the face, so it shows in the picture.")
    told = audit(SUN, SKY, KEY, stops=-4, iso=800)
    assert told.black_iso in ISOS
    assert "set ISO 400 and raise the flash" in told.words
    assert told.words.startswith("The sun and the sky alone read 4.0 stops under")
    told = audit(SUN, KEY, stops=6)
    assert (told.black_shutter_s, told.black_iso) == (None, None)
    assert "No usual shutter time or ISO" in told.words
    assert audit(LAMP, KEY, stops=-6).words == (
        "Continuous light alone lies 6.0 stops under the aperture: without flash the frame is black."
    )
    head = replace(KEY, head=None)
    assert audit(head, stops=0).words == "No ambient light on this set: without flash the frame is black."
