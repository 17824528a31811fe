"""Variants of one scene side by side under one exposure: pictures, exposure maps and the numbers that matter."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
from pydantic import Field

from scenes.meters import difference_words, format_stops
from scenes.stage import Stage

from .backdrop import backdrop_report
from .cache import Cache
from .develop import develop
from .files import write_pixels
from .hazing import haze_report
from .job import same_transport
from .look import relight
from .maps import DARKEST_STOPS, luminance_stops
from .meterset import FACE_PROBE
from .olat import OlatSet
from .outputs import CHECKSUMS, OutputFolder
from .passes import Progress, among
from .preview import SHEETS, import_ahead, sized
from .readings import ALL_LIGHTS, Reading, all_readings, find, own_aim
from .record import Record
from .report import CameraSettings, camera_settings
from .rigging import FAINTEST_STOPS
from .sheet.type import true_minus
from .styles import StyleReport, check_style
from .tone import DEFAULT_CURVE
from .trace import TraceSettings, trace_as, trace_meters
from .variants import Grid, Variant
from .white import settled


class HazeNumbers(Record):
    """What haze shows; null where nothing does, or the face is dark."""

    beam: str | None = Field(description="the light whose beam shows most")
    beam_stops: float | None = Field(description="by which it reads over its background")
    face_contrast_taken: float | None = Field(description="share of the face's contrast that the haze takes")


class CellNumbers(Record):
    """The numbers under a picture; null where nothing is read."""

    face_stops: float | None = Field(description="all lights, dome at the face, from the set aperture")
    cheeks_ratio: float | None = Field(description="brighter cheek over the other, each metered flat on it, all lights")
    background_light_stops: float | None = Field(
        description="light on the background, flat on it, from the face's reading; the median over the picture"
    )
    background_seen_stops: float | None = Field(
        description="the background as seen, its colour and haze included, from mid-grey: the median over the picture"
    )
    haze: HazeNumbers | None = Field(default=None, description="null on a clear set")


class CellReport(Record):
    """One variant of a comparison."""

    row: int
    column: int
    labels: list[str]
    numbers: CellNumbers
    power_change_stops: dict[str, float] = Field(description="by which lights were evened out; empty if they were not")
    style: StyleReport | None
    notes: list[str]
    noise_stops: float | None = Field(description="of the noisiest light over the face, before denoising")
    warnings: list[str]


class AxisReport(Record):
    """What is varied in one direction."""

    name: str
    labels: list[str]


class CompareReport(Record):
    """`compare.json`."""

    format: int = 1
    title: str
    settings: CameraSettings | None = Field(description="null when the exposure itself is varied")
    across: AxisReport
    down: AxisReport | None
    evened: bool
    quality: str
    cells: list[CellReport]
    notes: list[str] = Field(
        default=[], description="about the sheet itself, such as characters that cannot be printed"
    )
    checksums: dict[str, str] = CHECKSUMS


@dataclass(frozen=True, slots=True)
class Cell:
    """A variant as drawn: `picture` (h, w, 3) uint8, `stops` (h, w) from mid-grey and
    `no_detail` (h, w) bool at traced size."""

    variant: Variant
    picture: np.ndarray
    stops: np.ndarray
    no_detail: np.ndarray
    report: CellReport


def compare(
    grid: Grid,
    folder: Path,
    tracing: TraceSettings = TraceSettings(),
    *,
    even: bool = False,
    pictures: bool = False,
    paper: str = "a4",
    cache: Cache | None = None,
    progress: Progress | None = None,
) -> CompareReport:
    """Trace what differs between variants, once, and write `compare.pdf`, `compare.png`, `compare.html` and
    `compare.json`.

    Parameters
    ----------
    grid : what `render.variants.make_grid` gives.
    even : give the varied lights, in each variant, the power at which they read at the face as in the scene itself.
    pictures : also write each picture by itself, `compare-ROW-COLUMN.png`, counted from 1.
    paper : of the PDF, "a4" or "letter".

    Raises
    ------
    KeyfallError
        For settings out of range, no usable device, or a folder that cannot be written.
    """
    with OutputFolder(folder) as output:
        import_ahead(SHEETS)
        cells = _cells(grid, tracing, even, cache, progress)
        report = _report(grid, cells, tracing, even)
        from .compare_html import compare_html
        from .compare_sheet import write_compare_sheet

        report = report.model_copy(update={"notes": write_compare_sheet(output, cells, report, paper)})
        output.write_text("compare.html", compare_html(cells, report))
        if pictures:
            output.series("compare-[0-9]-[0-9].png")
            output.series("compare-[0-9]-[0-9][0-9].png")
            for cell in cells:
                name = f"compare-{cell.report.row + 1}-{cell.report.column + 1}.png"
                output.write(name, partial(write_pixels, pixels=cell.picture))
        report = output.finish("compare.json", report)
    return report


def _cells(
    grid: Grid, tracing: TraceSettings, even: bool, cache: Cache | None, progress: Progress | None
) -> list[Cell]:
    cells: list[Cell] = []
    last: tuple[Stage, OlatSet] | None = None
    wanted = _readings_of(grid.base, tracing, cache) if even else []
    for number, variant in enumerate(grid.variants, 1):
        if last is None or not same_transport(last[0], variant.stage):
            told = among(progress, "picture", number, len(grid.variants))
            last = variant.stage, trace_as(variant.stage, tracing, cache=cache, progress=told)
        olat = last[1]
        stage = variant.stage
        changes: dict[str, float] = {}
        if even:
            stage, changes = _evened(variant, all_readings(olat.meters, stage), grid.base, wanted)
        stage = settled(stage, olat.meters)
        cells.append(_cell(variant, stage, olat, changes, tracing, cache))
    return cells


def _readings_of(stage: Stage, tracing: TraceSettings, cache: Cache | None) -> list[Reading]:
    meters = trace_meters(stage, device=tracing.device, threads=tracing.threads, cache=cache)
    return all_readings(meters, stage)


def _evened(
    variant: Variant, readings: list[Reading], base: Stage, wanted: list[Reading]
) -> tuple[Stage, dict[str, float]]:
    """The variant's stage with its varied lights at the power that reads as in the scene itself, and the changes."""
    stage = variant.stage
    changes: dict[str, float] = {}
    names = {*variant.lights, variant.key}
    present = {light.name for light in stage.lights}
    for light in (light for light in base.lights if light.name in names and light.name in present):
        aim = own_aim(light)
        at = next((p for p in _places(wanted) if _level(wanted, p, light.name, aim) >= FAINTEST_STOPS), FACE_PROBE)
        now, before = (find(r, at, light.name, aim).stops for r in (readings, wanted))
        if now is not None and before is not None and abs(before - now) > 1e-6:
            stage = relight(stage, light.name, stops=before - now)
            changes[light.name] = before - now
    return stage, changes


