"""Windows on the drawing: the hole in its wall, what hangs before it, and the sunlight that comes through it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from scenes.sunbeam import sunbeam
from scenes.window_place import CURTAIN_PAST_M, SetWindow

from ..rigged.reach import first_met
from ..sheet import LABEL, shortened
from .labels import SOFT, SOLID
from .view import SIDE, TOP, View, hull
from .words import metres, number

if TYPE_CHECKING:
    from scenes.stage import Stage

    from .canvas import Drawing
    from .set import PlanLight, PlanSet

WALL, WALL_WASH = "#8d8a83", "#d6d3cb"
SHOWN_M = 6.0
"""A window this near to the floor mark widens the drawing until it is on it."""

_CURTAIN_AT_M, _CURTAIN_WAVE_M, _BLIND_AT_M = -0.09, 0.14, -0.03
_GLASS_AT = 0.8
_FLOOR_M, _SUN_ALPHA = 1e-6, 0.3


@dataclass(frozen=True, slots=True)
class WindowSun:
    """Sunlight through a window: the light, and corners (n, 3) of the body that it fills in the room."""

    light: str
    corners_m: np.ndarray

    def on_floor(self) -> np.ndarray:
        """Corners (n, 3) of its patch on the floor; none where it lies on a wall."""
        found: np.ndarray = self.corners_m[self.corners_m[:, 1] < _FLOOR_M]
        return found if len(found) > 2 else found[:0]


def suns_through(stage: Stage, window: SetWindow) -> list[WindowSun]:
    """The sunlight of every sun that is on, where nothing outside stands before it."""
    found: list[WindowSun] = []
    ways, place = stage.openings, window.place
    for light in stage.lights:
        if ways is None or not light.on or light.distant is None or light.distant.kind != "sun":
            continue
        toward = light.distant.toward
        corners = sunbeam(window, toward, ways.low_m, ways.high_m)
        if corners is None or first_met(stage.surroundings, place.at(0.0, 0.0, place.wall_m), toward) is not None:
            continue
        found.append(WindowSun(light.name, corners))
    return found


def window_points(stage: Stage) -> list[np.ndarray]:
    """Corners of the windows, each (8, 3), that a drawing has to show."""
    found = []
    for window in stage.windows:
        x, y = window.place.size_m / 2
        deep = window.place.wall_m
        corners = np.array([window.place.at(u, v, w) for u in (-x, x) for v in (-y, y) for w in (0, deep)])
        if np.hypot(corners[:, 0], corners[:, 2]).min() < SHOWN_M:
            found.append(corners)
    return found


def spans_between(holes: list[tuple[float, float]], low: float, high: float) -> list[tuple[float, float]]:
    """What holes, each from where to where, leave of the way from low to high."""
    spans, start = [], low
    for first, last in sorted(holes):
        if first > start:
            spans.append((start, first))
        start = max(start, last)
    return [*spans, (start, high)] if high > start else spans


def holes_of(windows: list[SetWindow], top: bool) -> list[tuple[float, float]]:
    """From where to where windows of one wall reach along it, or, from the side, above the floor."""
    found = []
    for window in windows:
        place = window.place
        middle = float(place.centre_m @ place.along) if top else float(place.centre_m[1])
        half = float(place.size_m[0 if top else 1]) / 2
        found.append((middle - half, middle + half))
    return found


def draw_windows(drawing: Drawing, plan: PlanSet) -> None:
    """Every window of the room."""
    for window in plan.stage.windows:
        if drawing.view.kind == TOP or window.wall in ("front", "back"):
            _cut(drawing, window)
        else:
            _elevation(drawing, window)


def _cut(drawing: Drawing, window: SetWindow) -> None:
    """A window that the paper cuts: from above along its width, from the side along its height."""
    place, page = window.place, drawing.page
    top = drawing.view.kind == TOP
    half = float(place.size_m[0 if top else 1]) / 2

    def at(s: float, outward_m: float) -> np.ndarray:
        return place.at(s, 0.0, outward_m) if top else place.at(0.0, s, outward_m)

    deep = place.wall_m
    for s in (-half, half):
        drawing.line(np.stack([at(s, 0.0), at(s, deep)]), colour=page.theme.ink, width_pt=0.9, cost=SOLID, layer=2.3)
    for outward in (0.0, deep):
        drawing.line(np.stack([at(-half, outward), at(half, outward)]), colour=WALL, width_pt=0.5, cost=SOFT, layer=2.1)
    if window.glass != "none":
        ends = np.stack([at(-half, _GLASS_AT * deep), at(half, _GLASS_AT * deep)])
        dashes = (0, (2.5, 1.2)) if window.glass == "frosted" else "-"
        drawing.line(ends, colour=page.theme.cool, width_pt=1.4, dashes=dashes, cost=SOLID, layer=2.3)
    outline = drawing.view.at(np.stack([at(-half, 0), at(half, 0), at(half, deep), at(-half, deep)]))
    drawing.area(outline, fill=page.theme.paper, layer=2.05)
    if window.drawn > 0:
        for line in _curtain(window, top):
            drawing.line(line, colour=page.theme.ink, width_pt=0.6, cost=SOFT, layer=2.4)
    if window.lowered > 0:
        first = half if top else -half + 2 * half * (1 - window.lowered)
        ends = np.stack([at(-half if top else first, _BLIND_AT_M), at(half, _BLIND_AT_M)])
        drawing.line(ends, colour=page.theme.ink, width_pt=1.0, dashes=(0, (0.8, 1.2)), cost=SOFT, layer=2.4)


def _curtain(window: SetWindow, top: bool) -> list[np.ndarray]:
    """From above its folds, drawn in from both sides; from the side one line down."""
    place = window.place
    x, y = (float(v) for v in place.size_m / 2 + CURTAIN_PAST_M)
    if not top:
        low = max(-y, 0.01 - float(place.centre_m[1]))
        return [np.stack([place.at(0.0, low, _CURTAIN_AT_M), place.at(0.0, y, _CURTAIN_AT_M)])]
    lines = []
    for side in (-1, 1):
        u = side * np.linspace((1 - window.drawn) * x, x, 49)
        off = _CURTAIN_AT_M + 0.035 * np.sin(2 * np.pi * u / _CURTAIN_WAVE_M)
        lines.append(place.at(u, np.zeros(49), off))
    return lines


def _elevation(drawing: Drawing, window: SetWindow) -> None:
    """A window in a side wall, seen flat: behind the set in the left wall, in front of it, dashed, in the right one."""
    place, page = window.place, drawing.page
    x, y = (float(v) for v in place.size_m / 2)
    near = window.wall == "right"
    dashes = (0, (2.5, 2)) if near else "-"
    rim = place.at(np.array([-x, x, x, -x, -x]), np.array([-y, -y, y, y, -y]), np.zeros(5))
    if not near:
        drawing.area(drawing.view.at(rim[:-1]), fill=page.theme.cool, alpha=0.07, layer=0.6)
    drawing.line(rim, colour=WALL, width_pt=0.9, dashes=dashes, cost=SOFT, layer=0.8)
    if near:
        return
    columns, rows = window.panes if window.glass != "none" else (1, 1)
    bars = [((u, u), (-y, y)) for u in np.linspace(-x, x, columns + 1)[1:-1]]
    bars += [((-x, x), (v, v)) for v in np.linspace(-y, y, rows + 1)[1:-1]]
    for u, v in bars:
        drawing.line(place.at(np.array(u), np.array(v), np.zeros(2)), colour=WALL, width_pt=0.45, layer=0.7)
    if window.lowered > 0:
        for v in np.linspace(y, y - 2 * y * window.lowered, max(2, round(14 * window.lowered) + 1)):
            ends = place.at(np.array([-x, x]), np.array([v, v]), np.zeros(2))
            drawing.line(ends, colour=page.theme.ink, width_pt=0.35, layer=0.85)
    if window.drawn > 0:
        past = x + CURTAIN_PAST_M
        for u in np.linspace(-past, past, round(2 * past / _CURTAIN_WAVE_M) + 1):
            if abs(u) >= (1 - window.drawn) * past - 1e-9:
                ends = place.at(np.array([u, u]), np.array([-y, y]), np.zeros(2))
                drawing.line(ends, colour=page.theme.ink, width_pt=0.35, layer=0.85)


def draw_sunbeams(drawing: Drawing, plan: PlanSet) -> None:
    """The sun's light through windows, in its tint, and where it lies on the floor."""
    lights = {light.row.name: light for light in plan.lights}
    for window in plan.stage.windows:
        for sun in suns_through(plan.stage, window):
            _sunbeam(drawing, lights[sun.light], sun)


