"""Numbers that stand each on a line of its own, told by the line's number."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from .text import Numbers, broken, number


@dataclass(frozen=True, slots=True)
class OneALine:
    """Lines of a file by their number, from 1; one number a line."""

    path: Path
    lines: list[str]

    def value(self, line: int, what: str) -> float:
        """The number on a line, its decimal sign a point or a comma; an error names `what` it stands for."""
        if line > len(self.lines):
            raise broken(
                self.path, len(self.lines), f"the file ends where {what} should stand, on line {line}. Restore the "
                "missing lines, or correct the counts of planes, angles and lamps."
            )  # fmt: skip
        return number(self.path, line, self.lines[line - 1].replace(",", "."), what)

    def optional(self, line: int, what: str) -> float | None:
        """The number on a line, None when it is empty."""
        return self.value(line, what) if line > len(self.lines) or self.lines[line - 1].strip() else None

    def within(self, line: int, what: str, low: float, allowed: str) -> float:
        """The number on a line, at least `low`."""
        value = self.value(line, what)
        if value < low:
            raise broken(self.path, line, f"{what} is {value:g}. Allowed: {allowed}.")
        return value

    def count(self, line: int, what: str, low: int = 1) -> int:
        """The whole number on a line, at least `low`."""
        value = self.value(line, what)
        if value < low or value != int(value):
            raise broken(self.path, line, f"{what} is {value:g}. Allowed: a whole number of at least {low}.")
        return int(value)

    def block(self, first: int, count: int, what: str) -> Numbers:
        """`count` lines from `first` on, one number each."""
        numbered = range(first, first + count)
        return Numbers(np.array([self.value(line, what) for line in numbered]), tuple(numbered))