def _places(readings: list[Reading]) -> list[str]:
    probes = list(dict.fromkeys(r.probe for r in readings))
    return [p for p in (FACE_PROBE, "background_centre") if p in probes]


def _level(readings: list[Reading], probe: str, light: str, aim: str) -> float:
    stops = find(readings, probe, light, aim).stops
    return -np.inf if stops is None else stops


def _cell(
    variant: Variant, stage: Stage, olat: OlatSet, changes: dict[str, float], tracing: TraceSettings,
    cache: Cache | None,
) -> Cell:  # fmt: skip
    picture = develop(olat, stage, curve=DEFAULT_CURVE)
    style = None
    if variant.style is not None and variant.key is not None:
        style = check_style(
            stage, variant.style, variant.key, device=tracing.device, threads=tracing.threads, cache=cache
        )
    noises = [t.noise_stops for t in olat.transports if t.noise_stops is not None]
    report = CellReport(
        row=variant.row, column=variant.column, labels=list(variant.labels),
        numbers=numbers_of(olat, stage).model_copy(update={"haze": haze_numbers(olat, stage)}),
        power_change_stops=changes, style=style, notes=list(variant.notes),
        noise_stops=max(noises, default=None), warnings=[*stage.warnings, *olat.warnings, *picture.warnings],
    )  # fmt: skip
    stops = luminance_stops(olat, stage)
    return Cell(variant, sized(picture, stage).to_8_bit(), stops, picture.no_detail, report)


