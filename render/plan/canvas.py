"""Drawing on paper to scale: lines and areas cut at the frame, labels that keep clear of them, light numbers."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field

import numpy as np

from ..sheet import LABEL, SMALL, Page, Type, text_width
from .labels import SOFT, Label, Placer
from .view import SIDE, TOP, Frame, View, cut_line, cut_polygon

NUMBER = Type(10.5, "bold", 1.0)
TOKEN_MM = 2.75
"""Radius of the disc that holds a light's number."""

LINE_MM = 3.45
_TOKEN_GAP_MM = 1.3
_VEIL, _VEIL_LAYER = 0.78, 4.6

Waiting = tuple[Label, list[tuple[str, Type, str]], int, str]
"""A label, its lines (text, type, colour), its light's number or 0, and the colour of that."""


@dataclass(slots=True)
class Drawing:
    """A view while it is drawn: the page, the view, and the placer of its labels."""

    page: Page
    view: View
    back_z_m: float | None = None
    placer: Placer = field(init=False)
    waiting: list[Waiting] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.placer = Placer(self.view.frame)

    def line(self, points_m: np.ndarray, *, cost: float = SOFT, **look: object) -> None:
        """A line through points (n, 3) of the set, cut at the frame."""
        placed = self.view.at(np.asarray(points_m))
        for start, end in itertools.pairwise(placed):
            piece = cut_line(start, end, self.view.frame)
            if piece is not None:
                self.page.line(piece, **look)  # type: ignore[arg-type]
                self.placer.path(piece[0], piece[1], cost)

    def inside(self) -> Frame:
        """The part of the frame in front of the background and, from the side, over the floor: where beams end."""
        frame, view = self.view.frame, self.view
        if self.back_z_m is not None:
            edge = view.at(np.array([0.0, 0.0, self.back_z_m]))
            if view.kind == TOP:
                frame = Frame(frame.left, max(frame.top, float(edge[1])), frame.right, frame.bottom)
            else:
                frame = Frame(frame.left, frame.top, min(frame.right, float(edge[0])), frame.bottom)
        if view.kind == SIDE:
            frame = Frame(frame.left, frame.top, frame.right, min(frame.bottom, float(view.origin_mm[1])))
        return frame

    def area(self, points_mm: np.ndarray, within: Frame | None = None, **look: object) -> np.ndarray:
        """A polygon on paper, cut at the frame; returns what is left of it."""
        piece = cut_polygon(points_mm, within or self.view.frame)
        if len(piece) > 2:
            self.page.area(piece, **look)  # type: ignore[arg-type]
        return piece

    def words(
        self, lines: list[str], anchor_mm: np.ndarray, *, reach_mm: float = 1.5, quiet: bool = False, number: int = 0,
        colour: str | None = None, bold: bool = True, leader: bool = True,
    ) -> None:  # fmt: skip
        """A label of some lines, the first bold, that `set_words` puts where it keeps clear."""
        kinds = [LABEL if k == 0 and bold else SMALL for k in range(len(lines))]
        indent = 2 * TOKEN_MM + _TOKEN_GAP_MM if number else 0.0
        width = indent + max((text_width(t, kind) for t, kind in zip(lines, kinds, strict=True)), default=0.0)
        height = max(LINE_MM * len(lines), 2 * TOKEN_MM if number else 0.0)
        names = np.clip(
            np.atleast_2d(anchor_mm), [self.view.frame.left + 1, self.view.frame.top + 1],
            [self.view.frame.right - 1, self.view.frame.bottom - 1],
        )  # fmt: skip
        inks = [self.page.theme.quiet if quiet or kind is SMALL else self.page.theme.ink for kind in kinds]
        label = Label(width, height, names, reach_mm, leader)
        self.waiting.append((label, list(zip(lines, kinds, inks, strict=True)), number, colour or self.page.theme.ink))

    def set_words(self) -> None:
        """Find places for all labels, and draw them."""
        for spot, (_, lines, number, colour) in zip(
            self.placer.place_all([label for label, *_ in self.waiting]), self.waiting, strict=True
        ):
            if spot.leader is not None:
                self.page.line(spot.leader, colour=self.page.theme.quiet, width_pt=0.5, layer=4.5)
            x, y = spot.box.left, spot.box.top
            if number:
                token(self.page, x + TOKEN_MM, y + TOKEN_MM, number, colour)
                x += 2 * TOKEN_MM + _TOKEN_GAP_MM
            for text, kind, ink in lines:
                self._clear(x, y, text_width(text, kind))
                self.page.text(x, y - 0.35, text, Type(kind.size_pt, kind.cut, 1.22), colour=ink)
                y += LINE_MM
        self.waiting.clear()

    def _clear(self, x_mm: float, y_mm: float, width_mm: float) -> None:
        """Pale what runs under a line of words, so that no line strikes it through."""
        paper = self.page.theme.paper
        self.page.box(x_mm - 0.3, y_mm - 0.1, width_mm + 0.6, LINE_MM, fill=paper, alpha=_VEIL, layer=_VEIL_LAYER)


def token(page: Page, x_mm: float, y_mm: float, number: int, colour: str, radius_mm: float = TOKEN_MM) -> None:
    """A light's number on a disc."""
    page.disc(x_mm, y_mm, radius_mm, fill=colour, layer=4.8)
    size = NUMBER.scaled(radius_mm / TOKEN_MM)
    page.text(x_mm, y_mm - size.line_mm / 2 - 0.1, str(number), size, colour=page.theme.paper, align="middle", layer=5)
