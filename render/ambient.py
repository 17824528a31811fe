"""What light that burns without flash gives the picture: what it leaves in the frame, or how to expose by it alone."""

from __future__ import annotations

import math

from pydantic import Field

from scenes.exposure import C_DOME, f_number_from_exposure
from scenes.meters import NOMINAL_THIRDS, exact_f_number, format_shutter, stops_over
from scenes.stage import Light, Stage
from scenes.sync import sync_time

from .meterset import FACE_PROBE
from .readings import Reading, find
from .record import Record

BLACK_STOPS = 5.0
"""Stops under the aperture at which ambient light counts as gone (common practice, no source)."""

NEAR_STOPS = 1 / 6
"""Within half a third of a stop the settings are those of the meter."""

_SLOW_S = (30, 25, 20, 15, 13, 10, 8, 6, 5, 4, 3.2, 2.5, 2, 1.6, 1.3, 1, 0.8, 0.6, 0.5, 0.4, 0.3)
_FAST = (
    4, 5, 6, 8, 10, 13, 15, 20, 25, 30, 40, 50, 60, 80, 100, 125, 160, 200, 250, 320, 400, 500, 640, 800, 1000, 1250,
    1600, 2000, 2500, 3200, 4000, 5000, 6400, 8000,
)  # fmt: skip
SHUTTERS_S = (*_SLOW_S, *(1 / n for n in _FAST))
"""Shutter times of cameras, a third of a stop apart, seconds; 1/8000 s is the shortest of a mechanical one."""

ISOS = (
    50, 64, 80, 100, 125, 160, 200, 250, 320, 400, 500, 640, 800, 1000, 1250, 1600, 2000, 2500, 3200, 4000, 5000, 6400,
    8000, 10000, 12800,
)  # fmt: skip
"""ISO settings of cameras, a third of a stop apart (common practice, no source)."""

_WIDEST_APERTURE, _SMALLEST_APERTURE = 1.4, 22.0
_NOUNS = {"sun": "the sun", "sky": "the sky", "ambient": "ambient light", "continuous": "continuous light"}


class AmbientReport(Record):
    """What all continuous and ambient light gives together at the face, at these settings, no flash fired."""

    lights: list[str]
    flash: bool = Field(description="whether any flash is on; without one, these lights are the exposure")
    stops: float | None = Field(description="dome at the face, from the set aperture; null without any such light")
    black: bool = Field(description="whether the frame would be black: 5 stops under, or no such light")
    black_shutter_s: float | None = Field(
        description="slowest usual time at which it is; null when already, when none is, and without flash"
    )
    black_iso: float | None = Field(
        description="highest usual ISO at which it is with this shutter; null in the same cases"
    )
    beyond_sync: bool = Field(description="whether that shutter is too short for the flashes on this set")
    sync_s: float | None = Field(description="shortest shutter time that catches every flash on this set")
    metered_shutter_s: float | None = Field(
        description="without flash: usual shutter time at which the face's dome asks for the set aperture; null where "
        "no camera has it, and with flash"
    )
    metered_iso: float | None = Field(description="the same by ISO, at this shutter")
    metered_f_number: float | None = Field(description="the same by aperture, at this shutter and ISO")
    words: str


def ambient_audit(stage: Stage, readings: list[Reading]) -> AmbientReport:
    """Audit the light of a stage that is not flash, by its readings."""
    steady = [light for light in stage.lights if light.on and not light.flash]
    flash = any(light.on and light.flash for light in stage.lights)
    exposure = sum(find(readings, FACE_PROBE, light.name, "dome").exposure_lx_s for light in steady)
    settings = stage.exposure
    lit = exposure > 1e-9
    stops = stops_over(f_number_from_exposure(exposure, settings.iso, C_DOME), settings.f_number) if lit else None
    sync = _sync_s(stage)
    report = AmbientReport(
        lights=[light.name for light in steady], flash=flash, stops=stops,
        black=stops is None or stops <= -BLACK_STOPS, black_shutter_s=None, black_iso=None, beyond_sync=False,
        sync_s=sync, metered_shutter_s=None, metered_iso=None, metered_f_number=None, words="",
    )  # fmt: skip
    if stops is None:
        return report.model_copy(update={"words": _dark_words(flash)})
    subject, plural = _subject(steady)
    if not flash:
        return _by_itself(report, stage, stops, subject, plural)
    return _beside_flash(report, stage, stops, subject, plural)


def _dark_words(flash: bool) -> str:
    if flash:
        return "No ambient light on this set: without flash the frame is black."
    return "No light reaches the face on this set."


def _subject(lights: list[Light]) -> tuple[str, bool]:
    """What the light is, for a sentence, and whether that is plural."""
    kinds = list(dict.fromkeys(_NOUNS[_kind(light)] for light in lights))
    kinds.sort(key=list(_NOUNS.values()).index)
    text = " and ".join([", ".join(kinds[:-1]), kinds[-1]]) if len(kinds) > 1 else kinds[0]
    return text[0].upper() + text[1:], len(kinds) > 1


