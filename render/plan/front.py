"""The first page of the lighting plan, made to hang on a wall: head, view from above, list of lights."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from scenes.meters import (
    aperture_mark,
    aperture_words,
    format_ratio,
    format_shutter,
    from_aperture_words,
    power_mark,
    stops_under_full,
)

from ..settings_words import balance_words
from ..sheet import HEADING, LABEL, SMALL, TITLE, Page, Type, text_width, wrapped
from .canvas import token
from .drawing import draw_view, drawing_size
from .flow import MARGIN_MM, Flow
from .kit import head_words
from .record import PlanLightReport, PlanReport
from .set import PlanLight, PlanSet
from .view import SIDE, TOP, Frame
from .words import (
    STEEP_DEG,
    aim_words,
    metres,
    moment_words,
    rise_words,
    side_words,
    tilt_words,
)

KICKER = Type(10.5, "semibold", 1.2)
SETTING = Type(14, "semibold", 1.15)
VALUE, NAME = Type(11, "semibold", 1.2), Type(10.5, "semibold", 1.2)
MARGIN_COLUMN_MM, GAP_MM = 46.0, 5.0
_FIGURE_MM = MARGIN_COLUMN_MM / 2 - 1.5
_TITLE_SIZES_PT = (24.0, 20.0, 16.0, 13.0)
_TITLE_LINES = 2
_ROW_PAD_MM = 1.1
_ABOVE_MM = 5.0
_SHARES = (0.05, 0.265, 0.145, 0.088, 0.1, 0.112, 0.24)
_HEADINGS = ("", "Light", "Set to", "Height", "Distance", "From", "Reads alone")


def title_type(title: str, width_mm: float) -> Type:
    """The largest type in which a title takes no more than so many lines."""
    for pt in _TITLE_SIZES_PT:
        kind = Type(pt, TITLE.cut, TITLE.leading)
        if len(wrapped(title, kind, width_mm)) <= _TITLE_LINES:
            return kind
    return Type(_TITLE_SIZES_PT[-1], TITLE.cut, TITLE.leading)


def head_mm(title: str, width_mm: float) -> float:
    """Height of the head: kicker and title."""
    kind = title_type(title, width_mm)
    lines = min(len(wrapped(title, kind, width_mm)), _TITLE_LINES + 2)
    return KICKER.line_mm + lines * kind.line_mm + 5.0


def draw_head(flow: Flow, title: str) -> None:
    """What this is, and the title of the look."""
    page = flow.page
    y = page.text(flow.left, flow.y, "Lighting plan", KICKER, colour=page.theme.accent)
    kind = title_type(title, flow.measure)
    page.paragraph(flow.left, y, flow.measure, title, kind, most_lines=_TITLE_LINES + 2)
    flow.y += head_mm(title, flow.measure)


def draw_margin(page: Page, x: float, top: float, bottom: float, report: PlanReport, picture: np.ndarray) -> None:
    """Beside the drawing: the picture of the look, the camera's settings in large figures, the scale and its signs."""
    legend = _legend(report)
    settings = _settings(report)
    below = _pairs_mm(settings) + 2.0 + 7.0 + len(legend) * SMALL.line_mm
    height, width = picture.shape[:2]
    across = min(MARGIN_COLUMN_MM, max(bottom - top - below - 4.0, 20.0) * width / height)
    down = across * height / width
    page.picture(x, top, across, down, picture)
    y = _figures_in_pairs(page, x, top + down + 3.0, settings) + 2.0
    y = _scale_bar(page, x, y, report.scale) + 1.6
    for line in legend:
        y = page.text(x, y, line, SMALL, colour=page.theme.quiet)
    results = _results(report)
    if results and y + 5.0 + LABEL.line_mm + _pairs_mm(results) <= bottom:
        y = page.text(x, y + 4.0, "All lights on", LABEL) + 1.0
        _figures_in_pairs(page, x, y, results)


def _legend(report: PlanReport) -> list[str]:
    turned = report.camera.azimuth_deg
    count = "x to camera right, z toward the camera"
    angles: tuple[str, ...] = ()
    if abs(turned) >= 0.5:
        count = "x to the right as one looks from the front of the set, z toward its front"
        side = side_words(turned)
        angles = (f"Angles of lights count from the camera, which stands {side} of the set's front.",)
    words = (
        f"Places count from the floor mark: {count}, in metres.",
        *angles,
        "Cross: a stand's foot. Dashes: from a light's front to its aim. Wash: its beam, to half of the peak.",
    )
    return [line for text in words for line in wrapped(text, SMALL, MARGIN_COLUMN_MM)]