def _sunbeam(drawing: Drawing, light: PlanLight, sun: WindowSun) -> None:
    view, tint = drawing.view, light.tint
    within = drawing.inside()
    left = drawing.area(hull(view.at(sun.corners_m)), within, fill=tint.wash, alpha=_SUN_ALPHA, layer=1.5)
    if len(left) > 2:
        drawing.placer.cover(left, 0.6)
        drawing.page.line(np.concatenate([left, left[:1]]), colour=tint.ink, width_pt=0.4, layer=1.7)
    floor = sun.on_floor()
    if view.kind == SIDE or not len(floor):
        return
    patch = drawing.area(hull(view.at(floor)), within, fill=tint.wash, alpha=0.5, layer=1.55)
    if len(patch) > 2:
        drawing.page.line(np.concatenate([patch, patch[:1]]), colour=tint.ink, width_pt=0.7, layer=1.75)


def window_labels(view: View, plan: PlanSet) -> list[tuple[list[str], np.ndarray, dict[str, object]]]:
    """Name, size and sill of every window that the drawing shows."""
    found: list[tuple[list[str], np.ndarray, dict[str, object]]] = []
    for window in plan.stage.windows:
        place = window.place
        x, y = place.size_m / 2
        anchor = view.at(place.at(np.array([-x, 0, x]), np.zeros(3), np.zeros(3)))
        if view.kind == SIDE:
            anchor = view.at(place.at(np.zeros(3), np.array([-y, 0, y]), np.zeros(3)))
        if not any(view.frame.holds(point) for point in anchor):
            continue
        lines = [shortened(f"window {window.name}", LABEL, 34.0), f"{size_words(window)}, sill {metres(window.sill_m)}"]
        found.append((lines, anchor, {"reach_mm": 1.2}))
    return found


