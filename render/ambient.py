"""The black-frame check: what the light that burns without flash leaves in the picture, and how to lose it."""

from __future__ import annotations

from pydantic import Field

from scenes.exposure import C_DOME, f_number_from_exposure
from scenes.meters import format_shutter, stops_over
from scenes.stage import Stage
from scenes.sync import sync_time

from .meterset import FACE_PROBE
from .readings import Reading, find
from .record import Record

BLACK_STOPS = 5.0
"""Stops under the aperture at which ambient light counts as gone (common practice, no source)."""

_SLOW_S = (30, 25, 20, 15, 13, 10, 8, 6, 5, 4, 3.2, 2.5, 2, 1.6, 1.3, 1, 0.8, 0.6, 0.5, 0.4, 0.3)
_FAST = (
    4, 5, 6, 8, 10, 13, 15, 20, 25, 30, 40, 50, 60, 80, 100, 125, 160, 200, 250, 320, 400, 500, 640, 800, 1000, 1250,
    1600, 2000, 2500, 3200, 4000, 5000, 6400, 8000,
)  # fmt: skip
SHUTTERS_S = (*_SLOW_S, *(1 / n for n in _FAST))
"""Shutter times of cameras, a third of a stop apart, seconds."""


class AmbientReport(Record):
    """What all continuous and ambient light gives together at the face, at these settings, no flash fired."""

    lights: list[str]
    stops: float | None = Field(description="dome at the face, from the set aperture; null without any such light")
    black: bool = Field(description="whether the frame would be black: 5 stops under, or no such light")
    shutter_s: float | None = Field(description="slowest usual time at which it is; null when already, or none is")
    iso: float | None = Field(description="ISO at which it is with this shutter; null when already")
    beyond_sync: bool = Field(description="whether that shutter is too short for the flashes on this set")
    sync_s: float | None = Field(description="shortest shutter time that catches every flash on this set")
    words: str


def ambient_audit(stage: Stage, readings: list[Reading]) -> AmbientReport:
    """Audit the ambient light of a stage by its readings."""
    steady = [light.name for light in stage.lights if light.on and not light.flash]
    sync = _sync_s(stage)
    exposure = sum(find(readings, FACE_PROBE, name, "dome").exposure_lx_s for name in steady)
    if exposure <= 1e-9:
        words = "No ambient light on this set: without flash the frame is black."
        return AmbientReport(
            lights=steady, stops=None, black=True, shutter_s=None, iso=None, beyond_sync=False, sync_s=sync, words=words
        )
    settings = stage.exposure
    stops = stops_over(f_number_from_exposure(exposure, settings.iso, C_DOME), settings.f_number)
    excess = stops + BLACK_STOPS
    if excess <= 0:
        words = f"Ambient light alone lies {-stops:.1f} stops under the aperture: without flash the frame is black."
        return AmbientReport(
            lights=steady,
            stops=stops,
            black=True,
            shutter_s=None,
            iso=None,
            beyond_sync=False,
            sync_s=sync,
            words=words,
        )
    needed = settings.shutter_s / 2.0**excess
    shutter = next((t for t in SHUTTERS_S if t <= needed * 1.02), None)
    beyond = sync is not None and shutter is not None and shutter < sync * 0.98
    iso = settings.iso / 2.0**excess
    return AmbientReport(
        lights=steady, stops=stops, black=False, shutter_s=shutter, iso=iso, beyond_sync=beyond, sync_s=sync,
        words=_words(stops, shutter, iso, sync if beyond else None),
    )  # fmt: skip


def _words(stops: float, shutter: float | None, iso: float, sync: float | None) -> str:
    side = f"{stops:.1f} stops over" if stops > 0 else f"{-stops:.1f} stops under"
    text = f"Ambient light alone reads {side} the aperture at the face, so it shows without flash."
    if shutter is None:
        return f"{text} No usual shutter time loses it at this aperture and ISO."
    way = f"{format_shutter(shutter)} loses it"
    if sync is None:
        return f"{text} {way}, or ISO {iso:.3g} at this shutter."
    return (
        f"{text} {way}, but flash is caught only down to {format_shutter(sync)}: close the aperture, lower the ISO and "
        f"raise the flash instead (ISO {iso:.3g} at this shutter), or darken the place."
    )


def _sync_s(stage: Stage) -> float | None:
    flashes = [light for light in stage.lights if light.on and light.flash]
    return sync_time(light.head.sync_s if light.head is not None else None for light in flashes)
