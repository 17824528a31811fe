"""How results and progress look in the terminal."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from types import TracebackType

from rich.console import Console
from rich.progress import BarColumn, Progress, TaskID, TextColumn, TimeElapsedColumn, TimeRemainingColumn
from rich.table import Table
from rich.text import Text

from scenes.findings import Finding
from scenes.meters import format_f_number, format_ratio, format_stops
from scenes.stage import Stage

from .passes import PassReport
from .readings import ALL_LIGHTS, Reading, find, own_aim
from .report import RatioReport, Report


class TraceBar:
    """Progress bar of a trace: the light in hand, the share done, time left, and its noise so far.

    Use as a context manager; call it with every `PassReport`.
    """

    def __init__(self, console: Console) -> None:
        self._bar = Progress(
            TextColumn("{task.description}"),
            BarColumn(bar_width=28),
            TextColumn("{task.percentage:>3.0f} %"),
            TextColumn("{task.fields[noise]}"),
            TimeElapsedColumn(),
            TextColumn("left"),
            TimeRemainingColumn(),
            console=console,
            transient=True,
        )
        self._task: TaskID | None = None

    def __enter__(self) -> TraceBar:
        self._bar.start()
        self._task = self._bar.add_task("preparing the set", total=None, noise="")
        return self

    def __exit__(self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None) -> None:
        self._bar.stop()

    def __call__(self, report: PassReport) -> None:
        assert self._task is not None
        noise = "" if report.noise_stops is None else f"noise {report.noise_stops:.2f} stop"
        self._bar.update(
            self._task,
            description=f"light {report.light_number} of {report.light_count}: {report.light}",
            total=report.light_count,
            completed=report.light_number - 1 + report.done / report.planned,
            noise=noise,
        )


def findings_to_console(console: Console, findings: Iterable[Finding]) -> None:
    """Print findings, errors red and warnings yellow, one under the other."""
    for finding in findings:
        colour = "red" if finding.severity == "error" else "yellow"
        console.print(Text(finding.format(), style=colour), soft_wrap=True)


def report_to_console(console: Console, report: Report, folder: Path) -> None:
    """Short summary of a preview: lights, ratio, maps, cautions, and where the files are."""
    table = Table(title=report.title, title_justify="left", box=None, pad_edge=False)
    for heading in ("light", "gel", "loss", "at the face", "vs aperture", "noise"):
        table.add_column(heading, justify="left" if heading in ("light", "gel") else "right")
    for light in report.lights:
        table.add_row(
            light.name if light.on else f"{light.name} (off)",
            light.gel.name if light.gel else "",
            f"{light.gel.loss_stops:.1f}" if light.gel else "",
            format_f_number(light.at_face.f_number),
            "" if light.at_face.stops is None else format_stops(light.at_face.stops),
            "" if light.noise_stops is None else f"{light.noise_stops:.2f}",
        )
    console.print(table)
    console.print(_ratio_line(report.ratio), highlight=False)
    exposure = report.maps["exposure"]
    if exposure.share_clipped is not None:
        console.print(
            f"no detail: {100 * exposure.share_clipped:.1f} % of the frame; "
            f"colour outside {report.picture.gamut}: {100 * report.picture.share_gamut_mapped:.1f} %",
            highlight=False,
        )
    for text in report.cautions:
        console.print(Text(text, style="dim"), soft_wrap=True)
    console.print(f"Results are in {folder}", markup=False, highlight=False, soft_wrap=True)


def _ratio_line(ratio: RatioReport) -> str:
    if ratio.key_to_fill is None or ratio.lit_to_shadow is None:
        return "lighting ratio: needs a key and a fill that reach the face"
    return (
        f"lighting ratio at the face: key to fill (K:F) {format_ratio(ratio.key_to_fill)}, "
        f"lit to shadow (K+F):F {format_ratio(ratio.lit_to_shadow)}"
    )


def meter_table(console: Console, stage: Stage, readings: list[Reading], ratio: RatioReport) -> None:
    """Readings at every probe: each light alone, flat toward it, and all together by the dome."""
    exposure = stage.exposure
    table = Table(
        title=f"{stage.title}: readings at ISO {exposure.iso:g}, set aperture f/{exposure.f_number:g}",
        title_justify="left", box=None, pad_edge=False,
    )  # fmt: skip
    table.add_column("meter held at")
    lights = [light for light in stage.lights if light.on]
    for light in lights:
        table.add_column(light.name, justify="right")
    table.add_column("all, dome", justify="right")
    for probe in stage.probes:
        cells = [find(readings, probe.name, light.name, own_aim(light)) for light in lights]
        together = find(readings, probe.name, ALL_LIGHTS, "dome")
        table.add_row(probe.name.replace("_", " "), *(_cell(reading) for reading in [*cells, together]))
    console.print(table)
    console.print(
        "Each light alone: flat meter toward it. All: dome toward the camera. In brackets, stops from the set aperture.",
        style="dim", soft_wrap=True,
    )  # fmt: skip
    console.print(_ratio_line(ratio), highlight=False)


def _cell(reading: Reading) -> str:
    if reading.stops is None:
        return "-"
    return f"{format_f_number(reading.f_number)} ({format_stops(reading.stops)})"
