"""Text of photometric files: reading it, taking numbers out of it, and saying where something is wrong."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from materials.errors import DataError
from materials.plain import visible
from materials.reading import MISSING, MOST_TEXT_BYTES, NotRead, read_bounded

_DELIMITERS = re.compile(r"[\s,]+")
_END_OF_FILE = "\x1a"  # DOS editors end a text with it
_QUOTED = 40


@dataclass(frozen=True, slots=True)
class Numbers:
    """Numbers of a file and the line (from 1) that each stands on."""

    values: np.ndarray
    lines: tuple[int, ...]

    def __len__(self) -> int:
        return len(self.lines)


@dataclass(slots=True)
class Stream:
    """Numbers that run on over the lines of a text, split by spaces, commas and line ends.

    `words` are pairs of line and word; `position` counts those already taken.
    """

    path: Path
    words: list[tuple[int, str]] = field(default_factory=list)
    position: int = 0

    def take(self, count: int, what: str) -> Numbers:
        """The next `count` numbers; an error that names `what` when there are fewer, or when one is no number."""
        part = self.words[self.position : self.position + count]
        if len(part) < count:
            line = self.words[-1][0] if self.words else 1
            raise broken(
                self.path, line, f"the file ends after {len(part)} of {count} {what}. Restore the missing numbers, or "
                "correct the counts of angles; a decimal sign must be a point."
            )  # fmt: skip
        self.position += count
        return Numbers(
            np.array([number(self.path, line, word, what) for line, word in part]), tuple(line for line, _ in part)
        )

    def one(self, what: str) -> tuple[float, int]:
        """The next number and its line."""
        taken = self.take(1, what)
        return float(taken.values[0]), taken.lines[0]

    def count(self, what: str) -> int:
        """The next number, a whole one of at least 1."""
        value, line = self.one(what)
        if value < 1 or value != int(value):
            raise broken(self.path, line, f"{value:g} {what}. Allowed: a whole number of at least 1.")
        return int(value)

    def finish(self) -> None:
        """Raise when words are left over."""
        if self.position < len(self.words):
            line, word = self.words[self.position]
            left = len(self.words) - self.position
            raise broken(
                self.path, line, f"more numbers than the counts of angles ask for: {left} too many, from "
                f"'{_short(word)}' on. Correct the counts, or remove what is too much; a decimal sign must be a point."
            )  # fmt: skip


def stream(path: Path, lines: list[str], first: int) -> Stream:
    """The words of `lines` from index `first` on."""
    words = [
        (number, word)
        for number, text in enumerate(lines[first:], start=first + 1)
        for word in _DELIMITERS.split(text)
        if word
    ]
    return Stream(path, words)


def read_lines(path: Path) -> list[str]:
    """Lines of a text file, whatever its line ends; UTF-8, else ISO 8859-1.

    Raises
    ------
    DataError
        When the file is missing, a folder, unreadable, empty, or no text.
    """
    try:
        content = read_bounded(path, MOST_TEXT_BYTES)
    except NotRead as problem:
        if problem.kind == MISSING:
            text = f"There is no file {visible(str(path))}. Check its name; it is read relative to the scene file."
            raise DataError(text) from None
        raise DataError(f"{problem}. Give a photometric file.") from None
    if b"\0" in content:
        raise broken(path, 1, "this is no text. Give a photometric file: LM-63 (.ies) or EULUMDAT (.ldt).")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = content.decode("iso-8859-1")
    text = text.replace("\r\n", "\n").replace("\r", "\n").replace(_END_OF_FILE, "").rstrip()
    if not text:
        raise broken(path, 1, "the file is empty. Give a photometric file: LM-63 (.ies) or EULUMDAT (.ldt).")
    return text.split("\n")


def broken(path: Path, line: int, sentence: str) -> DataError:
    """The error for what is wrong on a line, as "path:line: sentence"."""
    return DataError(visible(f"{path}:{line}: {sentence}"))


def number(path: Path, line: int, text: str, what: str) -> float:
    """The finite number that `text` is, or an error that names what should stand there."""
    try:
        value = float(text)
    except ValueError:
        shown = f"'{_short(text)}' is no number" if text.strip() else "an empty line"
        raise broken(path, line, f"{shown} where {what} should stand. Allowed: a number, such as 12.5.") from None
    if not math.isfinite(value):
        raise broken(path, line, f"'{_short(text)}' is not finite, where {what} should stand. Write a finite number.")
    return value


def check_ascending(path: Path, angles: Numbers, what: str) -> None:
    """Raise unless every angle is larger than the one before."""
    for i in np.flatnonzero(np.diff(angles.values) <= 0):
        before, after = angles.values[i], angles.values[i + 1]
        raise broken(
            path, angles.lines[i + 1], f"{what} angle {after:g} follows {before:g}. Angles must ascend: sort them, "
            "with their intensities, and remove doubles."
        )  # fmt: skip


def check_intensities(path: Path, intensities: Numbers) -> None:
    """Raise when an intensity is negative or none is positive."""
    for i in np.flatnonzero(intensities.values < 0):
        raise broken(
            path, intensities.lines[i], f"an intensity of {intensities.values[i]:g}. Intensities cannot be negative: "
            "correct it, or write 0."
        )  # fmt: skip
    if not (intensities.values > 0).any():
        raise broken(path, intensities.lines[0], "every intensity is 0: this luminaire gives no light. Check the file.")


def _short(text: str) -> str:
    plain = "".join(c if c.isprintable() else "?" for c in text.strip())
    return plain if len(plain) <= _QUOTED else plain[: _QUOTED - 3] + "..."
