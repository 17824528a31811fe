"""`build-up.html`: the set from black for a phone, one light under the other."""

from __future__ import annotations

from .build_up_steps import BuildUpReport, Step, alone_words, legend_words
from .compare_cells import number_words
from .settings_words import settings_line
from .sheet.html import facts, heading, html_page, paragraph, picture


def build_up_html(steps: list[Step], report: BuildUpReport) -> str:
    """The whole page as text."""
    body = [paragraph(f"{settings_line(report.settings)}. {report.before}", "quiet")]
    body += [paragraph(text, "quiet") for text in report.silks]
    for step in steps:
        told = step.report
        body += [
            heading(f"{told.number}  {told.light}"),
            paragraph(f"Alone: {alone_words(told.alone)}."),
            picture(step.alone, f"{told.light} alone", "alone"),
            picture(step.so_far, f"{told.light} with the lights before it", "so far"),
            facts((word[:1].upper() + word[1:], value) for value, word in number_words(told.so_far)),
        ]
    body.append(paragraph(legend_words(report), "quiet"))
    return html_page(report.title, body)
