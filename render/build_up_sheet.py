"""The sheet of `keyfall build-up`: a column a light, alone above and with those before it below."""

from __future__ import annotations

import math

import numpy as np

from .build_up import BuildUpReport, Step, reading_words
from .compare import number_words
from .outputs import OutputFolder
from .settings_words import settings_line
from .sheet import WIDE_LABEL, WIDE_LINE, WIDE_TITLE, Page, Type, save_pdf, save_png, text_width, wrapped

_MARGIN_MM, _GAP_MM = 14.0, 6.0
_CELL_MM = 60.0
_MOST_ACROSS = 5
_DOTS = 200.0

_READS = Type(11.5, "regular", 1.25)
_ROW = Type(10.5, "semibold", 1.2)


def write_build_up_sheet(output: OutputFolder, steps: list[Step], report: BuildUpReport) -> None:
    """Write `build-up.png` and `build-up.pdf`."""
    page = build_up_page(steps, report)
    output.write("build-up.png", lambda path: save_png(path, page))
    output.write("build-up.pdf", lambda path: save_pdf(path, [page], report.title))


def build_up_page(steps: list[Step], report: BuildUpReport) -> Page:
    """Draw the sheet on one page of the size it needs."""
    columns: list[Step | None] = [*([] if steps[0].report.role == "ambient" else [None]), *steps]
    across = math.ceil(len(columns) / math.ceil(len(columns) / _MOST_ACROSS))
    bands = [columns[i : i + across] for i in range(0, len(columns), across)]
    inner = max(across * (_CELL_MM + _GAP_MM) - _GAP_MM, 2 * _CELL_MM + _GAP_MM)
    shape = steps[0].alone.shape
    tall = _CELL_MM * shape[0] / shape[1]
    under = f"{settings_line(report.settings)}. {report.before}"
    head = (
        len(wrapped(report.title, WIDE_TITLE, inner, 2)) * WIDE_TITLE.line_mm
        + len(wrapped(under, WIDE_LINE, inner)) * WIDE_LINE.line_mm + 9
    )  # fmt: skip
    heights = [_band_mm(band, tall) for band in bands]
    page = Page(inner + 2 * _MARGIN_MM, 2 * _MARGIN_MM + head + sum(heights) - _GAP_MM, dots_per_inch=_DOTS)
    y = page.paragraph(_MARGIN_MM, _MARGIN_MM, inner, report.title, WIDE_TITLE, most_lines=2)
    page.paragraph(_MARGIN_MM, y + 1, inner, under, WIDE_LINE, colour=page.theme.quiet)
    y = _MARGIN_MM + head
    for band, height in zip(bands, heights, strict=True):
        _band(page, band, y, tall)
        y += height
    return page


def _labels_mm(band: list[Step | None]) -> float:
    lines = max(len(wrapped(_label(step), WIDE_LABEL, _CELL_MM)) for step in band)
    reads = max(len(wrapped(_reads(step), _READS, _CELL_MM)) for step in band)
    return lines * WIDE_LABEL.line_mm + reads * _READS.line_mm + 1.5


def _band_mm(band: list[Step | None], tall: float) -> float:
    return _labels_mm(band) + 2 * (_ROW.line_mm + 1) + 2 * tall + 3 + 2 * _READS.line_mm + 2 + 2 * _GAP_MM


def _label(step: Step | None) -> str:
    return "Black" if step is None else f"{step.report.number}  {step.report.light}"


def _reads(step: Step | None) -> str:
    return "nothing on" if step is None else reading_words(step.report.alone)


def _band(page: Page, band: list[Step | None], top: float, tall: float) -> None:
    labels = _labels_mm(band)
    for column, step in enumerate(band):
        x = _MARGIN_MM + column * (_CELL_MM + _GAP_MM)
        y = page.paragraph(x, top, _CELL_MM, _label(step), WIDE_LABEL)
        page.paragraph(x, y, _CELL_MM, _reads(step), _READS, colour=page.theme.quiet)
        y = top + labels
        y = page.text(x, y, "alone", _ROW, colour=page.theme.accent) + 1 if step else y + _ROW.line_mm + 1
        black = np.zeros((4, 4, 3), np.uint8)
        if step:
            page.picture(x, y, _CELL_MM, tall, step.alone)
        y += tall + 3
        word = "so far" if step else "before any light"
        y = page.text(x, y, word, _ROW, colour=page.theme.accent) + 1
        page.picture(x, y, _CELL_MM, tall, step.so_far if step else black)
        if step:
            _numbers(page, step, x, y + tall + 1.5)


def _numbers(page: Page, step: Step, x: float, y: float) -> None:
    quiet = page.theme.quiet
    at = x
    for value, word in number_words(step.report.so_far):
        run = [(value, _READS.bold(), None), (f" {word}", _READS, quiet)]
        width = sum(text_width(text, kind) for text, kind, _ in run)
        if at > x and at + width > x + _CELL_MM:
            at, y = x, y + _READS.line_mm
        page.runs(at, y, run)
        at += width + 3.5
