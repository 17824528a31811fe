"""The main job: a scene file becomes a preview, its exposure maps and its report."""

from __future__ import annotations

import importlib
import threading
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from scenes import OpenSet
from scenes.stage import Stage

from . import backend
from .cache import Cache
from .develop import Picture, develop, enlarge
from .files import write_exr, write_png, write_tiff
from .loading import opened, scene_hash
from .maps import ExposureMap, exposure_maps, haze_maps, summarise
from .olat import OlatSet
from .outputs import OutputFolder
from .passes import Progress
from .plot import write_map, write_maps
from .readings import all_readings
from .report import Report, build_report
from .tone import DEFAULT_CURVE
from .trace import TraceSettings, trace_as
from .white import settled


@dataclass(frozen=True, slots=True)
class PictureSettings:
    """What to write: tone curve, gamut, bits a channel (8 PNG, 16 adds a TIFF), linear OpenEXR, the noisy picture."""

    curve: str = DEFAULT_CURVE
    gamut: str = "srgb"
    depth: int = 8
    exr: bool = False
    noisy: bool = False


def preview(
    scene: Path | OpenSet,
    folder: Path,
    tracing: TraceSettings = TraceSettings(),
    pictures: PictureSettings = PictureSettings(),
    *,
    cache: Cache | None = None,
    progress: Progress | None = None,
) -> Report:
    """Trace, develop and write everything of one scene, given as a file or an open set.

    Files appear in `folder` together at the end, in place of those of an earlier run: `preview.png`,
    `map-exposure.png`, `map-face.png`, `map-background.png`, `map-incident.png`, `map-haze.png` (where there is haze),
    `report.json`, and on request `preview.tif`, `preview.exr` and `preview-noisy.png`.

    Raises
    ------
    KeyfallError
        For a scene that cannot be used, settings out of range, no usable device, or a folder that cannot be written.
    """
    with OutputFolder(folder) as output:
        import_ahead()
        loaded = opened(scene)
        stage = loaded.stage
        olat = trace_as(stage, tracing, cache=cache, progress=progress)
        stage = settled(stage, olat.meters)
        picture = develop(olat, stage, curve=pictures.curve, gamut=pictures.gamut)
        maps = _write_maps(output, stage, olat, picture)
        picture = sized(picture, stage)
        _write_pictures(output, stage, olat, picture, pictures)
        report = report_on(stage, olat, picture, maps, tracing.quality, scene_hash(loaded))
        report = output.finish("report.json", report)
    return report


DRAWING = ("scipy.ndimage", "matplotlib.figure", "matplotlib.backends.backend_agg")
SHEETS = (*DRAWING, "render.sheet.save", "matplotlib.backends.backend_pdf", "pypdf", "fontTools.subset")


def import_ahead(names: tuple[str, ...] = DRAWING) -> None:
    """Load the drawing libraries beside the tracing, which leaves the interpreter idle: half a second off a draft."""

    def load() -> None:
        for name in names:
            importlib.import_module(name)

    threading.Thread(target=load, daemon=True).start()


def sized(picture: Picture, stage: Stage) -> Picture:
    """The picture at the size the scene asks for; only a draft is traced smaller."""
    return enlarge(picture, stage.camera.width_px, stage.camera.height_px)


def _write_maps(output: OutputFolder, stage: Stage, olat: OlatSet, picture: Picture) -> list[ExposureMap]:
    maps = exposure_maps(olat, stage, picture)
    for m in maps:
        output.write(
            f"map-{m.name}.png", partial(write_map, exposure_map=m, numbers=summarise(m), scene_title=stage.title)
        )
    hazy = haze_maps(olat, stage)
    if hazy:
        output.write("map-haze.png", lambda path: write_maps(path, [(m, summarise(m)) for m in hazy], stage.title))
    return [*maps, *hazy]


def report_on(
    stage: Stage, olat: OlatSet, picture: Picture, maps: list[ExposureMap], quality: str, scene_hash: str
) -> Report:
    """The report of a set just traced on the device in use."""
    return build_report(
        stage, olat, picture, maps, all_readings(olat.meters, stage),
        quality=quality, device=backend.active_device(), scene_hash=scene_hash,
    )  # fmt: skip


def _write_pictures(
    output: OutputFolder, stage: Stage, olat: OlatSet, picture: Picture, settings: PictureSettings
) -> None:
    output.write("preview.png", lambda path: write_png(path, picture))
    if settings.depth == 16:
        output.write("preview.tif", lambda path: write_tiff(path, picture))
    if settings.exr:
        output.write("preview.exr", lambda path: write_exr(path, olat, stage))
    if settings.noisy:
        raw = sized(develop(olat.noisy(), stage, curve=settings.curve, gamut=settings.gamut), stage)
        output.write("preview-noisy.png", lambda path: write_png(path, raw))
