"""Texts and swatches beside a picture of a mood board, measured before they are drawn."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from ..sheet import LABEL, SMALL, Page, Type, shortened, text_width, wrapped
from .record import ContrastReport, LookReport, SwatchReport

Draw = Callable[[Page, float, float], None]

LEAD_TITLE, LOOK_TITLE = Type(15, "semibold", 1.16), Type(10.5, "semibold", 1.18)
LEAD_TEXT, LOOK_TEXT = Type(9.5, "regular", 1.34), Type(8.5, "regular", 1.3)
MARK = " *"
"""Stands beside a colour that the display shows paler."""

_TITLE_LINES, _TEXT_LINES = (None, None, 2, 2), (None, None, 5, 2)  # by level
_NAME, _GEL = Type(8, "semibold", 1.12), Type(8, "regular", 1.12)
_SKIN_SHARE, _SEAM = 0.66, 0.06
_LABEL_GAP_MM, _ITEM_GAP_MM, _LINE_GAP_MM = 1.8, 4.5, 2.2


@dataclass(frozen=True, slots=True)
class Block:
    """Something measured: its height, whether words were left out, and how it is drawn at (x, y)."""

    height_mm: float
    cut: bool
    draw: Draw


def look_block(
    look: LookReport, width_mm: float, level: int, lead: bool, contrast: bool = True, titled: bool = True
) -> Block:
    """Title, caption, swatches and the strongest contrast of a look, as wide as `width_mm`."""
    radius = 5.4 if lead else 3.9 if level < 1 else 3.1
    title, text = (LEAD_TITLE, LEAD_TEXT) if lead else (LOOK_TITLE, LOOK_TEXT)
    parts = [
        (lines(look.title if titled else "", title, width_mm, _TITLE_LINES[level]), 1.0),
        (sentences(look.caption, text, width_mm, _TEXT_LINES[level]), 2.4 if lead else 2.0),
        (swatch_row(look.swatches, width_mm, radius, labels=level < 3, lines=2 if lead or level < 1 else 1), 1.6),
    ]
    strongest = strongest_contrast(look.contrasts)
    if contrast and strongest is not None and level < 1:
        parts.append((lines(contrast_line(strongest), SMALL, width_mm, None, "ink"), 0.0))
    return stacked([part for part in parts if part[0].height_mm > 0])


def stacked(parts: Sequence[tuple[Block, float]]) -> Block:
    """Blocks one under the other, each with the space after it."""
    height = sum(block.height_mm for block, _ in parts) + sum(gap for _, gap in parts[:-1])

    def draw(page: Page, x: float, y: float) -> None:
        for block, gap in parts:
            block.draw(page, x, y)
            y += block.height_mm + gap

    return Block(height, any(block.cut for block, _ in parts), draw)


def lines(text: str, kind: Type, width_mm: float, most: int | None = None, colour: str = "ink") -> Block:
    """Text in at most so many lines, in a colour of the theme; nothing for an empty one."""
    rows = wrapped(text, kind, width_mm, most) if text else []
    cut = most is not None and bool(rows) and len(wrapped(text, kind, width_mm)) > most

    def draw(page: Page, x: float, y: float) -> None:
        for row in rows:
            y = page.text(x, y, row, kind, colour=getattr(page.theme, colour))

    return Block(len(rows) * kind.line_mm, cut, draw)


def sentences(text: str, kind: Type, width_mm: float, most: int | None, colour: str = "quiet") -> Block:
    """As many whole sentences as fit into so many lines; the first is shortened where even it does not fit."""
    if most is None or len(wrapped(text, kind, width_mm)) <= most:
        return lines(text, kind, width_mm, None, colour)
    kept = text
    while ". " in kept:
        kept = kept.rsplit(". ", 1)[0] + "."
        if len(wrapped(kept, kind, width_mm)) <= most:
            return replace(lines(kept, kind, width_mm, None, colour), cut=True)
    return lines(text, kind, width_mm, most, colour)


def paragraph(text: str, kind: Type, width_mm: float, colour: str = "ink") -> Block:
    """Wrapped text in a colour of the theme."""
    return lines(text, kind, width_mm, None, colour)


def strongest_contrast(contrasts: Sequence[ContrastReport]) -> ContrastReport | None:
    """The contrast of a look that is seen most, on white paper."""
    return max(contrasts, key=lambda contrast: contrast.paper_de00, default=None)


def contrast_line(contrast: ContrastReport) -> str:
    """A contrast in one sentence."""
    apart = "" if contrast.paper_hue_deg is None else f" {contrast.paper_hue_deg:.0f}° of hue,"
    words = contrast.words[0].upper() + contrast.words[1:]
    return f"{words}: {contrast.first} against {contrast.second},{apart} dE00 {contrast.paper_de00:.0f}"


def swatch_words(swatch: SwatchReport) -> tuple[str, str]:
    """Names of a swatch's lights, and its gel, or its source where it has none."""
    mark = MARK if swatch.on_paper.mapped or swatch.on_sitter.mapped else ""
    bare = "no gel" if swatch.source.startswith("flash") else swatch.source
    return " + ".join(swatch.lights), (swatch.gel or bare) + mark