def _settings(report: PlanReport) -> list[tuple[str, str]]:
    """Camera settings, each with what it is."""
    settings, camera = report.settings, report.camera
    return [
        (f"f/{aperture_mark(settings.f_number)}", "aperture"), (format_shutter(settings.shutter_s), "shutter"),
        (f"ISO {settings.iso:g}", "speed"), (balance_words(settings), "white balance"),
        (f"{camera.focal_length_mm:.0f} mm", "lens, 36 x 24"), (metres(camera.distance_to_face_m), "lens to face"),
    ]  # fmt: skip


def _results(report: PlanReport) -> list[tuple[str, str]]:
    """What all lights together come to, as far as the set tells: readings, and how far each lies from the set
    aperture under it."""
    found, f_number = [], report.settings.f_number
    face = next((c for c in report.checks if c.light == "all" and c.f_number), None)
    if face is not None and face.f_number:
        found.append((aperture_words(face.f_number), f"dome at the face: {from_aperture_words(face.stops, f_number)}"))
    if report.background is not None and report.background.stops is not None:
        stops = report.background.stops
        reads = aperture_words(f_number * 2.0 ** (stops / 2))
        where = f"{report.background.what}, flat at one point"
        found.append((reads, f"{where}: {from_aperture_words(stops, f_number)}"))
    if report.key_to_fill is not None and report.lit_to_shadow is not None:
        found += [
            (format_ratio(report.key_to_fill), "key to fill"),
            (format_ratio(report.lit_to_shadow), "lit to shadow"),
        ]
    return found


def _figures_in_pairs(page: Page, x: float, top: float, parts: list[tuple[str, str]]) -> float:
    """Large figures over what they are, two in a row; returns the bottom."""
    kind = SETTING
    while any(text_width(value, kind) > _FIGURE_MM for value, _ in parts) and kind.size_pt > 9:
        kind = Type(kind.size_pt - 0.5, kind.cut, kind.leading)
    for pair in _pairs(parts):
        for at, (value, what) in zip((x, x + MARGIN_COLUMN_MM / 2), pair, strict=False):
            page.text(at, top, value, kind)
            page.paragraph(at, top + SETTING.line_mm, _FIGURE_MM, what, SMALL, colour=page.theme.quiet)
        top += _pairs_mm(pair)
    return top


def _pairs(parts: list[tuple[str, str]]) -> list[list[tuple[str, str]]]:
    return [parts[k : k + 2] for k in range(0, len(parts), 2)]


def _pairs_mm(parts: list[tuple[str, str]]) -> float:
    """Height of figures in pairs."""
    lines = [max(len(wrapped(what, SMALL, _FIGURE_MM)) for _, what in pair) for pair in _pairs(parts)]
    return sum(SETTING.line_mm + count * SMALL.line_mm + 1.2 for count in lines)


def _scale_bar(page: Page, x: float, y: float, scale: int) -> float:
    """A bar of whole metres and the scale; returns the bottom."""
    per_m = 1000 / scale
    length = next((m for m in (1, 2, 5, 10) if m * per_m >= 12), 20)
    for k in range(2):
        fill = page.theme.ink if k == 0 else page.theme.paper
        half = length * per_m / 2
        page.box(x + k * half, y + 1.3, half, 1.2, fill=fill, edge=page.theme.ink, width_pt=0.6)
    page.text(x + length * per_m + 2.0, y, f"{length} m, 1:{scale}", LABEL)
    return y + LABEL.line_mm


@dataclass(frozen=True, slots=True)
class LightList:
    """The list of lights: large figures, and under them what they are made of."""

    plan: PlanSet
    report: PlanReport
    width_mm: float

    def edges(self) -> list[tuple[float, float]]:
        """Left edge and width of every column, mm from the left of the list."""
        found, x = [], 0.0
        for share in _SHARES:
            found.append((x, share * self.width_mm - 2.5))
            x += share * self.width_mm
        return found

    @property
    def head_mm(self) -> float:
        """Height of the headings."""
        return LABEL.line_mm + 1.6

    def row_mm(self, index: int) -> float:
        """Height of a row."""
        cells = self._cells(index)
        return max(sum(kind.line_mm for _, kind in cell) for cell in cells) + 2 * _ROW_PAD_MM

    @property
    def height_mm(self) -> float:
        """Height of all."""
        return self.head_mm + sum(self.row_mm(k) for k in range(len(self.report.lights)))

    def draw_head(self, page: Page, x: float, top: float) -> float:
        """Draw the headings; returns where rows begin."""
        for (left, _), heading in zip(self.edges(), _HEADINGS, strict=True):
            page.text(x + left, top, heading, LABEL, colour=page.theme.quiet)
        page.rule(x, top + self.head_mm, self.width_mm, colour=page.theme.ink, pt=0.7)
        return top + self.head_mm

    def draw_row(self, page: Page, x: float, top: float, index: int) -> None:
        """Draw one light."""
        light = self.report.lights[index]
        ink = page.theme.ink if light.on else page.theme.quiet
        token(page, x + 2.75, top + _ROW_PAD_MM + NAME.line_mm / 2, light.number, ink)
        tint = self.plan.lights[index].tint
        for column, ((left, _), cell) in enumerate(zip(self.edges()[1:], self._cells(index), strict=True)):
            y = top + _ROW_PAD_MM
            at = x + left
            for text, kind in cell:
                colour = ink if kind is not SMALL else page.theme.quiet
                y = page.text(at, y, text, kind, colour=colour)
            if column == 0 and not tint.neutral:
                page.box(x + 0.75, top + _ROW_PAD_MM + NAME.line_mm + 1.9, 4.0, 1.5, fill=tint.ink, layer=3)
        page.rule(x, top + self.row_mm(index), self.width_mm)

    def _cells(self, index: int) -> list[list[tuple[str, Type]]]:
        light, widths = self.report.lights[index], [width for _, width in self.edges()[1:]]
        name = light.name if light.on else f"{light.name} (off)"
        cells = [
            (name, made_of(self.plan.lights[index], light), NAME),
            *_figures(light),
        ]
        found = []
        for (main, under, kind), width in zip(cells, widths, strict=True):
            lines = [(text, kind) for text in wrapped(main, kind, width)] if main else []
            found.append(lines + [(text, SMALL) for text in (wrapped(under, SMALL, width) if under else [])])
        return found


