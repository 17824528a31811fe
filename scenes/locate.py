"""Line numbers of the keys of a TOML document, which the standard library's reader does not give.

The text is assumed to be valid TOML (the standard library has read it); the scanner only follows structure:
table headers, dotted and quoted keys, arrays, inline tables, strings and comments.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from .findings import Finding, KeyPath, Problem, ordered

_SPACE = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_BLANK = re.compile(r"[ \t]*")
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_SCALAR = re.compile(r"[^,\]}#\n]*")
_STRING = re.compile(
    r'"""(?:\\.|[^\\])*?"{3,5}(?!")'
    r"|'''[\s\S]*?'{3,5}(?!')"
    r'|"(?:\\.|[^"\\\n])*"'
    r"|'[^'\n]*'",
    re.DOTALL,
)
_ESCAPE = re.compile(r"\\(u[0-9a-fA-F]{4}|U[0-9a-fA-F]{8}|.)", re.DOTALL)
_ESCAPES = {"b": "\b", "t": "\t", "n": "\n", "f": "\f", "r": "\r", '"': '"', "\\": "\\", "e": "\x1b"}


def key_lines(text: str) -> dict[KeyPath, int]:
    """Line (from 1) of every table, key and list entry of a valid TOML text, by its path."""
    return _Scanner(text).scan()


def line_of(lines: dict[KeyPath, int], path: KeyPath) -> int:
    """Line of `path`, or of the nearest enclosing table that has one; 1 for the document."""
    for length in range(len(path), 0, -1):
        if path[:length] in lines:
            return lines[path[:length]]
    return 1


def located(path: str, text: str, problems: Iterable[Problem]) -> list[Finding]:
    """Problems of a document with their lines, in order; `path` as the user named it."""
    lines = key_lines(text.replace("\r\n", "\n"))
    return ordered(problem.at(path, line_of(lines, problem.path)) for problem in problems)


class _Scanner:
    """One pass over a document; `at` is the reading position."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.lines: dict[KeyPath, int] = {}
        self.counts: dict[KeyPath, int] = {}
        self._line, self._counted = 1, 0

    def scan(self) -> dict[KeyPath, int]:
        table: KeyPath = ()
        self._skip(_SPACE)
        while self.at < len(self.text):
            if self.text[self.at] == "[":
                table = self._header()
            else:
                self._pair(table)
            self._skip(_SPACE)
        return self.lines

    def _skip(self, pattern: re.Pattern[str]) -> str:
        match = pattern.match(self.text, self.at)
        assert match is not None
        self.at = match.end()
        return match.group()

    def _here(self) -> int:
        self._line += self.text.count("\n", self._counted, self.at)
        self._counted = self.at
        return self._line

    def _note(self, path: KeyPath, line: int) -> None:
        for length in range(1, len(path) + 1):
            self.lines.setdefault(path[:length], line)

    def _header(self) -> KeyPath:
        line = self._here()
        array = self.text.startswith("[[", self.at)
        self.at += 2 if array else 1
        path = self._resolve(self._key())
        self.at += 2 if array else 1
        if array:
            index = self.counts.get(path, 0)
            self.counts[path] = index + 1
            self.lines.setdefault(path, line)
            path = (*path, index)
        self._note(path, line)
        if self.lines[path] != line and path not in self.counts:
            self.lines[path] = line
        return path

    def _resolve(self, path: KeyPath) -> KeyPath:
        """A header's path, with the current entry of every array of tables it goes through put in."""
        resolved: KeyPath = ()
        for depth, part in enumerate(path):
            resolved = (*resolved, part)
            last = depth == len(path) - 1
            if not last and resolved in self.counts:
                resolved = (*resolved, self.counts[resolved] - 1)
        return resolved

    def _key(self) -> KeyPath:
        parts: list[str] = []
        while True:
            self._skip(_BLANK)
            parts.append(self._quoted() if self.text[self.at] in "\"'" else self._skip(_BARE))
            self._skip(_BLANK)
            if not self.text.startswith(".", self.at):
                return tuple(parts)
            self.at += 1

    def _quoted(self) -> str:
        quoted = self._skip(_STRING)
        return quoted[1:-1] if quoted[0] == "'" else _ESCAPE.sub(_unescape, quoted[1:-1])

    def _pair(self, table: KeyPath) -> None:
        line = self._here()
        path = (*table, *self._key())
        self._note(path, line)
        self.at += 1
        self._skip(_BLANK)
        self._value(path)

    def _value(self, path: KeyPath) -> None:
        first = self.text[self.at]
        if first in "\"'":
            self._skip(_STRING)
        elif first == "[":
            self._array(path)
        elif first == "{":
            self._inline_table(path)
        else:
            self._skip(_SCALAR)

    def _array(self, path: KeyPath) -> None:
        self.at += 1
        index = 0
        while self._next_item("]"):
            self.lines.setdefault((*path, index), self._here())
            self._value((*path, index))
            index += 1

    def _inline_table(self, path: KeyPath) -> None:
        self.at += 1
        while self._next_item("}"):
            self._pair(path)

    def _next_item(self, close: str) -> bool:
        """Step over space, comments and a comma; False, and past the bracket, at the end."""
        self._skip(_SPACE)
        if self.text.startswith(",", self.at):
            self.at += 1
            self._skip(_SPACE)
        if self.text.startswith(close, self.at):
            self.at += 1
            return False
        return True


def _unescape(match: re.Match[str]) -> str:
    code = match.group(1)
    return chr(int(code[1:], 16)) if code[0] in "uU" else _ESCAPES.get(code, code)