def numbers_of(olat: OlatSet, stage: Stage) -> CellNumbers:
    """Face, cheeks and background of a stage, all its lights together."""
    readings = {(r.probe, r.aim): r for r in all_readings(olat.meters, stage) if r.light == ALL_LIGHTS}
    face = readings[FACE_PROBE, "dome"].stops
    sides = [readings[probe, "flat:surface"].exposure_lx_s for probe in ("cheek_L", "cheek_R")]
    behind = backdrop_report(olat, stage)
    return CellNumbers(
        face_stops=face,
        cheeks_ratio=max(sides) / min(sides) if min(sides) > 1e-9 else None,
        background_light_stops=None if face is None or behind is None else behind.light_stops - face,
        background_seen_stops=None if behind is None else behind.seen_stops,
    )


def haze_numbers(olat: OlatSet, stage: Stage) -> HazeNumbers | None:
    """What haze shows on a traced stage; None on a clear one."""
    report = haze_report(olat, stage)
    if report is None:
        return None
    beam = next((b for b in report.beams if b.light == report.carried_by), None)
    return HazeNumbers(
        beam=report.carried_by, beam_stops=None if beam is None else beam.brightest_stops,
        face_contrast_taken=report.face.contrast_taken,
    )  # fmt: skip


def number_words(numbers: CellNumbers) -> list[tuple[str, str]]:
    """The numbers as they stand under a picture: the value, and what it is of; two more where there is haze."""
    ratio = numbers.cheeks_ratio
    told = [
        ("dark" if numbers.face_stops is None else difference_words(numbers.face_stops), "face"),
        ("one only" if ratio is None else f"{ratio:.1f}:1" if ratio < 99.5 else "over 99:1", "cheeks"),
        (_light_behind(numbers), "light behind"),
        (_look_behind(numbers.background_seen_stops), "tone behind"),
    ]
    if numbers.haze is not None:
        beam, taken = numbers.haze.beam_stops, numbers.haze.face_contrast_taken
        told.append(("none" if beam is None else true_minus(format_stops(beam)), "beam"))
        told.append(("dark" if taken is None else f"{100 * (1 - taken):.0f} %", "contrast left"))
    return told


BACKGROUND_WORDS = (
    "Light behind: on the background, from the face's. Tone behind: the background as seen, in stops from mid-grey. "
    "Both are medians over all of it that the picture shows, not a reading at one point."
)
"""What the two numbers of the background mean."""


def _light_behind(numbers: CellNumbers) -> str:
    """Light on the background from the face's; a map ends at its darkest, so what lies there is "none"."""
    light, face = numbers.background_light_stops, numbers.face_stops
    if light is None or face is None or light + face <= DARKEST_STOPS:
        return "none"
    return difference_words(light, level="the same")


def _look_behind(stops: float | None) -> str:
    """How the background looks, from mid-grey."""
    if stops is None:
        return "not seen"
    return "black" if stops <= DARKEST_STOPS else true_minus(format_stops(stops))


def _report(grid: Grid, cells: list[Cell], tracing: TraceSettings, even: bool) -> CompareReport:
    settings = {cell.variant.stage.exposure for cell in cells}
    return CompareReport(
        title=grid.title,
        settings=camera_settings(cells[0].variant.stage) if len(settings) == 1 else None,
        across=AxisReport(name=grid.across.name, labels=list(grid.across.labels)),
        down=None if grid.down is None else AxisReport(name=grid.down.name, labels=list(grid.down.labels)),
        evened=even, quality=tracing.quality, cells=[cell.report for cell in cells],
    )  # fmt: skip
