"""The pages of a mood board that carry pictures."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache

import numpy as np

from ..sheet import LABEL, SMALL, TITLE, Page, Theme, Type, shortened, wrapped
from ..sheet.paper import PAPERS_MM as UPRIGHT_MM
from .blocks import Block, lines, look_block, sentences, stacked
from .layout import FOOT_MM, LEVELS, MARGIN_MM, TOP_MM, Box, Sheet, pages_of, plan
from .record import LookReport

PAPERS_MM = {name: (tall, wide) for name, (wide, tall) in UPRIGHT_MM.items()}
MAPPED_NOTE = "* More saturated in the light than sRGB shows: the swatch is paler, at the same hue and lightness."
_TITLES = (TITLE, Type(19, "bold", 1.14), Type(15, "bold", 1.16), Type(12, "bold", 1.18))
_CLIENT, _NOTE = Type(11, "regular", 1.3), Type(9.5, "regular", 1.36)
_TITLE_LINES = 3
_AFTER_HEAD_MM = 9.0
_LEAST_COLUMN_MM = 92.0


@dataclass(slots=True)
class Board:
    """What all pages of a board share."""

    title: str
    client: str
    note: str
    theme: Theme
    size_mm: tuple[float, float]
    pictures: Sequence[np.ndarray]
    looks: list[LookReport]
    dots_per_inch: float = 200
    cut: set[int] = field(default_factory=set)
    """Looks whose texts were shortened, so that they stand whole on a page of words."""
    head_cut: bool = False

    def page(self) -> Page:
        """A page of the board's paper."""
        return Page(*self.size_mm, self.theme, self.dots_per_inch)

    @property
    def across_mm(self) -> float:
        """Width of the picture of a board with one look: as high as the sheet where a column stays beside it."""
        width, height = self.size_mm
        return min(height * aspect_of(self.pictures[0]), width - _LEAST_COLUMN_MM - 10 - MARGIN_MM)

    @property
    def column_mm(self) -> float:
        """Width of the words beside it."""
        return min(self.size_mm[0] - self.across_mm - 10 - MARGIN_MM, 120.0)

    @property
    def mapped(self) -> bool:
        """Whether any swatch is paler than its light."""
        return any(s.on_paper.mapped or s.on_sitter.mapped for look in self.looks for s in look.swatches)


def aspect_of(picture: np.ndarray) -> float:
    """Width over height."""
    return picture.shape[1] / picture.shape[0]


def title_block(board: Board, width_mm: float, level: int, gap_mm: float = _AFTER_HEAD_MM) -> Block:
    """Title, client and note; at the last level no longer than a few lines each."""
    kind = next((k for k in _TITLES if len(wrapped(board.title, k, width_mm)) <= _TITLE_LINES), _TITLES[-1])
    title_lines, client_lines, note_lines = (None, None, None) if level < LEVELS - 1 else (3, 1, 3)
    parts = [(lines(board.title, kind, _even_width(board.title, kind, width_mm), title_lines), 1.2)]
    if board.client:
        parts.append((lines(board.client, _CLIENT, width_mm, client_lines, "quiet"), 1.2))
    if board.note:
        parts.append((lines("", _NOTE, width_mm), 1.6))
        parts.append((sentences(board.note, _NOTE, min(width_mm, 120.0), note_lines, "ink"), 1.2))
    return stacked([*parts[:-1], (parts[-1][0], gap_mm), (lines("", _NOTE, width_mm), 0.0)])


def _even_width(text: str, kind: Type, width_mm: float) -> float:
    """The narrowest width that takes no more lines, so that no word is left alone on the last."""
    lines = len(wrapped(text, kind, width_mm))
    widths = [width_mm * share / 20 for share in range(10, 21)]
    return next(width for width in widths if len(wrapped(text, kind, width)) <= lines)


def picture_pages(board: Board) -> list[Page]:
    """Pages of pictures, each with a lead in its corner."""
    return [_picture_page(board, looks, first=number == 0) for number, looks in enumerate(pages_of(len(board.looks)))]


