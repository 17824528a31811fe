"""The key of symbols, and the picture of the set with its numbers."""

from __future__ import annotations

import numpy as np

from ..rigged.view import SetView
from ..sheet import HEADING, LABEL, SMALL, Page, text_width, wrapped
from .canvas import token
from .flow import SECTION_GAP_MM, Flow
from .forms import FORM_WORDS, FRONT_WORDS, Form
from .set import PlanSet
from .symbols import Body, Pose, draw_far_symbol, draw_symbol
from .tint import NEUTRAL
from .windows import WALL, WALL_WASH, suns_through

_CELL_MM, _LEAST_CELL_MM, _BESIDE_MM = (44.0, 12.0), 9.4, 40.0
SET_WIDTH_MM, _LEAST_SET_MM, _GAP_MM = 122.0, 66.0, 6.0
_MM_PER_M = 13.5
_SIZES = {
    "reflector": (0.12, 0.16), "snoot": (0.05, 0.3), "dish": (0.25, 0.16), "box": (0.3, 0.25), "octabox": (0.3, 0.25),
    "umbrella": (0.32, 0.12), "shoot-through": (0.32, 0.0), "ring": (0.16, 0.08), "panel": (0.25, 0.07),
    "tube": (0.35, 0.03), "rod": (0.35, 0.03), "lens": (0.11, 0.28), "projector": (0.07, 0.42),
    "window": (0.32, 0.1), "measured": (0.2, 0.2), "bulb": (0.07, 0.0), "sphere": (0.12, 0.0), "disk": (0.15, 0.12),
    "rectangle": (0.3, 0.2), "octagon": (0.3, 0.2), "spot": (0.1, 0.25),
}  # fmt: skip
_OTHER_WORDS = {
    "mark": "floor mark: places count from here", "foot": "foot of a stand or boom", "aim": "way of a light to its aim",
    "camera": "camera and what it takes in", "sitter": "sitter, and where the face looks", "flag": "flag",
    "board": "board", "net": "net", "silk": "silk", "opening": "window, its glass and what hangs before it",
    "sunbeam": "sun through a window, and its patch on the floor",
}  # fmt: skip


