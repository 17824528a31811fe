"""Standard output as it is: a terminal that obeys escape characters, or one that lacks letters."""

from __future__ import annotations

import codecs
import re
import sys
import unicodedata
from collections.abc import Iterable
from typing import Any

from rich.console import Console as RichConsole
from rich.console import ConsoleOptions, RenderableType, RenderResult
from rich.measure import Measurement
from rich.segment import Segment
from rich.table import Table as RichTable

from materials.plain import visible

DEGRADED = "keyfall-degraded"
_ANY_WIDTH = 100_000
_WORDS = {
    "°": "deg", "–": "-", "—": "-", "−": "-", "‘": "'", "’": "'", "“": '"', "”": '"', "·": ".", "•": "*", "×": "x",
    "µ": "u", "μ": "u", "…": "...", "→": "->", "ß": "ss", "æ": "ae", "Æ": "AE", "ø": "o", "Ø": "O", "ł": "l",
    "±": "+-", "≤": "<=", "≥": ">=",
}  # fmt: skip


class Console(RichConsole):
    """A console that writes hidden characters out: no name moves the cursor or forges a line. Nothing is cut off: what
    is wider than the terminal goes on in the terminal's next line."""

    def print(self, *objects: Any, crop: bool = False, **options: Any) -> None:
        """As of every console of this library, but not cropped unless asked for."""
        super().print(*objects, crop=crop, **options)

    def render(self, renderable: RenderableType, options: ConsoleOptions | None = None) -> Iterable[Segment]:
        """Segments to write; only those that the console itself makes may control the terminal."""
        for segment in super().render(renderable, options):
            if segment.control is None and segment.text != visible(segment.text, keep="\n"):
                yield Segment(visible(segment.text, keep="\n"), segment.style)
            else:
                yield segment


class Table(RichTable):
    """A table that folds its words in a narrow terminal, and never leaves out a part of them."""

    def __rich_console__(self, console: RichConsole, options: ConsoleOptions) -> RenderResult:
        """Segments to write, wider than the console where the longest words are."""
        for column in self.columns:
            column.overflow = "fold"
        least = Measurement.get(console, options.update_width(_ANY_WIDTH), self).minimum
        yield from super().__rich_console__(console, options.update_width(max(options.max_width, least)))


def prepare_streams() -> None:
    """Let standard output and error write what their encoding has, and something near for the rest, and never fail."""
    codecs.register_error(DEGRADED, degraded)
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors=DEGRADED)


def degraded(error: UnicodeError) -> tuple[str, int]:
    """What stands for letters that an encoding lacks: the nearest in ASCII, such as e for an accented e, else "?"."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    return "".join(_near(letter) for letter in error.object[error.start : error.end]), error.end


def _near(letter: str) -> str:
    if letter in _WORDS:
        return _WORDS[letter]
    code = ord(letter)
    if 0x2500 <= code < 0x2580:
        return "|" if letter in "│┃║╎╏" else "-" if letter in "─━═╌╍╸╺╴╶" else "+"
    if 0x2580 <= code < 0x25A0:
        return "#"
    if 0xD800 <= code < 0xE000:
        return "?"
    plain = unicodedata.normalize("NFKD", letter).encode("ascii", "ignore").decode()
    return plain or ("" if unicodedata.combining(letter) else "?")


def write_json(text: str) -> None:
    """Print JSON; what the encoding of standard output lacks is escaped, so that no letter is lost."""
    encoding = getattr(sys.stdout, "encoding", None) or "utf-8"
    try:
        text.encode(encoding)
    except UnicodeEncodeError:
        text = re.sub(r"[^\x00-\x7f]", _escaped, text)
    sys.stdout.write(text + "\n")


def _escaped(found: re.Match[str]) -> str:
    units = found.group().encode("utf-16-be", "surrogatepass")
    return "".join(f"\\u{int.from_bytes(units[k : k + 2], 'big'):04x}" for k in range(0, len(units), 2))
