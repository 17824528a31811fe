"""From meter readings to the true output of heads and loss of modifiers, by least squares in stops.

Every reading says how far the light on the axis lies from what the sizes predict. That difference is the sum of one
unknown for its head (its efficacy) and one for each modifier on it (losses beyond those of its sizes). The unknowns
are chosen so that the squared residuals are least. Where several choices fit equally well, the heads take as much
as they can, and modifiers only what makes readings of one head differ: among the best fits, the sum of squares of
the modifiers' parts is least.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from ..field import axial_illuminance_per_lumen
from ..findings import Problem
from ..modifiers import Bulb
from ..strength import DarkAxis, metered
from .kit import Kit
from .model import Reading

LARGEST_RESIDUAL_STOPS = 0.5
USUAL_EFFICACY_LM_S_PER_J = (10.0, 80.0)
"""Efficacy of flash tubes beyond which a reading or an energy is likely mistaken (common practice, no source)."""

_SMALL = 1e-9


@dataclass(frozen=True, slots=True)
class Fitted:
    """What the readings say of a head or modifier.

    Attributes
    ----------
    name : in the kit.
    stops : how much more light (+) or less (-) it gives than its description says.
    readings : number of readings it takes part in.
    told_apart : whether the readings alone fix `stops`; otherwise it is shared out by the rule of this module.
    """

    name: str
    stops: float
    readings: int
    told_apart: bool


@dataclass(frozen=True, slots=True)
class FittedReading:
    """A reading against the fit; stops over (+) or under (-): of the description alone, and of what was fitted."""

    head: str
    modifiers: tuple[str, ...]
    predicted_lux: float
    measured_lux: float
    stops: float
    residual_stops: float


@dataclass(frozen=True, slots=True)
class Calibration:
    """The fit of a kit; without readings it is empty and changes nothing. `rms_stops` is that of the residuals."""

    heads: dict[str, Fitted]
    modifiers: dict[str, Fitted]
    readings: tuple[FittedReading, ...]
    rms_stops: float
    warnings: tuple[Problem, ...]

    def stops(self, head: str | None, modifiers: Sequence[str]) -> float:
        """Stops by which a head with modifiers, by their names, gives more light than their descriptions say."""
        total = self.heads[head].stops if head in self.heads and head is not None else 0.0
        return total + sum(self.modifiers[name].stops for name in modifiers if name in self.modifiers)


@functools.lru_cache(maxsize=16)
def calibrate(kit: Kit) -> Calibration:
    """Fit the heads and modifiers of a kit to its readings.

    Raises
    ------
    ModifierMismatch, ValueError
        For a reading that cannot be predicted; the check of the kit file has found these before.
    """
    if not kit.readings:
        return Calibration({}, {}, (), 0.0, ())
    pairs = [(predicted_lux(kit, reading), metered(reading)) for reading in kit.readings]
    stops = np.array([math.log2(measured / predicted) for predicted, measured in pairs])
    heads = list(dict.fromkeys(r.head for r in kit.readings))
    modifiers = list(dict.fromkeys(m for r in kit.readings for m in r.modifiers))
    on_head = [[r.head == name for name in heads] for r in kit.readings]
    behind = [[r.modifiers.count(name) for name in modifiers] for r in kit.readings]
    matrix = np.hstack([np.array(on_head, float), np.array(behind, float)])
    parts, fixed = solve(matrix, stops, len(heads))
    residuals = stops - matrix @ parts
    counts = (matrix > 0).sum(axis=0)
    fitted = [
        Fitted(name, float(part), int(count), bool(sure))
        for name, part, count, sure in zip(heads + modifiers, parts, counts, fixed, strict=True)
    ]
    readings = tuple(
        FittedReading(r.head, tuple(r.modifiers), predicted, measured, float(s), float(left))
        for r, (predicted, measured), s, left in zip(kit.readings, pairs, stops, residuals, strict=True)
    )
    found = Calibration(
        heads={f.name: f for f in fitted[: len(heads)]},
        modifiers={f.name: f for f in fitted[len(heads) :]},
        readings=readings,
        rms_stops=float(np.sqrt(np.mean(residuals**2))),
        warnings=(),
    )
    return Calibration(found.heads, found.modifiers, readings, found.rms_stops, tuple(_warnings(kit, found)))


def solve(matrix: np.ndarray, stops: np.ndarray, heads: int) -> tuple[np.ndarray, np.ndarray]:
    """Least squares with the rule of this module.

    Parameters
    ----------
    matrix : (n, k), how often each unknown enters each reading; the first `heads` columns are heads.
    stops : (n,).

    Returns
    -------
    parts : (k,) stops. fixed : (k,) bool, whether the readings alone determine each.
    """
    _, values, rows = np.linalg.svd(matrix, full_matrices=True)
    rank = int((values > _SMALL * values[0]).sum())
    free = rows[rank:].T
    parts = np.linalg.lstsq(matrix, stops, rcond=None)[0]
    if free.shape[1]:
        parts = parts - free @ np.linalg.lstsq(free[heads:], parts[heads:], rcond=None)[0]
    parts[np.abs(parts) < _SMALL] = 0.0
    return parts, (np.abs(free) < 1e-6).all(axis=1)


def predicted_lux(kit: Kit, reading: Reading) -> float:
    """What the descriptions of head and modifiers say the meter gets: lx s of a flash, lx of continuous light.

    Raises
    ------
    ModifierMismatch
        When the modifiers do not go together.
    DarkAxis
        When nothing reaches the meter.
    ValueError
        When the meter stands inside the light.
    """
    head = kit.heads[reading.head]
    shaped = kit.shaped(reading.modifiers, Bulb(head.bulb_diameter_m), kit.folder_of_head(reading.head))
    lux = axial_illuminance_per_lumen(shaped.at_origin(), reading.distance_m) * head.full_output() * reading.power
    if not (math.isfinite(lux) and lux > 0):
        raise DarkAxis("no light reaches the meter on the axis")
    return lux


def _warnings(kit: Kit, found: Calibration) -> Iterator[Problem]:
    for index, reading in enumerate(found.readings):
        if abs(reading.residual_stops) > LARGEST_RESIDUAL_STOPS:
            side = "over" if reading.residual_stops > 0 else "under"
            chain = " + ".join((reading.head, *reading.modifiers))
            message = (
                f"reading {index + 1} ({chain}) lies {abs(reading.residual_stops):.1f} stops {side} "
                "what all readings together say"
            )
            fix = "Check f_number, distance_m, iso and power of the readings, or measure again."
            yield Problem(("reading", index), message, "", fix, "warning")
    low, high = USUAL_EFFICACY_LM_S_PER_J
    for name, fitted in found.heads.items():
        head = kit.heads[name]
        efficacy = head.efficacy_lm_s_per_j * 2**fitted.stops
        if head.is_flash() and not low <= efficacy <= high:
            message = f"the readings give the head '{name}' {efficacy:.3g} lm s/J; flash tubes give about 15 to 50"
            fix = "Check its energy_ws, its readings, and the sizes of the modifiers they were taken with."
            yield Problem(("head", name), message, "", fix, "warning")
