"""The sheets of `keyfall build-up`: a column a light, alone above and with those before it below; on one wide picture,
and on pages of paper."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .build_up_steps import BuildUpReport, Step, alone_words, legend_words
from .compare_cells import number_words
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
from .stops_scale import draw_stops_scale

_MARGIN_MM, _GAP_MM, _WIDEST_GAP_MM = 14.0, 6.0, 22.0
_CELL_MM = 60.0
_MOST_ACROSS, _MOST_ON_PAPER = 5, 5
_DOTS = 200.0
_LEAST_FACTOR = 0.74
_LEGEND_MM, _MAP_BESIDE = 58.0, 1.55
_MAPPED_SHARE = 0.92  # of its width that a picture may be left for a map to stand under it

_READS = Type(11.5, "regular", 1.25)
_ROW = Type(10.5, "semibold", 1.2)
_FOOT = Type(9, "regular", 1.3)


@dataclass(frozen=True, slots=True)
class _Size:
    """Measures of a column, millimetres: its width, the height of a picture, and what its types are scaled by; whether
    a third picture, the exposure map, stands under the two."""

    cell_mm: float
    tall_mm: float
    factor: float
    mapped: bool = False

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
    size = _size(steps, _CELL_MM, mapped=True)
    heights = [_band_mm(band, size) for band in bands]
    head, foot = _head_mm(report, size, inner), _legend_mm(report, inner)
    page = Page(inner + 2 * _MARGIN_MM, 2 * _MARGIN_MM + head + sum(heights) + foot, dots_per_inch=_DOTS)
    y = _head(page, report, size, inner)
    for band, height in zip(bands, heights, strict=True):
        _band(page, band, y, size, _GAP_MM)
        y += height
    _legend(page, report, _MARGIN_MM, y, inner)
    return page


def build_up_pages(steps: list[Step], report: BuildUpReport, paper: str = "a4") -> list[Page]:
    """Draw the sheet on pages of a paper that lie on their side, up to five columns a page, as large as fit; with the
    exposure maps where they take nothing from the pictures.

    Parameters
    ----------
    paper : "a4" or "letter".
    """
    height, width = PAPERS_MM[paper]
    inner = width - 2 * _MARGIN_MM
    bands = _in_bands(_columns(steps), _MOST_ON_PAPER)
    count = len(bands[0])

    def fitted(foot_mm: float, mapped: bool) -> _Size:
        """As large as the highest band fits between head and foot."""
        cell = (inner + _GAP_MM) / max(count, 3) - _GAP_MM
        while True:
            size = _size(steps, cell, mapped)
            room = height - 2 * _MARGIN_MM - _head_mm(report, size, inner) + _GAP_MM - foot_mm
            if max(_band_mm(band, size) for band in bands) <= room or cell < 20.0:
                return size
            cell *= 0.97

    beside = _spare_mm(fitted(0.0, False), count, inner) >= _LEGEND_MM
    foot = 0.0 if beside else _legend_mm(report, inner)
    plain, mapped = fitted(foot, False), fitted(foot, True)
    size = mapped if not beside and mapped.cell_mm >= _MAPPED_SHARE * plain.cell_mm else plain
    spare = _spare_mm(size, count, inner)
    gaps, free = (count, spare - _MAP_BESIDE * size.cell_mm) if beside else (count - 1, spare)
    gap = _GAP_MM + min(max(free, 0.0) / max(gaps, 1), _WIDEST_GAP_MM - _GAP_MM)
    pages = []
    for band in bands:
        page = Page(width, height, dots_per_inch=_DOTS)
        top = _head(page, report, size, inner)
        _band(page, band, top, size, gap)
        if beside:
            x = _MARGIN_MM + count * (size.cell_mm + gap)
            _map_beside(page, report, band[-1], x, top + _labels_mm(band, size), width - _MARGIN_MM - x, size)
        else:
            y = height - _MARGIN_MM - foot + _GAP_MM / 2
            _legend(page, report, _MARGIN_MM, y, inner, scale=size.mapped)
        pages.append(page)
    number_pages(pages, _MARGIN_MM, report.title)
    return pages


def _spare_mm(size: _Size, columns: int, inner: float) -> float:
    """Width that so many columns leave, beside the gap to the next thing."""
    return inner - columns * (size.cell_mm + _GAP_MM)


def _legend_mm(report: BuildUpReport, width_mm: float) -> float:
    """Height of the legend at the foot with the gap above it."""
    words = width_mm - _scale_mm(width_mm) - _GAP_MM
    return max(len(wrapped(legend_words(report), _FOOT, words)) * _FOOT.line_mm, 9.0) + _GAP_MM


def _scale_mm(width_mm: float) -> float:
    return min(80.0, 0.36 * width_mm)


def _legend(page: Page, report: BuildUpReport, x: float, y: float, width_mm: float, scale: bool = True) -> None:
    """What the numbers mean, beside the scale of the maps where there are any."""
    if scale:
        wide = _scale_mm(width_mm)
        draw_stops_scale(page, x, y, wide, _FOOT)
        x, width_mm = x + wide + _GAP_MM, width_mm - wide - _GAP_MM
    page.paragraph(x, y - 0.8, width_mm, legend_words(report), _FOOT, colour=page.theme.quiet)


def _map_beside(
    page: Page, report: BuildUpReport, last: Step | None, x: float, y: float, width_mm: float, size: _Size
) -> None:
    """Beside a few columns: the exposure map of the last as large as fits, its scale, and what the numbers mean."""
    wide = min(width_mm, _MAP_BESIDE * size.cell_mm)
    if last is not None:
        row = size.kind(_ROW)
        y = page.text(x, y, "so far, in stops from mid-grey", row, colour=page.theme.accent) + 1
        tall = wide * size.tall_mm / size.cell_mm
        page.picture(x, y, wide, tall, last.map_so_far)
        y += tall + 3.0
    y = draw_stops_scale(page, x + 2.0, y, wide - 4.0, _FOOT) + 3.0
    page.paragraph(x, y, wide, legend_words(report), _FOOT, colour=page.theme.quiet)


def _size(steps: Sequence[Step], cell_mm: float, mapped: bool) -> _Size:
    shape = steps[0].alone.shape
    factor = min(max(cell_mm / _CELL_MM, _LEAST_FACTOR), 1.0)
    return _Size(cell_mm, cell_mm * shape[0] / shape[1], factor, mapped)


def _under(report: BuildUpReport) -> str:
    return " ".join([f"{settings_line(report.settings)}.", report.before, *report.silks])


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
    rows += size.tall_mm + 2 if size.mapped else 0.0
    return _labels_mm(band, size) + rows + _numbers_mm(band, size) + 2 + _GAP_MM


def _numbers_mm(band: list[Step | None], size: _Size) -> float:
    lines = max((len(_number_lines(step, size)) for step in band if step is not None), default=0)
    return 1.5 + lines * size.kind(_READS).line_mm


def _label(step: Step | None) -> str:
    return "Black" if step is None else f"{step.report.number}  {step.report.light}"


def _reads(step: Step | None) -> str:
    return "nothing on" if step is None else alone_words(step.report.alone)


def _band(page: Page, band: list[Step | None], top: float, size: _Size, gap: float) -> None:
    labels, row = _labels_mm(band, size), size.kind(_ROW)
    for column, step in enumerate(band):
        x = _MARGIN_MM + column * (size.cell_mm + gap)
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
            if size.mapped:
                page.picture(x, y + 0.5, size.cell_mm, size.tall_mm, step.map_so_far)
                y += size.tall_mm + 2
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
