"""Sheets: pages in millimetres with one type family, written as PDF, SVG and PNG."""

from .glyphs import unprintable
from .page import Page
from .paper import PAPERS_MM, number_pages
from .save import save_pdf, save_png, save_svg
from .table import Column, Table
from .theme import DARK, LIGHT, THEMES, Theme
from .type import (
    BODY,
    HEADING,
    LABEL,
    MINUS,
    SMALL,
    TITLE,
    WIDE_LABEL,
    WIDE_LINE,
    WIDE_TITLE,
    Type,
    shortened,
    text_width,
    true_minus,
    wrapped,
)

__all__ = [
    "BODY", "DARK", "HEADING", "LABEL", "LIGHT", "MINUS", "PAPERS_MM", "SMALL", "THEMES", "TITLE", "WIDE_LABEL",
    "WIDE_LINE", "WIDE_TITLE", "Column", "Page", "Table", "Theme", "Type", "number_pages", "save_pdf", "save_png",
    "save_svg", "shortened", "text_width", "true_minus", "unprintable", "wrapped",
]  # fmt: skip
