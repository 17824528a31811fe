"""How results and progress look in the terminal."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from types import TracebackType

from rich.progress import BarColumn, Progress, TaskID, TextColumn, TimeElapsedColumn, TimeRemainingColumn
from rich.text import Text

from scenes.findings import Finding
from scenes.meters import (
    aperture_mark,
    aperture_words,
    difference_words,
    format_power,
    format_ratio,
    format_shutter,
    format_stops,
)
from scenes.probes import AIM_PROBE
from scenes.stage import Light, Stage

from .doctor import Diagnosis
from .hazing import haze_words
from .meterset import FACE_PROBE
from .passes import PassReport
from .readings import ALL_LIGHTS, Reading, find, own_aim
from .report import GelReport, LightReport, MapReport, RatioReport, ReadingReport, Report
from .streams import Console, Table
from .terminal_rig import rig_to_console
from .where_read import BACKGROUND_PROBE, place_words

_FAINTEST_STOPS = -10.0  # what lies farther under the aperture leaves no trace in a picture
_CELL, _GAP = 23, 2  # characters of a reading such as "f/5.6 + 0.3  1.4 under", and between columns
_GAMUT_NAMES = {"srgb": "sRGB", "p3": "Display P3"}
_NOTE = (
    "A reading is a full stop and tenths of a stop over it, as hand meters show it: f/8 + 0.3. Over and under: stops "
    f"from the set aperture. -: no light, or more than {-_FAINTEST_STOPS:.0f} stops under."
)

_METER_NOTE = (
    "Each light alone: flat meter toward it. All together: dome toward the camera. On background and floor both: flat "
    "on the surface. Background centre: clear of the sitter."
)
_ALONE_NOTE = (
    "Each light alone, read where it is aimed: flat toward the light, on the background flat on its surface. All "
    "together: dome toward the camera. Loss: stops that the gels take. Noise: of the traced picture over the face, "
    "in stops."
)


class TraceBar:
    """Progress bar of a trace: the light in hand, the share done, time left, and its noise so far.

    Use as a context manager; call it with every `PassReport`.
    """

    def __init__(self, console: Console) -> None:
        self._bar = Progress(
            TextColumn("{task.description}", markup=False),
            BarColumn(bar_width=28),
            TextColumn("{task.percentage:>3.0f} %"),
            TextColumn("{task.fields[noise]}"),
            TimeElapsedColumn(),
            TextColumn("left"),
            TimeRemainingColumn(),
            console=console,
            transient=True,
            disable=not console.is_terminal,
        )
        self._task: TaskID | None = None

    def __enter__(self) -> TraceBar:
        self._bar.start()
        self._task = self._bar.add_task("preparing the set", total=None, noise="")
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._bar.stop()

    def __call__(self, report: PassReport) -> None:
        """Show how far the trace is."""
        assert self._task is not None
        noise = "" if report.noise_stops is None else f"noise {report.noise_stops:.2f} stop"
        slow = ", noisy: denoising takes longer" if report.noisy else ""
        self._bar.update(
            self._task,
            description=f"light {report.light_number} of {report.light_count}: {report.light}{slow}",
            total=report.light_count,
            completed=report.light_number - 1 + report.done / report.planned,
            noise=noise,
        )


def findings_to_console(console: Console, findings: Iterable[Finding]) -> None:
    """Print findings, errors red, warnings yellow and notes plain, one under the other."""
    for finding in findings:
        colour = {"error": "red", "warning": "yellow"}.get(finding.severity, "")
        console.print(Text(finding.format(), style=colour), soft_wrap=True)


def report_to_console(console: Console, report: Report, folder: Path) -> None:
    """Summary of a preview for a terminal: lights, ratio, how the picture is exposed, cautions, where the files are."""
    settings = report.settings
    console.print(_heading(report.title, settings.iso, settings.f_number, settings.shutter_s))
    console.print(_light_table(report))
    _prose(console, f"{_ALONE_NOTE} {_NOTE}")
    for text in _blocked_lines(report.lights):
        _prose(console, text, style="yellow")
    for silk in (silk for light in report.lights if light.on for silk in light.silks):
        _prose(console, silk.words, style="")
    _prose(console, _ratio_line(report.ratio), style="")
    _prose(console, report.ambient.words, style="")
    if report.haze is not None:
        _prose(console, haze_words(report.haze), style="")
    console.print()
    rig_to_console(console, report, aperture_mark(settings.f_number))
    console.print(_map_table(report))
    omitted = next((m.left_out for m in report.maps.values() if m.left_out), "")
    if omitted:
        lost = f"{100 * report.picture.share_no_detail:.1f} %"
        words = f"These maps leave out: {omitted}. Of the whole picture, lamps and sky included, {lost} has no detail."
        _prose(console, words, style="")
    if report.picture.share_gamut_mapped >= 0.0005:
        share = f"{100 * report.picture.share_gamut_mapped:.1f} %"
        _prose(
            console,
            f"Too saturated for {_GAMUT_NAMES[report.picture.gamut]}, so paler than on set: {share} of the frame.",
            style="",
        )
    for text in report.picture.warnings:
        _prose(console, text, style="yellow")
    if report.cautions:
        console.print()
        for text in report.cautions:
            _prose(console, text)
    console.print()
    console.print(f"Results are in {folder}", markup=False, highlight=False, soft_wrap=True)




def _heading(title: str, iso: float, f_number: float, shutter_s: float) -> Text:
    settings = f"ISO {iso:g}, f/{aperture_mark(f_number)}, {format_shutter(shutter_s)}"
    name = " ".join(title.split())
    return Text.assemble((name, "bold"), ": " if name else "", settings)


def _prose(console: Console, text: str, style: str = "dim") -> None:
    console.print(Text(text, style=style))


def _light_table(report: Report) -> Table:
    table = Table(box=None, pad_edge=False)
    mark = aperture_mark(report.settings.f_number)
    for heading in ("light", "power", "gel", "loss", "reads alone", f"from f/{mark}", "at", "noise"):
        right, may_wrap = heading in ("loss", "noise"), heading in ("light", "gel")
        table.add_column(heading, justify="right" if right else "left", no_wrap=not may_wrap)
    for light in report.lights:
        table.add_row(*(Text(cell) for cell in _light_cells(light)))
    wanted = (FACE_PROBE, ALL_LIGHTS, "dome")
    together = next(r for r in report.readings if (r.probe, r.light, r.aim) == wanted)
    reads, off, where = _reading_cells(together)
    table.add_row("all", "", "", "", reads, off, f"{where}, dome" if where else "", "")
    return table


def _blocked_lines(lights: list[LightReport]) -> list[str]:
    return [
        f"{' and '.join(light.blocked_by)} {'stand' if len(light.blocked_by) > 1 else 'stands'} in the way of "
        f"{light.name}, which is read {place_words(light.read_at.probe)}."
        for light in lights
        if light.on and light.blocked_by
    ]


def _light_cells(light: LightReport) -> tuple[str, ...]:
    gel, noise = light.gel, light.noise_stops
    return (
        light.name if light.on else f"{light.name} (off)",
        "" if light.power is None else format_power(light.power),
        gel.name if gel else "",
        _loss(gel) if gel else "",
        *(_reading_cells(light.read_at) if light.on else ("", "", "")),
        "" if noise is None else f"{noise:.2f}",
    )


def _loss(gel: GelReport) -> str:
    return "all" if gel.loss_stops is None else f"{gel.loss_stops:.1f}"


def _map_table(report: Report) -> Table:
    table = Table(box=None, pad_edge=False)
    table.add_column("stops from mid-grey")
    for heading in ("darkest", "median", "brightest", "no detail"):
        table.add_column(heading, justify="right")
    for name in ("exposure", "face", "background"):
        if name in report.maps:
            table.add_row(*_map_cells(report.maps[name]))
    return table


def _map_cells(numbers: MapReport) -> tuple[str, ...]:
    if numbers.minimum is None or numbers.median is None or numbers.maximum is None:
        return numbers.title, "", "not in the picture", "", ""
    darkest, median, brightest = (
        f"{'under ' if stops <= numbers.floor_stops else ''}{format_stops(stops)}"
        for stops in (numbers.minimum, numbers.median, numbers.maximum)
    )
    lost = "" if numbers.share_no_detail is None else f"{100 * numbers.share_no_detail:.1f} %"
    return numbers.title, darkest, median, brightest, lost


def _ratio_line(ratio: RatioReport) -> str:
    if ratio.key_to_fill is None or ratio.lit_to_shadow is None:
        return "No lighting ratio: that takes a key and a fill, both on and both reaching the face."
    return (
        f"Lighting ratio: key to fill (K:F) {format_ratio(ratio.key_to_fill)}, "
        f"lit to shadow (K+F):F {format_ratio(ratio.lit_to_shadow)}"
    )


def meter_table(console: Console, stage: Stage, readings: list[Reading], ratio: RatioReport) -> None:
    """Readings at every probe: each light alone, flat toward it, and all together by the dome.

    Lights that do not fit side by side go into further tables, one under the other.
    """
    exposure = stage.exposure
    console.print(_heading(stage.title, exposure.iso, exposure.f_number, exposure.shutter_s))
    lights: list[Light | None] = [*(light for light in stage.lights if light.on), None]
    for group in _side_by_side(lights, console.width - _probe_width(stage)):
        table = Table(box=None, pad_edge=False)
        table.add_column("meter held at", no_wrap=True)
        for light in group:
            table.add_column(_column_name(light), no_wrap=True)
        for probe in stage.probes:
            table.add_row(_said(probe.name), *(_cell(_reading_at(readings, probe.name, light)) for light in group))
        console.print(table)
        console.print()
    _prose(console, f"{_METER_NOTE} {_NOTE}")
    _prose(console, _ratio_line(ratio), style="")


def _reading_at(readings: list[Reading], probe: str, light: Light | None) -> Reading:
    flat = probe.startswith(("background", AIM_PROBE, "floor"))
    if light is None:
        return find(readings, probe, ALL_LIGHTS, "flat:surface" if flat else "dome")
    return find(readings, probe, light.name, "flat:surface" if flat else own_aim(light))


def _column_name(light: Light | None) -> str:
    return "all" if light is None else light.name


def _said(name: str) -> str:
    if name.startswith(AIM_PROBE):
        return f"background, aim of {name.removeprefix(AIM_PROBE)}"
    return name.replace("_", " ")


def _probe_width(stage: Stage) -> int:
    return max(len(name) for name in ("meter held at", *(_said(probe.name) for probe in stage.probes)))


def _side_by_side(lights: list[Light | None], width: int) -> list[list[Light | None]]:
    """Lights in groups whose columns fit into `width` characters; None stands for all lights together."""
    groups: list[list[Light | None]] = []
    room = 0
    for light in lights:
        needed = max(_CELL, len(_column_name(light))) + _GAP
        if not groups or room < needed:
            groups.append([])
            room = width
        groups[-1].append(light)
        room -= needed
    return groups


def _reading_cells(reading: ReadingReport) -> tuple[str, str, str]:
    """A reading, how far it lies from the set aperture, and where the meter is held, in a word."""
    if reading.stops is None or reading.stops < _FAINTEST_STOPS:
        return "-", "", ""
    behind = reading.probe == BACKGROUND_PROBE or reading.probe.startswith(AIM_PROBE)
    where = "background" if behind else _said(reading.probe)
    return aperture_words(reading.f_number), difference_words(reading.stops), where


def _cell(reading: Reading | ReadingReport) -> str:
    """A reading and how far it lies from the set aperture: "f/8 + 0.3    0.3 over"."""
    if reading.stops is None or reading.stops < _FAINTEST_STOPS:
        return "-"
    return f"{aperture_words(reading.f_number):<11}  {difference_words(reading.stops)}"


def diagnosis_to_console(console: Console, found: Diagnosis) -> None:
    """What `keyfall doctor` found, one line a fact."""
    table = Table(show_header=False, box=None, pad_edge=False)
    rows = {
        "ready to trace": "yes" if found.usable else "no",
        "device": f"{found.device}, {found.cores} cores" if found.device == "cpu" else found.device,
        "NVIDIA driver": "yes" if found.cuda else "none",
        "LLVM library": found.llvm or "none",
        "LLVM found": "\n".join(found.llvm_found) or "none",
        "system": found.system,
        "versions": ", ".join(f"{name} {version}" for name, version in found.versions.items()),
        "cache": found.cache_folder or "none",
        "cache size": f"{found.cache_bytes / 1e6:.0f} MB of at most {found.cache_limit_bytes / 1e6:.0f} MB",
    }
    for name, text in rows.items():
        table.add_row(name, Text(text))
    console.print(table)
    if found.advice:
        console.print()
        console.print(Text(found.advice, style="red"))
