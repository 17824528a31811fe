"""Characters that the type family lacks: which font of this machine has them, and what is printed where none has."""

from __future__ import annotations

import logging
from functools import cache, lru_cache
from pathlib import Path

from .type_files import FALLBACK, FAMILY, font_files

STANDS_IN = "\ufffd"
"""Printed for a character that no font of this machine has."""

_UNSEEN = frozenset("\u200b\u200c\u200d\u2060\ufe0e\ufe0f")
_FIRST = ("noto sans cjk", "noto sans", "source han", "hiragino", "yu gothic", "ms gothic", "microsoft yahei", "malgun",
          "apple sd gothic", "pingfang", "segoe ui symbol", "noto emoji", "symbola")  # fmt: skip
"""Families looked into first; all others of the machine follow by name."""


@cache
def charmap(file: Path) -> frozenset[int]:
    """Code points that a font file has outlines for; empty for one that cannot be read or has only pictures."""
    from matplotlib.ft2font import FT2Font

    try:
        font = FT2Font(str(file))
    except (OSError, RuntimeError, ValueError):
        return frozenset()
    return frozenset(font.get_charmap()) if font.scalable else frozenset()


@cache
def _others() -> tuple[tuple[str, Path], ...]:
    """Families and files of the machine's upright regular fonts, likely ones first."""
    from matplotlib import font_manager

    def rank(family: str) -> int:
        return next((n for n, start in enumerate(_FIRST) if family.lower().startswith(start)), len(_FIRST))

    upright = [f for f in font_manager.fontManager.ttflist if f.style == "normal" and str(f.weight) in _REGULAR]
    files = {f.name: Path(f.fname) for f in upright if f.name not in (FAMILY, FALLBACK, _BOXES)}
    return tuple(sorted(files.items(), key=lambda entry: (rank(entry[0]), entry[0])))


_REGULAR = ("400", "normal", "regular", "book")
_BOXES = "Last Resort High-Efficiency"  # has a box for every character there is; comes with matplotlib


@cache
def _fallback_file() -> Path:
    from matplotlib import get_data_path

    return Path(get_data_path()) / "fonts" / "ttf" / "DejaVuSans.ttf"


@lru_cache(maxsize=4096)
def font_with(letter: str) -> str | None:
    """The family that a character is printed in; None where no font has it."""
    code = ord(letter)
    if code in charmap(font_files()["regular"]):
        return FAMILY
    if code in charmap(_fallback_file()):
        return FALLBACK
    talk = logging.getLogger("matplotlib.font_manager")
    level = talk.level
    talk.setLevel(logging.ERROR)
    try:
        return next((family for family, file in _others() if code in charmap(file)), None)
    finally:
        talk.setLevel(level)


@lru_cache(maxsize=4096)
def printable(text: str) -> str:
    """The text with marks that are never seen left out, and `STANDS_IN` for every character that no font has."""
    if text.isascii():
        return text
    return "".join(c if font_with(c) is not None or c.isspace() else STANDS_IN for c in text if c not in _UNSEEN)


@lru_cache(maxsize=4096)
def families(text: str) -> tuple[str, ...]:
    """Families to print a text with: the sheet's own, then those that have what it lacks."""
    if text.isascii():
        return FAMILY, FALLBACK
    found = dict.fromkeys(font_with(letter) for letter in text)
    return tuple(dict.fromkeys((FAMILY, *(family for family in found if family is not None), FALLBACK)))


def unprintable(*texts: str) -> str | None:
    """A sentence that says which characters of some texts no font of this machine has; None when all can be printed."""
    letters = dict.fromkeys(c for text in texts for c in text if c not in _UNSEEN and not c.isspace())
    lost = [c for c in letters if font_with(c) is None]
    if not lost:
        return None
    shown = ", ".join(f"{c} (U+{ord(c):04X})" for c in lost[:8]) + (f" and {len(lost) - 8} more" if lost[8:] else "")
    return (
        f"No font on this machine has {shown}; {STANDS_IN} stands for it on the sheet. Install a font that has it, "
        "such as the Noto family for Chinese, Japanese and Korean, and make the sheet again."
    )
