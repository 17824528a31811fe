"""The lighting plan in words: lights, places, readings."""

from __future__ import annotations

import re
from datetime import datetime

from ..sheet import MINUS, true_minus

_MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
           "December")  # fmt: skip
STEEP_DEG = 85.0
"""A light above this elevation is overhead: its side says nothing."""


def piece_words(kind: str, name: str) -> str:
    """A set piece by its kind and name: "silk overhead"; "silk" where the name says no more."""
    return kind if name == kind else f"{kind} {name}"


def metres(value: float) -> str:
    """A length: "1.20 m"."""
    return f"{number(value)} m"


def number(value: float) -> str:
    """Two decimals with a true minus sign; never a negative nought."""
    text = f"{value:.2f}"
    return true_minus("0.00" if text == "-0.00" else text)


def signed(text: str) -> str:
    """The same text with true minus signs before its numbers."""
    return text.replace("(-", f"({MINUS}").replace(" -", f" {MINUS}") if not text.startswith("-") else MINUS + text[1:]


def side_words(azimuth_deg: float) -> str:
    """An azimuth as one says it: "40° right", "25° left", "front", "behind"."""
    return _sided(azimuth_deg, "front", "behind", "")


def spoken_side(azimuth_deg: float) -> str:
    """An azimuth in a sentence: "40° to camera right"."""
    return _sided(azimuth_deg, "straight from the camera's side", "from straight behind", "to camera ")


def _sided(azimuth_deg: float, front: str, behind: str, to: str) -> str:
    turned = (azimuth_deg + 180) % 360 - 180
    if abs(turned) < 0.5:
        return front
    if abs(turned) > 179.5:
        return behind
    return f"{abs(turned):.0f}° {to}{'right' if turned > 0 else 'left'}"


def rise_words(elevation_deg: float) -> str:
    """An elevation: "30° above", "10° below", "level"."""
    if abs(elevation_deg) < 0.5:
        return "level"
    return f"{abs(elevation_deg):.0f}° {'above' if elevation_deg > 0 else 'below'}"


def tilt_words(tilt_deg: float) -> str:
    """A tilt: "24° down", "12° up", "level"."""
    if abs(tilt_deg) < 0.5:
        return "level"
    return f"{abs(tilt_deg):.0f}° {'up' if tilt_deg > 0 else 'down'}"


def moment_words(moment: datetime) -> str:
    """A date and time: "18:20 on 22 September"."""
    return f"{moment:%H:%M} on {moment.day} {_MONTHS[moment.month - 1]}"


_SIDES = {"L": "left", "R": "right"}


def landmark_words(name: str) -> str:
    """A landmark or meter point as one says it: "cheek_L" is the sitter's left cheek."""
    what, _, side = name.partition("_")
    return f"sitter's {_SIDES[side]} {what}" if side in _SIDES else name.replace("_", " ")


def aim_words(aim: str | None, aim_m: tuple[float, float, float] | None) -> str:
    """What a light is aimed at: a landmark, or "x 0.10, y 1.20, z −0.60" for a place; empty for neither."""
    if aim is not None:
        return landmark_words(aim)
    if aim_m is None:
        return ""
    x, y, z = (number(value) for value in aim_m)
    return f"x {x}, y {y}, z {z}"


def place_words(x_m: float, z_m: float) -> str:
    """A place on the floor: "x 0.74  z −0.60"."""
    return f"x {number(x_m)}  z {number(z_m)}"


_TOGETHER = re.compile(r"(?<=\d) (?=(?:m|Ws|stops|mm)\b)|(?<=[xyz]) (?=[\u2212\d])|(?<=\d) (?=\+ 0\.)|(?<=\+) (?=0\.)")


def unbroken(text: str) -> str:
    """The text with spaces that do not break inside readings, lengths and places."""
    return _TOGETHER.sub("\u00a0", text)
