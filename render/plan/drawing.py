"""The drawing of the lighting plan: the set from above and from camera right, to scale."""

from __future__ import annotations

import numpy as np

from scenes.bodies import exit_outline
from scenes.stage import Fixture

from ..sheet import LABEL, SMALL, Page, shortened, text_width, true_minus
from .beam import FACE_ON, draw_beam
from .canvas import Drawing
from .labels import HARD, SOFT, SOLID
from .place import draw_place, place_labels
from .set import PlanLight, PlanSet
from .symbols import HEAD_LENGTH_M, Body, Pose, draw_far_symbol, draw_symbol
from .view import SIDE, TOP, Frame, View, cut_line, flat_box, hull, scale_for
from .windows import draw_sunbeams, window_points
from .words import metres, moment_words, place_words, side_words, tilt_words

NAME_MM = 24.0
"""Widest name in a drawing; the table has it whole."""

LABEL_ROOM_MM = {TOP: np.array([40.0, 13.0]), SIDE: np.array([26.0, 16.0])}
_TICKS_MM = np.array([7.0, 6.0])
_GRID = "#ebe7df"


def needed_points(plan: PlanSet, kind: str) -> np.ndarray:
    """Points (n, 3) that a view has to show: sitter, lights with their supports, pieces, camera."""
    found = [np.zeros((1, 3)), plan.stage.camera.origin_m[None]]
    if plan.sitter is not None:
        found.append(np.stack([plan.sitter.low_m, plan.sitter.high_m]))
    for light, fixture in plan.placed():
        outline = exit_outline(fixture)
        behind = outline - (fixture.body_depth_m + HEAD_LENGTH_M) * fixture.forward
        found += [outline, behind.mean(axis=0)[None]]
        if light.aim_m is not None:
            found.append(light.aim_m[None])
        found += [end[None] for end in (light.support.foot_m, light.support.top_m) if end is not None]
    found += [piece.corners_m for piece in plan.pieces]
    found += window_points(plan.stage)
    for shape in plan.stage.shapes:
        if shape.region == "background":
            points = shape.vertices.astype(float)
            limit = 1.4 if kind == TOP else 10.0
            found.append(np.clip(points, [-limit, 0, points[:, 2].min()], [limit, 2.6, points[:, 2].min()]))
    points = np.concatenate(found)
    return points * [1, 0, 1] if kind == TOP else points


def drawing_size(plan: PlanSet, kind: str, scale: int) -> np.ndarray:
    """Width and height (2,) in mm that a view takes at a scale, with room for its labels."""
    low, high = flat_box(kind, needed_points(plan, kind))
    size: np.ndarray = (high - low) * 1000 / scale + label_room(plan, kind)
    return size


def label_room(plan: PlanSet, kind: str) -> np.ndarray:
    """Room (2,) in mm beside what is drawn for its labels: more across where names are long."""
    longest = max((min(text_width(li.row.name, LABEL), NAME_MM) for li in plan.lights), default=0.0)
    more = max(longest - 21.0, 0.0) if kind == TOP else 0.0
    room: np.ndarray = LABEL_ROOM_MM[kind] + [more, 0.0]
    return room


def common_scale(plan: PlanSet, widths_mm: tuple[float, float], heights_mm: tuple[float, float]) -> int:
    """The largest round scale at which both views fit, the one from above into the first width and height."""
    scales = []
    for kind, width_mm, height in zip((TOP, SIDE), widths_mm, heights_mm, strict=True):
        low, high = flat_box(kind, needed_points(plan, kind))
        scales.append(scale_for(high - low, np.array([width_mm, height]) - _TICKS_MM - label_room(plan, kind)))
    return max(scales)


def draw_view(page: Page, plan: PlanSet, kind: str, scale: int, area: Frame) -> View:
    """Draw one view into an area of the page: ticks at its left and bottom, the set in what is left."""
    frame = Frame(area.left + _TICKS_MM[0], area.top, area.right, area.bottom - _TICKS_MM[1])
    low, high = flat_box(kind, needed_points(plan, kind))
    per_m = 1000 / scale
    middle = np.array([(frame.left + frame.right) / 2, (frame.top + frame.bottom) / 2])
    origin = middle - per_m * (low + high) / 2
    if kind == SIDE:
        origin[1] = frame.bottom - 4.0
    view = View(kind, origin, per_m, frame)
    drawing = Drawing(page, view, _back_z(plan, view))
    _grid(page, view)
    draw_place(drawing, plan)
    draw_sunbeams(drawing, plan)
    for light in plan.lights:
        draw_beam(drawing, light)
    near = 1 if kind == TOP else 0
    order = sorted(plan.placed(), key=lambda pair: float(pair[1].centre_m[near]))
    for light in plan.lights:
        _support(drawing, light)
    drawn = {light.row.name: _light(drawing, light) for light, _ in order}
    for light in plan.lights:
        _aim_line(drawing, light)
    for light in plan.lights:
        if light.light.fixture is None:
            _far_light(drawing, light)
    for lines, names, look in place_labels(view, plan):
        drawing.words(lines, names, **look)  # type: ignore[arg-type]
    for light, _ in plan.placed():
        points = drawn[light.row.name]
        if points is not None:
            _light_label(drawing, light, points)
    drawing.set_words()
    return view


