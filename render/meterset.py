"""The hand meters of a stage: where they are held, how they are turned, and what each light gives them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from materials import Bands
from scenes.stage import Light, Probe, Stage

FACE_PROBE = "face"


@dataclass(frozen=True, slots=True)
class Meter:
    """A meter: which probe it is held at, and "dome" (toward the camera), "flat:surface" (facing out from the surface
    there) or "flat:NAME" (toward that light)."""

    probe: str
    aim: str


@dataclass(frozen=True, slots=True)
class MeterSet:
    """Readings of unit output: `transport` (L, B, M) in lx a lumen, for lights `names` and meters `meters`.

    `clear_face` (L, B) is what a dome at the face, toward the camera, catches of the lights of unit output before
    pieces and lights are put up: the reading that gives the strength of ambient light. 0 for all other lights.
    """

    bands: Bands
    names: tuple[str, ...]
    meters: tuple[Meter, ...]
    transport: np.ndarray
    clear_face: np.ndarray


@dataclass(frozen=True, slots=True)
class MeterPlacement:
    """`meters[i]` stands at `positions[i]` (M, 3), turned to `normals[i]` (M, 3); `domes` (M,) are domes."""

    meters: tuple[Meter, ...]
    positions: np.ndarray
    normals: np.ndarray
    domes: np.ndarray


def place_meters(stage: Stage) -> MeterPlacement:
    """Meters at every probe: a dome toward the camera, a flat facing out from the surface, a flat toward each light."""
    meters, positions, normals = [], [], []
    for probe in stage.probes:
        for aim, normal in _aims(stage, probe):
            meters.append(Meter(probe.name, aim))
            positions.append(probe.position_m)
            normals.append(normal)
    domes = np.array([meter.aim == "dome" for meter in meters], bool)
    return MeterPlacement(tuple(meters), np.reshape(positions, (-1, 3)), np.reshape(normals, (-1, 3)), domes)


def _aims(stage: Stage, probe: Probe) -> list[tuple[str, np.ndarray]]:
    at = probe.position_m
    aims = [("dome", _unit(stage.camera.origin_m - at)), ("flat:surface", probe.normal)]
    for light in stage.lights:
        toward = direction_to(light, at)
        if toward is not None:
            aims.append((f"flat:{light.name}", toward))
    return aims


def direction_to(light: Light, at: np.ndarray) -> np.ndarray | None:
    """Unit vector (3,) from a place toward a light; None where it has no direction, see `has_direction`."""
    if light.fixture is not None:
        return _unit(light.fixture.centre_m - at)
    return light.distant.toward if light.distant is not None and has_direction(light) else None


def has_direction(light: Light) -> bool:
    """Whether one can turn a meter toward a light: a fixture or the sun, not the sky."""
    return light.fixture is not None or (light.distant is not None and light.distant.kind == "sun")


def _unit(vector: np.ndarray) -> np.ndarray:
    return vector / np.linalg.norm(vector)