def swatch_row(
    swatches: Sequence[SwatchReport], width_mm: float, radius_mm: float, *, labels: bool, lines: int
) -> Block:
    """Swatches in lines as wide as `width_mm`, each with its names beside it."""
    items = [_item(swatch, width_mm, radius_mm, lines if labels else 0) for swatch in swatches]
    places: list[tuple[float, int]] = []
    x, row = 0.0, 0
    for item in items:
        if x > 0 and x + item[0] > width_mm:
            x, row = 0.0, row + 1
        places.append((x, row))
        x += item[0] + (_ITEM_GAP_MM if labels else 1.5)
    gap = _LINE_GAP_MM if lines == 2 else 0.6 * _LINE_GAP_MM
    pitch = 2 * radius_mm + gap
    height = (row + 1) * pitch - gap if items else 0.0

    def draw(page: Page, left: float, top: float) -> None:
        for (_, names, _), swatch, (at, line) in zip(items, swatches, places, strict=True):
            y = top + line * pitch + radius_mm
            draw_swatch(page, left + at + radius_mm, y, radius_mm, swatch)
            text_y = y - sum(kind.line_mm for _, kind in names) / 2
            text_x = left + at + 2 * radius_mm + _LABEL_GAP_MM
            if names and names[-1][0].startswith(" "):
                page.runs(text_x, text_y + sum(kind.line_mm for _, kind in names[1:]) / 2, _run(names, page))
                continue
            for index, (text, kind) in enumerate(names):
                text_y = page.text(text_x, text_y, text, kind, colour=page.theme.quiet if index else page.theme.ink)

    return Block(height, not labels or any(cut for *_, cut in items), draw)


def _run(names: list[tuple[str, Type]], page: Page) -> list[tuple[str, Type, str | None]]:
    """Names of a swatch on one line."""
    return [(text, kind, page.theme.quiet if n else page.theme.ink) for n, (text, kind) in enumerate(names) if text]


def _item(
    swatch: SwatchReport, width_mm: float, radius_mm: float, lines: int
) -> tuple[float, list[tuple[str, Type]], bool]:
    """Width of a swatch with its names, the names as they fit, and whether they had to be shortened."""
    room = width_mm - 2 * radius_mm - _LABEL_GAP_MM
    name, gel = swatch_words(swatch)
    if lines == 0:
        return 2 * radius_mm, [], True
    across = text_width(name, _NAME) + text_width(f"  {gel}", _GEL)
    if lines == 1 and across <= room:
        return 2 * radius_mm + _LABEL_GAP_MM + across, [(name, _NAME), (f"  {gel}", _GEL)], False
    names = [(shortened(text, kind, room), kind) for text, kind in ((name, _NAME), (gel, _GEL))]
    wide = max(text_width(text, kind) for text, kind in names)
    return 2 * radius_mm + _LABEL_GAP_MM + wide, names, [text for text, _ in names] != [name, gel]


def draw_swatch(page: Page, x_mm: float, y_mm: float, radius_mm: float, swatch: SwatchReport) -> None:
    """The light on white paper as a crescent on the side it comes from, around the sitter's skin under it."""
    inner = _SKIN_SHARE * radius_mm
    right, up = swatch_offset(swatch)
    reach = radius_mm - inner - _SEAM * radius_mm
    page.disc(x_mm, y_mm, radius_mm, fill=swatch.on_paper.shown)
    x, y = x_mm - reach * right, y_mm + reach * up
    page.disc(x, y, inner + _SEAM * radius_mm, fill=page.theme.paper)
    page.disc(x, y, inner, fill=swatch.on_sitter.shown)


def swatch_offset(swatch: SwatchReport) -> tuple[float, float]:
    """Direction (right, up) from which a swatch's light comes, of length 1; (0, 0) from all around or the lens."""
    if swatch.toward_right_up is None:
        return 0.0, 0.0
    right, up = swatch.toward_right_up
    length = (right**2 + up**2) ** 0.5
    return (right / length, up / length) if length > 0.15 else (0.0, 0.0)


__all__ = [
    "LABEL", "Block", "contrast_line", "draw_swatch", "look_block", "paragraph", "stacked", "strongest_contrast",
    "swatch_offset", "swatch_row", "swatch_words",
]  # fmt: skip
