"""From a path to the tables of a TOML document, or the reason why not."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from materials.reading import FOLDER, FORBIDDEN, LARGE, MISSING, NotRead, read_bounded

from .findings import Finding, Problem

LARGEST_BYTES = 4_000_000
SCENE_START = "format = 1, [camera], [sitter], [light.key]"

_PLACE = re.compile(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)$")
_HEADER = re.compile(r"^\s*\[+\s*([^\]]*?)\s*\]+")
_KEY = re.compile(r"^\s*([^=\[#\s][^=]*?)\s*=\s*(.*?)\s*$")


class Unreadable(Exception):
    """A file that is no TOML document; `finding` says why."""

    def __init__(self, finding: Finding) -> None:
        super().__init__(finding.message)
        self.finding = finding


def read_text(path: str | Path, kind: str = "scene", start: str = SCENE_START) -> str:
    """Text of a file.

    Parameters
    ----------
    kind : what it is called in messages. start : what to write into an empty one.

    Raises
    ------
    Unreadable
        When there is no such file, or it is a folder, not permitted, too large, binary, or not UTF-8.
    """
    shown = str(path)
    try:
        data = read_bounded(path, LARGEST_BYTES)
    except NotRead as problem:
        message, fix = _said(problem, kind)
        raise _unreadable(shown, message, fix) from None
    if b"\0" in data:
        raise _unreadable(shown, "this is a binary file, not text", f"Name a {kind} file written in TOML (plain text).")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        line = data.count(b"\n", 0, problem.start) + 1
        fix = "Save the file again with the encoding UTF-8."
        raise Unreadable(Finding(shown, line, "error", "", "this line is not UTF-8 text", fix=fix)) from None
    if not any(line.split("#")[0].strip() for line in text.splitlines()):
        raise Unreadable(
            Finding(
                shown,
                1,
                "error",
                "",
                "the file is empty",
                fix=f"Write a {kind}: {start}.",
            )
        )
    return text


def _said(problem: NotRead, kind: str) -> tuple[str, str]:
    """Message and fix for a file that was not read."""
    if problem.kind == MISSING:
        return "there is no such file", "Check the path and the spelling."
    if problem.kind == FOLDER:
        return f"this is a folder, not a {kind} file", "Name the .toml file in it."
    if problem.kind == FORBIDDEN:
        return "this file may not be read", "Change its permissions."
    if problem.kind == LARGE:
        return f"this file {problem.reason}", f"A {kind} is a short text file; name that one."
    return f"the file cannot be read: it {problem.reason}", f"Name a {kind} file written in TOML (plain text)."


def _unreadable(path: str, message: str, fix: str) -> Unreadable:
    return Unreadable(Finding(path, None, "error", "", message, fix=fix))


def parse(path: str, text: str) -> dict[str, Any]:
    """Tables of a TOML text.

    Raises
    ------
    Unreadable
        With the line and the likely slip, when the text is not TOML.
    """
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        raise Unreadable(_syntax(path, text, str(problem))) from None
    except RecursionError:
        raise Unreadable(
            Finding(path, 1, "error", "", "brackets are nested too deep", fix="Remove the surplus ones.")
        ) from None
    except ValueError:  # the reader's own limit on the digits of a whole number
        raise _too_long(path, text) from None
    if _holds_long_number(tables):
        raise _too_long(path, text)
    return tables


def _holds_long_number(tables: dict[str, Any]) -> bool:
    """Whether a whole number is there that does not fit into 64 bits, the most that TOML asks a reader to keep."""
    waiting: list[Any] = [tables]
    while waiting:
        value = waiting.pop()
        if isinstance(value, int) and not -(2**63) <= value < 2**63:
            return True
        if isinstance(value, dict | list):
            waiting += value.values() if isinstance(value, dict) else value
    return False


def _too_long(path: str, text: str) -> Unreadable:
    long = re.search(r"(?<![\w.])[-+]?(0[xob][0-9a-fA-F_]{16,}|[0-9_]{19,})(?![\w.])", text)
    line = text.count("\n", 0, long.start()) + 1 if long else 1
    return Unreadable(Finding(path, line, "error", "", "a number has far too many digits", fix="Correct it."))


def format_problem(data: dict[str, Any], newest: int) -> Problem | None:
    """What is wrong with the format number of a document; None when it is `newest`."""
    given = data.get("format")
    allowed = f"Allowed: format = {newest}."
    if given is None:
        return Problem((), "the file does not say its format", allowed, f"Write format = {newest} as the first line.")
    if isinstance(given, int) and not isinstance(given, bool):
        if given == newest:
            return None
        if given > newest:
            message = f"the file is of format {given}, which is newer than this version of Keyfall can read"
            return Problem(("format",), message, allowed, "Update Keyfall.")
    return Problem(("format",), f"there is no format {given!r}", allowed, "Write the bare number, without quotes.")


def _syntax(path: str, text: str, reason: str) -> Finding:
    """What a TOML error means, at which line."""
    lines = text.splitlines() or [""]
    place = _PLACE.search(reason)
    number = int(place.group(1)) if place and place.group(1) else len(lines)
    number = min(number, len(lines))
    bare = _PLACE.sub("", reason)
    line = lines[number - 1]
    table, key = _HEADER.match(line), _KEY.match(line)
    message, fix = f"this line is not TOML: {line.strip()[:60]}", f"({bare}.)"
    if "twice" in bare or "namespace" in bare or "Cannot declare" in bare or "Cannot mutate" in bare:
        name = table.group(1) if table else line.strip()[:40]
        first = _first_line(lines, number, _HEADER, name)
        message = f"the table [{name}] is there twice" + (f"; the first is on line {first}" if first else "")
        fix = "Join the two, or give the second another name."
    elif "overwrite" in bare or "Duplicate" in bare:
        name = key.group(1) if key else line.strip()[:40]
        first = _first_line(lines, number, _KEY, name)
        message = f"the key {name} is there twice" + (f"; the first is on line {first}" if first else "")
        fix = "Keep one of them."
    elif key is not None and '"' in key.group(2) and "\\" in key.group(2):
        message = f"the text of {key.group(1)} has a backslash, which means something else in double quotes"
        fix = f"Write / in paths, or single quotes: {key.group(1)} = {key.group(2).replace(chr(34), chr(39))[:80]}"
    elif table is None and key is not None:
        message, fix = _slip(key.group(1), key.group(2), bare)
    elif line.lstrip().startswith("["):
        message, fix = f"this table's name is not closed: {line.strip()[:60]}", "Close it with ]."
    elif "=" not in line and line.strip():
        message, fix = f"there is no = in: {line.strip()[:60]}", "Write key = value, or start a remark with #."
    return Finding(path, number, "error", "", message, fix=fix)


def _first_line(lines: list[str], before: int, pattern: re.Pattern[str], name: str) -> int | None:
    """Line of the last earlier match of the same name (for a key: within the same table)."""
    for number in range(before - 1, 0, -1):
        match = pattern.match(lines[number - 1])
        if match and match.group(1) == name:
            return number
    return None


def _slip(name: str, value: str, reason: str) -> tuple[str, str]:
    """The usual slips on a line `name = value`."""
    plain = value.split("#")[0].strip()
    if not plain:
        return f"{name} has no value", f"Write one after the = sign, or remove {name}."
    if re.fullmatch(r"[-+]?\d+,\d+", plain):
        return f"{plain} has a decimal comma", f"Write a point: {name} = {plain.replace(',', '.')}"
    if re.fullmatch(r"[-+]?\.\d+|[-+]?\d+\.", plain):
        return f"{plain} lacks a digit beside the point", f"Write {name} = {float(plain):g}"
    if re.fullmatch(r"\d+\s*/\s*\d+", plain) and not name.startswith("f_"):
        return f"the fraction {plain} needs quotes", f'Write {name} = "{plain}"'
    if re.fullmatch(r"[fF]/?\d+(\.\d+)?", plain):
        return f"{plain} is not a number", f"Write {name} = {plain.lstrip('fF/')}"
    if re.fullmatch(r"(?i)true|false|yes|no|on|off", plain):
        return f"{plain} is not how yes and no are written", f"Write {name} = true or {name} = false"
    if plain[0] in "\"'":
        return f"the quotes of {name} are not closed", f'Write {name} = "..." on one line.'
    if plain[0] in "[{" and plain[-1] not in "]}":
        return f"the bracket of {name} is not closed", f"Close it with {']' if plain[0] == '[' else '}'}."
    unit = re.fullmatch(r"([-+]?\d+(?:\.\d+)?)\s*([A-Za-z%°]+).*", plain)
    if unit:
        return f"{plain} has a unit after the number", f"Write the bare number: {name} = {unit.group(1)}"
    if re.fullmatch(r"[A-Za-z][\w -]*", plain):
        return f"the text {plain} needs quotes", f'Write {name} = "{plain}"'
    return f"the value of {name} cannot be read: {plain[:60]}", f"({reason}.)"
