"""Where the pictures of a mood board lie: one large that bleeds off the sheet, the others in rows of their own rhythm.

All lengths are millimetres from the top left corner of the page. Pictures are always shown whole.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from materials import KeyfallError

MARGIN_MM, TOP_MM, FOOT_MM = 16.0, 15.0, 15.0
GUTTER_MM, UNDER_MM, BESIDE_MM = 6.0, 3.2, 4.0
MOST_A_PAGE = 6
LEVELS = 4
_TRIED = ((0, 1, 2), (3,))
_WORTH = (1.0, 0.97, 0.92, 0.8)  # of a plan, by level
"""How far texts may be shortened: 0 whole, 3 the least that still names a look."""

_ROW_GAP_MM, _WIDEST_ROW_GAP_MM = 7.0, 16.0
_NARROWEST_TEXT_MM, _NARROWEST_BESIDE_MM, _WIDEST_TEXT_MM = 34.0, 38.0, 84.0
_NARROWEST_LEAD_TEXT_MM = 56.0
_LEAD_SHARES = tuple(0.28 + 0.032 * step for step in range(11))  # of the sheet's width
_LEAD_TALL = (0.45, 0.55, 0.65)  # of the sheet's height, for tall pictures
_SCALES = tuple(1 - 0.075 * step for step in range(13))
_SMALLEST_MM2 = (1300.0, 1000.0, 800.0, 0.0)  # of a picture, by level
_LEAD_OVER_OTHERS, _LEAD_OVER_ONE = 1.9, 1.1  # least ratio of areas

Heights = Callable[[int, float, int], float]
"""Height of a look's text: (look, width in mm, level)."""


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle."""

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float


@dataclass(frozen=True, slots=True)
class Cell:
    """Where one look lies: its picture, and the corner and width of its text."""

    look: int
    picture: Box
    text_x_mm: float
    text_y_mm: float
    text_width_mm: float
    lead: bool = False


@dataclass(frozen=True, slots=True)
class Plan:
    """A page: its cells, where its heading stands, and how far texts are shortened."""

    cells: tuple[Cell, ...]
    head: Box
    level: int


@dataclass(frozen=True, slots=True)
class Sheet:
    """What a page is planned from.

    Attributes
    ----------
    looks : numbers of its looks, the lead first. aspects : width over height of every look of the board, by number.
    heights : height of a look's text. head_mm : height of the heading at a width
        and a level. mirrored : the lead lies right.
    """

    width_mm: float
    height_mm: float
    looks: tuple[int, ...]
    aspects: Sequence[float]
    heights: Heights
    head_mm: Callable[[float, int], float]
    mirrored: bool = False


@dataclass(frozen=True, slots=True)
class _Row:
    looks: tuple[int, ...]
    beside: bool


def pages_of(count: int) -> list[tuple[int, ...]]:
    """Which looks stand on which page: up to six on one, more on two."""
    if count <= MOST_A_PAGE:
        return [tuple(range(count))]
    first = (count + 1) // 2
    return [tuple(range(first)), tuple(range(first, count))]


def plan(sheet: Sheet) -> Plan:
    """The best arrangement found: texts as whole as they fit, then pictures as large.

    Raises
    ------
    KeyfallError
        When even the shortest texts leave no room for pictures.
    """
    for levels in _TRIED:
        found = [pair for level in levels for pair in _plans(sheet, level) if pair[0] > 0]
        if found:
            return max(found, key=lambda pair: pair[0])[1]
    raise KeyfallError(
        "These looks do not fit on one page of the board: their words leave no room for the pictures. Shorten titles, "
        "client and note, or put fewer looks on the board."
    )


def _plans(sheet: Sheet, level: int) -> Iterator[tuple[float, Plan]]:
    lead, rest = sheet.looks[0], sheet.looks[1:]
    wide = [share * sheet.width_mm for share in _LEAD_SHARES]
    tall = [share * sheet.height_mm * sheet.aspects[lead] for share in _LEAD_TALL]
    for width in [*wide, *(width for width in tall if width < wide[0])]:
        made = _lead(sheet, lead, width, level)
        if made is None:
            continue
        cell, inner = made
        head = Box(inner.x_mm, inner.y_mm, inner.width_mm, sheet.head_mm(inner.width_mm, level))
        top = inner.y_mm + head.height_mm
        body = Box(inner.x_mm, top, inner.width_mm, sheet.height_mm - FOOT_MM - top)
        for rows in _partitions(rest):
            cells = _rows(sheet, rows, body, level)
            if cells is not None and len(rows) == 1 and not rows[0].beside:
                cells = _on_line(sheet, cells, cell.picture.height_mm, level)
            if cells is not None:
                yield _value(cell, cells, level, sheet), Plan((cell, *cells), head, level)


def _lead(sheet: Sheet, look: int, width: float, level: int) -> tuple[Cell, Box] | None:
    """The lead in its corner with its text below, and the area that is left beside it."""
    height = width / sheet.aspects[look]
    column = max(width, MARGIN_MM + _NARROWEST_LEAD_TEXT_MM)
    text_width = min(column - MARGIN_MM, _WIDEST_TEXT_MM + 36)
    text_top = height + 5
    if text_top + sheet.heights(look, text_width, level) > sheet.height_mm - FOOT_MM:
        return None
    beside = sheet.width_mm - column - 10 - MARGIN_MM
    at = sheet.width_mm - width if sheet.mirrored else 0.0
    text_x = sheet.width_mm - column if sheet.mirrored else MARGIN_MM
    left = MARGIN_MM if sheet.mirrored else column + 10
    cell = Cell(look, Box(at, 0, width, height), text_x, text_top, text_width, lead=True)
    return cell, Box(left, TOP_MM, beside, sheet.height_mm - FOOT_MM)


def _partitions(rest: tuple[int, ...]) -> Iterator[tuple[_Row, ...]]:
    """Every way to set looks in up to three rows, each with its texts under or beside its pictures."""
    count = len(rest)
    for rows in range(1, min(3, count) + 1) if count else (0,):
        for cuts in itertools.combinations(range(1, count), max(rows - 1, 0)):
            edges = (0, *cuts, count)
            parts = [rest[a:b] for a, b in itertools.pairwise(edges)] if count else []
            if any(len(part) > 3 for part in parts):
                continue
            for modes in itertools.product((False, True), repeat=len(parts)):
                yield tuple(_Row(part, beside) for part, beside in zip(parts, modes, strict=True))


def _rows(sheet: Sheet, rows: tuple[_Row, ...], body: Box, level: int) -> list[Cell] | None:
    """Cells of all rows in an area, as large as they fit; None when they do not."""
    if not rows:
        return []
    if body.width_mm < _NARROWEST_BESIDE_MM:
        return None
    for scale in _SCALES:
        made = [_row(sheet, row, body, scale, level) for row in rows]
        heights = [row[1] for row in made if row is not None]
        if len(heights) < len(rows):
            continue
        spare = body.height_mm - sum(heights) - _ROW_GAP_MM * (len(rows) - 1)
        if spare < 0:
            continue
        gap = _ROW_GAP_MM + (min(spare / (len(rows) - 1), _WIDEST_ROW_GAP_MM - _ROW_GAP_MM) if len(rows) > 1 else 0)
        cells, y = [], body.y_mm
        for row in made:
            if row is not None:
                cells += [_lowered(cell, y) for cell in row[0]]
                y += row[1] + gap
        return cells
    return None


def _on_line(sheet: Sheet, cells: list[Cell], line_mm: float, level: int) -> list[Cell]:
    """One row lowered so that its pictures end where the lead's does, where its words leave room for that."""
    ends = max(cell.text_y_mm + sheet.heights(cell.look, cell.text_width_mm, level) for cell in cells)
    by = line_mm - (cells[0].picture.y_mm + cells[0].picture.height_mm)
    if 0 < by <= sheet.height_mm - FOOT_MM - ends:
        return [_lowered(replace(cell, text_y_mm=cell.text_y_mm + 5 - UNDER_MM), by) for cell in cells]
    return cells