def made_of(light: PlanLight, facts: PlanLightReport) -> str:
    """Head, modifiers, gels and support of a light on one line."""
    if light.light.fixture is None:
        what = {"sun": "the sun", "sky": "the sky"}.get(light.form.form, "from all around")
        return what if light.light.moment is None else f"{what} at {moment_words(light.light.moment)}"
    words = head_words(light)
    if facts.modifiers:
        words += ", " + " + ".join(facts.modifiers)
    if facts.gels:
        words += ", gel " + " + ".join(facts.gels)
    return f"{words}, on a {facts.support.kind}" if facts.support.kind not in ("none", "stand") else words


def _figures(light: PlanLightReport) -> list[tuple[str, str, Type]]:
    power = "" if light.power is None else power_mark(light.power)
    under = [] if light.energy_ws is None else [f"{light.energy_ws:g} Ws"]
    under += [words] if light.power is not None and (words := stops_under_full(light.power)) else []
    height = "" if light.front_m is None else metres(light.front_m[1])
    far = "" if light.distance_to_aim_m is None else metres(light.distance_to_aim_m)
    tilt = "" if light.tilt_deg is None else tilt_words(light.tilt_deg)
    side = "" if light.azimuth_deg is None else side_words(light.azimuth_deg)
    if light.elevation_deg is not None and light.elevation_deg > STEEP_DEG:
        side = "overhead"
    rise = "" if light.elevation_deg is None else rise_words(light.elevation_deg)
    where = light.where
    if light.stops is not None and light.f_number:
        set_to = light.f_number / 2.0 ** (light.stops / 2)
        where = f"{from_aperture_words(light.stops, set_to)}, {where}"
    if light.blocked_by:
        where += f"; blocked by {' and '.join(light.blocked_by)}"
    aim = aim_words(light.aim, light.aim_m)
    return [
        (power, ", ".join(under), VALUE), (height, tilt, VALUE), (far, f"to {aim}" if aim else "", VALUE),
        (side, rise, VALUE), (aperture_words(light.f_number or 0.0), where, VALUE),
    ]  # fmt: skip


def draw_front(flow: Flow, plan: PlanSet, report: PlanReport, picture: np.ndarray, bottom: float) -> None:
    """The view from above down to `bottom`, and the margin beside it."""
    right = flow.left + flow.measure
    draw_view(flow.page, plan, TOP, report.scale, Frame(flow.left, flow.y, right - MARGIN_COLUMN_MM - GAP_MM, bottom))
    draw_margin(flow.page, right - MARGIN_COLUMN_MM, flow.y, bottom, report, picture)
    flow.y = bottom


def side_mm(plan: PlanSet, scale: int) -> float:
    """Height of the view from camera right with its heading and scale."""
    return (
        _ABOVE_MM + HEADING.line_mm + 2.0 + float(drawing_size(plan, SIDE, scale)[1]) + 6.0 + 2.0 + LABEL.line_mm + 2.0
    )


def draw_side(flow: Flow, plan: PlanSet, report: PlanReport) -> None:
    """The view from camera right, as high as it is."""
    page = flow.page
    above = _ABOVE_MM if flow.y > MARGIN_MM + 14 else 0.0
    flow.y = page.text(flow.left, flow.y + above, "From camera right", HEADING) + 2.0
    height = float(drawing_size(plan, SIDE, report.scale)[1]) + 6.0
    draw_view(page, plan, SIDE, report.scale, Frame(flow.left, flow.y, flow.left + flow.measure, flow.y + height))
    flow.y = _scale_bar(page, flow.left + 7.0, flow.y + height + 2.0, report.scale)
