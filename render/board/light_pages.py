"""The pages of a mood board that tell of its light: every swatch, every contrast, and what to pack."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

from ..sheet import LABEL, SMALL, Page, Type
from .blocks import LOOK_TEXT, LOOK_TITLE, Block, draw_swatch, paragraph, stacked, swatch_words
from .layout import FOOT_MM, MARGIN_MM, TOP_MM
from .pages import Board, aspect_of
from .record import ColourReport, ContrastReport, KitItem, LookReport, SwatchReport

_HEAD = Type(19, "bold", 1.14)
_THUMB_MM, _GAP_MM, _BAND_GAP_MM = 17.0, 5.0, 5.5
_RADIUS_MM, _COLUMNS, _LINE_MM = 5.2, 3, 3.0
_NAME, _LINE = Type(8, "semibold", 1.16), Type(8, "regular", 1.16)
_TALLEST_GROUP = 12
_BESIDE = 0.42
_KINDS = {"head": "Heads", "modifier": "Modifiers", "gel": "Gels"}


@dataclass(frozen=True, slots=True)
class _Size:
    """How large a look stands: its picture's share of the first column (0: small), the radius of its swatches, and
    what the type of its contrasts grows by."""

    picture: float
    radius_mm: float
    factor: float


_SIZES = (
    _Size(1.0, 13.0, 1.1), _Size(0.85, 12.0, 1.1), _Size(0.7, 11.0, 1.1), _Size(0.55, 10.0, 1.1),
    _Size(_BESIDE, _RADIUS_MM, 1.1), _Size(0.0, _RADIUS_MM, 1.0),
)  # fmt: skip


def light_pages(board: Board, kit: Block, method: Block) -> list[Page]:
    """A band for every look, then kit and method, on as many pages as that takes; looks as large as fit there."""
    fewest = _draw_pages(board, kit, method, _SIZES[-1])
    larger = (_draw_pages(board, kit, method, size) for size in _SIZES[:-1])
    return next((pages for pages in larger if len(pages) == len(fewest)), fewest)


def _draw_pages(board: Board, kit: Block, method: Block, size: _Size) -> list[Page]:
    bands = [_band(board, number, size) for number in range(len(board.looks))]
    if board.head_cut:
        bands.insert(0, _head(board))
    width, height = board.size_mm
    pages: list[Page] = []
    y = height
    for index, block in enumerate([*bands, kit, method]):
        if y + block.height_mm > height - FOOT_MM:
            page = board.page()
            pages.append(page)
            y = page.text(MARGIN_MM, TOP_MM - 2, "The light and the kit", _HEAD)
            y += 5.0
        if index <= len(bands):
            pages[-1].rule(MARGIN_MM, y - _BAND_GAP_MM / 2, width - 2 * MARGIN_MM)
        block.draw(pages[-1], MARGIN_MM, y)
        y += block.height_mm + _BAND_GAP_MM
    return pages


def _columns(board: Board) -> tuple[float, float, float]:
    """Left edges of swatches and contrasts from the margin, and the whole width."""
    width = board.size_mm[0] - 2 * MARGIN_MM
    return round(0.235 * width, 1), round(0.66 * width, 1), width


def _band(board: Board, number: int, size: _Size) -> Block:
    look = board.looks[number]
    second, third, width = _columns(board)
    name = _name(board, number, second - _GAP_MM, size.picture)
    swatches = _swatches(look, third - second - _GAP_MM, size.radius_mm)
    contrasts = contrast_list(look, width - third, size.factor)

    def draw(page: Page, x: float, y: float) -> None:
        name.draw(page, x, y)
        swatches.draw(page, x + second, y)
        contrasts.draw(page, x + third, y)

    return Block(max(name.height_mm, swatches.height_mm, contrasts.height_mm), False, draw)


def _head(board: Board) -> Block:
    """Title, client and note whole, where the first page had no room for them."""
    texts = [(board.title, LOOK_TITLE, "ink"), (board.client, LOOK_TEXT, "quiet"), (board.note, LOOK_TEXT, "ink")]
    return stacked([(paragraph(text, kind, 190.0, colour), 1.0) for text, kind, colour in texts if text])


def _name(board: Board, number: int, width_mm: float, share: float) -> Block:
    """A picture over a share of the width (0: a small one) with the look's title beside or under it, and its caption
    where the picture's page had no room for all of it."""
    look, picture = board.looks[number], board.pictures[number]
    aspect = aspect_of(picture)
    across = share * width_mm if share else min(_THUMB_MM * aspect, _BESIDE * width_mm)
    down = across / aspect
    under = share > _BESIDE
    room = width_mm if under else width_mm - across - 3
    words = [(paragraph(look.title, LOOK_TITLE, room), 1.0)]
    if number in board.cut:
        words.append((paragraph(look.caption, LOOK_TEXT, room, "quiet"), 1.0))
    words += [(paragraph(text, SMALL, room, "quiet"), 0.0) for text in side_notes(look)]
    text = stacked(words)

    def draw(page: Page, x: float, y: float) -> None:
        page.picture(x, y, across, down, picture)
        text.draw(page, x if under else x + across + 3, y + down + 1.5 if under else y - 0.6)

    return Block(down + 1.5 + text.height_mm if under else max(down, text.height_mm), False, draw)


