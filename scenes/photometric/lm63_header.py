"""What stands before the angles of an LM-63 file: edition, keywords, TILT, and the line of counts and sizes."""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path

from .text import Stream, broken, check_ascending

FIRST_LINE = re.compile(r"^\s*(?:IESNA\s*:?|IES\s*:)\s*(?:LM-63-)?(\d{2,4})\b", re.IGNORECASE)
TILT = re.compile(r"^\s*TILT\s*=\s*(.*?)\s*$", re.IGNORECASE)

_KEYWORD = re.compile(r"^\s*\[\s*(\w+)\s*\]\s*(.*?)\s*$")
_EDITIONS = {86: 1986, 91: 1991, 95: 1995, 2: 2002, 19: 2019}
_UNITS = {1: 0.3048, 2: 1.0}
_KINDS = {1: "C", 2: "B", 3: "A"}


@dataclass(frozen=True, slots=True)
class Header:
    """The numbers between TILT and the angles; `scale` is all that multiplies the candela."""

    rated_lumens: float | None
    scale: float
    vertical: int
    horizontal: int
    kind: str
    signed_m: tuple[float, float, float]
    watts: float | None
    notes: tuple[str, ...]


def edition_of(path: Path, lines: list[str]) -> int:
    """The year of the edition that the first line names."""
    found = FIRST_LINE.match(lines[0])
    if found is None:
        return 1986  # the first edition had no such line
    edition = _EDITIONS.get(int(found[1]) % 100 if len(found[1]) in (2, 4) else -1)
    if edition is None:
        raise broken(
            path, 1, f"'{lines[0].strip()}' is no edition of LM-63 that can be read. Allowed: none, IESNA91, "
            "IESNA:LM-63-1995, IESNA:LM-63-2002, IES:LM-63-2019. Export the file as one of these."
        )  # fmt: skip
    return edition


def read_tilt(path: Path, line: str, number: int, numbers: Stream) -> list[str]:
    """Take what the TILT line announces from the numbers; notes on it."""
    found = TILT.match(line)
    kind = found[1] if found else ""
    if kind.upper() == "NONE":
        return []
    if kind.upper() != "INCLUDE":
        raise broken(
            path, number, f"TILT={kind}: the lamp's output by tilt is in another file, which is not read. Allowed: "
            "TILT=NONE or TILT=INCLUDE. Write TILT=NONE unless the luminaire hangs tilted."
        )  # fmt: skip
    numbers.one("the lamp's place in the luminaire")
    pairs = numbers.count("pairs of tilt angles and factors")
    angles = numbers.take(pairs, "tilt angles")
    factors = numbers.take(pairs, "tilt factors")
    check_ascending(path, angles, "tilt")
    lowest = float(factors.values.min())
    return [f"the lamp dims when the luminaire is tilted, to {lowest:.0%} at most; used as level"] if lowest < 1 else []


def read_header(path: Path, numbers: Stream, edition: int) -> Header:
    """Take the thirteen numbers in front of the angles."""
    lamps, lamps_line = numbers.one("the number of lamps")
    lumens, lumens_line = numbers.one("lumens per lamp")
    multiplier = _positive(path, numbers, "candela multiplier")
    vertical, horizontal = numbers.count("vertical angles"), numbers.count("horizontal angles")
    kind = _KINDS[_code(path, numbers, "photometric type", _KINDS, "1 (type C), 2 (type B) or 3 (type A)")]
    unit = _UNITS[_code(path, numbers, "kind of units", _UNITS, "1 (feet) or 2 (metres)")]
    size = numbers.take(3, "sizes of the opening").values * unit
    ballast = _positive(path, numbers, "ballast factor")
    if edition <= 1991:
        second = _positive(path, numbers, "ballast-lamp photometric factor")
    else:
        second, _ = numbers.one("the number after the ballast factor")
    watts, watts_line = numbers.one("input watts")
    absolute = lumens == -1
    if not absolute and lumens <= 0:
        raise broken(path, lumens_line, f"{lumens:g} lumens per lamp. Allowed: above 0, or -1 for absolute photometry.")
    if lamps != int(lamps) or lamps < (0 if absolute else 1):
        raise broken(path, lamps_line, f"{lamps:g} lamps. Allowed: a whole number of at least 1.")
    if watts < 0:
        raise broken(path, watts_line, f"{watts:g} input watts. Allowed: 0 (unknown) or more.")
    scale, notes = multiplier * ballast, []
    if edition <= 1991:
        scale *= second
    elif edition < 2019 and second != 1:
        notes.append(f"the number after the ballast factor is {second:g}; it has no meaning in this edition")
    return Header(
        None if absolute else lamps * lumens, scale, vertical, horizontal, kind,
        (float(size[0]), float(size[1]), float(size[2])), watts or None, tuple(notes),
    )  # fmt: skip


def _positive(path: Path, numbers: Stream, what: str) -> float:
    value, line = numbers.one(f"the {what}")
    if value <= 0:
        raise broken(path, line, f"a {what} of {value:g}. Allowed: above 0, mostly 1.")
    return value


def _code(path: Path, numbers: Stream, what: str, codes: Collection[int], allowed: str) -> int:
    value, line = numbers.one(f"the {what}")
    if value not in codes:
        raise broken(path, line, f"{value:g} is no {what}. Allowed: {allowed}.")
    return int(value)


def opening(signed_m: tuple[float, float, float], edition: int, kind: str) -> tuple[float, float, float, bool]:
    """Extent of the opening along C0, along C90 and along the axis (m), and whether it is round.

    The file's width lies across the plane of horizontal angle 0 and its length along it. Type B looks along the
    vertical axis with its horizontal axis along the width; type A looks along the horizontal one.
    """
    width, length, height = signed_m
    if kind == "A":
        right, up, deep = width, height or length, length if height else 0.0
    elif kind == "B":
        right, up, deep = width, length, height
    else:
        right, up, deep = length, width, height
    if deep < 0 and right * up < 0:  # an ellipsoid; since 2002 a lying cylinder, which looks like a rectangle
        is_round = edition < 2002
    elif deep < 0 and right * up == 0 and right + up > 0:  # a lying cylinder as of 1995
        is_round, right, up = False, right or deep, up or deep
    else:
        is_round = min(right, up) < 0
    right, up = abs(right), abs(up)
    if is_round:
        right, up = right or up, up or right
    return right, up, abs(deep), is_round


def name_of(lines: list[str]) -> str | None:
    """The luminaire by its description, else its catalogue number; continuation lines joined."""
    found: dict[str, str] = {}
    last = ""
    for line in lines:
        keyword = _KEYWORD.match(line)
        if keyword is None:
            continue
        word = last if keyword[1].upper() == "MORE" else keyword[1].upper()
        found[word] = f"{found[word]} {keyword[2]}" if word in found and word == last else keyword[2]
        last = word
    return next((found[word] for word in ("LUMINAIRE", "LUMCAT") if found.get(word)), None)
