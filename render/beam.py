"""What modifiers do to a head's light, with no set: strength, loss, width, edge and fall-off, near and far."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
from pydantic import Field

from materials import KeyfallError
from scenes.beams import along_axis, intensity, near_field_error, spread
from scenes.exposure import C_FLAT, f_number_from_exposure
from scenes.field import axial_illuminance_per_lumen, illuminance
from scenes.fixtures import front_m
from scenes.kit import Kit, calibrate
from scenes.modifiers import Bulb, ModifierMismatch
from scenes.names import listed, nearest
from scenes.photometric import Photometry, make_photometry
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
_TURN_DEG = 15.0
_CURVE_M = np.geomspace(0.3, 6.0, 41)
_ACROSS_M = np.linspace(-1.8, 1.8, 73)


class BeamAt(Record):
    """A setup at one distance; widths are along the light's width and its height."""

    distance_m: float
    exposure_lx_s: float = Field(description="on the axis, facing the light, at full power")
    f_number: float = Field(description="flat meter on the axis, ISO 100, full power; continuous light at 1/60 s")
    loss_stops: float = Field(description="on the axis, against the standard reflector on the same head")
    attachment_loss_stops: float | None = Field(
        description="on the axis, against the same setup without what is in front of its first modifier"
    )
    beam_m: tuple[float | None, float | None] = Field(
        description="diameter on a wall out to half of the peak; null when wider than 80 degrees off the axis"
    )
    field_m: tuple[float | None, float | None] = Field(description="the same out to a tenth")
    edge_stops_per_deg: float | None = Field(description="steepness where it falls below half")
    inverse_square_error: float = Field(
        description="overstatement by the inverse square of the far intensity, 0.1 = 10 %"
    )
    under_axis_stops: list[float] = Field(description="down the wall at across_m, stops under the axis, at least -10")


class SetupReport(Record):
    """A chain of modifiers on the head."""

    name: str
    modifiers: list[str]
    efficiency: float = Field(description="lumens that leave the luminous area for one of the bare lamp")
    at: list[BeamAt]
    axis_f_number: list[float] = Field(description="flat meter at axis_m along the axis, ISO 100, full power")
    lm63_file: str | None


class BeamReport(Record):
    """What `keyfall beam` says."""

    format: Literal[1] = 1
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
    """A chain of modifiers put together: its name, and the fixture at the origin, shining along +z."""

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
        if name not in kit.modifiers:
            raise KeyfallError(_unknown("modifier", name, list(kit.modifiers)))
    try:
        shaped = kit.shaped(names, Bulb(kit.heads[head].bulb_diameter_m), Path())
    except ModifierMismatch as mismatch:
        raise KeyfallError(f"In the setup '{text}' {mismatch}") from None
    return Setup("+".join(names), names, shaped.at_origin(), 2.0 ** calibrate(kit).stops(head, names))


def _unknown(kind: str, given: str, allowed: list[str]) -> str:
    close = nearest(given, allowed)
    hint = f" Did you mean {close}?" if close else ""
    return f"There is no {kind} '{given}'.{hint} Allowed: {listed(allowed, 12)}; keyfall kit shows them all."


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
            raise KeyfallError(f"The distance is {distance:g} m. Allowed: {_NEAREST_M:g} to {_FARTHEST_M:g} m.")
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
    reference = kit.shaped([REFERENCE], bulb, Path()).at_origin()
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
    setup: Setup, kit: Kit, bulb: Bulb, reference: Fixture, lumen_seconds: float,
    distances_m: Sequence[float], file: str | None,
) -> SetupReport:  # fmt: skip
    fixture, full = setup.fixture, lumen_seconds * setup.gain
    behind = kit.shaped(setup.modifiers[:1], bulb, Path()).at_origin() if len(setup.modifiers) > 1 else None
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
        at.append(
            BeamAt(
                distance_m=distance,
                exposure_lx_s=exposure,
                f_number=f_number_from_exposure(exposure, ISO, C_FLAT),
                loss_stops=loss_stops(reference, fixture, distance) - math.log2(setup.gain),
                attachment_loss_stops=None if behind is None else loss_stops(behind, fixture, distance),
                beam_m=wide.beam_m,
                field_m=wide.field_m,
                edge_stops_per_deg=wide.edge_stops_per_deg,
                inverse_square_error=float(near_field_error(fixture, np.array([distance]))[0]),
                under_axis_stops=_down_the_wall(fixture, distance),
            )
        )
    return SetupReport(
        name=setup.name,
        modifiers=list(setup.modifiers),
        efficiency=fixture.optics.efficiency,
        at=at,
        axis_f_number=[f_number_from_exposure(float(e) * full, ISO, C_FLAT) for e in along_axis(fixture, places)],
        lm63_file=file,
    )


def loss_stops(reference: Fixture, fixture: Fixture, distance_m: float) -> float:
    """Stops that a fixture gives less on its axis than another at the same distance from its front, lamp for lamp."""
    pair = [axial_illuminance_per_lumen(f, distance_m) for f in (reference, fixture)]
    return math.log2(pair[0] / pair[1])


def photometry_of(setup: Setup, lumens: float) -> Photometry:
    """The setup as a measured luminaire on a lamp of so many lumens (lm s of a flash), by its light from afar."""
    fixture = setup.fixture
    reach = 180 if fixture.shape in ("sphere", "tube") or fixture.optics.back_share else 90
    gamma, turn = np.linspace(0, reach, 2 * reach + 1), np.arange(0, 360, _TURN_DEG)
    candela = intensity(fixture, np.radians(gamma), np.radians(turn)) * lumens * setup.gain
    width, length = (float(s) for s in fixture.size_m)
    ball = fixture.shape == "sphere"
    return make_photometry(
        setup.name, candela, turn, gamma, width_m=width, length_m=length, height_m=width if ball else 0.0,
        round=fixture.shape in ("disk", "octagon", "spot", "sphere"), rated_lumens=lumens,
    )  # fmt: skip


def _down_the_wall(fixture: Fixture, distance_m: float) -> list[float]:
    centre = fixture.centre_m + distance_m * fixture.forward
    line = illuminance(fixture, centre + _ACROSS_M[:, None] * fixture.up, -fixture.forward, steps=48)
    axis = axial_illuminance_per_lumen(fixture, distance_m)
    stops = np.log2(np.maximum(line / axis, 2.0**DARKEST_STOPS))
    return [round(float(s), 4) for s in stops]
