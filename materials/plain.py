"""Characters that no name or title may hold, since terminals and files of text obey them; and how they are shown."""

from __future__ import annotations

import re

_HIDDEN = re.compile(
    "["
    "\x00-\x1f\x7f-\x9f"  # controls, escape and line ends among them
    "\u00ad\u180e\u200b\u2060-\u2064\ufeff\ufff9-\ufffb"  # no width
    "\u2028\u2029"  # line and paragraph separators
    "\u202a-\u202e\u2066-\u206f"  # turn the direction of what follows
    "\ud800-\udfff"  # halves of a pair
    "\ufdd0-\ufdef" + "".join(chr(plane << 16 | low) for plane in range(17) for low in (0xFFFE, 0xFFFF)) +
    "\U000e0000-\U000e007f"  # tags
    "]"
)  # fmt: skip
_NAMES = {
    "\0": "a NUL", "\t": "a tab", "\n": "a line break", "\r": "a line break", "\x1b": "an escape character",
    "\u2028": "a line break", "\u2029": "a line break",
}  # fmt: skip


def hidden_character(text: str) -> str | None:
    """What the first character is that may not stand in a name or title, such as "a line break (U+000A)"; None without.

    Those are controls, line ends, changes of direction, characters without width, lone surrogates and
    noncharacters. The marks that emoji, Arabic, Hebrew and Indic scripts need are allowed.
    """
    found = _HIDDEN.search(text)
    if found is None:
        return None
    letter = found.group()
    code = ord(letter)
    name = _NAMES.get(letter)
    if name is None:
        name = "half a character" if 0xD800 <= code <= 0xDFFF else "an invisible character"
        if code < 0x20 or 0x7F <= code <= 0x9F:
            name = "a control character"
        elif 0x202A <= code <= 0x202E or 0x2066 <= code <= 0x206F:
            name = "a character that turns the direction of the text"
    return f"{name} (U+{code:04X})"


def visible(text: str, keep: str = "") -> str:
    """Text with every such character written out, as in "\\x1b" or "\\u202e"; characters in `keep` stay."""
    return _HIDDEN.sub(lambda found: found.group() if found.group() in keep else _written(ord(found.group())), text)


def _written(code: int) -> str:
    if code < 0x100:
        return f"\\x{code:02x}"
    return f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"


def shortened(text: str, most: int = 80) -> str:
    """The beginning and the end of a long text, with an ellipsis between."""
    return text if len(text) <= most else f"{text[: most - 23]}...{text[-20:]}"
