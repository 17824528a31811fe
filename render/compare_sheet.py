"""The sheet of `keyfall compare`: a cell a variant, its exposure map and its numbers under it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from .compare import Cell, CompareReport, number_words
from .outputs import OutputFolder
from .palette import colours
from .settings_words import settings_line
from .sheet import WIDE_LABEL, WIDE_LINE, WIDE_TITLE, Page, Type, save_pdf, save_png, text_width, true_minus, wrapped
from .stops_scale import draw_stops_scale
from .styles.rules import pattern_words

_MARGIN_MM, _GAP_MM = 14.0, 7.0
_NARROWEST_MM, _WIDEST_MM = 62.0, 88.0
_DOTS = 200.0
_MAP_SHARE = 0.4  # of a cell's width
_ACROSS_MOST = 4

_AXIS = Type(13, "semibold", 1.2)
_NUMBER = Type(17, "semibold", 1.12)
_WORD = Type(10.5, "regular", 1.2)
_NOTE = Type(10, "regular", 1.25)


@dataclass(frozen=True, slots=True)
class _Layout:
    """Measures of the sheet, millimetres."""

    columns: int
    cell_mm: float
    pictures_mm: list[float]
    labels_mm: list[float]
    notes_mm: list[float]
    side_mm: float
    numbers: int

    @property
    def under_mm(self) -> float:
        """Height of map and numbers."""
        return max(_MAP_SHARE * self.cell_mm * 1.25, self.numbers * (_NUMBER.line_mm + 1) + 1)

    def row_mm(self, row: int) -> float:
        """Height of a row, with the gap after it."""
        return self.labels_mm[row] + self.pictures_mm[row] + 2 + self.under_mm + self.notes_mm[row] + _GAP_MM + 2


def write_compare_sheet(output: OutputFolder, cells: list[Cell], report: CompareReport) -> None:
    """Write `compare.png` and `compare.pdf`."""
    page = compare_page(cells, report)
    output.write("compare.png", lambda path: save_png(path, page))
    output.write("compare.pdf", lambda path: save_pdf(path, [page], report.title))


def compare_page(cells: list[Cell], report: CompareReport) -> Page:
    """Draw the sheet on one page of the size it needs."""
    layout = _layout(cells, report)
    inner = layout.side_mm + layout.columns * (layout.cell_mm + _GAP_MM) - _GAP_MM
    inner = max(inner, 130.0)
    title = wrapped(report.title, WIDE_TITLE, inner, 2)
    under = wrapped(_subtitle(report), WIDE_LINE, inner)
    heads = _AXIS.line_mm + 2 if report.down else 0
    head = len(title) * WIDE_TITLE.line_mm + len(under) * WIDE_LINE.line_mm + 7 + heads
    rows = len(layout.pictures_mm)
    hazy = any(cell.report.numbers.haze is not None for cell in cells)
    height = 2 * _MARGIN_MM + head + sum(layout.row_mm(r) for r in range(rows)) + (20 if hazy else 14)
    page = Page(inner + 2 * _MARGIN_MM, height, dots_per_inch=_DOTS)
    y = page.paragraph(_MARGIN_MM, _MARGIN_MM, inner, report.title, WIDE_TITLE, most_lines=2)
    y = page.paragraph(_MARGIN_MM, y + 1, inner, _subtitle(report), WIDE_LINE, colour=page.theme.quiet) + 6
    if report.down is not None:
        y = _column_heads(page, layout, report, y)
    for row in range(rows):
        _row(page, layout, cells, report, row, y)
        y += layout.row_mm(row)
    _foot(page, inner, y, hazy)
    return page


def _layout(cells: list[Cell], report: CompareReport) -> _Layout:
    count = len(report.across.labels)
    columns = count if report.down is not None else math.ceil(count / math.ceil(count / _ACROSS_MOST))
    pixels = max(cell.picture.shape[1] for cell in cells)
    width = min(max(pixels * 25.4 / _DOTS, _NARROWEST_MM), _WIDEST_MM)
    rows: dict[int, list[Cell]] = {}
    for index, cell in enumerate(cells):
        rows.setdefault(index // columns, []).append(cell)
    side = 0.0
    if report.down is not None:
        widest = max(text_width(label, WIDE_LABEL) for label in report.down.labels)
        side = min(widest, 34.0) + 4
    labelled = report.down is None
    return _Layout(
        columns, width,
        [max(_picture_mm(cell, width) for cell in row) for row in rows.values()],
        [
            max(len(wrapped(cell.variant.labels[-1], WIDE_LABEL, width, 2)) for cell in row) * WIDE_LABEL.line_mm + 1.5
            if labelled else 0.0
            for row in rows.values()
        ],
        [max(_notes_mm(cell, width) for cell in row) for row in rows.values()],
        side,
        max(len(number_words(cell.report.numbers)) for cell in cells),
    )  # fmt: skip


def _picture_mm(cell: Cell, width_mm: float) -> float:
    height, width, _ = cell.picture.shape
    return min(width_mm * height / width, 1.5 * width_mm)


def _column_heads(page: Page, layout: _Layout, report: CompareReport, y: float) -> float:
    deepest = max(len(wrapped(label, WIDE_LABEL, layout.cell_mm, 2)) for label in report.across.labels)
    for column, label in enumerate(report.across.labels):
        x = _MARGIN_MM + layout.side_mm + column * (layout.cell_mm + _GAP_MM)
        page.paragraph(x, y, layout.cell_mm, label, WIDE_LABEL, most_lines=2)
    return y + deepest * WIDE_LABEL.line_mm + 2


def _row(page: Page, layout: _Layout, cells: list[Cell], report: CompareReport, row: int, y: float) -> None:
    if report.down is not None:
        label = report.down.labels[row]
        page.paragraph(_MARGIN_MM, y, layout.side_mm - 3, label, WIDE_LABEL, most_lines=6)
    for column, cell in enumerate(cells[row * layout.columns : (row + 1) * layout.columns]):
        x = _MARGIN_MM + layout.side_mm + column * (layout.cell_mm + _GAP_MM)
        if report.down is None:
            page.paragraph(x, y, layout.cell_mm, cell.variant.labels[-1], WIDE_LABEL, most_lines=2)
        _cell(page, layout, cell, x, y + layout.labels_mm[row], layout.pictures_mm[row])


def _cell(page: Page, layout: _Layout, cell: Cell, x: float, y: float, room_mm: float) -> None:
    height = _picture_mm(cell, layout.cell_mm)
    width = layout.cell_mm
    shown = cell.picture.shape[0] / cell.picture.shape[1]
    if shown * width > height + 1e-6:
        width = height / shown
    page.picture(x, y, width, height, cell.picture)
    y += room_mm + 2
    map_mm = _MAP_SHARE * layout.cell_mm
    map_height = min(map_mm * shown, layout.under_mm)
    page.picture(x, y, map_height / shown, map_height, _map_pixels(cell))
    at = x + map_mm + 3.5
    top = y - 0.8
    step = max(_NUMBER.line_mm + 1, (layout.under_mm - 1) / layout.numbers)
    for value, word in number_words(cell.report.numbers):
        page.text(at, top, value, _NUMBER)
        page.text(x + layout.cell_mm, top + 1.4, word, _WORD, colour=page.theme.quiet, align="right")
        page.rule(at, top + step - 1.2, x + layout.cell_mm - at)
        top += step
    _notes(page, cell, x, y + layout.under_mm + 1.2, layout.cell_mm)


def _map_pixels(cell: Cell) -> np.ndarray:
    pixels = colours(cell.stops)
    rows, columns = np.indices(cell.stops.shape)
    stripes = ((rows + columns) // max(2, cell.stops.shape[1] // 64)) % 2 == 0
    pixels[cell.no_detail & stripes] = (29, 31, 36)
    return pixels


def _note_texts(cell: Cell) -> list[tuple[str, bool | None]]:
    """Sentences under a cell, each with whether it tells of a check met (None: of none)."""
    texts: list[tuple[str, bool | None]] = []
    style = cell.report.style
    if style is not None:
        texts.append((f"{pattern_words(style)}.", style.passed))
        missed = (check for check in style.checks if not check.passed)
        texts += [(f"{check.what}: {check.found}; wanted {check.expected}", None) for check in missed]
    haze = cell.report.numbers.haze
    if haze is not None and haze.beam is not None:
        texts.append((f"Beam in the haze: {haze.beam}.", None))
    for name, stops in cell.report.power_change_stops.items():
        texts.append((f"{name} {true_minus(f'{stops:+.1f}')} stops to read as in the scene", None))
    return [*texts, *((note, None) for note in cell.report.notes)]


def _notes_mm(cell: Cell, width_mm: float) -> float:
    lines = sum(len(wrapped(text, _NOTE, width_mm - 3)) for text, _ in _note_texts(cell))
    return lines * _NOTE.line_mm + (2.2 if lines else 0)


def _notes(page: Page, cell: Cell, x: float, y: float, width_mm: float) -> None:
    for text, met in _note_texts(cell):
        if met is not None:
            colour = page.theme.good if met else page.theme.doubt
            page.box(x, y + 0.7, 1.0, _NOTE.size_mm, fill=colour)
        y = page.paragraph(x + 3, y, width_mm - 3, text, _NOTE, colour=page.theme.quiet)


def _subtitle(report: CompareReport) -> str:
    what = report.across.name if report.down is None else f"{report.down.name} down, {report.across.name} across"
    exposure = "each at its own exposure" if report.settings is None else f"all at {settings_line(report.settings)}"
    evened = "; the varied light set to read the same everywhere" if report.evened else ""
    return f"{what[:1].upper()}{what[1:]}; {exposure}{evened}."


def _foot(page: Page, inner: float, y: float, hazy: bool) -> None:
    page.rule(_MARGIN_MM, y - 2, inner)
    kind = Type(9.5)
    scale = min(90.0, inner * 0.42)
    draw_stops_scale(page, _MARGIN_MM, y + 1.5, scale, kind)
    words = (
        "Map: stops from mid-grey, striped where no detail is left. Face: dome, stops from the set aperture. Cheeks: "
        "each metered flat. Background: stops from the face."
    )
    if hazy:
        words += (
            " Beam: stops over what is behind it, as seen. Contrast left: the share of the face's contrast, light to "
            "shadow, that the haze leaves."
        )
    page.paragraph(_MARGIN_MM + scale + 6, y + 0.4, inner - scale - 6, words, kind, colour=page.theme.quiet)
