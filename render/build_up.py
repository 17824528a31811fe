"""The set from black: each light alone, and with those before it, all from one traced set."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from pydantic import Field

from materials import KeyfallError
from scenes import OpenSet
from scenes.meters import aperture_mark, reading_words
from scenes.set_up import is_ambient, set_up_order
from scenes.stage import Stage

from .ambient import ambient_audit
from .cache import Cache
from .compare import BACKGROUND_WORDS, CellNumbers, numbers_of
from .develop import develop
from .loading import opened
from .maps import luminance_stops
from .olat import OlatSet
from .outputs import CHECKSUMS, OutputFolder
from .palette import colours
from .passes import Progress
from .preview import SHEETS, import_ahead, sized
from .readings import all_readings
from .record import Record
from .report import CameraSettings, ReadingReport, camera_settings, reading_report
from .silks import silks_before
from .tone import DEFAULT_CURVE
from .trace import TraceSettings, trace_as
from .where_read import place_words, where_read
from .white import settled


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


def build_up(
    scene: Path | OpenSet, folder: Path, tracing: TraceSettings = TraceSettings(), *, cache: Cache | None = None,
    progress: Progress | None = None, paper: str = "a4",
) -> BuildUpReport:  # fmt: skip
    """Trace a scene and write `build-up.pdf` on pages of a paper ("a4" or "letter"), `build-up.png`, `build-up.html`
    and `build-up.json`.

    Raises
    ------
    KeyfallError
        For a scene that cannot be used or has every light off, settings out of range, or a folder that cannot be
        written.
    """
    with OutputFolder(folder) as output:
        import_ahead(SHEETS)
        loaded = opened(scene)
        stage = loaded.stage
        if not any(light.on for light in stage.lights):
            raise KeyfallError(
                "Every light of this scene is off, so there is nothing to build up. Set on = true for one."
            )
        olat = trace_as(stage, tracing, cache=cache, progress=progress)
        stage = settled(stage, olat.meters)
        steps = steps_of(stage, olat)
        report = BuildUpReport(
            title=loaded.name, settings=camera_settings(stage), before=_before(stage, olat),
            silks=_silks(stage, [step.report for step in steps]), steps=[step.report for step in steps],
        )  # fmt: skip
        from .build_up_html import build_up_html
        from .build_up_sheet import write_build_up_sheet

        report = report.model_copy(update={"notes": write_build_up_sheet(output, steps, report, paper)})
        output.write_text("build-up.html", build_up_html(steps, report))
        report = output.finish("build-up.json", report)
    return report


def _before(stage: Stage, olat: OlatSet) -> str:
    audit = ambient_audit(stage, all_readings(olat.meters, stage))
    return audit.words


def _silks(stage: Stage, steps: list[StepReport]) -> list[str]:
    lights = {light.name: light for light in stage.lights}
    return [silk.words for step in steps for silk in silks_before(lights[step.light], stage, step.alone.probe)]


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
