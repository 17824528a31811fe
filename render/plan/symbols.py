"""The symbols of lights: a section through each, drawn to its true size where paper allows."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ..sheet import Page
from .forms import Form
from .tint import Tint

HEAD_LENGTH_M, HEAD_HALF_M = 0.22, 0.055
"""A head behind its modifier, as drawn: length and half its width, metres (common practice, no source)."""

SMALLEST_HALF_MM = 1.4
"""Half width under which a symbol is drawn larger than true."""

LEAST_SQUASH, MOST_WIDENED = 0.4, 2.2
_NECK_M = 0.05
_GRID_M, _FABRIC_M = 0.035, 0.06
_STROKE_PT, _GLOW_PT, _FINE_PT = 0.75, 1.9, 0.5
_FRAME_GAP_M = 0.6
_BEHIND_FRAME = (0.09, 0.13)


@dataclass(frozen=True, slots=True)
class Part:
    """A piece of a symbol: points (n, 2) in metres, across and forward, the exit at 0; how it is drawn: "body" (paper
    with an edge), "dark" (filled), "glow" (the line that shines), "line", "fine" or "dashed"."""

    points: np.ndarray
    look: str


@dataclass(frozen=True, slots=True)
class Body:
    """Sizes in metres: half width, depth behind the exit, half of a ring's hole, and the tips (across, forward) of barn
    doors on the left and right."""

    half_m: float
    depth_m: float
    hole_m: float = 0.0
    tips_m: tuple[tuple[float, float], tuple[float, float]] | None = None


def _part(look: str, *points: tuple[float, float]) -> Part:
    return Part(np.array(points, float), look)


def _arc(radius: float, start_deg: float, end_deg: float, centre: tuple[float, float] = (0, 0)) -> np.ndarray:
    turn = np.radians(np.linspace(start_deg, end_deg, 25))
    return np.stack([centre[0] + radius * np.cos(turn), centre[1] + radius * np.sin(turn)], axis=1)


def _bow(half: float, at_middle: float, at_rim: float) -> np.ndarray:
    u = np.linspace(-1, 1, 25)
    return np.stack([half * u, at_middle + (at_rim - at_middle) * u * u], axis=1)


def _box(look: str, left: float, rear: float, right: float, front: float) -> Part:
    return _part(look, (left, rear), (right, rear), (right, front), (left, front))


def _head(at: float) -> Part:
    return _box("dark", -HEAD_HALF_M, at - HEAD_LENGTH_M, HEAD_HALF_M, at)


def symbol_parts(form: Form, body: Body) -> list[Part]:
    """A symbol from its sizes, rearmost part first."""
    if "frame" in form.fronts:
        lamp = _FORMS[form.form](Body(*_BEHIND_FRAME))
        parts = [Part(part.points - [0, _FRAME_GAP_M], part.look) for part in lamp if part.look != "glow"]
        parts.append(_part("glow", (-body.half_m, 0), (body.half_m, 0)))
    else:
        parts = list(_FORMS[form.form](body))
    for front in form.fronts:
        parts += list(_fronts(front, body))
    return parts


def _bowl(body: Body) -> Iterator[Part]:
    h, d = body.half_m, max(body.depth_m, 0.05)
    neck = min(_NECK_M, 0.7 * h)
    yield _head(-d)
    yield _part("body", (-h, 0), (-0.8 * h - 0.2 * neck, -0.55 * d), (-neck, -d), (neck, -d),
                (0.8 * h + 0.2 * neck, -0.55 * d), (h, 0))  # fmt: skip
    yield _part("glow", (-h, 0), (h, 0))


def _snoot(body: Body) -> Iterator[Part]:
    h, d = body.half_m, max(body.depth_m, 0.1)
    rear = max(_NECK_M, h)
    yield _head(-d)
    yield _part("body", (-h, 0), (-rear, -0.75 * d), (-rear, -d), (rear, -d), (rear, -0.75 * d), (h, 0))
    yield _part("fine", (-rear, -0.75 * d), (rear, -0.75 * d))
    yield _part("glow", (-h, 0), (h, 0))


def _dish(body: Body) -> Iterator[Part]:
    h, d = body.half_m, max(body.depth_m, 0.06)
    yield _head(-d)
    yield Part(_bow(h, -d, 0), "body")
    yield _part("line", (-0.25 * h, -0.3 * d), (0.25 * h, -0.3 * d))
    yield _part("glow", (-h, 0), (h, 0))


def _softbox(body: Body) -> Iterator[Part]:
    h, d = body.half_m, max(body.depth_m, 0.1)
    neck = min(0.075, 0.6 * h)
    yield _head(-d)
    yield _part("body", (-h, 0), (-h, -0.05), (-neck, -d), (neck, -d), (h, -0.05), (h, 0))
    half = (h + neck) / 2
    yield _part("dashed", (-0.8 * half, -d / 2), (0.8 * half, -d / 2))
    yield _part("glow", (-h, 0), (h, 0))


def _octabox(body: Body) -> Iterator[Part]:
    h, d = body.half_m, max(body.depth_m, 0.1)
    neck = min(0.075, 0.6 * h)
    flank = np.linspace(0, 1, 9)
    right = np.stack([neck + (h - neck) * flank**0.7, -d + (d - 0.05) * flank], axis=1)
    left = right * [-1, 1]
    yield _head(-d)
    yield Part(np.concatenate([[[-h, 0]], left[::-1], right, [[h, 0]]]), "body")
    for side in (-1, 1):
        yield _part("fine", (side * 0.4 * neck, -d), (side * 0.42 * h, -0.05))
    yield _part("glow", (-h, 0), (h, 0))


def _umbrella(body: Body) -> Iterator[Part]:
    h, d = body.half_m, max(body.depth_m, 0.1 * body.half_m)
    yield Part(_bow(h, -d, 0), "body")
    yield Part(_bow(h, -d, 0), "glow")
    yield _part("fine", (0, -d), (0, HEAD_LENGTH_M + 0.05))
    yield _box("dark", -HEAD_HALF_M, 0.02, HEAD_HALF_M, 0.02 + HEAD_LENGTH_M)


def _shoot_through(body: Body) -> Iterator[Part]:
    h = body.half_m
    yield _head(-0.8 * h)
    yield _part("fine", (0, -0.8 * h), (0, 0))
    yield Part(_bow(h, 0, -0.35 * h), "glow")
    yield Part(_bow(0.94 * h, -0.06 * h, -0.37 * h), "dashed")


def _ring(body: Body) -> Iterator[Part]:
    h, d, hole = body.half_m, max(body.depth_m, 0.04), max(body.hole_m, 0.3 * body.half_m)
    for side in (-1, 1):
        yield _part("body", (side * hole, -d), (side * h, -d), (side * h, 0), (side * hole, 0))
        yield _part("glow", (side * hole, 0), (side * h, 0))


def _panel(body: Body) -> Iterator[Part]:
    h, d = body.half_m, max(body.depth_m, 0.05)
    yield _box("body", -h, -d, h, 0)
    for k in range(5):
        u = h * (k - 2) / 2.5
        yield _part("line", (u, -d), (u, 0))
    yield _part("glow", (-h, 0), (h, 0))


def _rod(body: Body) -> Iterator[Part]:
    h, r = body.half_m, max(body.depth_m, 0.03)
    ends = np.concatenate([_arc(r, -90, 90, (h, 0)), _arc(r, 90, 270, (-h, 0))])
    yield Part(ends, "body")
    yield _part("glow", (-h, 0), (h, 0))


def _lens(body: Body) -> Iterator[Part]:
    h, d = body.half_m, max(body.depth_m, 0.1)
    yield _part("dark", (-h, -d), (h, -d), (1.25 * h, -0.3 * d), (1.25 * h, 0), (-1.25 * h, 0), (-1.25 * h, -0.3 * d))
    yield Part(np.concatenate([_bow(h, 0.45 * h, 0), [[h, 0], [-h, 0]]]), "body")
    yield Part(_bow(h, 0.45 * h, 0), "glow")


def _projector(body: Body) -> Iterator[Part]:
    h, d = body.half_m, max(body.depth_m, 0.2)
    yield _box("dark", -1.9 * h, -d - 0.12, 1.9 * h, -0.62 * d)
    yield _box("body", -h, -0.62 * d, h, 0)
    yield _part("line", (-1.9 * h, -0.5 * d), (1.9 * h, -0.5 * d))
    yield _part("glow", (-h, 0), (h, 0))


def _window(body: Body) -> Iterator[Part]:
    h, d = body.half_m, max(body.depth_m, 0.1)
    yield _box("body", -h - 0.06, -d, h + 0.06, 0)
    yield _part("line", (-h - 0.06, -d / 2), (h + 0.06, -d / 2))
    yield _part("line", (0, -d), (0, 0))
    yield _part("glow", (-h, 0), (h, 0))


def _ball(body: Body) -> Iterator[Part]:
    r = body.half_m
    yield Part(_arc(r, 0, 360), "body")
    for turn in range(0, 360, 45):
        c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
        yield _part("glow", (1.35 * r * c, 1.35 * r * s), (1.9 * r * c, 1.9 * r * s))


def _bulb(body: Body) -> Iterator[Part]:
    yield _box("dark", -HEAD_HALF_M, -HEAD_LENGTH_M - body.half_m, HEAD_HALF_M, -body.half_m)
    yield from _ball(body)


def _plain_panel(body: Body) -> Iterator[Part]:
    h, d = body.half_m, max(body.depth_m, 0.04)
    yield _box("body", -h, -d, h, 0)
    yield _part("fine", (-h, -d), (0, 0), (h, -d))
    yield _part("glow", (-h, 0), (h, 0))


def _plain_round(body: Body) -> Iterator[Part]:
    h, d = body.half_m, max(body.depth_m, 0.04)
    turn = np.radians(np.linspace(180, 360, 25))
    yield Part(np.stack([h * np.cos(turn), d * np.sin(turn)], axis=1), "body")
    yield _part("fine", (0, -d), (0, 0))
    yield _part("glow", (-h, 0), (h, 0))


def _plain_octagon(body: Body) -> Iterator[Part]:
    h, d = body.half_m, max(body.depth_m, 0.04)
    yield _part("body", (-h, 0), (-h, -0.45 * d), (-0.55 * h, -d), (0.55 * h, -d), (h, -0.45 * d), (h, 0))
    yield _part("fine", (-h, -0.45 * d), (h, -0.45 * d))
    yield _part("glow", (-h, 0), (h, 0))


def _plain_spot(body: Body) -> Iterator[Part]:
    h, d = body.half_m, max(body.depth_m, 0.1)
    yield _part("body", (-h, 0), (-h, -0.7 * d), (-0.5 * h, -d), (0.5 * h, -d), (h, -0.7 * d), (h, 0))
    yield Part(_bow(h, 0.4 * h, 0), "glow")


def _measured(body: Body) -> Iterator[Part]:
    h, d = body.half_m, max(body.depth_m, 0.08)
    yield _box("body", -h, -d, h, 0)
    yield Part(_arc(min(0.45 * d, 0.5 * h), 0, 360, (0, -d / 2)), "line")
    yield _part("glow", (-h, 0), (h, 0))


def _fronts(front: str, body: Body) -> Iterator[Part]:
    h = body.half_m
    if front == "grid":
        g = max(_GRID_M, 0.3 * h)
        for k in range(7):
            u = h * (k - 3) / 3
            yield _part("fine", (u, 0), (u, g))
        yield _part("fine", (-h, g), (h, g))
    elif front == "fabric-grid":
        for k in range(9):
            u = h * (k - 4) / 4
            yield _part("line", (u, 0), (u, _FABRIC_M))
    elif front == "doors":
        tips = body.tips_m or ((-1.5 * h, 0.14), (1.5 * h, 0.14))
        for side, tip in zip((-1, 1), tips, strict=True):
            yield _part("line", (side * h, 0), tip)
    elif front == "sock":
        yield Part(_bow(h, 0.25 * h, 0), "dashed")
    elif front == "frame":
        yield _part("line", (-h, -0.03), (-h, 0.03))
        yield _part("line", (h, -0.03), (h, 0.03))


_FORMS = {
    "reflector": _bowl, "snoot": _snoot, "dish": _dish, "box": _softbox, "octabox": _octabox, "umbrella": _umbrella,
    "shoot-through": _shoot_through, "ring": _ring, "panel": _panel, "tube": _rod, "lens": _lens,
    "projector": _projector, "window": _window, "measured": _measured, "bulb": _bulb, "disk": _plain_round,
    "rectangle": _plain_panel, "octagon": _plain_octagon, "sphere": _ball, "spot": _plain_spot, "rod": _rod,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Pose:
    """Where a symbol stands on paper: its exit's middle (2,) mm, the unit vector (2,) in which it shines, millimetres
    for a metre, by how much a tilt out of the paper shortens it, and by how much it is drawn wider than true."""

    at_mm: np.ndarray
    forward: np.ndarray
    mm_per_m: float
    squash: float = 1.0
    widened: float = 1.0

    def place(self, points: np.ndarray) -> np.ndarray:
        """Points (n, 2), across and forward in metres, on paper."""
        across = np.array([-self.forward[1], self.forward[0]])
        local = np.asarray(points, float) * self.mm_per_m * [self.widened, self.squash]
        placed: np.ndarray = self.at_mm + local[:, :1] * across + local[:, 1:] * self.forward
        return placed


def draw_symbol(page: Page, form: Form, body: Body, pose: Pose, tint: Tint, *, on: bool = True) -> np.ndarray:
    """Draw a symbol; returns all its points (n, 2) on paper, mm."""
    true_mm = body.half_m * pose.mm_per_m
    grown = max(1.0, SMALLEST_HALF_MM / max(true_mm, 1e-6))
    pose = Pose(pose.at_mm, pose.forward, pose.mm_per_m, max(pose.squash, LEAST_SQUASH), min(grown, MOST_WIDENED))
    drawn = []
    for part in symbol_parts(form, body):
        points = pose.place(part.points)
        drawn.append(points)
        _draw_part(page, points, part.look, tint, on)
    return np.concatenate(drawn)


def _draw_part(page: Page, points: np.ndarray, look: str, tint: Tint, on: bool) -> None:
    ink = page.theme.ink if on else page.theme.quiet
    if look == "body":
        page.area(points, fill=page.theme.paper, edge=ink, width_pt=_STROKE_PT, layer=4)
    elif look == "dark":
        page.area(points, fill=ink, edge=ink, width_pt=_FINE_PT, layer=3.9)
    elif look == "glow":
        page.line(points, colour=tint.ink if on else page.theme.quiet, width_pt=_GLOW_PT, layer=4.2)
    elif look == "dashed":
        page.line(points, colour=ink, width_pt=_FINE_PT, dashes=(0, (2, 2)), layer=4.1)
    else:
        page.line(points, colour=ink, width_pt=_STROKE_PT if look == "line" else _FINE_PT, layer=4.1)


def draw_far_symbol(page: Page, form: str, x_mm: float, y_mm: float, tint: Tint, radius_mm: float = 3.0) -> None:
    """Sun, sky or ambient light: a mark beside the drawing."""
    r, ink = radius_mm, page.theme.ink
    if form == "sky":
        _sky(page, x_mm, y_mm, tint, r)
        return
    if form == "sun":
        page.disc(x_mm, y_mm, 0.5 * r, fill=page.theme.paper, edge=ink, width_pt=_STROKE_PT, layer=4)
        _rays(page, np.array([x_mm, y_mm]), 0.68 * r, r, 30, tint)
    else:
        page.disc(x_mm, y_mm, 0.42 * r, fill=page.theme.paper, edge=ink, width_pt=_STROKE_PT, layer=4)
        _rays(page, np.array([x_mm, y_mm]), 0.62 * r, r, 45, tint)


def _rays(page: Page, at: np.ndarray, inner: float, outer: float, every_deg: int, tint: Tint) -> None:
    for deg in range(0, 360, every_deg):
        way = np.array([math.cos(math.radians(deg)), math.sin(math.radians(deg))])
        page.line(at + np.outer([inner, outer], way), colour=tint.ink, width_pt=1.1, layer=4)


def _sky(page: Page, x_mm: float, y_mm: float, tint: Tint, r: float) -> None:
    ink, floor = page.theme.ink, y_mm + 0.45 * r
    turn = np.radians(np.linspace(180, 360, 25))
    for k, share in enumerate((1.0, 0.7, 0.4)):
        arc = np.stack([x_mm + share * r * np.cos(turn), floor + share * r * np.sin(turn)], axis=1)
        page.line(arc, colour=ink if k else tint.ink, width_pt=_FINE_PT if k else _GLOW_PT, layer=4)
    page.line([(x_mm - r, floor), (x_mm + r, floor)], colour=ink, width_pt=_STROKE_PT, layer=4)
