"""The one type family of all sheets, its sizes, and how wide text runs."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache, lru_cache
from typing import Any

from .glyphs import charmap, families, printable
from .type_files import font_files

MM_PER_PT = 25.4 / 72
_WEIGHTS = {"regular": 400, "semibold": 600, "bold": 700, "italic": 400}
_EM = 1000
_UNKNOWN_EM = 1.05  # width of a character that the family lacks
ELLIPSIS = "…"
MINUS = "\u2212"


@dataclass(frozen=True, slots=True)
class Type:
    """A size (points), a cut ("regular", "semibold", "bold", "italic"), and the distance of lines in sizes."""

    size_pt: float
    cut: str = "regular"
    leading: float = 1.3

    @property
    def size_mm(self) -> float:
        """Size in millimetres."""
        return self.size_pt * MM_PER_PT

    @property
    def line_mm(self) -> float:
        """From one line to the next."""
        return self.size_mm * self.leading

    def scaled(self, factor: float) -> Type:
        """The same at another size."""
        return replace(self, size_pt=self.size_pt * factor)

    def bold(self) -> Type:
        """The same, semibold."""
        return replace(self, cut="semibold")


TITLE = Type(24, "bold", 1.12)
HEADING = Type(12.5, "semibold", 1.2)
BODY = Type(9.5)
SMALL = Type(8)
LABEL = Type(8, "semibold")
WIDE_TITLE, WIDE_LINE, WIDE_LABEL = Type(26, "bold", 1.15), Type(12), Type(15, "semibold", 1.2)
"""Of sheets as wide as their pictures need, which are read much reduced."""


def text_keys(kind: Type, text: str) -> dict[str, Any]:
    """What matplotlib's text calls want for a type and the characters it sets."""
    font_files()
    style = "italic" if kind.cut == "italic" else "normal"
    return {
        "fontfamily": list(families(text)),
        "fontsize": kind.size_pt,
        "fontweight": _WEIGHTS[kind.cut],
        "fontstyle": style,
        "parse_math": False,
    }


@cache
def _font(cut: str) -> Any:
    from PIL import ImageFont

    return ImageFont.truetype(str(font_files()[cut]), _EM, layout_engine=ImageFont.Layout.BASIC)


@lru_cache(maxsize=16384)
def _ems(text: str, cut: str) -> float:
    known = charmap(font_files()[cut])
    own = "".join(c for c in text if ord(c) in known)
    return float(_font(cut).getlength(own)) / _EM + _UNKNOWN_EM * (len(text) - len(own))


def text_width(text: str, kind: Type) -> float:
    """Width of one line in millimetres."""
    return _ems(printable(text), kind.cut) * kind.size_mm


def true_minus(text: str) -> str:
    """A number's text with a minus sign in place of the hyphen."""
    return text.replace("-", MINUS)


def shortened(text: str, kind: Type, width_mm: float) -> str:
    """The text if it fits, else as much of it as fits before an ellipsis."""
    if text_width(text, kind) <= width_mm:
        return text
    kept = text
    while kept and text_width(kept.rstrip() + ELLIPSIS, kind) > width_mm:
        kept = kept[:-1]
    return kept.rstrip() + ELLIPSIS


def wrapped(text: str, kind: Type, width_mm: float, most_lines: int | None = None) -> list[str]:
    """The text in lines that fit; breaks at spaces, after hyphens and slashes, and inside a word only where one alone
    is too long. With `most_lines`, the last line ends in an ellipsis where text is left."""
    lines: list[str] = []
    for paragraph in text.split("\n"):
        lines += _paragraph(paragraph, kind, width_mm)
    if most_lines is not None and len(lines) > most_lines:
        rest = " ".join(lines[most_lines - 1 :])
        cut = shortened(rest, kind, width_mm)
        if not cut.endswith(ELLIPSIS):
            cut = shortened(rest + " " * 3 + ELLIPSIS, kind, width_mm)
        lines = [*lines[: most_lines - 1], cut]
    return lines


def _paragraph(text: str, kind: Type, width_mm: float) -> list[str]:
    lines, line = [], ""
    for piece in _pieces(text):
        if text_width((line + piece).rstrip(), kind) <= width_mm:
            line += piece
            continue
        if line.strip():
            lines.append(line.rstrip())
        line = piece.lstrip()
        while text_width(line.rstrip(), kind) > width_mm and len(line) > 1:
            fits = next(n for n in range(len(line), 0, -1) if n == 1 or text_width(line[:n], kind) <= width_mm)
            lines.append(line[:fits])
            line = line[fits:]
    return [*lines, line.rstrip()]


def _pieces(text: str) -> list[str]:
    """Words with the space after them, split after hyphens, slashes and pluses between letters."""
    pieces, piece = [], ""
    for here, after in zip(text, text[1:] + " ", strict=False):
        piece += here
        if (here == " " and after != " ") or (here in "-/+" and len(piece) > 1 and after.isalpha()):
            pieces.append(piece)
            piece = ""
    return [*pieces, piece] if piece else pieces
