"""What a hand meter reads on the set, per light and together."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol, TypeVar

import numpy as np

from scenes.exposure import C_DOME, C_FLAT, f_number_from_exposure
from scenes.meters import stops_over
from scenes.stage import Light, Stage

from .look import xyz_weights
from .meterset import MeterSet, has_direction

ALL_LIGHTS = "all"


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading.

    Attributes
    ----------
    probe : where; `light` : a light's name, or "all"; `aim` : "dome", "flat:surface" or "flat:LIGHT".
    exposure_lx_s : light that falls on the meter during the exposure, lx s.
    f_number : aperture the meter asks for at the set ISO (0 when nothing is measured).
    stops : over (+) or under (-) the set aperture; None when nothing is measured.
    """

    probe: str
    light: str
    aim: str
    exposure_lx_s: float
    f_number: float
    stops: float | None


def all_readings(meters: MeterSet, stage: Stage) -> list[Reading]:
    """Every meter of the set, for each light alone and for all together."""
    weights = xyz_weights(meters, stage)[:, :, 1]
    alone = np.einsum("lb,lbm->lm", weights, meters.transport)
    readings = []
    for row, name in zip([*alone, alone.sum(axis=0)], [*meters.names, ALL_LIGHTS], strict=True):
        for meter, value in zip(meters.meters, row, strict=True):
            readings.append(_reading(meter.probe, name, meter.aim, float(value), stage))
    return readings


def _reading(probe: str, light: str, aim: str, exposure: float, stage: Stage) -> Reading:
    constant = C_DOME if aim == "dome" else C_FLAT
    f_number = f_number_from_exposure(exposure, stage.exposure.iso, constant)
    stops = stops_over(f_number, stage.exposure.f_number) if exposure > 1e-9 else None
    return Reading(probe, light, aim, exposure, f_number if exposure > 1e-9 else 0.0, stops)


class _Placed(Protocol):
    @property
    def probe(self) -> str: ...
    @property
    def light(self) -> str: ...
    @property
    def aim(self) -> str: ...


_Read = TypeVar("_Read", bound=_Placed)


def find(readings: Iterable[_Read], probe: str, light: str, aim: str) -> _Read:
    """The one reading of that probe, light and aim."""
    return next(r for r in readings if (r.probe, r.light, r.aim) == (probe, light, aim))


def own_aim(light: Light) -> str:
    """How a photographer holds the meter for one light alone: flat toward it; a dome for ambient light and sky."""
    return f"flat:{light.name}" if has_direction(light) else "dome"
