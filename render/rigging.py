"""What each light takes to rig: the loss in its modifiers, how wide it lies, how its head is set, where it spills."""

from __future__ import annotations

import math

import numpy as np
from pydantic import Field

from scenes.beams import spread
from scenes.fixtures import front_m
from scenes.meters import format_power
from scenes.stage import Fixture, HeadInfo, Light, Stage

from .beam import loss_stops
from .meterset import FACE_PROBE
from .readings import Reading, find, own_aim
from .record import Record

FINEST_STEP_STOPS = 0.1
"""Step to which a setting is told where the head's own is not known (common practice, no source)."""

FAINTEST_STOPS = -6.0
"""Reading at the face under which a light is taken to be meant for something else."""

SPILL_PROBES = {"wall": "background_centre", "floor": "floor", "legs": "legs"}


class SpreadReport(Record):
    """A beam on a wall square to its axis, along the light's width and its height, metres; null where it is wider than
    80 degrees off the axis."""

    distance_m: float = Field(description="along the axis from the light's front")
    beam_m: tuple[float | None, float | None] = Field(description="out to half of the peak")
    field_m: tuple[float | None, float | None] = Field(description="out to a tenth")


class WallSpreadReport(Record):
    """A beam where it falls on what is behind the sitter, along the light's width and its height, metres: as on a wall
    square to its axis, but no wider than the wall itself."""

    distance_m: float = Field(description="along the axis from the light's front")
    beam_m: tuple[float, float] = Field(description="out to half of the peak, or to the edges of the wall")
    field_m: tuple[float, float] = Field(description="out to a tenth, or to the edges of the wall")
    beam_cut: bool = Field(description="whether the wall ends inside the beam")
    field_cut: bool = Field(description="whether it ends inside the field")


class PowerReport(Record):
    """How the head would have to be set for this light alone to read the set aperture at the face."""

    stops_from_full: float = Field(description="exact; above 0 is more than the head has")
    setting: str = Field(description='nearest setting, such as "1/8 (-3.0)", or by how much the head falls short')
    within_range: bool


class SpillReport(Record):
    """Stops by which other places lie under the face, from this light alone, each metered flat on its surface; null
    where there is no such place or no light."""

    wall: float | None
    floor: float | None
    legs: float | None


def modifier_loss(light: Light, distance_m: float) -> float | None:
    """Stops that a light gives less on its axis than the standard reflector on the same head, at the same distance from
    the front; what `keyfall beam` says of the same head, kit and modifiers.

    None for a light whose inside is not known, and where its axis is dark.
    """
    if light.fixture is None or light.bare is None or not light.modifiers:
        return None
    try:
        loss = loss_stops(light.bare(), light.fixture, distance_m)
    except ValueError:
        return None
    return None if loss is None else loss - light.modifier_stops


def spread_at(fixture: Fixture, distance_m: float | None) -> SpreadReport | None:
    """Width of a light at a distance; None inside the light, or without a distance."""
    if distance_m is None or distance_m <= front_m(fixture):
        return None
    wide = spread(fixture, distance_m)
    return SpreadReport(distance_m=distance_m, beam_m=wide.beam_m, field_m=wide.field_m)


def spread_on_wall(fixture: Fixture, stage: Stage) -> WallSpreadReport | None:
    """A light's beam on what is behind the sitter, no wider than that is; None where its axis does not meet it."""
    distance = background_distance(fixture, stage)
    wide = None if distance is None or distance <= front_m(fixture) else spread(fixture, distance)
    walls = [shape for shape in stage.shapes if shape.region == "background"]
    if distance is None or wide is None or not walls:
        return None
    met = (fixture.centre_m + distance * fixture.forward)[:2]
    low, high = (np.asarray(end[:2], float) for end in (walls[-1].vertices.min(axis=0), walls[-1].vertices.max(axis=0)))
    if (met < low).any() or (met > high).any():
        return None
    reaches = [_to_edges(met, axis[:2], low, high) for axis in (fixture.right, fixture.up)]
    beam, field = ([_inside(sides[:2], reaches[0]), _inside(sides[2:], reaches[1])]
                   for sides in (wide.beam_sides_m, wide.field_sides_m))  # fmt: skip
    return WallSpreadReport(
        distance_m=distance, beam_m=(beam[0][0], beam[1][0]), field_m=(field[0][0], field[1][0]),
        beam_cut=beam[0][1] or beam[1][1], field_cut=field[0][1] or field[1][1],
    )  # fmt: skip


def _to_edges(at: np.ndarray, way: np.ndarray, low: np.ndarray, high: np.ndarray) -> tuple[float, float]:
    """How far it is from a place on the wall to its edges, along a direction (2,) and against it."""
    length = float(np.hypot(*way))
    unit = way / max(length, 1e-9)
    safe = np.where(np.abs(unit) < 1e-9, 1e-9, unit)
    ends = np.stack([(low - at) / safe, (high - at) / safe])
    return float(ends.max(axis=0).min()), float(-ends.min(axis=0).max())


def _inside(sides_m: tuple[float | None, ...], reach_m: tuple[float, float]) -> tuple[float, bool]:
    """A width from how far it goes to either side, cut at the edges; and whether that cut it."""
    halves = [math.inf if side is None else side for side in sides_m]
    ends = [min(half, reach) for half, reach in zip(halves, reach_m, strict=True)]
    return max(sum(ends), 0.0), any(half > reach for half, reach in zip(halves, reach_m, strict=True))


def background_distance(fixture: Fixture, stage: Stage) -> float | None:
    """Distance along a light's axis to what is behind the sitter; None where the axis does not meet it."""
    if "background" not in stage.landmarks or fixture.forward[2] > -1e-3:
        return None
    reach = (stage.landmarks["background"][2] - fixture.centre_m[2]) / fixture.forward[2]
    return float(reach) if reach > 0 else None


def power_needed(light: Light, readings: list[Reading]) -> PowerReport | None:
    """Setting of the head with which the light alone reads the set aperture at the face; None without a head, or where
    next to none of it gets there, as from a rim light behind the head."""
    head = light.head
    reading = find(readings, FACE_PROBE, light.name, own_aim(light))
    if head is None or reading.stops is None or reading.stops < FAINTEST_STOPS:
        return None
    stops = math.log2(head.power) - reading.stops
    setting, within = needed_setting(head, stops)
    return PowerReport(stops_from_full=stops, setting=setting, within_range=within)


def needed_setting(head: HeadInfo, stops: float) -> tuple[str, bool]:
    """The head's setting nearest to so many stops from full, in words, and whether the head has it."""
    step = head.step_stops or FINEST_STEP_STOPS
    nearest = round(stops / step) * step
    if nearest > 1e-9:
        return f"over full power by {stops:.1f} stops", False
    lowest = None if head.lowest is None else math.log2(head.lowest)
    if lowest is not None and nearest < lowest - 1e-6:
        return f"below the lowest setting by {lowest - stops:.1f} stops", False
    return format_power(float(2.0**nearest)), True


def spill(light: Light, readings: list[Reading]) -> SpillReport:
    """How far the wall, the floor and the legs lie under the face, from this light alone."""
    face = find(readings, FACE_PROBE, light.name, own_aim(light)).exposure_lx_s
    probes = {reading.probe for reading in readings}
    under: dict[str, float | None] = {}
    for place, probe in SPILL_PROBES.items():
        lit = find(readings, probe, light.name, "flat:surface").exposure_lx_s if probe in probes else 0.0
        under[place] = math.log2(face / lit) if face > 1e-9 and lit > 1e-9 else None
    return SpillReport(**under)
