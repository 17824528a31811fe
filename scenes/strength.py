"""Strength of a light in absolute units, from whichever of the usual statements the scene file makes.

Flash comes out in lm s and continuous light in lm, both of the light that leaves the exit area at the power set,
before gels; ambient light in lx at the face.
"""

from __future__ import annotations

from .exposure import (
    C_DOME,
    exposure_from_f_number,
    flash_lumen_seconds,
    illuminance_from_ev,
    intensity_from_guide_number,
)
from .fixtures import axial_illuminance_per_lumen, axial_intensity_per_lumen
from .meters import exact_f_number
from .model import Light, MeterReading
from .stage import Fixture, Output


def output_of(light: Light, fixture: Fixture | None) -> Output:
    """Output of a light at its set power.

    - watt-seconds: energy times efficacy times power;
    - guide number: I = GN^2 C / 100 (flat meter), divided by the profile's axial intensity per lumen;
    - meter reading: H = C N^2 / S, or E = H / t for continuous light, divided by the axial illuminance per lumen
      at that distance, and by the power at which the reading was taken;
    - lux at a distance: divided by the axial illuminance per lumen;
    - ambient EV: E = C 2^EV / 100 with the constant of a dome meter.

    Raises
    ------
    ValueError
        When a reading was taken at a distance inside the fixture.
    """
    if fixture is None:
        lux = light.lux if light.lux is not None else illuminance_from_ev(_given(light.ev), C_DOME)
        return Output(lumens=None, reading_lux=lux)
    return Output(lumens=_full_power(light, fixture) * light.power_fraction(), reading_lux=None)


def _given(value: float | None) -> float:
    if value is None:
        raise ValueError("the light has no strength")
    return value


def _full_power(light: Light, fixture: Fixture) -> float:
    if light.energy_ws is not None:
        return flash_lumen_seconds(light.energy_ws, light.efficacy_lm_s_per_j)
    if light.guide_number_m is not None:
        return intensity_from_guide_number(light.guide_number_m) / axial_intensity_per_lumen(fixture)
    if light.lumens is not None:
        return light.lumens
    if light.meters is not None:
        reading = light.meters
        return _metered(reading) / axial_illuminance_per_lumen(fixture, reading.distance_m) / reading.power
    return _given(light.lux) / axial_illuminance_per_lumen(fixture, _given(light.lux_distance_m))


def _metered(reading: MeterReading) -> float:
    """Exposure in lx s, or illuminance in lx where the reading names a shutter time."""
    exposure = exposure_from_f_number(exact_f_number(reading.f_number), reading.iso)
    return exposure if reading.shutter_s is None else exposure / reading.shutter_s