def draw_set_and_key(flow: Flow, plan: PlanSet, view: SetView | None) -> None:
    """The picture of the set with the key of symbols beside it; without one the key alone, and what is left of the key
    under both."""
    entries = [*_light_entries(plan), *_other_entries(plan)]
    if view is not None:
        tall, wide = _set_picture(flow, plan, view)
        top, x, free = flow.y - tall, flow.left + wide + _GAP_MM, flow.measure - wide - _GAP_MM
        across = max(1, int(free // _BESIDE_MM))
        step = min(max(tall / max(-(-len(entries) // across), 1), _LEAST_CELL_MM), _CELL_MM[1])
        down = int((tall + 1.0) // step)
        taken = min(len(entries), down * across)
        for k, (what, form) in enumerate(entries[:taken]):
            column, row = divmod(k, down)
            _entry(flow.page, x + column * free / across, top + row * step, free / across, what, form)
        entries = entries[taken:]
        flow.y += 4.0
    else:
        flow.heading("Symbols", 2 * _CELL_MM[1])
    columns = int(flow.measure // _CELL_MM[0])
    step = flow.measure / columns

    def draw(row: int, top: float) -> None:
        for k, (what, form) in enumerate(entries[row * columns : (row + 1) * columns]):
            _entry(flow.page, flow.left + k * step, top, step, what, form)

    flow.rows([_CELL_MM[1]] * -(-len(entries) // columns), draw)


def _light_entries(plan: PlanSet) -> list[tuple[str, Form | None]]:
    """Forms on this plan, each once, then what stands in front of them."""
    forms = {light.form.form: None for light in plan.lights}
    fronts = {front: None for light in plan.lights for front in light.form.fronts}
    found: list[tuple[str, Form | None]] = [(FORM_WORDS[form], Form(form)) for form in forms]
    return found + [
        (FRONT_WORDS[front], Form("box" if front == "fabric-grid" else "reflector", (front,))) for front in fronts
    ]


def _other_entries(plan: PlanSet) -> list[tuple[str, Form | None]]:
    kinds = ["mark", "foot", "aim", "camera", *(["sitter"] if plan.sitter is not None else [])]
    if plan.stage.windows:
        kinds.append("opening")
        kinds += ["sunbeam"] if any(suns_through(plan.stage, window) for window in plan.stage.windows) else []
    return [(kind, None) for kind in (*kinds, *dict.fromkeys(piece.kind for piece in plan.pieces))]


def _entry(page: Page, x: float, top: float, width: float, what: str, form: Form | None) -> None:
    middle, words = np.array([x + 6.5, top + _CELL_MM[1] / 2 - 1.0]), _OTHER_WORDS.get(what, what)
    if form is None:
        _other(page, middle, what)
    elif form.far:
        draw_far_symbol(page, form.form, middle[0], middle[1], NEUTRAL)
    else:
        half, depth = _SIZES[form.form] if "frame" not in form.fronts else (0.3, 0.0)
        shift = {"umbrella": -0.05, "shoot-through": 0.18}.get(form.form, 0.12)
        if "frame" in form.fronts:
            shift = 0.35
        pose = Pose(middle - np.array([0, shift * _MM_PER_M]), np.array([0.0, -1.0]), _MM_PER_M)
        draw_symbol(page, form, Body(half, depth), pose, NEUTRAL)
    lines = wrapped(words, SMALL, width - 15.0)
    y = middle[1] - len(lines) * SMALL.line_mm / 2
    for line in lines:
        y = page.text(x + 14.0, y, line, SMALL)


def _other(page: Page, at: np.ndarray, what: str) -> None:
    x, y = at
    accent, ink, cool = page.theme.accent, page.theme.ink, page.theme.cool
    if what == "mark":
        page.line([(x - 1.8, y), (x + 1.8, y)], colour=accent, width_pt=1.1)
        page.line([(x, y - 1.8), (x, y + 1.8)], colour=accent, width_pt=1.1)
        page.disc(x, y, 1.1, edge=accent, width_pt=0.9, layer=4)
    elif what == "foot":
        for s in (1, -1):
            page.line([(x - 1.3, y - 1.3 * s), (x + 1.3, y + 1.3 * s)], colour=accent, width_pt=1.1)
        page.line([(x, y), (x + 5, y - 3)], colour=page.theme.quiet, width_pt=1.1)
    elif what == "aim":
        page.line([(x - 5, y), (x + 4, y)], colour=ink, width_pt=0.6, dashes=(0, (4, 2)))
        page.disc(x + 4, y, 0.75, fill=page.theme.paper, edge=ink, width_pt=0.8, layer=4)
    elif what == "camera":
        page.box(x - 2.4, y + 0.5, 4.8, 2.6, fill=cool, layer=4)
        page.area([(x - 1.1, y + 0.5), (x + 1.1, y + 0.5), (x + 1.4, y - 1.7), (x - 1.4, y - 1.7)], fill=cool, layer=4)
    elif what == "sitter":
        turn = np.linspace(0, 2 * np.pi, 33)
        page.area(np.stack([x + 4.2 * np.cos(turn), y - 0.6 + 1.9 * np.sin(turn)], axis=1), fill="#d9d4ca", edge=ink)
        page.disc(x, y - 0.4, 1.5, fill="#b9b3a8", edge=ink, layer=3)
        page.line([(x, y + 0.6), (x, y + 4)], colour=ink, width_pt=0.9, layer=4)
        page.area([(x, y + 4.2), (x - 0.7, y + 2.8), (x + 0.7, y + 2.8)], fill=ink, layer=4)
    elif what == "opening":
        _window(page, x, y)
    elif what == "sunbeam":
        beam = np.array([(x - 5, y - 2.2), (x + 4.5, y + 0.4), (x + 2.5, y + 2.4), (x - 5, y + 0.4)])
        page.area(beam, fill=NEUTRAL.wash, alpha=0.45, edge=NEUTRAL.ink, width_pt=0.4)
        patch = np.array([(x + 0.4, y - 0.9), (x + 4.5, y + 0.4), (x + 2.5, y + 2.4), (x - 1.6, y + 1.2)])
        page.area(patch, fill=NEUTRAL.wash, edge=NEUTRAL.ink, width_pt=0.7, layer=3)
    else:
        dashes = {"net": (0, (1.5, 1.5)), "silk": (0, (3, 1.5))}.get(what, "-")
        corners = np.array([(x - 4, y - 1.6), (x + 3, y - 2.4), (x + 4, y + 1.6), (x - 3, y + 2.4)])
        page.area(corners, fill=ink if what == "flag" else page.theme.paper, alpha=0.9 if what == "flag" else 0.7)
        page.line(np.concatenate([corners, corners[:1]]), colour=ink, width_pt=1.3, dashes=dashes)


def _window(page: Page, x: float, y: float) -> None:
    """A piece of wall with a hole, glass toward its outer face, and folds inside."""
    for left in (x - 5.5, x + 3.5):
        page.box(left, y - 1.2, 2.0, 2.0, fill=WALL_WASH, edge=WALL, width_pt=0.6)
    for at, colour, width in ((y - 1.2, WALL, 0.5), (y - 0.8, page.theme.cool, 1.4), (y + 0.8, WALL, 0.5)):
        page.line([(x - 3.5, at), (x + 3.5, at)], colour=colour, width_pt=width)
    across = np.linspace(-4.2, 0, 41)
    folds = np.stack([x + across, y + 2.0 + 0.45 * np.sin(2 * np.pi * across / 1.4)], axis=1)
    page.line(folds, colour=page.theme.ink, width_pt=0.6)


def _set_picture(flow: Flow, plan: PlanSet, view: SetView) -> tuple[float, float]:
    """The set as it stands, each light with its number; returns its height and width, mm."""
    height, width = view.picture.shape[:2]
    most = flow.room - SECTION_GAP_MM - HEADING.line_mm - 4.0
    tall = SET_WIDTH_MM * height / width
    tall = most if _LEAST_SET_MM <= most < tall else tall
    per_px = tall / height
    flow.heading("The set, and its symbols", tall)
    page, x, y = flow.page, flow.left, flow.y
    wide = width * per_px
    page.picture(x, y, wide, tall, view.picture)
    numbers = {light.row.name: light.row.number for light in plan.lights}
    for name, (across, down) in view.labels.items():
        at_x = min(max(x + across * per_px, x + 3.5), x + wide - 3.5)
        at_y = min(max(y + down * per_px, y + 3.5), y + tall - 3.5)
        if name in numbers:
            page.disc(at_x, at_y, 3.15, fill=page.theme.paper, layer=4.7)
            token(page, at_x, at_y, numbers[name], page.theme.ink)
        elif name == "camera":
            _camera_word(page, at_x, at_y, x + 2, x + wide - 2)
    flow.y = y + tall
    return tall, wide


def _camera_word(page: Page, x: float, y: float, left: float, right: float) -> None:
    half = text_width("camera", LABEL) / 2 + 1.2
    x = min(max(x, left + half), right - half)
    page.box(x - half, y - 2.1, 2 * half, 4.2, fill=page.theme.paper, alpha=0.9, layer=4.7)
    page.text(x, y - LABEL.line_mm / 2, "camera", LABEL, align="middle")
