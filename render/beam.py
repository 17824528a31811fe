"""What modifiers do to a head's light, with no set: strength, loss, width, edge and fall-off, near and far."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Literal

import numpy as np
from pydantic import Field

from materials import KeyfallError
from scenes.beams import along_axis, far_reach_deg, intensity, near_field_error, spread, symmetry
from scenes.exposure import C_FLAT, f_number_from_exposure
from scenes.field import axial_illuminance_per_lumen, illuminance
from scenes.fixtures import front_m
from scenes.kit import Kit, calibrate
from scenes.modifiers import Bulb, ModifierMismatch
from scenes.names import did_you_mean, listed
from scenes.photometric import Photometry, conserved, gamma_grid, make_photometry
from scenes.stage import Fixture

from .outputs import CHECKSUMS
from .record import Record

REFERENCE = "standard-reflector"
DEFAULT_HEAD = "flash-400"
DEFAULT_DISTANCES_M = (0.6, 2.5)
MOST_SETUPS, MOST_DISTANCES = 8, 4
ISO = 100.0
STEADY_SHUTTER_S = 1 / 60
DARKEST_STOPS = -10.0
"""What lies farther under the axis counts as this in the curves."""

_NEAREST_M, _FARTHEST_M = 0.1, 50.0
_PLANES, _FINE_PLANES = 24, 72
"""Planes of a photometric file over the full turn; of one with a pattern in its beam."""

_FAR_STEPS, _FAR_STEPS_TURNED = 60, 28
"""Points a side of the raster of an exit, for one plane and for many: their cells fill a disk to 0.04 %."""
_CURVE_M = np.geomspace(0.3, 6.0, 41)
_ACROSS_M = np.linspace(-1.8, 1.8, 73)


class BeamAt(Record):
    """A setup at one distance; widths are along the light's width and its height."""

    distance_m: float
    exposure_lx_s: float = Field(description="on the axis, facing the light, at full power")
    f_number: float | None = Field(
        description="flat meter on the axis, ISO 100, full power; continuous light at 1/60 s; null where that is dark"
    )
    peak_exposure_lx_s: float = Field(description="where the wall is brightest, at full power")
    loss_stops: float | None = Field(
        description="on the axis, against the standard reflector on the same head, at the same distance from the "
        "front; null where the axis is dark"
    )
    attachment_loss_stops: float | None = Field(
        description="the same against the setup without what is in front of its first modifier"
    )
    beam_m: tuple[float | None, float | None] = Field(
        description="width on a wall between the outermost places with half of the peak; null when wider than 80 "
        "degrees off the axis"
    )
    field_m: tuple[float | None, float | None] = Field(description="the same for a tenth")
    beam_sides_m: tuple[float | None, float | None, float | None, float | None] = Field(
        description="how far the beam goes from the axis to the right, left, up and down; below 0 where all is beyond"
    )
    field_sides_m: tuple[float | None, float | None, float | None, float | None] = Field(
        description="the same for the field"
    )
    beam_to_field_stops_per_deg: float | None = Field(
        description="hardness of the edge: fall from the edge of the beam to that of the field, on the steepest side"
    )
    inverse_square_error: float | None = Field(
        description="overstatement by the inverse square of the far intensity, 0.1 = 10 %; null where the axis is dark"
    )
    under_axis_stops: list[float] | None = Field(
        description="down the wall at across_m, stops under the axis, at least -10; null where the axis is dark"
    )


class SetupReport(Record):
    """A chain of modifiers on the head."""

    name: str
    modifiers: list[str]
    efficiency: float = Field(description="lumens that leave the luminous area for one of the bare lamp")
    at: list[BeamAt]
    axis_f_number: list[float | None] = Field(
        description="flat meter at axis_m along the axis, ISO 100, full power; null where it is dark"
    )
    lm63_file: str | None


class BeamReport(Record):
    """What `keyfall beam` says."""

    format: Literal[2] = 2
    head: str
    lumens: float = Field(description="of the bare lamp at full power: lm s of a flash, lm of continuous light")
    continuous: bool
    iso: float
    shutter_s: float | None = Field(description="of continuous light")
    across_m: list[float] = Field(description="places along the light's height, up positive, for under_axis_stops")
    axis_m: list[float]
    setups: list[SetupReport]
    checksums: dict[str, str] = CHECKSUMS


