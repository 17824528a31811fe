"""Standard output as it is: a terminal that obeys escape characters, or one that lacks letters."""

from __future__ import annotations

import codecs
import re
import sys
import unicodedata
from collections.abc import Iterable

from rich.console import Console as RichConsole
from rich.console import ConsoleOptions, RenderableType
from rich.segment import Segment

from materials.plain import visible

DEGRADED = "keyfall-degraded"
_WORDS = {
    "°": "deg", "–": "-", "—": "-", "−": "-", "‘": "'", "’": "'", "“": '"', "”": '"', "·": ".", "•": "*", "×": "x",
    "µ": "u", "μ": "u", "…": "...", "→": "->", "ß": "ss", "æ": "ae", "Æ": "AE", "ø": "o", "Ø": "O", "ł": "l",
    "±": "+-", "≤": "<=", "≥": ">=",
}  # fmt: skip


class Console(RichConsole):
    """A console that writes hidden characters out: no name moves the cursor or forges a line."""

    def render(self, renderable: RenderableType, options: ConsoleOptions | None = None) -> Iterable[Segment]:
        """Segments to write; only those that the console itself makes may control the terminal."""
        for segment in super().render(renderable, options):
            if segment.control is None and segment.text != visible(segment.text, keep="\n"):
                yield Segment(visible(segment.text, keep="\n"), segment.style)
            else:
                yield segment


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
