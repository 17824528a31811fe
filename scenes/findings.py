"""What a check of a scene file finds, worded for the photographer who wrote it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from materials.errors import KeyfallError
from materials.plain import shortened, visible

KeyPath = tuple[str | int, ...]
"""Place in a scene file: keys, and positions in lists."""

_SHORT = 160
"""Longest list of what is allowed, in characters, that goes before the fix."""

_LONGEST_PATH, _LONGEST_PLACE, _LONGEST_MESSAGE = 400, 160, 600


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing wrong, or worth a look, in a scene file.

    Attributes
    ----------
    path : the file as the user named it.
    line : line number from 1; None when the file could not be read as text.
    severity : "error", "warning", or "note" on what Keyfall does by itself.
    where : dotted key, e.g. "light.key.size_m"; empty for the file as a whole.
    message : what is wrong. allowed : what may stand there. fix : what to do. Both may be empty.
    """

    path: str
    line: int | None
    severity: str
    where: str
    message: str
    allowed: str = ""
    fix: str = ""

    def format(self) -> str:
        """Two lines at most: place and problem, then what is allowed and the fix; hidden characters are written out."""
        path = shortened(self.path, _LONGEST_PATH)
        place = path if self.line is None else f"{path}:{self.line}"
        where = f"{shortened(self.where, _LONGEST_PLACE)}: " if self.where else ""
        head = visible(f"{place}: {self.severity}: {where}{shortened(self.message, _LONGEST_MESSAGE)}")
        short = len(self.allowed) <= _SHORT and not self.fix.startswith("Did you mean")
        parts = (self.allowed, self.fix) if short else (self.fix, self.allowed)
        advice = visible(" ".join(part for part in parts if part))
        return f"{head}\n    {advice}" if advice else head


class SceneError(KeyfallError):
    """A scene that cannot be used; `findings` carries everything that was found, errors and warnings."""

    def __init__(self, findings: Iterable[Finding]) -> None:
        self.findings = tuple(findings)
        super().__init__("\n".join(f.format() for f in self.findings))


@dataclass(frozen=True, slots=True)
class Problem:
    """A finding before its file and line are known; `path` is relative to the table that reported it."""

    path: KeyPath
    message: str
    allowed: str = ""
    fix: str = ""
    severity: str = "error"

    def within(self, *outer: str | int) -> Problem:
        """The same problem, its path seen from an enclosing table."""
        return Problem((*outer, *self.path), self.message, self.allowed, self.fix, self.severity)

    def at(self, path: str, line: int | None = None) -> Finding:
        """The finding that it is in a file, or in whatever `path` names."""
        return Finding(path, line, self.severity, dotted(self.path), self.message, self.allowed, self.fix)


def dotted(path: KeyPath) -> str:
    """A path as the user writes it: "light.key.gels[1]"; positions in lists count from 1."""
    text = ""
    for part in path:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if text else part
    return text


def ordered(findings: Iterable[Finding]) -> list[Finding]:
    """Findings by line, errors first on one line, none twice."""
    unique = dict.fromkeys(findings)
    return sorted(unique, key=lambda f: (f.line or 0, f.severity, f.where))
