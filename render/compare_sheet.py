"""The sheets of `keyfall compare`: a cell a variant, its exposure map and its numbers under it; on one wide picture,
and on pages of paper."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from .compare_cells import BACKGROUND_WORDS, Cell, CompareReport, number_words
from .outputs import OutputFolder
from .palette import colours
from .settings_words import settings_line
from .sheet import (
    PAPERS_MM,
    WIDE_LABEL,
    WIDE_LINE,
    WIDE_TITLE,
    Page,
    Type,
    number_pages,
    save_pdf,
    save_png,
    text_width,
    wrapped,
)
from .stops_scale import draw_stops_scale
from .styles.rules import pattern_words

_MARGIN_MM, _GAP_MM = 14.0, 7.0
_NARROWEST_MM, _WIDEST_MM = 62.0, 88.0
_DOTS = 200.0
_MAP_SHARE = 0.4  # of a cell's width
_ACROSS_MOST = 4
_TYPE_FOR_MM = 70.0
"""Width of a cell for which the types are made; narrower ones have smaller type, down to `_SMALLEST_TYPE`."""

_SMALLEST_TYPE, _LEAST_MM = 0.72, 50.0
_FOOT_MM = 16.0
_FOOT = Type(8.5)

_AXIS = Type(13, "semibold", 1.2)
_NUMBER = Type(16, "semibold", 1.12)
_WORD = Type(10.5, "regular", 1.2)
_NOTE = Type(10, "regular", 1.25)


@dataclass(frozen=True, slots=True)
class _Layout:
    """Measures of a sheet or page, millimetres; `factor` scales its types, `numbers` is the most under a picture."""

    columns: int
    cell_mm: float
    pictures_mm: list[float]
    labels_mm: list[float]
    notes_mm: list[float]
    side_mm: float
    numbers: int
    factor: float

    def kind(self, kind: Type) -> Type:
        """A type at this sheet's size."""
        return kind.scaled(self.factor)

    @property
    def under_mm(self) -> float:
        """Height of map and numbers."""
        return max(_MAP_SHARE * self.cell_mm * 1.25, self.numbers * (self.kind(_NUMBER).line_mm + 1) + 1)

    def row_mm(self, row: int) -> float:
        """Height of a row, with the gap after it."""
        return self.labels_mm[row] + self.pictures_mm[row] + 2 + self.under_mm + self.notes_mm[row] + _GAP_MM + 2

    @property
    def inner_mm(self) -> float:
        """Width of all cells with what stands beside them."""
        return self.side_mm + self.columns * (self.cell_mm + _GAP_MM) - _GAP_MM


def write_compare_sheet(
    output: OutputFolder, cells: list[Cell], report: CompareReport, paper: str = "a4"
) -> list[str]:
    """Write `compare.png`, all on one picture, and `compare.pdf`, on pages of a paper; returns what could not be
    printed."""
    page = compare_page(cells, report)
    pages = compare_pages(cells, report, paper)
    output.write("compare.png", lambda path: save_png(path, page))
    output.write("compare.pdf", lambda path: save_pdf(path, pages, report.title))
    return page.notes()


def compare_page(cells: list[Cell], report: CompareReport) -> Page:
    """Draw the sheet on one page of the size it needs."""
    count = len(report.across.labels)
    columns = count if report.down is not None else math.ceil(count / math.ceil(count / _ACROSS_MOST))
    pixels = max(cell.picture.shape[1] for cell in cells)
    width = min(max(pixels * 25.4 / _DOTS, _NARROWEST_MM), _WIDEST_MM)
    layout = _layout(cells, report, columns, width, 1.0)
    inner = max(layout.inner_mm, 130.0)
    rows = range(len(layout.pictures_mm))
    height = 2 * _MARGIN_MM + _head_mm(report, layout, inner) + sum(layout.row_mm(r) for r in rows)
    height += max(14.0, _foot_mm(inner, cells))
    page = Page(inner + 2 * _MARGIN_MM, height, dots_per_inch=_DOTS)
    y = _draw_rows(page, layout, cells, report, list(rows), _head(page, report, layout, inner))
    _foot(page, inner, y, cells)
    return page


def compare_pages(cells: list[Cell], report: CompareReport, paper: str = "a4") -> list[Page]:
    """Draw the sheet on upright pages of a paper: up to three pictures across, and as many rows as fit.

    A grid of more columns goes on over further pages, its columns as even as they can be.

    Parameters
    ----------
    paper : "a4" or "letter".
    """
    width, height = PAPERS_MM[paper]
    inner = width - 2 * _MARGIN_MM
    pages: list[Page] = []
    for part, told in _parts(cells, report):
        columns = len(told.across.labels)
        if told.down is None:
            columns = min(columns, 2 if columns in (2, 4) else 3)
        widest = min((inner - _side_mm(told) + _GAP_MM) / columns - _GAP_MM, _WIDEST_MM)
        tried = [_on_paper(part, told, columns, cell) for cell in np.linspace(widest, min(widest, _LEAST_MM), 9)]
        # the largest pictures that take the fewest pages
        layout = min(tried, key=lambda one: len(list(_rows_by_page(one, told, inner, height))))
        for rows in _rows_by_page(layout, told, inner, height):
            page = Page(width, height, dots_per_inch=_DOTS)
            _draw_rows(page, layout, part, told, rows, _head(page, told, layout, inner))
            _foot(page, inner, height - _MARGIN_MM - _FOOT_MM, part)
            pages.append(page)
    number_pages(pages, _MARGIN_MM, report.title)
    return pages


