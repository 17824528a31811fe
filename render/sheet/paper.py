"""Sizes of paper, and the number of every page."""

from __future__ import annotations

from collections.abc import Sequence

from .page import Page
from .type import SMALL, shortened

PAPERS_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""Width and height of upright pages, millimetres (ISO 216 A4, ANSI Y14.1 A)."""


def number_pages(pages: Sequence[Page], margin_mm: float, title: str) -> None:
    """Write the title and "2 of 3" into the bottom margin of pages; nothing on a single one."""
    if len(pages) < 2:
        return
    for index, page in enumerate(pages, 1):
        y = page.height_mm - margin_mm / 2 - SMALL.line_mm / 2
        room = 0.7 * (page.width_mm - 2 * margin_mm)
        page.text(margin_mm, y, shortened(title, SMALL, room), SMALL, colour=page.theme.quiet)
        number = f"{index} of {len(pages)}"
        page.text(page.width_mm - margin_mm, y, number, SMALL, colour=page.theme.quiet, align="right")
