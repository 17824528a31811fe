"""The steps of a build-up: each light alone and with those before it, in pictures, numbers and words."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from pydantic import Field

from scenes.meters import aperture_mark, reading_words
from scenes.set_up import is_ambient, set_up_order
from scenes.stage import Stage

from .compare_cells import BACKGROUND_WORDS, CellNumbers, numbers_of
from .develop import develop
from .maps import luminance_stops
from .olat import OlatSet
from .outputs import CHECKSUMS
from .palette import colours
from .preview import sized
from .readings import all_readings
from .record import Record
from .report import CameraSettings, ReadingReport, reading_report
from .tone import DEFAULT_CURVE
from .where_read import place_words, where_read


class StepReport(Record):
    """One light of the build-up."""

    number: int
    light: str
    role: str
    alone: ReadingReport = Field(description="this light alone, where it is read")
    so_far: CellNumbers = Field(description="with all lights before it")


class BuildUpReport(Record):
    """`build-up.json`."""

    format: int = 1
    title: str
    settings: CameraSettings
    before: str = Field(description="what the frame shows before the first head is set up, in words")
    silks: list[str] = Field(default=[], description="what silks take of the lights, in words")
    steps: list[StepReport]
    notes: list[str] = Field(
        default=[], description="about the sheet itself, such as characters that cannot be printed"
    )
    checksums: dict[str, str] = CHECKSUMS


@dataclass(frozen=True, slots=True)
class Step:
    """A light of the build-up as drawn; pictures (h, w, 3) uint8, `map_so_far` the exposure map of the second."""

    report: StepReport
    alone: np.ndarray
    so_far: np.ndarray
    map_so_far: np.ndarray


def steps_of(stage: Stage, olat: OlatSet) -> list[Step]:
    """Every light that is on, in the order of setting up; ambient light alone comes first."""
    lights = [light for light in set_up_order(stage) if light.on]
    readings = all_readings(olat.meters, stage)
    steps = []
    for number, light in enumerate(lights, 1):
        before = only(stage, [li.name for li in lights[:number]])
        report = StepReport(
            number=number, light=light.name, role="ambient" if is_ambient(light) else light.role,
            alone=reading_report(where_read(light, stage, readings)), so_far=numbers_of(olat, before),
        )  # fmt: skip
        seen = colours(luminance_stops(olat, before))
        steps.append(Step(report, _pixels(olat, only(stage, [light.name])), _pixels(olat, before), seen))
    return steps


def only(stage: Stage, names: list[str]) -> Stage:
    """The stage with none but these lights on."""
    return replace(stage, lights=tuple(replace(li, on=li.on and li.name in names) for li in stage.lights))


def _pixels(olat: OlatSet, stage: Stage) -> np.ndarray:
    return sized(develop(olat, stage, curve=DEFAULT_CURVE), stage).to_8_bit()


def legend_words(report: BuildUpReport) -> str:
    """What the pictures and the numbers under them mean."""
    mark = aperture_mark(report.settings.f_number)
    return (
        "Alone: one light, metered where it is aimed. So far: with the lights before it. Face: dome, stops from "
        f"f/{mark}. Cheeks: brighter side to darker, each metered flat. {BACKGROUND_WORDS}"
    )


def alone_words(reading: ReadingReport) -> str:
    """A light's own reading in words, such as "f/8 + 0.3, 0.3 over, at the face"."""
    if reading.stops is None:
        return "reads nothing on this set"
    return f"{reading_words(reading.f_number, reading.stops)}, {place_words(reading.probe)}"