def _on_paper(cells: list[Cell], report: CompareReport, columns: int, cell_mm: float) -> _Layout:
    factor = min(max(cell_mm / _TYPE_FOR_MM, _SMALLEST_TYPE), 1.0)
    return _layout(cells, report, columns, float(cell_mm), factor)


def _parts(cells: list[Cell], report: CompareReport) -> Iterator[tuple[list[Cell], CompareReport]]:
    """The columns of a grid in even parts of at most three, each as a report of its own."""
    count = len(report.across.labels)
    if report.down is None or count <= 3:
        yield cells, report
        return
    parts = math.ceil(count / 3)
    edges = [round(k * count / parts) for k in range(parts + 1)]
    for first, end in itertools.pairwise(edges):
        across = report.across.model_copy(update={"labels": report.across.labels[first:end]})
        inside = [cell for k, cell in enumerate(cells) if first <= k % count < end]
        yield inside, report.model_copy(update={"across": across, "cells": [cell.report for cell in inside]})


def _rows_by_page(layout: _Layout, report: CompareReport, inner: float, height: float) -> Iterator[list[int]]:
    """Rows in groups that fit on a page together; one that is too high by itself stands alone."""
    room = height - 2 * _MARGIN_MM - _head_mm(report, layout, inner) - _FOOT_MM
    group: list[int] = []
    taken = 0.0
    for row in range(len(layout.pictures_mm)):
        if group and taken + layout.row_mm(row) > room + _GAP_MM:
            yield group
            group, taken = [], 0.0
        group.append(row)
        taken += layout.row_mm(row)
    yield group


def _head_mm(report: CompareReport, layout: _Layout, inner: float) -> float:
    title, line = layout.kind(WIDE_TITLE), layout.kind(WIDE_LINE)
    rows = len(wrapped(report.title, title, inner, 2)) * title.line_mm
    heads = _heads_mm(report, layout) if report.down is not None else 0.0
    return rows + len(wrapped(subtitle(report), line, inner)) * line.line_mm + 7 + heads


def _head(page: Page, report: CompareReport, layout: _Layout, inner: float) -> float:
    """Title, what is varied, and the labels of columns; returns where the rows begin."""
    title, line = layout.kind(WIDE_TITLE), layout.kind(WIDE_LINE)
    y = page.paragraph(_MARGIN_MM, _MARGIN_MM, inner, report.title, title, most_lines=2)
    y = page.paragraph(_MARGIN_MM, y + 1, inner, subtitle(report), line, colour=page.theme.quiet) + 6
    if report.down is None:
        return y
    kind = layout.kind(WIDE_LABEL)
    for column, label in enumerate(report.across.labels):
        x = _MARGIN_MM + layout.side_mm + column * (layout.cell_mm + _GAP_MM)
        page.paragraph(x, y, layout.cell_mm, label, kind, most_lines=2)
    return y + _heads_mm(report, layout)


def _heads_mm(report: CompareReport, layout: _Layout) -> float:
    kind = layout.kind(WIDE_LABEL)
    return max(len(wrapped(label, kind, layout.cell_mm, 2)) for label in report.across.labels) * kind.line_mm + 2


def _side_mm(report: CompareReport) -> float:
    """Room beside the rows for their labels."""
    if report.down is None:
        return 0.0
    return min(max(text_width(label, WIDE_LABEL) for label in report.down.labels), 34.0) + 4


