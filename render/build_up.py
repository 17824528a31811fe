"""The set from black: each light alone, and with those before it, all from one traced set."""

from __future__ import annotations

from pathlib import Path

from materials import KeyfallError
from scenes import OpenSet
from scenes.stage import Stage

from .ambient import ambient_audit
from .build_up_html import build_up_html
from .build_up_sheet import write_build_up_sheet
from .build_up_steps import BuildUpReport, StepReport, steps_of
from .cache import Cache
from .loading import opened
from .olat import OlatSet
from .outputs import OutputFolder
from .passes import Progress
from .preview import SHEETS, import_ahead
from .readings import all_readings
from .report import camera_settings
from .silks import silks_before
from .trace import TraceSettings, trace_as
from .white import settled


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
