"""The lights of a stage as punctual lights of glTF, told as plain numbers.

References
----------
Khronos Group, KHR_lights_punctual (glTF 2.0 extension): point and spot lights in candela, directional lights in lux;
colour in linear sRGB; spot cones by half angles with 0 <= inner < outer <= pi / 2; light travels along the node's -z.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from materials import chromaticity, display_matrix, xyz
from scenes.aiming import look_frame
from scenes.beams import BEAM_SHARE, FIELD_SHARE, intensity
from scenes.field import axial_intensity_per_lumen
from scenes.stage import Fixture, Light, Stage

from ..look import light_spectrum
from .colours import light_rgb

WIDEST_CONE_RAD = math.pi / 2
NARROWEST_GAP_RAD = 1e-4
_STEP_DEG = 0.5
_TURNS = 4


@dataclass(frozen=True, slots=True)
class Punctual:
    """A light without size.

    Attributes
    ----------
    kind : "spot", "point" or "directional".
    position_m, right, up, forward : (3,), place and orthonormal axes; light travels along `forward`. A directional
        light has no place of its own and stands at the origin.
    colour : (3,) linear sRGB, the largest channel 1, none below 0.
    intensity : cd, or lx for a directional light, during the exposure and after gels; 0 when the light is off.
    cone_rad : half angles of the inner and outer cone of a spot; None otherwise.
    extras : what the standard has no field for, as JSON values.
    """

    kind: Literal["spot", "point", "directional"]
    position_m: np.ndarray
    right: np.ndarray
    up: np.ndarray
    forward: np.ndarray
    colour: np.ndarray
    intensity: float
    cone_rad: tuple[float, float] | None
    extras: dict[str, object]


def punctual_of(light: Light, stage: Stage) -> Punctual | None:
    """A light as a punctual light; None for ambient light and skies, which have no direction.

    A flash counts as steady light that spends its energy over the shutter time, so that the exposure is the same; its
    intensity-time is told in `extras`.
    """
    if light.fixture is not None:
        return _near(light, light.fixture, stage)
    if light.distant is not None and light.distant.kind == "sun":
        return _sun(light, stage)
    return None


def unplaced(light: Light) -> dict[str, object]:
    """What is known of ambient light or a sky, as JSON values."""
    return {
        "name": light.name, "role": light.role, "on": light.on,
        "kind": "ambient" if light.distant is None else light.distant.kind,
        "reading_lx": light.output.reading_lux, "gels": None if light.gel is None else light.gel.name,
    }  # fmt: skip


def gel_share(light: Light) -> float:
    """Share of a light's lumens that its gels let through."""
    return float(xyz(light_spectrum(light))[1] / xyz(light.source.spd)[1])


def cone_of(fixture: Fixture) -> tuple[float, float]:
    """Half angles (rad) off the axis at which a light falls to half and to a tenth of its peak for good, from afar.

    A spot without anything else in front has them by definition. Of others the mean over azimuths counts, and a light
    that never falls so far has 90 degrees.
    """
    optics = fixture.optics
    if fixture.beam_deg is not None and fixture.field_deg is not None and optics.cells is None and optics.edges is None:
        return math.radians(fixture.beam_deg / 2), math.radians(fixture.field_deg / 2)
    angles = np.radians(np.arange(0, 90 + _STEP_DEG / 2, _STEP_DEG))
    line = intensity(fixture, angles, np.arange(_TURNS) * 2 * math.pi / _TURNS).mean(axis=0)
    return _last(angles, line, BEAM_SHARE), _last(angles, line, FIELD_SHARE)


def _last(angles: np.ndarray, line: np.ndarray, share: float) -> float:
    level = share * float(line.max())
    above = np.flatnonzero(line >= level)
    k = int(above[-1]) if len(above) and level > 0 else len(line) - 1
    if k == len(line) - 1:
        return WIDEST_CONE_RAD
    return float(angles[k] + (line[k] - level) / (line[k] - line[k + 1]) * (angles[k + 1] - angles[k]))


def _near(light: Light, fixture: Fixture, stage: Stage) -> Punctual:
    assert light.output.lumens is not None
    per_lumen = axial_intensity_per_lumen(fixture)
    total = per_lumen * light.output.lumens * gel_share(light)
    steady = total / stage.exposure.shutter_s if light.flash else total
    extras = _extras(light, stage)
    extras["intensity_when_on_cd"] = steady
    if light.flash:
        extras["intensity_time_cd_s"] = total
        extras["intensity_is"] = "intensity_time_cd_s over shutter_s: the exposure of the flash as steady light"
        extras["shutter_s"] = stage.exposure.shutter_s
    extras["size_m"] = [float(s) for s in fixture.size_m]
    extras["shape"] = fixture.shape
    cone = None
    if fixture.shape not in ("sphere", "tube"):
        beam, field = cone_of(fixture)
        cone, told = _clamped(beam, field)
        extras |= {"beam_deg": math.degrees(2 * beam), "field_deg": math.degrees(2 * field)} | told
    elif fixture.shape == "tube" or fixture.optics.angular is not None:
        extras["note"] = "intensity along its axis; in truth it differs by direction"
    kind: Literal["spot", "point"] = "point" if cone is None else "spot"
    return Punctual(
        kind, fixture.centre_m, fixture.right, fixture.up, fixture.forward, light_rgb(light, stage.exposure),
        steady if light.on else 0.0, cone, extras,
    )  # fmt: skip


def _clamped(beam: float, field: float) -> tuple[tuple[float, float], dict[str, object]]:
    """The cone within what the standard allows, and a note where that changed it."""
    outer = min(field, WIDEST_CONE_RAD)
    inner = min(beam, outer - NARROWEST_GAP_RAD)
    changed = outer != field or inner != beam
    told: dict[str, object] = {"cone_note": "cone angles brought within 0 <= inner < outer <= 90 degrees"}
    return (max(inner, 0.0), outer), told if changed else {}


def _sun(light: Light, stage: Stage) -> Punctual:
    assert light.distant is not None
    assert light.output.lumens is not None
    right, up, forward = look_frame(light.distant.toward, np.zeros(3))
    lux = light.output.lumens * gel_share(light)
    extras = _extras(light, stage) | {"illuminance_when_on_lx": lux, "spread_deg": light.distant.spread_deg}
    return Punctual(
        "directional", np.zeros(3), right, up, forward, light_rgb(light, stage.exposure), lux if light.on else 0.0,
        None, extras,
    )  # fmt: skip


def _extras(light: Light, stage: Stage) -> dict[str, object]:
    passed = light_spectrum(light)
    dark = xyz(passed)[1] <= 1e-9
    colour = light_rgb(light, stage.exposure)
    return {
        "name": light.name,
        "role": light.role,
        "on": light.on,
        "flash": light.flash,
        "head": (light.head.name or None) if light.head is not None else None,
        "modifiers": list(light.modifiers),
        "gels": None if light.gel is None else light.gel.name,
        "power_setting": light.power_setting,
        "source": light.source.name,
        "chromaticity_xy": None if dark else [float(v) for v in chromaticity(passed)],
        "colour_luminance": float((np.linalg.inv(display_matrix("srgb")) @ colour)[1]),
    }