@dataclass(frozen=True, slots=True)
class Setup:
    """A chain of modifiers put together: its name, and the fixture at the origin, shining along +z; `gain` is what the
    kit's readings say of the modifiers, relative to their descriptions."""

    name: str
    modifiers: tuple[str, ...]
    fixture: Fixture
    gain: float


def setup_of(text: str, kit: Kit, head: str) -> Setup:
    """The setup that a text such as "standard-reflector+grid-20" names, on a head of the kit.

    Raises
    ------
    KeyfallError
        For names the kit does not have, or a chain that does not go together.
    """
    names = tuple(part.strip() for part in text.split("+") if part.strip())
    if not names:
        raise KeyfallError(
            "A setup is empty. Name modifiers from the head outward, such as standard-reflector+grid-20."
        )
    for name in names:
        parts = [part for part in re.split(r"[\s,;/]+", name) if part]
        if name not in kit.modifiers and len(parts) > 1 and all(part in kit.modifiers for part in parts):
            raise KeyfallError(
                f"'{name}' names {len(parts)} modifiers. Join those of one setup by +, as in {'+'.join(parts)}; give "
                "setups to compare as words of their own."
            )
        if name not in kit.modifiers:
            raise KeyfallError(_unknown("modifier", name, list(kit.modifiers)))
    try:
        shaped = kit.shaped(names, Bulb(kit.heads[head].bulb_diameter_m), Path())
    except ModifierMismatch as mismatch:
        raise KeyfallError(f"In the setup '{text}' {mismatch}") from None
    return Setup("+".join(names), names, shaped.at_origin(), 2.0 ** calibrate(kit).stops(None, names))


def _unknown(kind: str, given: str, allowed: list[str]) -> str:
    allowed_words = f"Allowed: {listed(allowed, 12)}; keyfall kit shows them all."
    said = (f"There is no {kind} '{given}'.", did_you_mean(given, allowed), allowed_words)
    return " ".join(part for part in said if part)


def chosen_head(kit: Kit, head: str | None) -> str:
    """The head asked for, else the kit's own only one, else the stock flash.

    Raises
    ------
    KeyfallError
        When the kit has no such head.
    """
    name = head or (next(iter(kit.own_heads)) if len(kit.own_heads) == 1 else DEFAULT_HEAD)
    if name not in kit.heads:
        raise KeyfallError(_unknown("head", name, list(kit.heads)))
    return name


def check_distances(distances_m: Sequence[float]) -> tuple[float, ...]:
    """The distances in ascending order, each once.

    Raises
    ------
    KeyfallError
        For too many, or one out of range.
    """
    for distance in distances_m:
        if not _NEAREST_M <= distance <= _FARTHEST_M:
            raise KeyfallError(
                f"The distance is {distance:g} m. Allowed: {_NEAREST_M:g} to {_FARTHEST_M:g} m, e.g. --distance 2.5."
            )
    if len(set(distances_m)) > MOST_DISTANCES:
        raise KeyfallError(f"{len(set(distances_m))} distances are given. Allowed: up to {MOST_DISTANCES}.")
    return tuple(sorted(set(distances_m)))


def beam_report(
    setups: Sequence[Setup], kit: Kit, head: str, distances_m: Sequence[float], files: Sequence[str | None] = ()
) -> BeamReport:
    """Numbers of setups side by side at the same distances.

    Raises
    ------
    KeyfallError
        When a distance lies inside a light.
    """
    lamp = kit.heads[head]
    output = lamp.full_output() * 2.0 ** calibrate(kit).stops(head, ())
    seconds = 1.0 if lamp.is_flash() else STEADY_SHUTTER_S
    bulb = Bulb(lamp.bulb_diameter_m)
    reference = setup_of(REFERENCE, kit, head)
    files = files or [None] * len(setups)
    return BeamReport(
        head=head,
        lumens=output,
        continuous=not lamp.is_flash(),
        iso=ISO,
        shutter_s=None if lamp.is_flash() else STEADY_SHUTTER_S,
        across_m=[float(y) for y in _ACROSS_M],
        axis_m=[float(z) for z in _CURVE_M],
        setups=[
            _setup_report(setup, kit, bulb, reference, output * seconds, distances_m, file)
            for setup, file in zip(setups, files, strict=True)
        ],
    )


