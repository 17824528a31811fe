"""Pages that fill from the top: sections, paragraphs and tables that go on where a page ends."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from ..sheet import HEADING, LABEL, SMALL, Column, Page, Table, shortened, wrapped
from ..sheet.type import Type

MARGIN_MM, FOOT_MM = 17.0, 15.0
SECTION_GAP_MM, CLOSE_GAP_MM = 8.0, 5.0
_DOTS_PER_INCH = 200
_ROUNDING_MM = 0.01
_LEAST_ROWS = 3


@dataclass(slots=True)
class Flow:
    """Pages under construction; `y` is where the next thing on the last page goes, mm."""

    width_mm: float
    height_mm: float
    title: str
    pages: list[Page] = field(default_factory=list)
    y: float = MARGIN_MM
    close: bool = False
    """Whether type stands closer, so that a plan takes a page less."""

    @property
    def page(self) -> Page:
        """The last page."""
        return self.pages[-1]

    @property
    def left(self) -> float:
        """Left edge of type."""
        return MARGIN_MM

    @property
    def measure(self) -> float:
        """Width of type."""
        return self.width_mm - 2 * MARGIN_MM

    @property
    def bottom(self) -> float:
        """Where type ends."""
        return self.height_mm - FOOT_MM - 4.0

    @property
    def room(self) -> float:
        """What is left of the page, mm."""
        return self.bottom - self.y

    def turn(self, heading: bool = True) -> Page:
        """Begin a page; all but the first carry the title in small type."""
        self.pages.append(Page(self.width_mm, self.height_mm, dots_per_inch=_DOTS_PER_INCH))
        self.y = MARGIN_MM - 3.0
        if heading:
            half = 0.75 * self.measure
            self.page.text(self.left, self.y, shortened(self.title or "Lighting plan", LABEL, half), LABEL)
            self.page.text(
                self.left + self.measure, self.y, "Lighting plan", SMALL, colour=self.page.theme.accent, align="right"
            )
            self.y += LABEL.line_mm + 1.2
            self.page.rule(self.left, self.y, self.measure)
            self.y += 6.0
        return self.page

    def need(self, mm: float) -> None:
        """Turn the page where less than so much is left."""
        if self.room < mm - _ROUNDING_MM:
            self.turn()

    def heading(self, text: str, keep_mm: float = 20.0) -> None:
        """A section's heading, with room for what begins under it."""
        if self.y > MARGIN_MM + 14:
            self.y += CLOSE_GAP_MM if self.close else SECTION_GAP_MM
        self.need(HEADING.line_mm + keep_mm)
        self.y = self.page.text(self.left, self.y, text, HEADING) + 1.6

    def paragraph(self, text: str, kind: Type = SMALL, quiet: bool = False, width_mm: float | None = None) -> None:
        """Text that goes on over pages line by line."""
        for line in wrapped(text, kind, width_mm or self.measure):
            self.need(kind.line_mm)
            colour = self.page.theme.quiet if quiet else None
            self.y = self.page.text(self.left, self.y, line, kind, colour=colour)

    def table(self, columns: Sequence[Column], rows: Sequence[Sequence[str]]) -> None:
        """A table that goes on over pages row by row, with its headings on each."""
        table = Table(columns, rows, self.measure)
        first = 0
        while first < len(rows):
            self.need(table.head_mm + table.row_mm(rows[first]))
            room, end = self.room - table.head_mm, first
            while end < len(rows) and (room := room - table.row_mm(rows[end])) >= 0:
                end += 1
            if len(rows) - end in range(1, _LEAST_ROWS):  # a page does not begin with a row or two
                end = len(rows) - _LEAST_ROWS
            end = max(end, first + 1)
            self.y = table.draw(self.page, self.left, self.y, first, end)
            first = end
            if first < len(rows):
                self.turn()

    def rows(self, heights: Sequence[float], draw: Callable[[int, float], None]) -> None:
        """Rows of known heights, each drawn whole by `draw(index, top)`."""
        for index, height in enumerate(heights):
            self.need(height)
            draw(index, self.y)
            self.y += height

    def number_pages(self) -> None:
        """Foot of every page: its number, and how to print."""
        count = len(self.pages)
        for index, page in enumerate(self.pages):
            y = self.height_mm - FOOT_MM
            page.rule(self.left, y, self.measure)
            page.text(
                self.left, y + 1.4, "Print at full size (100 %): then drawings keep their scale.", SMALL,
                colour=page.theme.quiet,
            )  # fmt: skip
            page.text(
                self.left + self.measure, y + 1.4, f"{index + 1} of {count}", SMALL, colour=page.theme.quiet,
                align="right",
            )  # fmt: skip
