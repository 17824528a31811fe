"""From scene files to the sheets that need a traced set and its report: board, plan, export."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import numpy as np
from pydantic import Field

from materials import KeyfallError
from materials.plain import hidden_character, shortened, visible
from scenes import OpenSet
from scenes.stage import Stage, White

from .cache import Cache
from .develop import develop
from .files import write_exr
from .loading import opened, scene_hash
from .looks import read_looks
from .maps import exposure_maps, haze_maps
from .olat import OlatSet
from .outputs import CHECKSUMS, OutputFolder
from .passes import Progress, among
from .preview import SHEETS, import_ahead, report_on, sized
from .record import Record
from .report import Report, versions
from .tone import DEFAULT_CURVE
from .trace import TraceSettings, trace_as, trace_meters
from .white import settled

if TYPE_CHECKING:
    from .board import BoardReport, Look
    from .plan import PlanReport


def worked(
    stage: Stage, scene_hash: str, tracing: TraceSettings, cache: Cache | None, progress: Progress | None
) -> tuple[OlatSet, np.ndarray, Report]:
    """A stage's traced set, its picture (h, w, 3) uint8 sRGB and its report."""
    olat = trace_as(stage, tracing, cache=cache, progress=progress)
    stage = settled(stage, olat.meters)
    picture = develop(olat, stage, curve=DEFAULT_CURVE)
    maps = [*exposure_maps(olat, stage, picture), *haze_maps(olat, stage)]
    picture = sized(picture, stage)
    return olat, picture.to_8_bit(), report_on(stage, olat, picture, maps, tracing.quality, scene_hash)


def _titled(loaded: OpenSet) -> Stage:
    return loaded.stage if loaded.stage.title else replace(loaded.stage, title=loaded.name)


def board_of(
    looks: list[str], folder: Path, tracing: TraceSettings = TraceSettings(), *, title: str | None = None,
    client: str = "", note: str = "", captions: list[str] | None = None, theme: str = "light", paper: str = "a4",
    cache: Cache | None = None, progress: Progress | None = None,
) -> BoardReport:  # fmt: skip
    """Trace looks, each ``FILE`` or ``FILE@KEY=VALUE``, and write the board of them; see `render.board`.

    Raises
    ------
    KeyfallError
        For looks that cannot be used, more captions than looks, settings out of range, or a folder that cannot be
        written.
    """
    from .board import BoardSettings, make_board, seen_light
    from .board import Look as BoardLook

    captions = captions or []
    if len(captions) > len(looks):
        raise KeyfallError(f"{len(captions)} captions are given for {len(looks)} looks. Give at most one a look.")
    for what, text in (("title", title or ""), ("client", client), ("note", note), *(("caption", c) for c in captions)):
        held = hidden_character(text)
        if held is not None:
            raise KeyfallError(f"The {what} '{visible(shortened(text))}' holds {held}. Remove it.")
    named = read_looks(looks)
    with OutputFolder(folder) as output:
        import_ahead(SHEETS)
        made = []
        for number, look in enumerate(named, 1):
            stage = _titled(look)
            told = among(progress, "look", number, len(named))
            olat, picture, report = worked(stage, scene_hash(look), tracing, cache, told)
            caption = captions[number - 1] if number <= len(captions) else None
            stage = settled(stage, olat.meters)
            made.append(BoardLook(stage.title, stage, picture, report, seen_light(olat, stage), caption))
        settings = BoardSettings(title or _board_title(made), client, note, theme, paper)  # type: ignore[arg-type]  # checked there
        board = make_board(made, settings, output)
        board = output.finish("board.json", board)
    return board


def _board_title(looks: list[Look]) -> str:
    return looks[0].title if len(looks) == 1 else "Mood board"


def plan_of(
    scene: Path | OpenSet, folder: Path, tracing: TraceSettings = TraceSettings(), *, paper: str = "a4",
    view: bool = True, cache: Cache | None = None, progress: Progress | None = None,
) -> PlanReport:  # fmt: skip
    """Trace a scene and write its lighting plan; see `render.plan.make.make_plan`.

    Raises
    ------
    KeyfallError
        For a scene that cannot be used, settings out of range, or a folder that cannot be written.
    """
    from .plan import PlanSettings, make_plan

    with OutputFolder(folder) as output:
        import_ahead(SHEETS)
        loaded = opened(scene)
        stage = _titled(loaded)
        olat, picture, report = worked(stage, scene_hash(loaded), tracing, cache, progress)
        stage = settled(stage, olat.meters)
        plan = make_plan(stage, picture, report, PlanSettings(paper, view), output)  # type: ignore[arg-type]  # checked there
        plan = output.finish("plan.json", plan)
    return plan


def _white_known(stage: Stage, tracing: TraceSettings, cache: Cache | None) -> Stage:
    """The stage with its white balance worked out; only a grey card needs its meters traced."""
    white = stage.exposure.white_balance
    if not isinstance(white, White) or white.card is None:
        return settled(stage)
    meters = trace_meters(stage, device=tracing.device, threads=tracing.threads, cache=cache)
    return settled(stage, meters)


class ExportReport(Record):
    """`export.json`."""

    format: Literal[1] = 1
    title: str
    scene_hash: str
    quality: str | None = Field(description="of what was traced; null when nothing was")
    versions: dict[str, str]
    checksums: dict[str, str] = CHECKSUMS


def export_of(
    scene: Path | OpenSet, folder: Path, tracing: TraceSettings = TraceSettings(), *, gltf: bool = True,
    exr: bool = True, table: bool = True, cache: Cache | None = None, progress: Progress | None = None,
) -> list[str]:  # fmt: skip
    """Write a scene for other programs: `set.glb`, `lights.exr`, `lights.csv`, and `export.json`, which tells them
    apart from those of another run; returns the names written.

    The glTF file alone needs no tracing, but for a white balance by a grey card its meter is read.

    Raises
    ------
    KeyfallError
        For a scene that cannot be used, settings out of range, or a folder that cannot be written.
    """
    names = []
    with OutputFolder(folder) as output:
        loaded = opened(scene)
        stage = _titled(loaded)
        if gltf:
            from .rigged import write_gltf

            stage = _white_known(stage, tracing, cache)
            names.append(output.write("set.glb", lambda path: write_gltf(path, stage)).name)
        if exr:
            olat = trace_as(stage, tracing, cache=cache, progress=progress)
            names.append(output.write("lights.exr", lambda path: write_exr(path, olat, stage)).name)
        if table:
            from .light_table import light_csv, light_rows

            report = worked(stage, scene_hash(loaded), tracing, cache, progress)[2]
            names.append(output.write_text("lights.csv", light_csv(light_rows(stage, report))).name)
        quality = tracing.quality if exr or table else None
        told = ExportReport(title=stage.title, scene_hash=scene_hash(loaded), quality=quality, versions=versions())
        output.finish("export.json", told)
    return [*names, "export.json"]
