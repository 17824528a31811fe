"""The mood board as one file of HTML: pictures and fonts inside, no scripts, from 360 px wide up."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

import numpy as np

from ..sheet.html import picture_uri
from ..sheet.save import font_faces
from .blocks import MARK, swatch_offset, swatch_words
from .light_pages import contrast_numbers, kit_words, side_notes, sitter_noun
from .pages import MAPPED_NOTE
from .record import BoardReport, ContrastReport, LookReport, SwatchReport
from .style import board_css

_LONGEST_PX, _LEAD_LONGEST_PX = 1100, 1600
_KINDS = {"head": "Heads", "modifier": "Modifiers", "gel": "Gels"}
_SKIN, _SEAM = 13.2, 1.2  # of a swatch of radius 20


def board_html(board: BoardReport, pictures: Sequence[np.ndarray]) -> str:
    """The whole page as text.

    Parameters
    ----------
    board : its words and numbers. pictures : (h, w, 3) uint8 sRGB of every look.
    """
    body = "\n".join(
        [
            _opening(board, pictures[0]),
            f'<section class="rest" aria-label="More looks">{_rest(board, pictures)}</section>' if pictures[1:] else "",
            _light(board),
            _kit(board),
            f"<footer><p>{escape(board.method)}</p>{_mapped_note(board)}</footer>",
        ]
    )
    letters = "".join(sorted({*body, *board.title, "…"}))
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(board.title)}</title>\n"
        f"<style>{font_faces(letters)}{board_css(board.theme)}</style>\n</head>\n<body>\n{body}\n</body>\n</html>\n"
    )


def _opening(board: BoardReport, picture: np.ndarray) -> str:
    other = "Dark" if board.theme == "light" else "Light"
    client = f'<p class="client">{escape(board.client)}</p>' if board.client else ""
    note = f'<p class="note">{escape(board.note)}</p>' if board.note else ""
    wide = picture.shape[1] > 1.15 * picture.shape[0]
    return (
        f'<label class="other"><input type="checkbox" id="other"> {other}</label>\n'
        f'<main class="opening{" wide" if wide else ""}">\n'
        f"<header><h1>{escape(board.title)}</h1>{client}{note}</header>\n"
        f"{_figure(board.looks[0], picture, _LEAD_LONGEST_PX)}\n</main>"
    )


def _rest(board: BoardReport, pictures: Sequence[np.ndarray]) -> str:
    """The looks after the first, in rows of two and three whose pictures are equally high on wide screens."""
    rows = []
    for numbers in rows_of(range(1, len(board.looks))):
        ratios = sum(pictures[n].shape[1] / pictures[n].shape[0] for n in numbers)
        figures = "\n".join(_figure(board.looks[n], pictures[n], _LONGEST_PX) for n in numbers)
        rows.append(f'<div class="row" style="--sum:{ratios:.4f}">{figures}</div>')
    return "\n".join(rows)


def rows_of(numbers: Sequence[int]) -> list[list[int]]:
    """Numbers in rows of two and three, the longer rows first; one alone where there is but one."""
    left, rows = list(numbers), []
    while left:
        take = 2 if len(left) in (2, 4) else 3
        rows.append(left[:take])
        left = left[take:]
    return rows


def _figure(look: LookReport, picture: np.ndarray, longest_px: int) -> str:
    height, width = picture.shape[:2]
    swatches = "".join(_swatch(swatch) for swatch in look.swatches)
    said = f"{look.title}: {look.caption}" if look.caption else look.title
    words = f"<p>{escape(look.caption)}</p>" if look.caption else ""
    return (
        f'<figure style="--ratio:{width / height:.4f}">'
        f'<img src="{picture_uri(picture, longest_px)}" width="{width}" height="{height}" '
        f'alt="{escape(said)}">'
        f"<figcaption><h2>{escape(look.title)}</h2>{words}"
        f'<ul class="swatches">{swatches}</ul></figcaption></figure>'
    )


def _swatch(swatch: SwatchReport) -> str:
    name, gel = swatch_words(swatch)
    return f"<li>{_disc(swatch)}<span><b>{escape(name)}</b><br>{escape(gel)}</span></li>"


def _disc(swatch: SwatchReport) -> str:
    right, up = swatch_offset(swatch)
    reach = 20 - _SKIN - _SEAM
    return (
        '<svg viewBox="0 0 40 40" aria-hidden="true">'
        f'<circle cx="20" cy="20" r="20" fill="{swatch.on_paper.shown}"/>'
        f'<circle cx="{20 - reach * right:.2f}" cy="{20 + reach * up:.2f}" r="{_SKIN + _SEAM / 2}" '
        f'fill="{swatch.on_sitter.shown}" stroke="var(--paper)" stroke-width="{_SEAM}"/></svg>'
    )


def _light(board: BoardReport) -> str:
    rows = "\n".join(_look_light(look) for look in board.looks)
    return (
        '<section class="light"><h2>The light</h2>'
        '<p class="how">Each swatch is a light: the crescent is its colour on white paper, on the side it comes from; '
        f"the disc inside is the sitter under it.</p>\n{rows}</section>"
    )


def _look_light(look: LookReport) -> str:
    told = "".join(_contrast(contrast, sitter_noun(look)) for contrast in look.contrasts)
    notes = " ".join(side_notes(look))
    contrasts = f"<ul>{told}</ul>" if told else "<p>One colour of light.</p>"
    discs = "".join(_disc(swatch) for swatch in look.swatches)
    return (
        f'<article><h3>{escape(look.title)}</h3><p class="discs">{discs}</p>'
        f'<div>{contrasts}<p class="on">{escape(notes)}</p></div></article>'
    )


def _contrast(contrast: ContrastReport, on: str) -> str:
    return (
        f"<li><b>{escape(contrast.first)} against {escape(contrast.second)}:</b> {escape(contrast.words)}."
        f'<span class="numbers">{escape(contrast_numbers(contrast, on))}</span></li>'
    )


def _kit(board: BoardReport) -> str:
    lists = []
    for kind, heading in _KINDS.items():
        items = "".join(f"<li>{escape(kit_words(item))}</li>" for item in board.kit if item.kind == kind)
        if items:
            lists.append(f"<div><h3>{heading}</h3><ul>{items}</ul></div>")
    if board.not_packed:
        found = "".join(f"<li>{escape(name.capitalize())}</li>" for name in board.not_packed)
        lists.append(f"<div><h3>Found on the spot</h3><ul>{found}</ul></div>")
    return f'<section class="kit"><h2>What to pack</h2><div class="lists">{"".join(lists)}</div></section>'


def _mapped_note(board: BoardReport) -> str:
    marked = any(swatch_words(swatch)[1].endswith(MARK) for look in board.looks for swatch in look.swatches)
    return f"<p>{escape(MAPPED_NOTE)}</p>" if marked else ""
