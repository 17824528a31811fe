"""Where on the set a hand meter tells how one light is set: where the light is aimed, as the scene file says."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol, TypeVar

import numpy as np

from scenes.probes import AIM_PROBE
from scenes.stage import Light, Stage

from .meterset import FACE_PROBE, direction_to
from .readings import find, own_aim
from .rigging import FAINTEST_STOPS

BACKGROUND_PROBE = "background_centre"
CROWN_PROBE = "crown"
FROM_BEHIND_STOPS = 1.5
"""By how much more a light must read over the crown than at the face to be read there."""

GRAZING = 0.2
"""Cosine to the face's own direction under which a light counts as from behind (common practice, no source)."""

NEAR_AIM_M = 0.3
"""A meter point no farther than this from where a light is aimed stands for it (common practice, no source)."""

_HEAD_MARKS = (
    "face", "eyes", "eye_L", "eye_R", "nose", "glabella", "forehead", "upper_lip", "chin", "cheek_L", "cheek_R",
    "ear_L", "ear_R", "throat",
)  # fmt: skip
_HANDS = ("hand_L", "hand_R")
_STANDS_FOR = {"hair_top": CROWN_PROBE, CROWN_PROBE: CROWN_PROBE, **dict.fromkeys(_HEAD_MARKS, FACE_PROBE)}
"""Landmarks of the head, and the meter point at which a light aimed at them is read."""

_PLACES = {
    "cheek_L": "at the sitter's left cheek", "cheek_R": "at the sitter's right cheek",
    "hand_L": "at the sitter's left hand", "hand_R": "at the sitter's right hand", "crown": "over the crown",
    "legs": "at the legs", "floor": "on the floor, a step before the sitter",
    "background_centre": "on the background, clear of the sitter", "background_left": "on the background, camera left",
    "background_right": "on the background, camera right", "background_top": "on the background, top",
    "background_bottom": "on the background, bottom",
}  # fmt: skip


class Held(Protocol):
    """A reading, of the set or of its report."""

    @property
    def probe(self) -> str:
        """Where."""
        ...

    @property
    def light(self) -> str:
        """A light alone, or all."""
        ...

    @property
    def aim(self) -> str:
        """How the meter is turned."""
        ...

    @property
    def exposure_lx_s(self) -> float:
        """What falls on it."""
        ...

    @property
    def stops(self) -> float | None:
        """From the set aperture; None without light."""
        ...


_Read = TypeVar("_Read", bound=Held)


def where_read(light: Light, stage: Stage, readings: Sequence[_Read]) -> _Read:
    """The reading by which a light is set (common practice, no source): where it is aimed.

    - Aimed at the face: at the face, flat toward the light (a dome for ambient light and sky); over the crown, flat
      toward it, where it comes from behind.
    - Aimed at the hair: over the crown.
    - Aimed at the background, or in that role: flat on the background where it is aimed, else clear of the sitter, or
      where it is brightest if next to none gets there.
    - Aimed at another place with a meter point (chest, hands, floor): there.
    - A light that gets to none of these: wherever a surface reads most of it.
    """
    own = [r for r in readings if r.light == light.name]
    flat = [r for r in own if r.aim == "flat:surface" and r.stops is not None]
    at_face = find(own, FACE_PROBE, light.name, own_aim(light))
    target = aimed_at(light, stage)
    if target == "background":
        aimed = next((r for r in flat if r.probe == f"{AIM_PROBE}{light.name}"), None)
        if aimed is not None and _reads(aimed):
            return aimed
        behind = [r for r in flat if r.probe.startswith("background")]
        middle = [r for r in behind if r.probe == BACKGROUND_PROBE and (r.stops or 0.0) >= FAINTEST_STOPS]
        return _most(middle or behind or flat, at_face)
    over = next((r for r in own if (r.probe, r.aim) == (CROWN_PROBE, own_aim(light))), at_face)
    if target == CROWN_PROBE and _reads(over):
        return over
    if target not in (FACE_PROBE, CROWN_PROBE):
        both = _HANDS if light.aim == "hands" else (target,)
        there = _most([r for r in own if r.probe in both and r.aim == _held_at(light, r.probe)], at_face)
        if _reads(there):
            return there
    if over.exposure_lx_s > at_face.exposure_lx_s * 2**FROM_BEHIND_STOPS and _from_behind(light, stage):
        return over
    return at_face if _reads(at_face) or light.aim_m is None else _most([at_face, *flat], at_face)


def _from_behind(light: Light, stage: Stage) -> bool:
    """Whether a light stands so far round that a meter flat on the face looks away from it, or grazes it."""
    face = next((probe for probe in stage.probes if probe.name == FACE_PROBE), None)
    toward = None if face is None else direction_to(light, face.position_m)
    return face is not None and toward is not None and bool(toward @ face.normal < GRAZING)


def aimed_at(light: Light, stage: Stage) -> str:
    """The meter point that stands for what a light is aimed at; "background" for all of what is behind the sitter.

    By the role of a background light, else by the landmark or place that the scene file aims it at: the point of that
    name, or the nearest within `NEAR_AIM_M`; the face where there is none, and for light from no fixture.
    """
    if light.role == "background" or light.aim == "background":
        return "background"
    aim_m = light.aim_m
    if aim_m is None:
        return FACE_PROBE
    if light.aim is None and _on_background(aim_m, stage):
        return "background"
    points = {probe.name: probe.position_m for probe in stage.probes if not probe.name.startswith(AIM_PROBE)}
    target = _STANDS_FOR.get(light.aim or "", light.aim)
    if target not in points:
        target = min(points, key=lambda name: _apart(points[name], aim_m), default=FACE_PROBE)
        if target not in points or _apart(points[target], aim_m) > NEAR_AIM_M:
            return FACE_PROBE
    target = _STANDS_FOR.get(target, target)
    return "background" if target.startswith("background") else target


def _on_background(place_m: np.ndarray, stage: Stage) -> bool:
    """Whether a place lies on or behind what is behind the sitter."""
    mark = stage.landmarks.get("background")
    return mark is not None and float(place_m[2]) <= float(mark[2]) + NEAR_AIM_M


def _reads(reading: Held) -> bool:
    """Whether enough light gets there to set a light by it."""
    return reading.stops is not None and reading.stops >= FAINTEST_STOPS


def _apart(a: np.ndarray, b: np.ndarray) -> float:
    return float(np.linalg.norm(a - b))


def _held_at(light: Light, probe: str) -> str:
    """Flat on the floor, toward the light elsewhere."""
    return "flat:surface" if probe == "floor" else own_aim(light)


def _most(readings: Sequence[_Read], otherwise: _Read) -> _Read:
    return max(readings, key=lambda r: r.exposure_lx_s, default=otherwise)


def place_words(probe: str) -> str:
    """A meter point in words: "at the face", "on the background, top"."""
    if probe.startswith(AIM_PROBE):
        return f"on the background, where {probe.removeprefix(AIM_PROBE)} is aimed"
    return _PLACES.get(probe, f"at the {probe}")


def held_words(reading: Held) -> str:
    """Where and how the meter is held for a reading: "at the face, flat toward the light"."""
    how = {"dome": "dome toward the camera", "flat:surface": "flat on the surface"}.get(
        reading.aim, "flat toward the light"
    )
    return f"{place_words(reading.probe)}, {how}"
