"""The sheets of `keyfall build-up`: a column a light, alone above and with those before it below; on one wide picture,
and on pages of paper."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .build_up import BuildUpReport, Step, alone_words
from .compare import number_words
from .outputs import OutputFolder
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

_MARGIN_MM, _GAP_MM = 14.0, 6.0
_CELL_MM = 60.0
_MOST_ACROSS, _MOST_ON_PAPER = 5, 5
_DOTS = 200.0
_LEAST_FACTOR = 0.74

_READS = Type(11.5, "regular", 1.25)
_ROW = Type(10.5, "semibold", 1.2)


@dataclass(frozen=True, slots=True)
class _Size:
    """Measures of a column, millimetres: its width, the height of a picture, and what its types are scaled by."""

    cell_mm: float
    tall_mm: float
    factor: float

    def kind(self, kind: Type) -> Type:
        """A type at this size."""
        return kind.scaled(self.factor)


def write_build_up_sheet(
    output: OutputFolder, steps: list[Step], report: BuildUpReport, paper: str = "a4"
) -> list[str]:
    """Write `build-up.png`, all on one picture, and `build-up.pdf`, on pages of a paper; returns what could not be
    printed."""
    page, pages = build_up_page(steps, report), build_up_pages(steps, report, paper)
    output.write("build-up.png", lambda path: save_png(path, page))
    output.write("build-up.pdf", lambda path: save_pdf(path, pages, report.title))
    return page.notes()


def _columns(steps: list[Step]) -> list[Step | None]:
    """The steps, after a black frame where nothing burns before the first light is switched on."""
    return [*([] if steps[0].report.role == "ambient" else [None]), *steps]


def _in_bands(columns: list[Step | None], most: int) -> list[list[Step | None]]:
    """Columns in rows as even as they can be."""
    across = math.ceil(len(columns) / math.ceil(len(columns) / most))
    return [columns[i : i + across] for i in range(0, len(columns), across)]


def build_up_page(steps: list[Step], report: BuildUpReport) -> Page:
    """Draw the sheet on one page of the size it needs."""
    bands = _in_bands(_columns(steps), _MOST_ACROSS)
    across = len(bands[0])
    inner = max(across * (_CELL_MM + _GAP_MM) - _GAP_MM, 2 * _CELL_MM + _GAP_MM)
    size = _size(steps, _CELL_MM)
    heights = [_band_mm(band, size) for band in bands]
    head = _head_mm(report, size, inner)
    page = Page(inner + 2 * _MARGIN_MM, 2 * _MARGIN_MM + head + sum(heights) - _GAP_MM, dots_per_inch=_DOTS)
    y = _head(page, report, size, inner)
    for band, height in zip(bands, heights, strict=True):
        _band(page, band, y, size)
        y += height
    return page


def build_up_pages(steps: list[Step], report: BuildUpReport, paper: str = "a4") -> list[Page]:
    """Draw the sheet on pages of a paper that lie on their side, up to five columns a page, as large as fit.

    Parameters
    ----------
    paper : "a4" or "letter".
    """
    height, width = PAPERS_MM[paper]
    inner = width - 2 * _MARGIN_MM
    bands = _in_bands(_columns(steps), _MOST_ON_PAPER)
    cell = (inner + _GAP_MM) / max(len(bands[0]), 3) - _GAP_MM
    while True:  # smaller until the highest band fits under the head
        size = _size(steps, cell)
        room = height - 2 * _MARGIN_MM - _head_mm(report, size, inner) + _GAP_MM
        if max(_band_mm(band, size) for band in bands) <= room or cell < 20.0:
            break
        cell *= 0.97
    pages = []
    for band in bands:
        page = Page(width, height, dots_per_inch=_DOTS)
        _band(page, band, _head(page, report, size, inner), size)
        pages.append(page)
    number_pages(pages, _MARGIN_MM, report.title)
    return pages


def _size(steps: Sequence[Step], cell_mm: float) -> _Size:
    shape = steps[0].alone.shape
    return _Size(cell_mm, cell_mm * shape[0] / shape[1], min(max(cell_mm / _CELL_MM, _LEAST_FACTOR), 1.0))


def _under(report: BuildUpReport) -> str:
    return f"{settings_line(report.settings)}. {report.before}"


def _head_mm(report: BuildUpReport, size: _Size, inner: float) -> float:
    title, line = size.kind(WIDE_TITLE), size.kind(WIDE_LINE)
    return (
        len(wrapped(report.title, title, inner, 2)) * title.line_mm
        + len(wrapped(_under(report), line, inner)) * line.line_mm + 7
    )  # fmt: skip


def _head(page: Page, report: BuildUpReport, size: _Size, inner: float) -> float:
    y = page.paragraph(_MARGIN_MM, _MARGIN_MM, inner, report.title, size.kind(WIDE_TITLE), most_lines=2)
    page.paragraph(_MARGIN_MM, y + 1, inner, _under(report), size.kind(WIDE_LINE), colour=page.theme.quiet)
    return _MARGIN_MM + _head_mm(report, size, inner)


def _labels_mm(band: list[Step | None], size: _Size) -> float:
    label, reads = size.kind(WIDE_LABEL), size.kind(_READS)
    lines = max(len(wrapped(_label(step), label, size.cell_mm)) for step in band)
    under = max(len(wrapped(_reads(step), reads, size.cell_mm)) for step in band)
    return lines * label.line_mm + under * reads.line_mm + 1.5


def _band_mm(band: list[Step | None], size: _Size) -> float:
    rows = 2 * (size.kind(_ROW).line_mm + 1) + 2 * size.tall_mm + 3
    return _labels_mm(band, size) + rows + _numbers_mm(band, size) + 2 + _GAP_MM


def _numbers_mm(band: list[Step | None], size: _Size) -> float:
    lines = max((len(_number_lines(step, size)) for step in band if step is not None), default=0)
    return 1.5 + lines * size.kind(_READS).line_mm


def _label(step: Step | None) -> str:
    return "Black" if step is None else f"{step.report.number}  {step.report.light}"


def _reads(step: Step | None) -> str:
    return "nothing on" if step is None else alone_words(step.report.alone)


def _band(page: Page, band: list[Step | None], top: float, size: _Size) -> None:
    labels, row = _labels_mm(band, size), size.kind(_ROW)
    for column, step in enumerate(band):
        x = _MARGIN_MM + column * (size.cell_mm + _GAP_MM)
        y = page.paragraph(x, top, size.cell_mm, _label(step), size.kind(WIDE_LABEL))
        page.paragraph(x, y, size.cell_mm, _reads(step), size.kind(_READS), colour=page.theme.quiet)
        y = top + labels
        y = page.text(x, y, "alone", row, colour=page.theme.accent) + 1 if step else y + row.line_mm + 1
        black = np.zeros((4, 4, 3), np.uint8)
        if step:
            page.picture(x, y, size.cell_mm, size.tall_mm, step.alone)
        y += size.tall_mm + 3
        word = "so far" if step else "before any light"
        y = page.text(x, y, word, row, colour=page.theme.accent) + 1
        page.picture(x, y, size.cell_mm, size.tall_mm, step.so_far if step else black)
        if step:
            y += size.tall_mm + 1.5
            for line in _number_lines(step, size):
                at = x
                for value, word in line:
                    kind = size.kind(_READS)
                    at = page.runs(at, y, [(value, kind.bold(), None), (f" {word}", kind, page.theme.quiet)]) + 3.5
                y += size.kind(_READS).line_mm


def _number_lines(step: Step, size: _Size) -> list[list[tuple[str, str]]]:
    """The numbers under a picture in lines that fit."""
    kind = size.kind(_READS)
    lines: list[list[tuple[str, str]]] = [[]]
    at = 0.0
    for value, word in number_words(step.report.so_far):
        width = text_width(value, kind.bold()) + text_width(f" {word}", kind)
        if lines[-1] and at + width > size.cell_mm:
            lines.append([])
            at = 0.0
        lines[-1].append((value, word))
        at += width + 3.5
    return lines
