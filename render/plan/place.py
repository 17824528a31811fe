"""What is on the drawing besides lights: room, ground, background, set pieces, sitter and camera."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from ..sheet import LABEL, shortened
from .labels import SOFT, SOLID
from .view import SIDE, TOP, View, cut_line, cut_polygon, hull
from .windows import WALL, WALL_WASH, draw_windows, holes_of, spans_between, window_labels
from .words import number, piece_words, place_words

if TYPE_CHECKING:
    from scenes.stage import Shape

    from .canvas import Drawing
    from .set import PlanPiece, PlanSet

_PAPER_WASH, _SITTER_WASH, _HEAD_WASH = "#efece6", "#d9d4ca", "#b9b3a8"
_CAMERA_MM = 2.4
_FACING_M = 0.2


def draw_place(drawing: Drawing, plan: PlanSet) -> None:
    """Draw everything but the lights, rearmost first."""
    for shape in plan.stage.shapes:
        if shape.name.startswith("set."):
            _surface(drawing, shape, plan)
    draw_windows(drawing, plan)
    _camera_field(drawing, plan)
    for piece in plan.pieces:
        _piece(drawing, piece)
    _sitter(drawing, plan)
    _mark(drawing)
    _camera(drawing, plan)


def surface(plan: PlanSet, name: str) -> Shape | None:
    """A surface of the place by its name; None where the set has none."""
    return next((shape for shape in plan.stage.shapes if shape.name == f"set.{name}"), None)


def profile(shape: Shape) -> np.ndarray:
    """The line (n, 3) of a background's middle, from its top to its lower or front end."""
    points = shape.vertices.astype(float)
    if shape.name != "set.background":
        low, high = points.min(axis=0), points.max(axis=0)
        return np.array([[0, high[1], low[2]], [0, low[1], low[2]]])
    line = points[: len(points) // 2].copy()
    line[:, 0] = 0
    return line


def _surface(drawing: Drawing, shape: Shape, plan: PlanSet) -> None:
    name = shape.name.removeprefix("set.")
    points = shape.vertices.astype(float)
    low, high = points.min(axis=0), points.max(axis=0)
    top = drawing.view.kind == TOP
    if name == "background":
        if top:
            corners = np.array([[low[0], 0, low[2]], [high[0], 0, low[2]], [high[0], 0, high[2]], [low[0], 0, high[2]]])
            if high[2] - low[2] > 0.05:
                drawing.area(drawing.view.at(corners), fill=_PAPER_WASH, edge=WALL, width_pt=0.4, layer=0.3)
            drawing.line(corners[:2], colour=drawing.page.theme.ink, width_pt=2.0, cost=SOLID, layer=2.2)
        else:
            drawing.line(profile(shape), colour=drawing.page.theme.ink, width_pt=2.0, cost=SOLID, layer=2.2)
    elif name in ("front", "back", "left", "right"):
        _wall(drawing, name, shape, plan)
    elif name == "ceiling" and not top:
        line = np.array([[0, high[1], low[2]], [0, high[1], high[2]]])
        drawing.line(line, colour=WALL, width_pt=2.0, cost=SOLID, layer=2.0)
    elif name in ("floor", "ground") and not top:
        line = np.array([[0, 0, low[2]], [0, 0, high[2]]])
        drawing.line(line, colour=drawing.page.theme.ink, width_pt=1.2, cost=SOLID, layer=2.1)


def _wall(drawing: Drawing, name: str, shape: Shape, plan: PlanSet) -> None:
    """A wall's inner face; one with windows as thick as it is, with its holes."""
    low, high = (end.astype(float) for end in (shape.vertices.min(axis=0), shape.vertices.max(axis=0)))
    sideways, top = name in ("left", "right"), drawing.view.kind == TOP
    if sideways and not top:
        return
    windows = [window for window in plan.stage.windows if window.wall == name]
    axis = 2 if sideways else 0
    plane = low[2 - axis]
    out = {"left": (-1, 0, 0), "right": (1, 0, 0), "front": (0, 0, 1), "back": (0, 0, -1)}[name]

    along = axis if top else 1

    def at(s: float) -> np.ndarray:
        point = np.zeros(3)
        point[along], point[2 - axis] = s, plane
        return point

    spans = spans_between(holes_of(windows, top), float(low[along]), float(high[along]))
    colour = drawing.page.theme.ink if shape.region == "background" else WALL
    for start, end in spans:
        ends = np.stack([at(start), at(end)])
        drawing.line(ends, colour=colour, width_pt=2.0, cost=SOLID, layer=2.0)
        if windows:
            deep = windows[0].place.wall_m
            past = [deep * top * (int(s >= high[along]) - int(s <= low[along])) for s in (start, end)]  # corners meet
            corners = [at(start + past[0]), at(end + past[1])]
            outer = np.stack(corners) + deep * np.array(out, float)
            drawing.area(drawing.view.at(np.concatenate([ends, outer[::-1]])), fill=WALL_WASH, layer=1.9)
            drawing.line(outer, colour=WALL, width_pt=0.6, cost=SOFT, layer=1.95)


def _camera_field(drawing: Drawing, plan: PlanSet) -> None:
    """What the picture takes in, out to what is behind the sitter."""
    camera = plan.stage.camera
    corners = _field_corners(plan)
    view = drawing.view
    shape = hull(np.concatenate([view.at(camera.origin_m)[None], view.at(corners)]))
    left = cut_polygon(shape, drawing.inside())
    if len(left) < 3:
        return
    drawing.page.area(left, fill=drawing.page.theme.cool, alpha=0.05, layer=1.2)
    edge = np.concatenate([left, left[:1]])
    drawing.page.line(edge, colour=drawing.page.theme.cool, width_pt=0.45, dashes=(0, (1.2, 2.2)), layer=1.3)


def _field_corners(plan: PlanSet) -> np.ndarray:
    camera = plan.stage.camera
    depth = field_depth(plan)
    across, up = camera.tan_half_width * camera.right, camera.tan_half_height * camera.up
    rays = camera.forward + np.array([a * across + b * up for a in (-1, 1) for b in (-1, 1)])
    corners: np.ndarray = camera.origin_m + depth * rays
    return corners


def field_depth(plan: PlanSet) -> float:
    """How far along the camera's axis its field is drawn: to what is behind the sitter, or 1.5 m past the face."""
    camera, marks = plan.stage.camera, plan.stage.landmarks
    face = float((marks["face"] - camera.origin_m) @ camera.forward)
    if "background" in marks and camera.forward[2] < -0.2:
        reach = float((marks["background"][2] - camera.origin_m[2]) / camera.forward[2])
        if reach > 0:
            return reach
    return max(face, 0.1) + 1.5


def _piece(drawing: Drawing, piece: PlanPiece) -> None:
    shape = drawing.view.at(piece.corners_m)
    shape = hull(shape) if len(shape) > 2 else shape
    page = drawing.page
    dashes = {"net": (0, (1.5, 1.5)), "silk": (0, (3, 1.5))}.get(piece.kind, "-")
    fill = page.theme.ink if piece.kind == "flag" else page.theme.paper
    page.area(shape, fill=fill, alpha=0.9 if piece.kind == "flag" else 0.7, layer=3.2)
    edge = np.concatenate([shape, shape[:1]])
    page.line(edge, colour=page.theme.ink, width_pt=1.3, dashes=dashes, layer=3.3)
    drawing.placer.cover(shape, SOLID, 0.5)


def _sitter(drawing: Drawing, plan: PlanSet) -> None:
    sitter = plan.sitter
    if sitter is None:
        return
    page, ink = drawing.page, drawing.page.theme.ink
    if drawing.view.kind == SIDE:
        shapes = [(sitter.side, _SITTER_WASH), (sitter.side_head, _HEAD_WASH)]
    else:
        shapes = [(sitter.whole, "#e9e5dd"), (sitter.shoulders, _SITTER_WASH), (sitter.head, _HEAD_WASH)]
    for k, (outlines, wash) in enumerate(shapes):
        for outline in outlines:
            points = drawing.view.at(_upright(outline) if drawing.view.kind == SIDE else _level(outline))
            page.area(points, fill=wash, edge=ink, width_pt=0.6 if k else 0.45, layer=2.9 + 0.05 * k)
            drawing.placer.cover(points, SOLID, 0.5)
    if sitter.facing is not None and drawing.view.kind == TOP:
        face = plan.stage.landmarks["face"]
        start = np.array([face[0], 0, face[2]])
        end = start + _FACING_M * np.array([sitter.facing[0], 0, sitter.facing[1]])
        a, b = drawing.view.at(np.stack([start, end]))
        way = (b - a) / max(float(np.hypot(*(b - a))), 1e-6)
        side = np.array([-way[1], way[0]])
        b = b if float(np.hypot(*(b - a))) > 3.2 else a + 3.2 * way
        page.line([a, b], colour=ink, width_pt=0.9, layer=3.1)
        page.area([b, b - 1.5 * way + 0.7 * side, b - 1.5 * way - 0.7 * side], fill=ink, layer=3.1)
        drawing.placer.path(a, b, SOLID)


def _level(outline: np.ndarray) -> np.ndarray:
    """An outline of x and z on the floor, (n, 3)."""
    return np.stack([outline[:, 0], np.zeros(len(outline)), outline[:, 1]], axis=1)


def _upright(outline: np.ndarray) -> np.ndarray:
    """An outline of z and y in the middle plane, (n, 3)."""
    return np.stack([np.zeros(len(outline)), outline[:, 1], outline[:, 0]], axis=1)


def _mark(drawing: Drawing) -> None:
    """The floor mark: from it all places are counted."""
    x, y = drawing.view.origin_mm
    accent = drawing.page.theme.accent
    r = 1.5
    drawing.page.line([(x - r, y), (x + r, y)], colour=accent, width_pt=1.1, layer=4.6)
    drawing.page.line([(x, y - r), (x, y + r)], colour=accent, width_pt=1.1, layer=4.6)
    drawing.page.disc(x, y, 0.95, edge=accent, width_pt=0.9, layer=4.6)


def _camera(drawing: Drawing, plan: PlanSet) -> None:
    """A body and a lens that looks where the camera looks; never smaller than can be seen."""
    camera, view, page = plan.stage.camera, drawing.view, drawing.page
    corners = _camera_corners(view, plan)
    at = view.at(camera.origin_m)
    page.area(corners[:4], fill=page.theme.cool, layer=4)
    page.area(corners[4:], fill=page.theme.cool, layer=4)
    if view.kind == SIDE:
        foot = view.at(camera.origin_m * [1, 0, 1])
        page.line([at, foot], colour=page.theme.quiet, width_pt=0.8, layer=2.6)
        drawing.placer.path(at, foot, SOFT)
    drawing.placer.cover(corners, SOLID, 0.5)


def _camera_corners(view: View, plan: PlanSet) -> np.ndarray:
    """Corners (8, 2) of the camera's body and lens on paper."""
    camera = plan.stage.camera
    flat = view.flat(camera.forward)
    length = float(np.hypot(*flat))
    way = flat / length if length > 1e-6 else np.array([0.0, -1.0])
    side = np.array([-way[1], way[0]])
    at, r = view.at(camera.origin_m), max(_CAMERA_MM, 0.075 * view.mm_per_m)
    body = ((-1, -1.3), (1, -1.3), (1, -0.2), (-1, -0.2))
    lens = ((-0.45, -0.2), (0.45, -0.2), (0.6, 0.7), (-0.6, 0.7))
    return np.array([at + a * side * r + b * way * r for a, b in (*body, *lens)])


def place_labels(view: View, plan: PlanSet) -> list[tuple[list[str], np.ndarray, dict[str, object]]]:
    """Labels of what is not a light, each with what it names."""
    camera, marks = plan.stage.camera, plan.stage.landmarks
    far = float(np.linalg.norm(camera.origin_m - marks["face"]))
    lines = ["camera", f"{camera.origin_m[1]:.2f} m high"]
    if view.kind == TOP:
        lines += [place_words(camera.origin_m[0], camera.origin_m[2]), f"{far:.2f} m to the face"]
    found: list[tuple[list[str], np.ndarray, dict[str, object]]] = [
        (lines, _camera_corners(view, plan), {"reach_mm": 1.0})
    ]
    found += _background_label(view, plan)
    found += window_labels(view, plan)
    for piece in plan.pieces:
        name, size = piece_words(piece.kind, piece.name), f"{piece.size_m[0]:.2f} x {piece.size_m[1]:.2f} m"
        found.append(
            ([shortened(name, LABEL, 30.0), size], view.at(piece.corners_m), {"reach_mm": 1.0})
        )
    if view.kind == TOP:
        found += _wall_labels(view, plan)
        found.append((["floor mark"], view.origin_mm, {"reach_mm": 2.0, "quiet": True, "bold": False}))
    else:
        face = marks["face"]
        found.append(([f"face {face[1]:.2f} m"], view.at(face), {"reach_mm": 1.0, "quiet": True, "bold": False}))
        found += _ceiling_label(view, plan)
    return found


def _wall_labels(view: View, plan: PlanSet) -> list[tuple[list[str], np.ndarray, dict[str, object]]]:
    """Where the walls are that the drawing shows, but for the one that is the background."""
    found: list[tuple[list[str], np.ndarray, dict[str, object]]] = []
    for name, axis in (("left", 0), ("right", 0), ("front", 2), ("back", 2)):
        wall = surface(plan, name)
        if wall is None or wall.region == "background":
            continue
        at = float(wall.vertices[0, axis])
        low, high = (wall.vertices[:, 2 - axis].min(), wall.vertices[:, 2 - axis].max())
        ends = [[at, 0, low], [at, 0, high]] if axis == 0 else [[low, 0, at], [high, 0, at]]
        start, end = view.at(np.array(ends, float))
        shown = cut_line(start, end, view.frame.shrunk(1.0))
        if shown is None:
            continue
        line = np.linspace(shown[0], shown[1], 9)
        text = f"{name} wall, {'x' if axis == 0 else 'z'} {number(at)}"
        found.append(([text], line, {"reach_mm": 0.8, "quiet": True, "bold": False, "leader": False}))
    return found


def _background_label(view: View, plan: PlanSet) -> list[tuple[list[str], np.ndarray, dict[str, object]]]:
    behind = [shape for shape in plan.stage.shapes if shape.region == "background"]
    if not behind:
        return []
    shape = behind[-1]
    points = shape.vertices.astype(float)
    low, high = points.min(axis=0), points.max(axis=0)
    name = "background" if shape.name == "set.background" else "back wall"
    lines = [f"{name}, {shape.finish.name}"]
    z = f"z {number(low[2])}"
    if view.kind == TOP:
        lines.append(f"{z}, {high[0] - low[0]:.2f} m wide")
        x = float(np.clip(0.25 * high[0], -1.2, 1.2))
        return [(lines, view.at(np.array([x, 0, low[2]])), {"reach_mm": 1.2})]
    lines.append(f"{z}, {high[1]:.2f} m high")
    top = view.at(np.array([0, high[1], low[2]]))
    anchor = np.array([top[0], max(top[1], view.frame.top + 8.0)])
    return [(lines, anchor, {"reach_mm": 1.2})]


def _ceiling_label(view: View, plan: PlanSet) -> list[tuple[list[str], np.ndarray, dict[str, object]]]:
    ceiling = surface(plan, "ceiling")
    if ceiling is None:
        return []
    height = float(ceiling.vertices[:, 1].max())
    at = view.at(np.array([0, height, 0.0]))
    if not math.isfinite(height) or at[1] < view.frame.top + 1:
        return []
    return [([f"ceiling {height:.2f} m"], at, {"reach_mm": 1.0, "quiet": True, "bold": False})]
