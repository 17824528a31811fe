"""Tone: from scene-linear light (mid-grey 0.18) to what a display shows, and where it shows no detail.

The curve runs over the largest channel of a colour, as film and sensors fill, so a neutral follows it exactly. Where
the shoulder bends, a colour also gives up chroma: strong coloured light goes to white through its own hue.
"""

from __future__ import annotations

import numpy as np

SHOULDER_START = 0.45
DEFAULT_CURVE = "shoulder"
CURVES = {
    "shoulder": f"straight up to {SHOULDER_START}, then an exponential shoulder that nears 1 without reaching it; "
    "bright colours pale toward white at constant hue",
    "linear": "for measuring: every channel straight up to 1 and cut off there, each by itself; nothing else is done",
}
WHITE_FROM = 0.995
"""Share of display white at and above which a channel shows no more detail."""

_PALES_OVER = 7.0
"""How fast bright colours pale: this far above the shoulder's start, three quarters of the way to white are done."""


def apply_curve(value: np.ndarray, curve: str) -> np.ndarray:
    """Tone-map values >= 0; mid-grey and everything below `SHOULDER_START` stay as they are."""
    if curve == "linear":
        return np.minimum(value, 1)
    room = 1 - SHOULDER_START
    over = np.maximum(value - SHOULDER_START, 0)
    return np.minimum(value, SHOULDER_START) + room * -np.expm1(over / -room)


def whitening(level: np.ndarray) -> np.ndarray:
    """Share of a colour's way to white, 0 to 1, by its largest channel: 0 up to `SHOULDER_START`, then smoothly up."""
    over = np.square(np.maximum(level - SHOULDER_START, 0) / _PALES_OVER)
    return 1 - 1 / np.square(1 + over)


def no_detail(display: np.ndarray) -> np.ndarray:
    """Where a picture (3, ...) of display-linear RGB shows no detail: every channel is at white. The one definition
    that picture, maps, sheets and reports share."""
    return display.min(axis=0) >= WHITE_FROM
