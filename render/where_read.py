"""Where on the set a hand meter tells how one light is set."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

from scenes.stage import Light

from .meterset import FACE_PROBE
from .readings import Reading, find, own_aim
from .report import ReadingReport
from .rigging import FAINTEST_STOPS

BACKGROUND_PROBE = "background_centre"
CROWN_PROBE = "crown"
FROM_BEHIND_STOPS = 1.5
"""By how much more a light must read over the crown than at the face to be read there."""

_PLACES = {
    "cheek_L": "at the sitter's left cheek", "cheek_R": "at the sitter's right cheek",
    "hand_L": "at the sitter's left hand", "hand_R": "at the sitter's right hand", "crown": "over the crown",
    "legs": "at the legs", "floor": "on the floor, a step before the sitter",
    "background_centre": "on the background, middle", "background_left": "on the background, camera left",
    "background_right": "on the background, camera right", "background_top": "on the background, top",
    "background_bottom": "on the background, bottom",
}  # fmt: skip


_Read = TypeVar("_Read", Reading, ReadingReport)


def where_read(light: Light, readings: Sequence[_Read]) -> _Read:
    """The reading by which a light is set (common practice, no source).

    At the face, flat toward the light (a dome for ambient light and sky); a light from behind over the crown, flat
    toward it; a background light flat on the middle of the background, or where it is brightest if next to none gets to
    the middle; and a light that gets to none of these wherever a surface reads most of it.
    """
    own = [r for r in readings if r.light == light.name]
    flat = [r for r in own if r.aim == "flat:surface" and r.stops is not None]
    at_face = find(own, FACE_PROBE, light.name, own_aim(light))
    if light.role == "background":
        behind = [r for r in flat if r.probe.startswith("background")]
        middle = [r for r in behind if r.probe == BACKGROUND_PROBE and (r.stops or 0.0) >= FAINTEST_STOPS]
        return _most(middle or behind or flat, at_face)
    over = next((r for r in own if (r.probe, r.aim) == (CROWN_PROBE, own_aim(light))), at_face)
    if over.exposure_lx_s > at_face.exposure_lx_s * 2**FROM_BEHIND_STOPS:
        return over
    return at_face if at_face.stops is not None else _most(flat, at_face)


def _most(readings: Sequence[_Read], otherwise: _Read) -> _Read:
    return max(readings, key=lambda r: r.exposure_lx_s, default=otherwise)


def place_words(probe: str) -> str:
    """A meter point in words: "at the face", "on the background, top"."""
    return _PLACES.get(probe, f"at the {probe}")


def held_words(reading: Reading | ReadingReport) -> str:
    """Where and how the meter is held for a reading: "at the face, flat toward the light"."""
    how = {"dome": "dome toward the camera", "flat:surface": "flat on the surface"}.get(
        reading.aim, "flat toward the light"
    )
    return f"{place_words(reading.probe)}, {how}"