def side_notes(look: LookReport) -> list[str]:
    """What the swatches of a look were computed on, and which lights have none."""
    dark = [f"No light passes the gels of {', '.join(look.dark_lights)}."] if look.dark_lights else []
    return [f"Swatches on {look.sitter}.", *dark]


def _swatches(look: LookReport, width_mm: float, radius: float) -> Block:
    """Three swatches a line, each with its names and the hue of paper and sitter beside it, or under a large one."""
    each, under = (width_mm - _GAP_MM * (_COLUMNS - 1)) / _COLUMNS, radius > _RADIUS_MM
    swatches, on = look.swatches, sitter_noun(look)
    words = [_swatch_text(swatch, on, each if under else each - 2 * radius - 2) for swatch in swatches]
    lines = [range(at, min(at + _COLUMNS, len(words))) for at in range(0, len(words), _COLUMNS)]
    texts = [max(words[n].height_mm for n in line) for line in lines]
    heights = [2 * radius + 1.5 + text if under else max(2 * radius, text) for text in texts]

    def draw(page: Page, left: float, top: float) -> None:
        for line, high in zip(lines, heights, strict=True):
            for column, number in enumerate(line):
                x = left + column * (each + _GAP_MM)
                draw_swatch(page, x + radius, top + radius, radius, swatches[number])
                if under:
                    words[number].draw(page, x, top + 2 * radius + 1.5)
                else:
                    words[number].draw(page, x + 2 * radius + 2, top - 0.3)
            top += high + _LINE_MM

    return Block(sum(heights) + _LINE_MM * max(len(lines) - 1, 0), False, draw)


def _swatch_text(swatch: SwatchReport, on: str, width_mm: float) -> Block:
    name, gel = swatch_words(swatch)
    paper, sitter = _hue(swatch.on_paper), _hue(swatch.on_sitter)
    hues = f"{paper if paper == 'neutral' else f'hue {paper}'}, {on} {sitter}"
    rows = [paragraph(name, _NAME, width_mm), *(paragraph(text, _LINE, width_mm, "quiet") for text in (gel, hues))]
    return stacked([(row, 0.0) for row in rows])


def _hue(colour: ColourReport) -> str:
    return "neutral" if colour.hue_deg is None else f"{colour.hue_deg:.0f}°"