def size_words(window: SetWindow) -> str:
    """Width and height of the opening."""
    width, height = (float(v) for v in window.place.size_m)
    return f"{number(width)} x {metres(height)}"


def glass_words(window: SetWindow) -> str:
    """What closes it."""
    if window.glass == "none":
        return "open hole, no glass"
    columns, rows = window.panes
    panes = "one pane" if columns * rows == 1 else f"{columns} x {rows} panes"
    return f"{window.glass} glass, {panes}"


def cover_words(window: SetWindow) -> str:
    """Curtain and blind; "bare" without."""
    parts = []
    if window.drawn > 0:
        kind = window.curtain or f"white curtain of {window.curtain_stops:g} {_stops(window.curtain_stops)}"
        kind = f"{kind} curtain" if window.curtain else kind
        parts.append(f"{kind}, {_part(window.drawn, 'drawn')}")
    if window.lowered > 0:
        tilt = f"{abs(window.slat_deg):.0f}°" if window.slat_deg >= 0 else f"\u2212{abs(window.slat_deg):.0f}°"
        parts.append(f"{window.blind} blind, {_part(window.lowered, 'down')}, slats {tilt}")
    return "; ".join(parts) or "bare"


def _stops(stops: float | None) -> str:
    return "stop" if stops == 1 else "stops"


def _part(share: float, way: str) -> str:
    return f"all {way}" if share >= 1 else f"{100 * share:.0f} % {way}"


def sun_words(suns: list[WindowSun], numbers: dict[str, int]) -> str:
    """Where the sun's light through a window lies; empty where none comes in."""
    parts = []
    for sun in suns:
        floor = sun.on_floor()
        if len(floor):
            (x, _, z), (to_x, _, to_z) = floor.min(axis=0), floor.max(axis=0)
            where = f"on the floor, x {number(x)} to {number(to_x)}, z {number(z)} to {number(to_z)}"
        else:
            where = f"on the walls, up to {metres(float(sun.corners_m[:, 1].max()))}"
        parts.append(f"light {numbers[sun.light]} {where}")
    return "; ".join(parts)