def _kind(light: Light) -> str:
    if light.fixture is not None:
        return "continuous"
    return "ambient" if light.distant is None else light.distant.kind


def _side(stops: float) -> str:
    return f"{stops:.1f} stops over" if stops > 0 else f"{-stops:.1f} stops under"


def _by_itself(report: AmbientReport, stage: Stage, stops: float, subject: str, plural: bool) -> AmbientReport:
    """A set without flash: which usual settings bring the face to the meter."""
    settings, verb, are = stage.exposure, ("read" if plural else "reads"), ("are" if plural else "is")
    if abs(stops) < NEAR_STOPS:
        words = f"No flash on this set: {_lower(subject)} {are} the exposure, and the face reads the set aperture."
        return report.model_copy(update={"words": words})
    shutter = _closest(settings.shutter_s / 2.0**stops, SHUTTERS_S)
    iso = _closest(settings.iso / 2.0**stops, ISOS)
    wanted = settings.f_number * 2.0 ** (stops / 2)
    marks = {exact_f_number(float(mark)): float(mark) for mark in NOMINAL_THIRDS}
    aperture = _closest(wanted, [n for n in marks if _WIDEST_APERTURE <= n * 1.001 and n <= _SMALLEST_APERTURE * 1.03])
    ways = [] if shutter is None else [format_shutter(shutter)]
    ways += [] if aperture is None else [f"f/{marks[aperture]:g}"]
    ways += [] if iso is None else [f"ISO {iso:g}"]
    words = f"No flash on this set: {_lower(subject)} {verb} {_side(stops)} the aperture at the face."
    if ways:
        said = ways[0] if len(ways) == 1 else f"{', '.join(ways[:-1])} or {ways[-1]}"
        words += f" The meter asks for {said} instead."
    else:
        words += " No usual shutter time, aperture or ISO alone makes up for that: change more than one."
    return report.model_copy(
        update={"metered_shutter_s": shutter, "metered_iso": iso, "words": words,
                "metered_f_number": None if aperture is None else marks[aperture]}
    )  # fmt: skip


def _beside_flash(report: AmbientReport, stage: Stage, stops: float, subject: str, plural: bool) -> AmbientReport:
    """A set with flash: how to lose the other light."""
    settings, verb, excess = stage.exposure, ("read" if plural else "reads"), stops + BLACK_STOPS
    if excess <= 0:
        verb = "lie" if plural else "lies"
        words = f"{subject} alone {verb} {-stops:.1f} stops under the aperture: without flash the frame is black."
        return report.model_copy(update={"words": words})
    needed = settings.shutter_s / 2.0**excess
    shutter = next((t for t in SHUTTERS_S if t <= needed * 1.02), None)
    iso = next((i for i in reversed(ISOS) if i <= settings.iso / 2.0**excess * 1.02), None)
    sync = report.sync_s
    beyond = sync is not None and shutter is not None and shutter < sync * 0.98
    show = "so they show in the picture" if plural else "so it shows in the picture"
    words = f"{subject} alone {verb} {_side(stops)} the aperture at the face, {show}. "
    it = "they no longer show" if plural else "it no longer shows"
    by_iso = f"at ISO {iso:g} with the flash raised by as much" if iso is not None else ""
    if shutter is not None and not beyond:
        words += f"At {format_shutter(shutter)} {it}{f', nor {by_iso}' if by_iso else ''}."
    elif shutter is not None and sync is not None:
        words += (
            f"At {format_shutter(shutter)} {it}, but the flashes sync only down to {format_shutter(sync)}: close the "
            f"aperture{f' or set ISO {iso:g}' if iso is not None else ''} and raise the flash, or darken the place."
        )
    elif by_iso:
        words += f"No usual shutter time is short enough; {by_iso} {it}."
    else:
        words += (
            "No usual shutter time or ISO gets rid of it: close the aperture and raise the flash, or darken the place."
        )
    return report.model_copy(
        update={"black_shutter_s": shutter, "black_iso": iso, "beyond_sync": beyond, "words": words}
    )


def _lower(text: str) -> str:
    return text[0].lower() + text[1:]


def _closest(value: float, steps: tuple[float, ...] | list[float]) -> float | None:
    """The step nearest to a value, in stops; None where it lies off the scale by more than half a third."""
    step = min(steps, key=lambda s: abs(math.log2(s / value)))
    return float(step) if abs(math.log2(step / value)) <= 0.2 else None


def _sync_s(stage: Stage) -> float | None:
    flashes = [light for light in stage.lights if light.on and light.flash]
    return sync_time(light.head.sync_s if light.head is not None else None for light in flashes)