def _setup_report(
    setup: Setup, kit: Kit, bulb: Bulb, reference: Setup, lumen_seconds: float,
    distances_m: Sequence[float], file: str | None,
) -> SetupReport:  # fmt: skip
    fixture, full = setup.fixture, lumen_seconds * setup.gain
    behind = None
    if len(setup.modifiers) > 1:
        first = setup.modifiers[:1]
        shaped = kit.shaped(first, bulb, Path()).at_origin()
        behind = Setup(first[0], first, shaped, 2.0 ** calibrate(kit).stops(None, first))
    depth = front_m(fixture)
    places = np.maximum(_CURVE_M, depth * 1.001)
    at = []
    for distance in distances_m:
        if distance <= depth:
            raise KeyfallError(
                f"At {distance:g} m the wall would stand inside '{setup.name}'. Choose a longer distance."
            )
        wide = spread(fixture, distance)
        exposure = wide.axis_lx_per_lm * full
        lit = exposure > 0
        at.append(
            BeamAt(
                distance_m=distance,
                exposure_lx_s=exposure,
                f_number=_f_number(exposure),
                peak_exposure_lx_s=wide.peak_lx_per_lm * full,
                loss_stops=_loss(reference, setup, distance),
                attachment_loss_stops=None if behind is None else _loss(behind, setup, distance),
                beam_m=wide.beam_m,
                field_m=wide.field_m,
                beam_sides_m=wide.beam_sides_m,
                field_sides_m=wide.field_sides_m,
                beam_to_field_stops_per_deg=wide.beam_to_field_stops_per_deg,
                inverse_square_error=float(near_field_error(fixture, np.array([distance]))[0]) if lit else None,
                under_axis_stops=_down_the_wall(fixture, distance) if lit else None,
            )
        )
    return SetupReport(
        name=setup.name,
        modifiers=list(setup.modifiers),
        efficiency=fixture.optics.efficiency,
        at=at,
        axis_f_number=[_f_number(float(e) * full) for e in along_axis(fixture, places)],
        lm63_file=file,
    )


def _f_number(exposure_lx_s: float) -> float | None:
    return f_number_from_exposure(exposure_lx_s, ISO, C_FLAT) if exposure_lx_s > 0 else None


def _loss(reference: Setup, setup: Setup, distance_m: float) -> float | None:
    loss = loss_stops(reference.fixture, setup.fixture, distance_m)
    return None if loss is None else loss - math.log2(setup.gain / reference.gain)


def loss_stops(reference: Fixture, fixture: Fixture, distance_m: float) -> float | None:
    """Stops that a fixture gives less on its axis than another, lamp for lamp, at the same distance from the front.

    That is what a meter shows when the modifier of a light is exchanged and its front stays where it was, which is how
    scene files and sheets place lights. None where either is dark there.
    """
    pair = [axial_illuminance_per_lumen(f, distance_m) for f in (reference, fixture)]
    return math.log2(pair[0] / pair[1]) if min(pair) > 0 else None


def photometry_of(setup: Setup, lumens: float) -> Photometry:
    """The setup as a measured luminaire on a lamp of so many lumens (lm s of a flash), by its light from afar."""
    fixture = setup.fixture
    last = 180.0 if fixture.shape in ("sphere", "tube") or fixture.optics.back_share else 90.0
    sides = symmetry(fixture)
    planes = 1 if sides == "round" else _FINE_PLANES if fixture.optics.slide is not None else _PLANES
    turn = np.arange(planes) * 360 / planes
    gamma = gamma_grid(min(far_reach_deg(fixture), last), last)
    steps = _FAR_STEPS if sides == "round" else _FAR_STEPS_TURNED
    candela = conserved(partial(intensity, fixture, steps=steps), turn, gamma, 4 if sides == "mirrored" else 1)
    width, length = (float(s) for s in fixture.size_m)
    ball = fixture.shape == "sphere"
    return make_photometry(
        setup.name, candela * lumens * setup.gain, turn, gamma, width_m=width, length_m=length,
        height_m=width if ball else 0.0, round=fixture.shape in ("disk", "octagon", "spot", "sphere"),
        rated_lumens=lumens,
    )  # fmt: skip


def _down_the_wall(fixture: Fixture, distance_m: float) -> list[float]:
    centre = fixture.centre_m + distance_m * fixture.forward
    line = illuminance(fixture, centre + _ACROSS_M[:, None] * fixture.up, -fixture.forward, steps=48)
    axis = axial_illuminance_per_lumen(fixture, distance_m)
    stops = np.log2(np.maximum(line / axis, 2.0**DARKEST_STOPS))
    return [round(float(s), 4) for s in stops]