def contrast_list(look: LookReport, width_mm: float, factor: float = 1.0) -> Block:
    """Every contrast of a look: in words, then its numbers on paper and on the sitter."""
    label, line = LABEL.scaled(factor), SMALL.scaled(factor)
    if not look.contrasts:
        return paragraph("One colour of light.", line, width_mm, "quiet")
    parts = []
    for contrast in look.contrasts:
        words = f"{contrast.words[0].upper()}{contrast.words[1:]}."
        parts.append((paragraph(f"{contrast.first} against {contrast.second}", label, width_mm), 0.0))
        told = f"{words} {contrast_numbers(contrast, sitter_noun(look))}"
        parts.append((paragraph(told, line, width_mm), 1.4 * factor))
    return stacked(parts)


def sitter_noun(look: LookReport) -> str:
    """What the sitter's half of a swatch is called."""
    return "skin" if look.sitter.endswith(" skin") else "sitter"


def contrast_numbers(contrast: ContrastReport, on: str) -> str:
    """Hue angles and dE00 of a contrast, on paper and on the sitter."""
    paper = _numbers(contrast.paper_hue_deg, contrast.paper_de00)
    return f"On paper {paper}; on {on} {_numbers(contrast.sitter_hue_deg, contrast.sitter_de00)}."


def _numbers(hue_deg: float | None, de00: float) -> str:
    return f"dE00 {de00:.0f}" if hue_deg is None else f"{hue_deg:.0f}° apart, dE00 {de00:.0f}"


def kit_words(item: KitItem) -> str:
    """An item of the kit with its count, e.g. "2 × flash-400"."""
    return f"{item.at_once} × {item.name}"


def kit_block(kit: Sequence[KitItem], not_packed: Sequence[str], looks: int, width_mm: float, columns: int) -> Block:
    """Heads, modifiers and gels, counted by the most that one look needs, in columns of like height."""
    each = (width_mm - _GAP_MM * (columns - 1)) / columns
    entries: list[tuple[Block, bool]] = []
    for kind, heading in _KINDS.items():
        items = [item for item in kit if item.kind == kind]
        entries += [(paragraph(heading, LABEL, each, "quiet"), True)] if items else []
        entries += [(paragraph(_kit_line(item, looks), SMALL, each), False) for item in items]
    if not_packed:
        entries.append((paragraph("Found on the spot", LABEL, each, "quiet"), True))
        entries.append((paragraph(", ".join(not_packed).capitalize(), SMALL, each), False))
    stacks = [stacked([(block, 0.3) for block, _ in column]) for column in _in_columns(entries, columns)]

    def draw(page: Page, x: float, y: float) -> None:
        for index, block in enumerate(stacks):
            block.draw(page, x + index * (each + _GAP_MM), y)

    return Block(max((block.height_mm for block in stacks), default=0.0), False, draw)


def _in_columns(entries: list[tuple[Block, bool]], columns: int) -> list[list[tuple[Block, bool]]]:
    """Entries in columns: one for each group where they are short, else as short as they can be. A heading begins a
    group and never ends a column."""
    starts = [index for index, (_, heading) in enumerate(entries) if heading]
    groups = [entries[a:b] for a, b in itertools.pairwise([*starts, len(entries)])]
    if len(groups) <= columns and all(len(group) <= _TALLEST_GROUP for group in groups):
        return groups
    total = sum(block.height_mm + 0.3 for block, _ in entries)
    for limit in (total / columns * (1 + 0.04 * step) for step in range(200)):
        made: list[list[tuple[Block, bool]]] = [[]]
        high = 0.0
        for index, (block, heading) in enumerate(entries):
            with_next = entries[index + 1][0].height_mm + 0.6 if heading and index + 1 < len(entries) else 0.0
            room = 2.4 if heading and made[-1] else 0.0
            if made[-1] and high + room + block.height_mm + with_next > limit:
                made.append([])
                high = room = 0.0
            if room:
                made[-1].append((Block(room, False, lambda page, x, y: None), False))
            made[-1].append((block, heading))
            high += room + block.height_mm + 0.3
        if len(made) <= columns:
            return made
    return [entries]


def _kit_line(item: KitItem, looks: int) -> str:
    return kit_words(item) if item.looks == 1 or item.looks == looks else f"{kit_words(item)}, {item.looks} looks"
