"""The pages of the lighting plan."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from scenes.meters import aperture_mark, aperture_words, difference_words

from ..readings import ALL_LIGHTS
from ..rigged.view import SetView
from ..sheet import PAPERS_MM, Column, Page, Type, wrapped
from .canvas import token
from .drawing import common_scale, drawing_size
from .flow import FOOT_MM, MARGIN_MM, Flow
from .front import GAP_MM, MARGIN_COLUMN_MM, LightList, draw_front, draw_head, draw_side, head_mm, side_mm
from .key import draw_set_and_key
from .kit_list import draw_kit
from .record import PlanReport, PlanStep
from .set import PlanSet
from .view import SCALES, TOP
from .words import metres, number, piece_words, tilt_words, unbroken

UNTITLED = "Untitled look"
FRONT_TOP_MM = 14.0
_SIDE_MM, _LEAST_MM, _LIST_GAP_MM = 104.0, 95.0, 6.0
_TABLE_ROW_MM, _KEPT_MM = 6.0, 44.0
STEP, CHECK = Type(9.5), Type(9.5, "semibold")
_CLOSER, _WELL_FILLED = 0.92, 0.6
_LEAST_RULED_MM, _RULE_MM = 50.0, 9.0
COARSER_BY = 1.5
"""How much smaller the drawing may become for the list of lights to stand on the first page."""


@dataclass(frozen=True, slots=True)
class FrontPage:
    """Scale of both views, and what stands under the view from above: "list" of the lights, "side" view, or "none"."""

    scale: int
    under: Literal["list", "side", "none"]


def front_page(plan: PlanSet, paper: str, list_mm: float) -> FrontPage:
    """The list of lights under the view from above, where that makes the drawing not much smaller; else the view from
    the side, where it does; else the view from above alone."""
    width, height = PAPERS_MM[paper]
    measure = width - 2 * MARGIN_MM
    room = height - FRONT_TOP_MM - FOOT_MM - 4.0 - head_mm(plan.stage.title or UNTITLED, measure)
    sizes = (measure - MARGIN_COLUMN_MM - GAP_MM, measure)
    alone = common_scale(plan, sizes, (room, _SIDE_MM))
    left = room - list_mm - _LIST_GAP_MM
    beside = common_scale(plan, sizes, (left, _SIDE_MM)) if left > _LEAST_MM else SCALES[-1]
    if beside <= COARSER_BY * alone:
        return FrontPage(beside, "list")
    for scale in SCALES[SCALES.index(alone) :]:
        stacked = float(drawing_size(plan, TOP, scale)[1]) + 6.0 + side_mm(plan, scale)
        if scale <= COARSER_BY * alone and stacked <= room and room - side_mm(plan, scale) > _LEAST_MM:
            return FrontPage(scale, "side")
    return FrontPage(alone, "none")


def draw_pages(
    plan: PlanSet, report: PlanReport, picture: np.ndarray, view: SetView | None, front: FrontPage
) -> list[Page]:
    """All pages: what hangs on the wall, the view from the side and the set, then the work in order.

    Where a plan would end on a page that is little filled, its type stands closer if that saves the page; the kit,
    which stays together, changes places with the cautions if that does.
    """
    flow = _flow(plan, report, picture, view, front, close=False, kit_last=False)
    if _filled(flow) < _WELL_FILLED:
        for close, kit_last in ((False, True), (True, False), (True, True)):
            other = _flow(plan, report, picture, view, front, close, kit_last)
            if len(other.pages) < len(flow.pages):
                flow = other
                break
    _lines_to_write_on(flow)
    flow.number_pages()
    return flow.pages


def _lines_to_write_on(flow: Flow) -> None:
    """What is left of the last page, ruled, where it has room for more than a few lines."""
    if flow.room < _LEAST_RULED_MM:
        return
    flow.heading("Noted on the day")
    flow.paragraph("What the meter said, and what was moved.", quiet=True)
    while flow.room >= _RULE_MM:
        flow.y += _RULE_MM
        flow.page.rule(flow.left, flow.y, flow.measure)


def _filled(flow: Flow) -> float:
    """Share of the last page that is taken, of a plan with more pages than one."""
    return flow.y / flow.bottom if len(flow.pages) > 1 else 1.0


def _flow(
    plan: PlanSet, report: PlanReport, picture: np.ndarray, view: SetView | None, front: FrontPage, close: bool,
    kit_last: bool,
) -> Flow:  # fmt: skip
    flow = Flow(*PAPERS_MM[report.paper], title=report.title or UNTITLED, close=close)
    flow.turn(heading=False)
    flow.y = FRONT_TOP_MM
    draw_head(flow, report.title or UNTITLED)
    lights = LightList(plan, report, flow.measure)
    if front.under == "list":
        draw_front(flow, plan, report, picture, flow.bottom - lights.height_mm - _LIST_GAP_MM)
        flow.y += _LIST_GAP_MM
        _light_list(flow, lights)
        flow.turn()
        draw_side(flow, plan, report)
    else:
        side = side_mm(plan, report.scale) if front.under == "side" else 0.0
        draw_front(flow, plan, report, picture, flow.bottom - side)
        if front.under == "side":
            draw_side(flow, plan, report)
        flow.turn()
        flow.heading("Lights")
        _light_list(flow, lights)
        if front.under == "none":
            flow.need(side_mm(plan, report.scale))
            draw_side(flow, plan, report)
    draw_set_and_key(flow, plan, view)
    _tape(flow, report)
    _windows(flow, report)
    _steps(flow, report)
    _checks(flow, report)
    if not kit_last:
        draw_kit(flow, report.kit)
    _texts(flow, "Cautions", report.cautions)
    _texts(flow, "Notes", report.notes)
    if kit_last:
        draw_kit(flow, report.kit)
    return flow


def _light_list(flow: Flow, lights: LightList) -> None:
    flow.y = lights.draw_head(flow.page, flow.left, flow.y)
    heights = [lights.row_mm(k) for k in range(len(lights.report.lights))]
    flow.rows(heights, lambda k, top: lights.draw_row(flow.page, flow.left, top, k))


def _tape(flow: Flow, report: PlanReport) -> None:
    """Where everything goes on the floor."""
    rows = _tape_rows(report)
    flow.heading("Tape out the floor", min(16.0 + _TABLE_ROW_MM * (len(rows) + 1), _KEPT_MM))
    flow.paragraph(
        "From the floor mark: x and z as on the drawing from above, in metres. The front is plumb "
        "under the middle of the light's front, the stand is where its foot goes.", quiet=True,
    )  # fmt: skip
    flow.y += 1.5
    columns = [
        Column("", whole=True), Column("what"), Column("held by"), Column("stand x", "right", True),
        Column("stand z", "right", True), Column("front x", "right", True), Column("front z", "right", True),
        Column("height", "right", True), Column("tilt", "right", True),
    ]  # fmt: skip
    flow.table(columns, rows)


def _windows(flow: Flow, report: PlanReport) -> None:
    """Every window, what is on it, and where the sun falls through it."""
    if not report.windows:
        return
    flow.heading("Windows", min(16.0 + 2 * _TABLE_ROW_MM * len(report.windows), _KEPT_MM))
    sunny = any(window.sun for window in report.windows)
    columns = [
        Column("window"), Column("wall", whole=True), Column("middle", whole=True), Column("opening", whole=True),
        Column("sill", "right", True), Column("glass"), Column("curtain and blind"),
        *([Column("sun comes in")] if sunny else []),
    ]  # fmt: skip
    rows = []
    for window in report.windows:
        x, _, z = window.middle_m
        middle = f"z {number(z)}" if window.wall in ("left", "right") else f"x {number(x)}"
        opening = f"{number(window.size_m[0])} x {metres(window.size_m[1])}"
        rows.append(
            [window.name, window.wall, middle, opening, metres(window.sill_m), window.glass, window.cover,
             *([window.sun or "no"] if sunny else [])]
        )  # fmt: skip
    flow.table(columns, rows)


def _tape_rows(report: PlanReport) -> list[list[str]]:
    """Lights, set pieces, camera and background, each with its places."""
    rows = []
    for light in report.lights:
        if light.front_m is None:
            continue
        foot, support = light.support.foot_m, light.support.kind
        held = f"boom, arm {metres(light.support.reach_m)}" if support == "boom" else support
        rows.append(
            [
                str(light.number), light.name, "" if support == "none" else held,
                *(("", "") if foot is None else (number(foot[0]), number(foot[2]))),
                number(light.front_m[0]), number(light.front_m[2]), metres(light.front_m[1]),
                "" if light.tilt_deg is None else tilt_words(light.tilt_deg),
            ]
        )  # fmt: skip
    for piece in report.pieces:
        x, y, z = piece.middle_m
        rows.append(["", piece_words(piece.kind, piece.name), "", "", "", number(x), number(z), metres(y), ""])
    x, y, z = report.camera.at_m
    rows.append(
        [
            "",
            "camera",
            "tripod",
            number(x),
            number(z),
            number(x),
            number(z),
            metres(y),
            tilt_words(report.camera.tilt_deg),
        ]
    )
    if report.background is not None:
        behind = report.background
        size = f"{metres(behind.width_m)} wide"
        rows.append(["", f"{behind.what}, {behind.finish}, {size}", "", "", "", "", number(behind.z_m),
                     metres(behind.height_m), ""])  # fmt: skip
    return rows


def _steps(flow: Flow, report: PlanReport) -> None:
    flow.heading("Set up from black", 40.0)
    flow.paragraph(
        "One light at a time; whatever was set before it goes off while the next is metered. Set each until the meter "
        "says what stands at the right.", quiet=True,
    )  # fmt: skip
    flow.y += 2.0
    side = 0.27 * flow.measure
    width = flow.measure - 9.0 - side - 5.0
    do, check = (kind.scaled(_CLOSER if flow.close else 1.0) for kind in (STEP, CHECK))
    pad = 3.0 if flow.close else 4.2
    heights = [
        max(len(wrapped(unbroken(s.do), do, width)) * do.line_mm,
            len(wrapped(unbroken(s.check), check, side)) * check.line_mm) + pad
        for s in report.steps
    ]

    def draw(index: int, top: float) -> None:
        _step(flow, report.steps[index], top, width, side, (do, check))
        flow.page.rule(flow.left, top + heights[index] - pad / 3, flow.measure)

    flow.rows(heights, draw)


def _step(flow: Flow, step: PlanStep, top: float, width: float, side: float, kinds: tuple[Type, Type]) -> None:
    page, (do, check) = flow.page, kinds
    middle = top + do.line_mm / 2 + 0.3
    if step.light is not None:
        token(page, flow.left + 2.75, middle, step.light, page.theme.ink)
    else:
        page.disc(flow.left + 2.75, middle, 0.9, fill=page.theme.accent, layer=3)
    page.paragraph(flow.left + 9.0, top, width, unbroken(step.do), do)
    page.paragraph(flow.left + flow.measure - side, top, side, unbroken(step.check), check)


def _checks(flow: Flow, report: PlanReport) -> None:
    flow.heading("All lights on: what the meter should say", _KEPT_MM)
    mark = aperture_mark(report.settings.f_number)
    words = (
        f"At ISO {report.settings.iso:g}. A reading is a full stop and tenths of a stop over it; beside it stands how "
        f"many stops it lies from the set f/{mark}."
    )
    flow.paragraph(words, quiet=True)
    flow.y += 1.5
    columns = [
        Column("where the meter is, and how it is held"), Column("expect", whole=True),
        Column(f"from f/{mark}", whole=True),
    ]  # fmt: skip
    rows = [
        [
            check.where,
            aperture_words(check.f_number or 0.0),
            "" if check.stops is None else difference_words(check.stops),
        ]
        for check in report.checks
        if check.light == ALL_LIGHTS
    ]  # fmt: skip
    flow.table(columns, rows)


def _texts(flow: Flow, heading: str, texts: list[str]) -> None:
    if not texts:
        return
    flow.heading(heading, 12.0)
    for text in texts:
        flow.paragraph(text, Type(9))
        flow.y += 1.4
