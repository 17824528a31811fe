"""What may change without tracing: each light's spectrum and strength, as weights over what was traced."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np

from materials import Gel, KeyfallError
from scenes.exposure import exposure_from_f_number
from scenes.stage import Exposure, Light, Stage

from .meterset import MeterSet


def light_spectrum(light: Light) -> np.ndarray:
    """Spectrum of one lumen of the light's source after its gels, (401,); never renormalised, so gels cost light."""
    return light.source.spd if light.gel is None else light.source.spd * light.gel.transmittance


def exposure_lumens(light: Light, exposure: Exposure, meters: MeterSet) -> float:
    """Luminous energy (lm s) a light sends out during the exposure, before gels.

    Flash spends its energy whatever the shutter time; continuous light counts for the shutter time. Ambient light
    is scaled so that a dome at the face, toward the camera, reads what the scene says before pieces and lights are put
    up: a flag or silk then takes its light away, and does not make the rest brighter.

    Raises
    ------
    KeyfallError
        When ambient light is given by a reading at the face but none reaches it.
    """
    if not light.on:
        return 0.0
    if light.output.reading_lux is None:
        assert light.output.lumens is not None
        return light.output.lumens if light.flash else light.output.lumens * exposure.shutter_s
    weights = meters.bands.xyz_weights(light.source.spd)[:, 1]
    per_unit = float(weights @ meters.clear_face[meters.names.index(light.name)])
    if per_unit <= 1e-9:
        raise KeyfallError(
            f"The ambient light '{light.name}' is given by its reading at the face, but none of it gets there. "
            "Open a side of the room, or switch it off."
        )
    return light.output.reading_lux / per_unit * exposure.shutter_s


def xyz_weights(meters: MeterSet, stage: Stage) -> np.ndarray:
    """Weights (L, B, 3) that turn traced transport into XYZ (Y in cd s/m2 for radiance, lx s for irradiance).

    Raises
    ------
    KeyfallError
        When the stage's lights are not those of the set.
    """
    _same_lights(meters, stage)
    return np.stack(
        [
            meters.bands.xyz_weights(light_spectrum(light)) * exposure_lumens(light, stage.exposure, meters)
            for light in stage.lights
        ]
    )


def _same_lights(meters: MeterSet, stage: Stage) -> None:
    names = tuple(light.name for light in stage.lights)
    if names != meters.names:
        raise KeyfallError(
            f"The set was traced for the lights {', '.join(meters.names)}; the stage has {', '.join(names)}. "
            "Trace it again."
        )


def mid_grey_scale(exposure: Exposure) -> float:
    """Factor from luminance-time (cd s/m2) to the picture's linear value, where mid-grey is 0.18.

    A diffuse surface of reflectance R lit by the exposure H = C N^2 / S that a flat incident meter asks for
    (ISO 2720, C = 250) has luminance-time R H / pi and must come out as R.
    """
    return float(np.pi / exposure_from_f_number(exposure.f_number, exposure.iso))


def relight(
    stage: Stage, name: str, *, gel: Gel | Literal["keep"] | None = "keep", stops: float = 0.0, on: bool | None = None
) -> Stage:
    """The stage with one light changed: another gel (None takes it off), more or less power in stops, on or off.

    Raises
    ------
    KeyfallError
        When the stage has no light of that name.
    """
    names = [light.name for light in stage.lights]
    if name not in names:
        raise KeyfallError(f"There is no light '{name}'. Lights of this set: {', '.join(names)}.")

    def changed(light: Light) -> Light:
        if light.name != name:
            return light
        factor = 2.0**stops
        output = replace(
            light.output,
            lumens=None if light.output.lumens is None else light.output.lumens * factor,
            reading_lux=None if light.output.reading_lux is None else light.output.reading_lux * factor,
        )
        kept = light.gel if isinstance(gel, str) else gel
        return replace(light, output=output, gel=kept, on=light.on if on is None else on)

    return replace(stage, lights=tuple(changed(light) for light in stage.lights))
