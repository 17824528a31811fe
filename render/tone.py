"""Tone curves: scene-linear values (mid-grey 0.18) to display-linear values in [0, 1]."""

from __future__ import annotations

import numpy as np

SHOULDER_START = 0.45
DEFAULT_CURVE = "shoulder"
CURVES = {
    "shoulder": f"straight up to {SHOULDER_START}, then an exponential shoulder that nears 1 without reaching it",
    "linear": "straight up to 1, clipped above",
}
_CLIPPED_AT = 0.995


def apply_curve(value: np.ndarray, curve: str) -> np.ndarray:
    """Tone-map values >= 0; mid-grey and everything below `SHOULDER_START` stay as they are."""
    if curve == "linear":
        return np.minimum(value, 1)
    room = 1 - SHOULDER_START
    over = np.maximum(value - SHOULDER_START, 0)
    return np.minimum(value, SHOULDER_START) + room * -np.expm1(over / -room)


def clip_level(curve: str) -> float:
    """Scene-linear value at which a curve has no tone left: it puts out 99.5 % of display white."""
    if curve == "linear":
        return _CLIPPED_AT
    room = 1 - SHOULDER_START
    return float(SHOULDER_START - room * np.log((1 - _CLIPPED_AT) / room))


def norm(rgb: np.ndarray, luminance: np.ndarray) -> np.ndarray:
    """What the curve is applied to: the mean of luminance and the largest channel, so that saturated light is held
    back before its channel clips, and bright saturated light still pales as on film."""
    return np.maximum((luminance + rgb.max(axis=0)) / 2, 0)
