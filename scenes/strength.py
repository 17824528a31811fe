"""Strength of a light in absolute units, from whichever of the usual statements the scene file makes.

Flash comes out in lm s and continuous light in lm at the power set, before gels: of the bare lamp behind modifiers, or
of what leaves a plain shape; sunlight in lx on a surface that faces it, a sky in lx on level ground under all of it:
both counted before anything stands in their way. Ambient light is in lx at the face, before pieces and lights are put
up.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from .exposure import (
    C_DOME,
    C_FLAT,
    exposure_from_f_number,
    flash_lumen_seconds,
    illuminance_from_ev,
    intensity_from_guide_number,
)
from .field import axial_illuminance_per_lumen, axial_intensity_per_lumen
from .meters import exact_f_number
from .model import Light, MeterReading
from .stage import Fixture, Output

if TYPE_CHECKING:
    from .far import Far
    from .kit import Equipment


class DarkAxis(ValueError):
    """No light where a strength is measured, so that nothing can be inferred from it."""


def output_of(
    light: Light, fixture: Fixture | None, equipment: Equipment | None = None, far: Far | None = None
) -> Output:
    """Output of a light at its set power.

    - head of the kit: its calibrated output;
    - watt-seconds: energy times efficacy;
    - guide number: I = GN^2 C / 100 (flat meter), divided by the axial intensity per lumen;
    - meter reading: H = C N^2 / S, or E = H / t for continuous light, divided by the axial illuminance per lumen
      at that distance, and by the power at which the reading was taken;
    - lux at a distance: divided by the axial illuminance per lumen;
    - a photometric file and none of these: the candelas of the file;
    - EV of sun and sky: E = C 2^EV / 100 with the constant of a flat meter; of ambient light, of a dome meter;
    - nothing of sun and sky: what the height of the sun gives (`far`).

    All but the last are times the power.

    Raises
    ------
    DarkAxis
        When a reading was taken where the fixture sends no light.
    ValueError
        When it was taken at a distance inside the fixture.
    """
    if fixture is None:
        ambient = light.shape == "ambient"
        lux = light.lux
        if light.ev is not None:
            lux = illuminance_from_ev(light.ev, C_DOME if ambient else C_FLAT)
        elif lux is None and far is not None and far.daylight is not None:
            lux = far.daylight.lux
        return Output(lumens=None if ambient else _given(lux), reading_lux=_given(lux) if ambient else None)
    if equipment is not None and equipment.output is not None:
        full = equipment.output
    else:
        own = None if equipment is None else equipment.shaped.own_lumens
        full = _full_power(light, fixture, 1.0 if equipment is None else equipment.gain, own)
    return Output(lumens=full * light.power_fraction(), reading_lux=None)


def _given(value: float | None) -> float:
    if value is None:
        raise ValueError("the light has no strength")
    return value


def _full_power(light: Light, fixture: Fixture, gain: float, own_lumens: float | None) -> float:
    """Output at full power; `gain` is what the kit's readings say of modifiers, for strengths of the bare lamp, and
    `own_lumens` what a photometric file says, which counts where nothing else is stated."""
    if light.energy_ws is not None:
        return flash_lumen_seconds(light.energy_ws, light.efficacy_lm_s_per_j) * gain
    if light.guide_number_m is not None:
        return intensity_from_guide_number(light.guide_number_m) / _lit(axial_intensity_per_lumen(fixture))
    if light.lumens is not None:
        return light.lumens * gain
    if light.meters is not None:
        reading = light.meters
        return metered(reading) / _lit(axial_illuminance_per_lumen(fixture, reading.distance_m)) / reading.power
    if light.lux is None and own_lumens is not None:
        return own_lumens
    return _given(light.lux) / _lit(axial_illuminance_per_lumen(fixture, _given(light.lux_distance_m)))


def _lit(per_lumen: float) -> float:
    if not per_lumen > 0:
        raise DarkAxis("no light leaves the fixture along its axis")
    return per_lumen


def metered(reading: MeterReading) -> float:
    """Exposure in lx s, or illuminance in lx where the reading names a shutter time."""
    exposure = exposure_from_f_number(exact_f_number(reading.f_number), reading.iso)
    return exposure if reading.shutter_s is None else exposure / reading.shutter_s
