"""`compare.html`: the comparison for a phone, one variant under the other."""

from __future__ import annotations

from .compare_cells import Cell, CompareReport, number_words
from .compare_sheet import foot_words, map_pixels, note_texts, subtitle
from .sheet.html import facts, heading, html_page, paragraph, picture


def compare_html(cells: list[Cell], report: CompareReport) -> str:
    """The whole page as text."""
    body = [paragraph(subtitle(report), "quiet")]
    row = None
    for cell in cells:
        labels = cell.report.labels
        if report.down is not None and cell.report.row != row:
            row = cell.report.row
            body.append(heading(report.down.labels[row]))
        level = 2 if report.down is None else 3
        body += [
            heading(labels[-1], level),
            picture(cell.picture, f"The set, {', '.join(labels)}"),
            facts((word[:1].upper() + word[1:], value) for value, word in number_words(cell.report.numbers)),
        ]
        for text, met in note_texts(cell):
            body.append(paragraph(text, "quiet" if met is None else "met" if met else "missed"))
        body.append(picture(map_pixels(cell), f"Exposure map, {', '.join(labels)}", "Exposure map"))
    body.append(paragraph(foot_words(cells), "quiet"))
    return html_page(report.title, body)
