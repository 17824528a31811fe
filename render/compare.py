"""Variants of one scene side by side under one exposure: pictures, exposure maps and the numbers that matter."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import numpy as np

from scenes.stage import Stage

from .cache import Cache
from .compare_cells import AxisReport, Cell, CellReport, CompareReport, haze_numbers, numbers_of
from .compare_html import compare_html
from .compare_sheet import write_compare_sheet
from .develop import develop
from .files import write_pixels
from .job import same_transport
from .look import relight
from .maps import luminance_stops
from .meterset import FACE_PROBE
from .olat import OlatSet
from .outputs import OutputFolder
from .passes import Progress, among
from .preview import SHEETS, import_ahead, sized
from .readings import Reading, all_readings, find, own_aim
from .report import camera_settings
from .rigging import FAINTEST_STOPS
from .styles import check_style
from .tone import DEFAULT_CURVE
from .trace import TraceSettings, trace_as, trace_meters
from .variants import Grid, Variant
from .white import settled


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


def _report(grid: Grid, cells: list[Cell], tracing: TraceSettings, even: bool) -> CompareReport:
    settings = {cell.variant.stage.exposure for cell in cells}
    return CompareReport(
        title=grid.title,
        settings=camera_settings(cells[0].variant.stage) if len(settings) == 1 else None,
        across=AxisReport(name=grid.across.name, labels=list(grid.across.labels)),
        down=None if grid.down is None else AxisReport(name=grid.down.name, labels=list(grid.down.labels)),
        evened=even, quality=tracing.quality, cells=[cell.report for cell in cells],
    )  # fmt: skip