def _back_z(plan: PlanSet, view: View) -> float | None:
    """Where the background stands; None without one, and where a light stands behind it."""
    behind = [shape for shape in plan.stage.shapes if shape.region == "background"]
    if not behind:
        return None
    z = float(behind[-1].vertices[:, 2].min())
    hidden = any(fixture.centre_m[2] < z for _, fixture in plan.placed())
    return None if hidden else z


def _grid(page: Page, view: View) -> None:
    """A hairline every metre, and the metres along the left and the bottom."""
    frame, per_m = view.frame, view.mm_per_m
    step = 1 if per_m >= 9 else 2 if per_m >= 4.5 else 5
    for axis, (low, high) in enumerate(((frame.left, frame.right), (frame.top, frame.bottom))):
        first, last = (int(np.ceil((low - view.origin_mm[axis]) / per_m)), int((high - view.origin_mm[axis]) // per_m))
        for metre in range(first, last + 1):
            at = view.origin_mm[axis] + metre * per_m
            shown = -metre if view.kind == SIDE else metre
            if view.kind == SIDE and axis == 1 and shown < 0:
                continue
            main = metre == 0
            ends = [(at, frame.top), (at, frame.bottom)] if axis == 0 else [(frame.left, at), (frame.right, at)]
            page.line(ends, colour=page.theme.line if main else _GRID, width_pt=0.7 if main else 0.5, layer=0.5)
            if metre % step:
                continue
            text = true_minus(f"{shown}")
            if axis == 0 and frame.left + 2 < at < frame.right - 2:
                page.text(at, frame.bottom + 0.8, text, SMALL, colour=page.theme.quiet, align="middle")
            elif axis == 1 and frame.top + 1 < at < frame.bottom - 0.2:
                page.text(frame.left - 1.6, at - SMALL.line_mm / 2, text, SMALL, colour=page.theme.quiet, align="right")


def _light(drawing: Drawing, light: PlanLight) -> np.ndarray | None:
    """The symbol of a light and the mark of its stand; its points on paper."""
    fixture, view, page = light.light.fixture, drawing.view, drawing.page
    if fixture is None:
        return None
    flat = view.flat(fixture.forward)
    length = float(np.hypot(*flat))
    outline = view.at(exit_outline(fixture))
    at = view.at(fixture.centre_m)
    ink = light.tint.ink if light.light.on else page.theme.quiet
    if length < FACE_ON:
        shape = hull(outline)
        points = _from_behind(page, shape, at, ink)
    else:
        forward = flat / length
        across = np.array([-forward[1], forward[0]])
        half = float(np.abs((outline - at) @ across).max()) / view.mm_per_m
        body = Body(half, _depth(fixture), fixture.hole_m / 2, _tips(light, view, across))
        points = draw_symbol(
            page, light.form, body, Pose(at, forward, view.mm_per_m, length), light.tint, on=light.light.on
        )
    drawing.placer.cover(points, SOLID, 0.5)
    return points


def _from_behind(page: Page, shape: np.ndarray, at: np.ndarray, ink: str) -> np.ndarray:
    """A light that shines into or out of the paper: its outline, open so that it hides nothing, and its middle."""
    edge = np.concatenate([shape, shape[:1]])
    page.line(edge, colour=page.theme.ink, width_pt=0.75, layer=4)
    inner = at + 0.88 * (edge - at)
    page.line(inner, colour=ink, width_pt=1.4, layer=4.1)
    r = 1.1
    for way in ((r, r), (r, -r)):
        page.line([at - way, at + way], colour=page.theme.ink, width_pt=0.75, layer=4.2)
    return edge


def _depth(fixture: Fixture) -> float:
    return float(fixture.size_m[1]) / 2 if fixture.shape == "tube" else fixture.body_depth_m


def _tips(light: PlanLight, view: View, across: np.ndarray) -> tuple[tuple[float, float], tuple[float, float]] | None:
    """Where the two barn doors end that a view shows, (across, forward) in metres, left of the light's way first."""
    fixture = light.light.fixture
    if fixture is None or fixture.optics.edges is None or "doors" not in light.form.fronts:
        return None
    edges = fixture.optics.edges
    rows = []
    for index, way in enumerate((fixture.right, -fixture.right, fixture.up, -fixture.up)):
        side = float(view.flat(way) @ across)
        rows.append((side, float(np.clip(edges[index][1], -2, 2)), float(np.clip(edges[index][0], 0, 2))))
    low, high = min(rows), max(rows)
    return (low[0] * low[1], low[2]), (high[0] * high[1], high[2])


def _support(drawing: Drawing, light: PlanLight) -> None:
    """The stand: a cross where it meets the floor, a line for the arm of a boom; from the side also the column."""
    support, page = light.support, drawing.page
    if support.foot_m is None or support.top_m is None or support.held_m is None:
        return
    quiet = page.theme.quiet
    if drawing.view.kind == SIDE:
        drawing.line(np.stack([support.foot_m, support.top_m]), colour=quiet, width_pt=0.8, cost=SOFT, layer=2.6)
    if support.kind == "boom":
        drawing.line(np.stack([support.top_m, support.held_m]), colour=quiet, width_pt=1.1, cost=SOFT, layer=2.7)
    if drawing.view.kind == TOP:
        x, y = drawing.view.at(support.foot_m)
        r = 1.25
        for way in ((r, r), (r, -r)):
            page.line([(x - way[0], y - way[1]), (x + way[0], y + way[1])], colour=page.theme.accent, width_pt=1.1,
                      layer=4.6)  # fmt: skip
        drawing.placer.cover(np.array([[x - r, y - r], [x + r, y - r], [x + r, y + r], [x - r, y + r]]), SOLID)


def _aim_line(drawing: Drawing, light: PlanLight) -> None:
    """From the light's front to what it is aimed at, the distance along it, and a mark where it ends."""
    fixture = light.light.fixture
    if fixture is None or light.aim_m is None or light.row.distance_to_aim_m is None:
        return
    page, view = drawing.page, drawing.view
    start, end = view.at(fixture.centre_m), view.at(light.aim_m)
    if float(np.hypot(*(end - start))) > 1.5:
        page.line([start, end], colour=light.tint.ink, width_pt=0.6, dashes=(0, (4, 2)), layer=3.4)
        drawing.placer.path(start, end, SOFT)
    page.disc(float(end[0]), float(end[1]), 0.75, fill=page.theme.paper, edge=light.tint.ink, width_pt=0.8, layer=4.4)
    if view.kind == TOP:
        drawing.words(
            [metres(light.row.distance_to_aim_m)], start + 0.5 * (end - start), reach_mm=0.5, bold=False, leader=False
        )


def _light_label(drawing: Drawing, light: PlanLight, points: np.ndarray) -> None:
    row = light.row
    lines = [shortened(row.name if row.on else f"{row.name} (off)", LABEL, NAME_MM)]
    lines.append(f"{metres(row.height_m or 0.0)} high")
    if drawing.view.kind == TOP and light.support.foot_m is not None:
        lines.append(place_words(*light.support.foot_m[[0, 2]]))
    elif drawing.view.kind == SIDE and light.tilt_deg is not None:
        lines[-1] += f", {tilt_words(light.tilt_deg)}"
    colour = drawing.page.theme.ink if light.light.on else drawing.page.theme.quiet
    drawing.words(lines, points, number=row.number, colour=colour, reach_mm=1.0)


def _far_light(drawing: Drawing, light: PlanLight) -> None:
    """The sun at the edge it comes from, with an arrow toward the set; sky and ambient light in a corner."""
    view, page, frame = drawing.view, drawing.page, drawing.view.frame.shrunk(6.0)
    row = light.row
    lines = [shortened(row.name if row.on else f"{row.name} (off)", LABEL, NAME_MM)]
    distant = light.light.distant
    if light.form.form == "sun" and distant is not None:
        way = view.flat(distant.toward)
        flat = way / max(float(np.hypot(*way)), 1e-6)
        inner = cut_line(view.origin_mm, view.origin_mm + 2000 * flat, frame)
        at = inner[1] if inner is not None else np.array([frame.right, frame.top])
        tip = at - 15 * flat
        page.line([at - 4 * flat, tip], colour=light.tint.ink, width_pt=1.2, layer=4)
        side = np.array([-flat[1], flat[0]])
        page.area([tip, tip + 2.2 * flat + 0.9 * side, tip + 2.2 * flat - 0.9 * side], fill=light.tint.ink, layer=4)
        drawing.placer.path(at, tip, SOLID)
        if row.elevation_deg is not None and row.azimuth_deg is not None:
            lines.append(f"{row.elevation_deg:.0f}° high, {side_words(row.azimuth_deg)}")
        if light.light.moment is not None:
            lines.append(moment_words(light.light.moment))
    else:
        at = _free_corner(drawing)
        lines.append("from above" if light.form.form == "sky" else "from all around")
    draw_far_symbol(page, light.form.form, float(at[0]), float(at[1]), light.tint)
    box = np.array([at + 3 * np.array(corner) for corner in ((-1, -1), (1, -1), (1, 1), (-1, 1))])
    drawing.placer.cover(box, HARD)
    drawing.words(lines, box, number=row.number, reach_mm=1.0)


def _free_corner(drawing: Drawing) -> np.ndarray:
    """The corner of the drawing, with room for a label, that covers least."""
    frame, cost = drawing.view.frame, drawing.placer.cost
    rows, columns = 12, 40
    corners = {
        (frame.left + 4.5, frame.top + 5.0): cost[:rows, :columns],
        (frame.right - 4.5, frame.top + 5.0): cost[:rows, -columns:],
        (frame.left + 4.5, frame.bottom - 6.0): cost[-rows:, :columns],
        (frame.right - 4.5, frame.bottom - 6.0): cost[-rows:, -columns:],
    }  # fmt: skip
    return np.array(min(corners, key=lambda corner: float(corners[corner].sum())))