def _layout(cells: list[Cell], report: CompareReport, columns: int, width: float, factor: float) -> _Layout:
    rows: dict[int, list[Cell]] = {}
    for index, cell in enumerate(cells):
        rows.setdefault(index // columns, []).append(cell)
    label, labelled = WIDE_LABEL.scaled(factor), report.down is None
    return _Layout(
        columns, width,
        [max(_picture_mm(cell, width) for cell in row) for row in rows.values()],
        [
            max(len(wrapped(cell.variant.labels[-1], label, width, 2)) for cell in row) * label.line_mm + 1.5
            if labelled else 0.0
            for row in rows.values()
        ],
        [max(_notes_mm(cell, width, _NOTE.scaled(factor)) for cell in row) for row in rows.values()],
        _side_mm(report), max(len(number_words(cell.report.numbers)) for cell in cells), factor,
    )  # fmt: skip


def _picture_mm(cell: Cell, width_mm: float) -> float:
    height, width, _ = cell.picture.shape
    return min(width_mm * height / width, 1.5 * width_mm)


def _draw_rows(
    page: Page, layout: _Layout, cells: list[Cell], report: CompareReport, rows: list[int], y: float
) -> float:
    for row in rows:
        _row(page, layout, cells, report, row, y)
        y += layout.row_mm(row)
    return y


def _row(page: Page, layout: _Layout, cells: list[Cell], report: CompareReport, row: int, y: float) -> None:
    kind = layout.kind(WIDE_LABEL)
    if report.down is not None:
        page.paragraph(_MARGIN_MM, y, layout.side_mm - 3, report.down.labels[row], kind, most_lines=6)
    for column, cell in enumerate(cells[row * layout.columns : (row + 1) * layout.columns]):
        x = _MARGIN_MM + layout.side_mm + column * (layout.cell_mm + _GAP_MM)
        if report.down is None:
            page.paragraph(x, y, layout.cell_mm, cell.variant.labels[-1], kind, most_lines=2)
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
    page.picture(x, y, map_height / shown, map_height, map_pixels(cell))
    at = x + map_mm + 3.5
    top = y - 0.8
    number, word_kind = layout.kind(_NUMBER), layout.kind(_WORD)
    step = max(number.line_mm + 1, (layout.under_mm - 1) / layout.numbers)
    room = x + layout.cell_mm - at
    for value, word in number_words(cell.report.numbers):
        fits = room - text_width(word, word_kind) - 1.0
        kind = number.scaled(min(1.0, fits / max(text_width(value, number), 1e-6)))
        page.text(at, top + (number.line_mm - kind.line_mm) / 2, value, kind)
        right, down = x + layout.cell_mm, top + 0.36 * number.size_mm
        page.text(right, down, word, word_kind, colour=page.theme.quiet, align="right")
        page.rule(at, top + step - 1.2, room)
        top += step
    _notes(page, cell, x, y + layout.under_mm + 1.2, layout.cell_mm, layout.kind(_NOTE))


def map_pixels(cell: Cell) -> np.ndarray:
    """The exposure map of a variant (h, w, 3) uint8, striped where no detail is left."""
    pixels = colours(cell.stops)
    rows, columns = np.indices(cell.stops.shape)
    stripes = ((rows + columns) // max(2, cell.stops.shape[1] // 64)) % 2 == 0
    pixels[cell.no_detail & stripes] = (29, 31, 36)
    return pixels


def note_texts(cell: Cell) -> list[tuple[str, bool | None]]:
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
        texts.append((_power_words(name, stops), None))
    return [*texts, *((note, None) for note in cell.report.notes)]


def _power_words(light: str, stops: float) -> str:
    """By how much a light was evened out."""
    return f"{light} turned {'up' if stops > 0 else 'down'} {abs(stops):.1f} stops to read as in the scene"


def _notes_mm(cell: Cell, width_mm: float, kind: Type) -> float:
    lines = sum(len(wrapped(text, kind, width_mm - 3)) for text, _ in note_texts(cell))
    return lines * kind.line_mm + (2.2 if lines else 0)


def _notes(page: Page, cell: Cell, x: float, y: float, width_mm: float, kind: Type) -> None:
    for text, met in note_texts(cell):
        if met is not None:
            colour = page.theme.good if met else page.theme.doubt
            page.box(x, y + 0.7, 1.0, kind.size_mm, fill=colour)
        y = page.paragraph(x + 3, y, width_mm - 3, text, kind, colour=page.theme.quiet)


def subtitle(report: CompareReport) -> str:
    """What is varied, and the exposure."""
    what = report.across.name if report.down is None else f"{report.down.name} down, {report.across.name} across"
    exposure = "each at its own exposure" if report.settings is None else f"all at {settings_line(report.settings)}"
    evened = "; the varied light set to read the same everywhere" if report.evened else ""
    return f"{what[:1].upper()}{what[1:]}; {exposure}{evened}."


def _foot(page: Page, inner: float, y: float, cells: list[Cell]) -> None:
    page.rule(_MARGIN_MM, y - 2, inner)
    scale = _scale_mm(inner)
    draw_stops_scale(page, _MARGIN_MM, y + 1.5, scale, _FOOT)
    words = foot_words(cells)
    page.paragraph(_MARGIN_MM + scale + 6, y + 0.4, inner - scale - 6, words, _FOOT, colour=page.theme.quiet)


def _scale_mm(inner: float) -> float:
    return min(90.0, inner * 0.42)


def _foot_mm(inner: float, cells: list[Cell]) -> float:
    """Height that the words at the foot take."""
    return len(wrapped(foot_words(cells), _FOOT, inner - _scale_mm(inner) - 6)) * _FOOT.line_mm + 1


def foot_words(cells: list[Cell]) -> str:
    """What the map and the numbers under a picture mean."""
    words = (
        "Map: stops from mid-grey, striped where no detail is left. Face: dome, stops over or under the set aperture. "
        f"Cheeks: each metered flat. {BACKGROUND_WORDS}"
    )
    if any(cell.report.numbers.haze is not None for cell in cells):
        words += (
            " Beam: stops over what is behind it, as seen. Contrast left: the share of the face's contrast, light to "
            "shadow, that the haze leaves."
        )
    return words