def _lowered(cell: Cell, by_mm: float) -> Cell:
    at = cell.picture
    moved = Box(at.x_mm, at.y_mm + by_mm, at.width_mm, at.height_mm)
    return Cell(cell.look, moved, cell.text_x_mm, cell.text_y_mm + by_mm, cell.text_width_mm, cell.lead)


def _row(sheet: Sheet, row: _Row, body: Box, scale: float, level: int) -> tuple[list[Cell], float] | None:
    """Cells of one row from y = 0 and its height, its pictures equally high."""
    aspects = [sheet.aspects[look] for look in row.looks]
    count = len(row.looks)
    room = body.width_mm - GUTTER_MM * (count - 1)
    if row.beside:
        text_room = room - count * (BESIDE_MM + _NARROWEST_BESIDE_MM)
        if text_room <= 0:
            return None
        high = min(scale * text_room / sum(aspects), scale * body.height_mm)
        widths = [high * aspect for aspect in aspects]
        text = min((room - sum(widths)) / count - BESIDE_MM, _WIDEST_TEXT_MM)
        slots = [width + BESIDE_MM + text for width in widths]
        texts = [text] * count
        tall = max(high, max(sheet.heights(look, text, level) for look in row.looks))
    else:
        high = min(scale * room / sum(aspects), scale * body.height_mm)
        widths = [high * aspect for aspect in aspects]
        least = [max(width, _NARROWEST_TEXT_MM) for width in widths]
        if sum(least) > room:
            return None
        spare = (room - sum(least)) / count
        texts = [min(width + spare, max(width, _WIDEST_TEXT_MM)) for width in least]
        slots = texts
        tall = high + UNDER_MM + max(
            sheet.heights(look, text, level) for look, text in zip(row.looks, texts, strict=True)
        )  # fmt: skip
    cells, x = [], body.x_mm
    for look, width, text, slot in zip(row.looks, widths, texts, slots, strict=True):
        at = (x + width + BESIDE_MM, 0.0) if row.beside else (x, high + UNDER_MM)
        cells.append(Cell(look, Box(x, 0.0, width, high), at[0], at[1], text))
        x += slot + GUTTER_MM
    return cells, tall


def _value(lead: Cell, cells: Sequence[Cell], level: int, sheet: Sheet) -> float:
    """How good an arrangement is; 0 for one that must not be."""
    own = lead.picture.width_mm * lead.picture.height_mm
    areas = [cell.picture.width_mm * cell.picture.height_mm for cell in cells]
    if not areas:
        return own
    least = _LEAD_OVER_ONE if len(areas) == 1 else _LEAD_OVER_OTHERS
    if min(areas) < _SMALLEST_MM2[level] or (own < least * max(areas) and level < LEVELS - 1):
        return 0.0
    sizes = {round(area / 40) for area in areas}
    bottom = max(max(cell.picture.y_mm + cell.picture.height_mm for cell in cells), 1.0)
    whole = 1.5 * own + 1.1 * sum(areas) + 3 * min(areas) + 300 * (len(sizes) - 1) + 4 * bottom
    return whole * _WORTH[level]
