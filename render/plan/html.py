"""`plan.html`: the lighting plan for a phone: the drawing, a light under the other, the steps in order."""

from __future__ import annotations

import numpy as np

from scenes.meters import power_mark, reading_words, stops_under_full

from ..settings_words import settings_line
from ..sheet import Page
from ..sheet.html import facts, heading, html_page, items, page_pixels, paragraph, picture
from .drawing import common_scale, draw_view, drawing_size
from .front import made_of
from .record import PlanLightReport, PlanReport, PlanWindow
from .set import PlanLight, PlanSet
from .view import SIDE, TOP, Frame
from .words import aim_words, metres, place_words, rise_words, side_words, tilt_words

_WIDTH_MM, _HEIGHT_MM, _EDGE_MM = 150.0, 190.0, 3.0
_DOTS = 160.0


def plan_html(plan: PlanSet, report: PlanReport, look: np.ndarray) -> str:
    """The whole page as text. `look` is the picture, (h, w, 3) uint8."""
    title = report.title or "Lighting plan"
    body = [
        paragraph(f"Lighting plan. {settings_line(report.settings)}.", "quiet"),
        picture(look, f"The look: {title}"),
        heading("From above and from camera right"),
        *(picture(pixels, words, words, wide=True) for pixels, words in _views(plan)),
        heading("Lights"),
    ]
    for light, told in zip(plan.lights, report.lights, strict=True):
        body += [heading(f"{told.number}  {told.name}{'' if told.on else ' (off)'}", 3), _light(light, told)]
    if report.windows:
        body += [heading("Windows"), *(_window(window) for window in report.windows)]
    body += [heading("Set up from black"), items([f"{s.do} Meter: {s.check}." for s in report.steps], numbered=True)]
    body += [heading("Kit"), items([f"{item.count} x {item.what}" for item in report.kit])]
    for name, texts in (("Cautions", report.cautions), ("Notes", report.notes)):
        body += [heading(name), items(texts)] if texts else []
    return html_page(title, body)


def _light(light: PlanLight, told: PlanLightReport) -> str:
    foot = told.support.foot_m
    under = "" if told.power is None else stops_under_full(told.power)
    energy = "" if told.energy_ws is None else f"{told.energy_ws:g} Ws"
    setting = "" if told.power is None else ", ".join(part for part in (power_mark(told.power), energy, under) if part)
    side = "" if told.azimuth_deg is None else side_words(told.azimuth_deg)
    rise = "" if told.elevation_deg is None else rise_words(told.elevation_deg)
    reads = reading_words(told.f_number, told.stops) if told.f_number else "no light"
    aim = aim_words(told.aim, told.aim_m)
    return facts(
        [
            ("Made of", made_of(light, told)), ("Set to", setting),
            ("Front", "" if told.front_m is None else f"{metres(told.front_m[1])} high"),
            ("Distance", "" if told.distance_to_aim_m is None else f"{metres(told.distance_to_aim_m)} to {aim}"),
            ("From", ", ".join(part for part in (side, rise) if part)),
            ("Tilt", "" if told.tilt_deg is None else tilt_words(told.tilt_deg)),
            ("Stand", "" if foot is None else f"{told.support.kind} at {place_words(foot[0], foot[2])}"),
            ("Reads alone", reads), ("Meter", told.where), ("In its way", " and ".join(told.blocked_by)),
            ("Silk", " ".join(told.silks)),
        ]
    )  # fmt: skip


def _window(told: PlanWindow) -> str:
    across, up = told.size_m
    return heading(told.name, 3) + facts(
        [
            ("Opening", f"{across:.2f} x {metres(up)}, in the {told.wall} wall"), ("Sill", metres(told.sill_m)),
            ("Glass", told.glass), ("Curtain and blind", told.cover), ("Sun", told.sun),
        ]
    )  # fmt: skip


def _views(plan: PlanSet) -> list[tuple[np.ndarray, str]]:
    """Both drawings at one scale, each on a picture of its own."""
    inner = _WIDTH_MM - 2 * _EDGE_MM
    scale = common_scale(plan, (inner, inner), (_HEIGHT_MM, _HEIGHT_MM))
    found = []
    for kind, words in ((TOP, "From above"), (SIDE, "From camera right")):
        height = float(drawing_size(plan, kind, scale)[1]) + 8.0
        page = Page(_WIDTH_MM, height + 2 * _EDGE_MM, dots_per_inch=_DOTS)
        draw_view(page, plan, kind, scale, Frame(_EDGE_MM, _EDGE_MM, _WIDTH_MM - _EDGE_MM, _EDGE_MM + height))
        found.append((page_pixels(page), words))
    return found
