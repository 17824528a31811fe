"""The lighting plan: the set drawn to scale, and everything needed to rig it from paper."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Literal

from ..outputs import OutputFolder
from ..report import Report
from ..rigged.view import SetView, SetViewError, draw_set_view
from ..sheet import PAPERS_MM, Page, save_pdf, save_png, save_svg, unprintable
from .facts import background_facts, camera_facts, light_facts, meter_checks, piece_facts, place, window_facts
from .flow import MARGIN_MM
from .front import LightList
from .html import plan_html
from .kit import kit_list
from .pages import FrontPage, draw_pages, front_page
from .record import PlanReport
from .set import PlanSet, plan_set
from .steps import set_up_steps

if TYPE_CHECKING:
    import numpy as np

    from scenes.stage import Stage

SET_VIEW_PX = (1220, 1000)
_DRAFT_SCALE = 50


@dataclass(frozen=True, slots=True)
class PlanSettings:
    """Paper of the plan, "a4" or "letter"; and whether the set is also drawn in three dimensions."""

    paper: Literal["a4", "letter"] = "a4"
    set_view: bool = True


def make_plan(
    stage: Stage, picture: np.ndarray, report: Report, settings: PlanSettings, output: OutputFolder
) -> PlanReport:
    """Draw the lighting plan of a stage: `plan.pdf`, and each page as `plan-1.svg`, `plan-1.png` and so on.

    Parameters
    ----------
    picture : (h, w, 3) uint8, the look.
    report : of the same stage.
    output : where files go; a set view that cannot be drawn here is left out, and `notes` say why.

    Raises
    ------
    ValueError
        When the report is of other lights than the stage's.
    OutputError
        When a file cannot be written.
    """
    plan = plan_set(stage, report)
    notes = list(report.warnings)
    view = _set_view(stage, notes) if settings.set_view else None
    told, front = plan_report(plan, settings.paper, notes)
    pages = draw_pages(plan, told, picture, view, front)
    lost = unprintable(*(text for page in pages for text in page.texts))
    if lost is not None:
        told = told.model_copy(update={"notes": [*told.notes, lost]})
        pages = draw_pages(plan, told, picture, view, front)
    files = _write(output, pages, told.title or "Lighting plan")
    output.write_text("plan.html", plan_html(plan, told, picture))
    return told.model_copy(update={"files": [*files, "plan.html"]})


def _set_view(stage: Stage, notes: list[str]) -> SetView | None:
    try:
        return draw_set_view(stage, SET_VIEW_PX)
    except SetViewError as reason:
        notes.append(f"This plan has no view of the set in three dimensions. {reason}")
        return None


def plan_report(plan: PlanSet, paper: Literal["a4", "letter"], notes: list[str]) -> tuple[PlanReport, FrontPage]:
    """Every number of the plan, and how its first page is laid out."""
    stage, report = plan.stage, plan.report
    camera, lights, pieces = camera_facts(stage), light_facts(plan), piece_facts(plan)
    background = background_facts(stage, report)
    told = PlanReport(
        title=stage.title, paper=paper, scale=_DRAFT_SCALE, settings=report.settings, camera=camera,
        face_m=place(stage.landmarks["face"]),
        sitter_height_m=None if plan.sitter is None else float(plan.sitter.high_m[1]),
        background=background, lights=lights, pieces=pieces, windows=window_facts(plan),
        key_to_fill=report.ratio.key_to_fill, lit_to_shadow=report.ratio.lit_to_shadow,
        steps=set_up_steps(plan, lights, background),
        checks=meter_checks(plan, lights), kit=kit_list(plan, camera, background, pieces),
        cautions=list(report.cautions), notes=notes, files=[],
    )  # fmt: skip
    width = PAPERS_MM[paper][0] - 2 * MARGIN_MM
    front = front_page(plan, paper, LightList(plan, told, width).height_mm)
    return told.model_copy(update={"scale": front.scale}), front


def _write(output: OutputFolder, pages: list[Page], title: str) -> list[str]:
    files = ["plan.pdf"]
    for ending in ("svg", "png"):
        output.series(f"plan-[0-9].{ending}")
        output.series(f"plan-[0-9][0-9].{ending}")
    output.write("plan.pdf", partial(save_pdf, pages=pages, title=title))
    for index, page in enumerate(pages, start=1):
        for name, save in (
            (f"plan-{index}.svg", partial(save_svg, page=page, title=f"{title}, page {index}", pages=pages)),
            (f"plan-{index}.png", partial(save_png, page=page)),
        ):
            output.write(name, save)
            files.append(name)
    return files
