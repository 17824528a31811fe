"""The mood board that goes to a client: pictures, what their light does, and its colours as swatches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import Literal

import numpy as np

from materials import KeyfallError
from scenes.stage import Stage

from ..outputs import OutputFolder
from ..report import Report
from ..sheet import SMALL, THEMES, Page, save_pdf, save_png, unprintable
from .blocks import paragraph
from .colour import METHOD, PAPER_LIGHTNESS, SITTER_LIGHTNESS, subject_of
from .facts import SeenLight, light_facts, set_facts
from .html import board_html
from .kit import kit_of
from .layout import MARGIN_MM, pages_of
from .light_pages import contrast_list, kit_block, light_pages
from .pages import PAPERS_MM, Board, aspect_of, number_pages, picture_pages, single_page
from .record import BoardReport, LookReport
from .swatches import contrasts_of, swatch_report, swatches_of
from .words import caption_of

MOST_LOOKS = 12
LONGEST = {"title": 200, "client": 200, "note": 600, "caption": 400}
"""Most characters of each text."""


@dataclass(frozen=True, slots=True)
class Look:
    """A look for the board.

    Attributes
    ----------
    title : shown with the picture. stage, report : the scene, and what it reads. seen : its light, by `seen_light`.
    picture : (h, w, 3) uint8 sRGB.
    caption : the photographer's own words; None has them made from the light, and "" leaves
        the caption out.
    """

    title: str
    stage: Stage
    picture: np.ndarray
    report: Report
    seen: SeenLight
    caption: str | None = None


@dataclass(frozen=True, slots=True)
class BoardSettings:
    """What stands at the head of the board, and how it is printed."""

    title: str
    client: str = ""
    note: str = ""
    theme: Literal["light", "dark"] = "light"
    paper: Literal["a4", "letter"] = "a4"


def make_board(looks: list[Look], settings: BoardSettings, output: OutputFolder) -> BoardReport:
    """Write board.pdf, board.html and board.png (board-1.png and so on, where there are more pages).

    The first look leads its page; from the seventh on, looks stand on two pages.

    Raises
    ------
    KeyfallError
        Unless there are 1 to 12 looks with usable pictures, a title, and texts that are not too long.
    """
    board, report = prepare(looks, settings)
    pages = draw_pages(board, report)
    lost = unprintable(*(text for page in pages for text in page.texts))
    report = report.model_copy(update={"pages": len(pages), "notes": [] if lost is None else [lost]})
    output.write("board.pdf", lambda path: save_pdf(path, pages, board.title))
    for pattern in ("board.png", "board-[0-9].png"):
        output.series(pattern)
    for number, page in enumerate(pages, start=1):
        name = "board.png" if len(pages) == 1 else f"board-{number}.png"
        output.write(name, partial(save_png, page=page))
    output.write_text("board.html", board_html(report, board.pictures))
    return report


def prepare(looks: Sequence[Look], settings: BoardSettings) -> tuple[Board, BoardReport]:
    """Everything a board says, before it is drawn; its number of pages is not known yet.

    Raises
    ------
    KeyfallError
        As for `make_board`.
    """
    _check(looks, settings)
    told = [_look_report(number, look, len(looks)) for number, look in enumerate(looks)]
    kit, not_packed = kit_of(look.stage for look in looks)
    board = Board(
        _plain(settings.title), _plain(settings.client), _plain(settings.note), THEMES[settings.theme],
        PAPERS_MM[settings.paper], [look.picture for look in looks], told,
    )  # fmt: skip
    report = BoardReport(
        title=board.title, client=board.client, note=board.note, theme=settings.theme, paper=settings.paper,
        pages=1, paper_lightness=PAPER_LIGHTNESS, sitter_lightness=SITTER_LIGHTNESS,
        method=METHOD, looks=told, kit=kit, not_packed=not_packed,
    )  # fmt: skip
    return board, report


def draw_pages(board: Board, report: BoardReport) -> list[Page]:
    """All pages of a board."""
    width = board.size_mm[0] - 2 * MARGIN_MM
    if len(board.looks) == 1:
        column = board.column_mm
        more = [
            contrast_list(board.looks[0], column),
            kit_block(report.kit, report.not_packed, 1, column, 2),
            paragraph(METHOD, SMALL, column, "quiet"),
        ]
        page, fitted = single_page(board, more)
        pages = [page]
    else:
        pages, fitted = picture_pages(board), False
    if not fitted:
        kit = kit_block(report.kit, report.not_packed, len(board.looks), width, 4)
        pages += light_pages(board, kit, paragraph(METHOD, SMALL, min(width, 190.0), "quiet"))
    number_pages(board, pages)
    return pages


def _look_report(number: int, look: Look, count: int) -> LookReport:
    lights, facts = light_facts(look.stage, look.seen, look.report), set_facts(look.stage, look.seen, look.report)
    swatches, dark = swatches_of(look.stage, lights)
    reports = [swatch_report(swatch) for swatch in swatches]
    page, lead = next((p, numbers[0] == number) for p, numbers in enumerate(pages_of(count), 1) if number in numbers)
    own = None if look.caption is None else _plain(look.caption)
    return LookReport(
        title=_plain(look.title), caption=caption_of(lights, facts, reports) if own is None else own,
        caption_by="light" if own is None else "photographer", page=page, lead=lead,
        picture_px=(look.picture.shape[1], look.picture.shape[0]), sitter=subject_of(look.stage).finish.name,
        lights=lights, dark_lights=dark, facts=facts, swatches=reports, contrasts=contrasts_of(swatches),
    )  # fmt: skip


def _plain(text: str) -> str:
    """Text on one line, its white space single."""
    return " ".join(text.split())


def _check(looks: Sequence[Look], settings: BoardSettings) -> None:
    """All that is wrong with what a board is asked for, in one error."""
    wrong = []
    if not 1 <= len(looks) <= MOST_LOOKS:
        wrong.append(f"A board holds 1 to {MOST_LOOKS} looks, not {len(looks)}. Leave some out, or make two boards.")
    if not _plain(settings.title):
        wrong.append("A board needs a title. Give it one.")
    if settings.theme not in THEMES:
        wrong.append(f"There is no theme '{settings.theme}'. Allowed: {', '.join(THEMES)}.")
    if settings.paper not in PAPERS_MM:
        wrong.append(f"There is no paper '{settings.paper}'. Allowed: {', '.join(PAPERS_MM)}.")
    texts = [("title", settings.title), ("client", settings.client), ("note", settings.note)]
    texts += [(f"title of look {n}", look.title) for n, look in enumerate(looks, 1)]
    texts += [(f"caption of look {n}", look.caption or "") for n, look in enumerate(looks, 1)]
    for name, text in texts:
        most = LONGEST[name.split()[0]]
        if len(_plain(text)) > most:
            wrong.append(f"The {name} has {len(_plain(text))} characters. Allowed: {most}. Shorten it.")
    for number, look in enumerate(looks, 1):
        wrong += _picture_faults(number, look)
    if wrong:
        raise KeyfallError("\n".join(wrong))


def _picture_faults(number: int, look: Look) -> list[str]:
    picture = look.picture
    if picture.ndim != 3 or picture.shape[2] != 3 or picture.dtype != np.uint8 or min(picture.shape) < 1:
        return [f"The picture of look {number} is not an 8-bit RGB picture. Develop it again."]
    if not 1 / 20 <= aspect_of(picture) <= 20:
        return [f"The picture of look {number} is more than 20 times as long as wide. Choose another shape."]
    if not _plain(look.title):
        return [f"Look {number} has no title. Give it one."]
    return []
