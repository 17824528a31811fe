"""Tables whose columns take what their words need, and wrap where the page is too narrow."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from .page import Page
from .type import LABEL, SMALL, Type, text_width, wrapped

_GUTTER_MM = 3.2
_PAD_MM = 1.1
_NARROWEST_MM = 9.0


@dataclass(frozen=True, slots=True)
class Column:
    """A heading, how the column is set ("left", "right"), and whether its words stay on one line."""

    heading: str
    align: str = "left"
    whole: bool = False


@dataclass(slots=True)
class Table:
    """Rows of words under headings, laid out to a width.

    Parameters
    ----------
    columns : headings and how they are set.
    rows : words of every cell; a newline breaks a line.
    width_mm : of the whole table.
    kind, head : types of cells and headings.
    """

    columns: Sequence[Column]
    rows: Sequence[Sequence[str]]
    width_mm: float
    kind: Type = SMALL
    head: Type = LABEL
    widths_mm: list[float] = field(init=False)

    def __post_init__(self) -> None:
        self.widths_mm = self._widths()

    def _words_of(self, index: int) -> list[tuple[str, Type]]:
        return [(self.columns[index].heading, self.head), *((row[index], self.kind) for row in self.rows)]

    def _widths(self) -> list[float]:
        """Natural widths where they fit; else the widest columns that may wrap give way until the table fits."""
        room = self.width_mm - _GUTTER_MM * (len(self.columns) - 1)
        natural, least = [], []
        for index, column in enumerate(self.columns):
            words = self._words_of(index)
            natural.append(max(text_width(line, kind) for text, kind in words for line in text.split("\n")) + 0.3)
            longest = max(text_width(word, kind) for text, kind in words for word in (text.split() or [""])) + 0.3
            least.append(natural[-1] if column.whole else min(natural[-1], max(longest, _NARROWEST_MM)))
        if sum(natural) <= room:
            spare = (room - sum(natural)) / len(natural)
            return [width + spare for width in natural]
        low, high = 0.0, max(natural)
        for _ in range(40):
            cap = (low + high) / 2
            total = sum(max(lo, min(n, cap)) for n, lo in zip(natural, least, strict=True))
            low, high = (cap, high) if total <= room else (low, cap)
        widths = [max(lo, min(n, low)) for n, lo in zip(natural, least, strict=True)]
        excess = sum(widths) / room
        return [width / excess for width in widths] if excess > 1 else widths

    def _lines(self, row: Sequence[str], kind: Type) -> list[list[str]]:
        return [wrapped(text, kind, width) for text, width in zip(row, self.widths_mm, strict=True)]

    @property
    def head_mm(self) -> float:
        """Height of the headings."""
        lines = self._lines([column.heading for column in self.columns], self.head)
        return max(map(len, lines)) * self.head.line_mm + 2 * _PAD_MM

    def row_mm(self, row: Sequence[str]) -> float:
        """Height of a row."""
        return max(map(len, self._lines(row, self.kind))) * self.kind.line_mm + 2 * _PAD_MM

    @property
    def height_mm(self) -> float:
        """Height of the whole table."""
        return self.head_mm + sum(self.row_mm(row) for row in self.rows)

    def draw(self, page: Page, x_mm: float, top_mm: float, first: int = 0, end: int | None = None) -> float:
        """Draw headings and the rows from `first` up to `end`; returns the bottom."""
        lines = self._lines([column.heading for column in self.columns], self.head)
        deepest = max(map(len, lines))
        padded = [[""] * (deepest - len(cell)) + cell for cell in lines]
        self._row(page, x_mm, top_mm, padded, self.head, page.theme.quiet)
        y = top_mm + self.head_mm
        page.rule(x_mm, y, self.width_mm, colour=page.theme.ink, pt=0.7)
        for row in self.rows[first:end]:
            self._row(page, x_mm, y, self._lines(row, self.kind), self.kind, page.theme.ink)
            y += self.row_mm(row)
            page.rule(x_mm, y, self.width_mm)
        return y

    def _row(self, page: Page, x_mm: float, top_mm: float, cells: list[list[str]], kind: Type, colour: str) -> None:
        x = x_mm
        for column, width, lines in zip(self.columns, self.widths_mm, cells, strict=True):
            y = top_mm + _PAD_MM
            for line in lines:
                at = x + width if column.align == "right" else x
                y = page.text(at, y, line, kind, colour=colour, align=column.align)
            x += width + _GUTTER_MM