def _picture_page(board: Board, looks: tuple[int, ...], first: bool) -> Page:
    @cache
    def measured(look: int, width: int, level: int) -> Block:
        return look_block(board.looks[look], width, level, look == looks[0])

    def text_mm(look: int, width: float, level: int) -> float:
        return measured(look, _even(width), level).height_mm

    @cache
    def head_mm(width: float, level: int) -> float:
        return title_block(board, width, level).height_mm if first else LABEL.line_mm + 6.0

    aspects = [aspect_of(picture) for picture in board.pictures]
    made = plan(Sheet(*board.size_mm, looks, aspects, text_mm, head_mm, mirrored=not first))
    page = board.page()
    _draw_head(board, page, made.head, first, made.level)
    for cell in made.cells:
        at, block = cell.picture, measured(cell.look, _even(cell.text_width_mm), made.level)
        page.picture(at.x_mm, at.y_mm, at.width_mm, at.height_mm, board.pictures[cell.look])
        block.draw(page, cell.text_x_mm, cell.text_y_mm)
        if block.cut:
            board.cut.add(cell.look)
    return page


def _even(width_mm: float) -> int:
    """The even number of millimetres that a width holds: texts are measured for these only, and kept."""
    return 2 * math.floor(width_mm / 2)


def _draw_head(board: Board, page: Page, at: Box, first: bool, level: int) -> None:
    if first:
        block = title_block(board, at.width_mm, level)
        block.draw(page, at.x_mm, at.y_mm)
        board.head_cut = block.cut
    else:
        page.text(at.x_mm, at.y_mm, shortened(board.title, LABEL, at.width_mm), LABEL, colour=page.theme.quiet)


def single_page(board: Board, more: Sequence[Block]) -> tuple[Page, bool]:
    """One look: its picture off the sheet's edge, its words below or beside it; and whether `more` fitted there too."""
    room = board.size_mm[1] - TOP_MM - FOOT_MM
    across, column = board.across_mm, board.column_mm
    down = across / aspect_of(board.pictures[0])
    for level in range(LEVELS):
        below = _words_below(board, level, across, down)
        own = [(title_block(board, column, level, 0.0), 10.0)]
        own += [] if below else [(_own_words(board, column, level), 5.0)]
        words, details = stacked(own), stacked([(block, 4.5) for block in more])
        if words.height_mm <= room:
            break
    fits = words.height_mm + 5 + details.height_mm <= room
    page = board.page()
    page.picture(0, 0, across, down, board.pictures[0])
    if below is not None:
        below.draw(page, MARGIN_MM, down + 6)
    words.draw(page, across + 10, TOP_MM)
    if fits:
        details.draw(page, across + 10, TOP_MM + room - details.height_mm)
    if level > 0:
        board.cut.add(0)
    board.head_cut = title_block(board, column, level).cut
    return page, fits


def _words_below(board: Board, level: int, across_mm: float, down_mm: float) -> Block | None:
    """Words of a board's only look where they have room under its picture."""
    if across_mm < 120:
        return None
    block = _own_words(board, min(across_mm - MARGIN_MM, 150.0), level)
    return block if down_mm + 6 + block.height_mm <= board.size_mm[1] - FOOT_MM else None


def _own_words(board: Board, width_mm: float, level: int) -> Block:
    titled = board.looks[0].title != board.title
    block = look_block(board.looks[0], width_mm, level, True, contrast=False, titled=titled)
    note = lines(MAPPED_NOTE if board.mapped else "", SMALL, width_mm, colour="quiet")
    return stacked([(block, 3.0 if board.mapped else 0.0), (note, 0.0)])


def number_pages(board: Board, pages: Sequence[Page]) -> None:
    """Page numbers, and what the mark beside a colour means, at the foot of every page."""
    width, height = board.size_mm
    for number, page in enumerate(pages, start=1):
        y = height - 9.0
        if len(pages) > 1:
            page.text(width - MARGIN_MM, y, f"{number} / {len(pages)}", SMALL, colour=page.theme.quiet, align="right")
        if board.mapped and len(board.looks) > 1:
            page.text(width - MARGIN_MM - 14, y, MAPPED_NOTE, SMALL, colour=page.theme.quiet, align="right")
