"""Bringing saturated colours into the display's gamut: in Oklab, lightness and hue kept, chroma reduced.

A ray of constant hue and lightness leaves the gamut where a channel falls below 0 or rises above 1. The first limit
grows in proportion to lightness, because Oklab scales with its colours, so one number a hue tells it; the second, which
only bright colours meet, is solved for. A colour on the border of the gamut moves nowhere, so nothing jumps there: just
outside, where it makes no difference to see, channels below 0 are cut off instead. Near blue that is needed, since
there a ray of constant hue runs along the border.

References
----------
Ottosson 2020, A perceptual color space for image processing (Oklab; matrices for linear sRGB, D65).
"""

from __future__ import annotations

from functools import cache

import numpy as np

_XYZ_TO_LMS = np.array(
    [
        [0.8189330101, 0.3618667424, -0.1288597137],
        [0.0329845436, 0.9293118715, 0.0361456387],
        [0.0482003018, 0.2643662691, 0.6338517070],
    ]
)
_LMS_TO_LAB = np.array(
    [
        [0.2104542553, 0.7936177850, -0.0040720468],
        [1.9779984951, -2.4285922050, 0.4505937099],
        [0.0259040371, 0.7827717662, -0.8086757660],
    ]
)
_LAB_TO_LMS = np.linalg.inv(_LMS_TO_LAB)
_HUES = 4096
_FARTHEST = 1.0
"""Chroma over lightness beyond which no limit is looked for; the gamuts end below 0.7."""

TOLERANCE = 1e-4
"""How far outside [0, 1] a display-linear channel still counts as in gamut: a third of an 8-bit code in the blacks."""

BARELY = 1e-5
"""Share of the largest channel by which the least lies below 0 in a colour not worth the work."""

_CUT_UNDER = 0.04
"""The same share from which on the hue is kept exactly."""

_SMOOTH_DEG = 1.0
_STEPS = 3
TOLERANCE = 1e-4
"""How far outside [0, 1] a display-linear channel still counts as in gamut: a third of an 8-bit code in the blacks."""


def to_oklab(rgb: np.ndarray, rgb_to_xyz: np.ndarray) -> np.ndarray:
    """Oklab (3, n) of linear RGB (3, n); the display's white is (1, 0, 0)."""
    return _LMS_TO_LAB.astype(rgb.dtype) @ np.cbrt(_to_lms(rgb_to_xyz).astype(rgb.dtype) @ rgb)


def from_oklab(lab: np.ndarray, rgb_to_xyz: np.ndarray) -> np.ndarray:
    """Linear RGB (3, n) of Oklab (3, n)."""
    lms = _LAB_TO_LMS.astype(lab.dtype) @ lab
    return np.linalg.inv(_to_lms(rgb_to_xyz)).astype(lab.dtype) @ (lms * lms * lms)


def _to_lms(rgb_to_xyz: np.ndarray) -> np.ndarray:
    """Ottosson's matrix after the display's; the rounding of its ten digits, 1e-4 on white, is taken out."""
    matrix = _XYZ_TO_LMS @ rgb_to_xyz
    return matrix / matrix.sum(axis=1, keepdims=True)


def map_to_gamut(rgb: np.ndarray, rgb_to_xyz: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Bring display-linear RGB into [0, 1] at constant Oklab lightness and hue; colours in gamut stay as they are.

    Parameters
    ----------
    rgb : (3, n), changed in place where out of gamut; rgb_to_xyz : (3, 3) of the display.

    Returns
    -------
    rgb : the same array; moved : (n,) bool, which colours were out of gamut.
    """
    moved = (rgb.min(axis=0) < -TOLERANCE) | (rgb.max(axis=0) > 1 + TOLERANCE)
    above_zero(rgb, rgb_to_xyz)
    under_one(rgb, rgb_to_xyz)
    return np.clip(rgb, 0, 1, out=rgb), moved


def above_zero(rgb: np.ndarray, rgb_to_xyz: np.ndarray) -> None:
    """Reduce the chroma of colours (3, n) with a channel below 0 until, but for rounding, none is; in place."""
    at = np.flatnonzero(rgb.min(axis=0) < -BARELY * rgb.max(axis=0))
    if len(at):
        rgb[:, at] = _above_zero(rgb.take(at, axis=1), rgb_to_xyz)


def under_one(rgb: np.ndarray, rgb_to_xyz: np.ndarray) -> None:
    """Reduce the chroma of colours (3, n) with a channel above 1 until, but for rounding, none is; in place."""
    at = np.flatnonzero(rgb.max(axis=0) > 1)
    if len(at):
        rgb[:, at] = _under_one(rgb.take(at, axis=1), rgb_to_xyz)


def _above_zero(rgb: np.ndarray, rgb_to_xyz: np.ndarray) -> np.ndarray:
    share = np.clip(-rgb.min(axis=0) / np.maximum(rgb.max(axis=0), 1e-9) / _CUT_UNDER, 0, 1)
    share *= share * (3 - 2 * share)
    lab = to_oklab(rgb, rgb_to_xyz)
    chroma = np.sqrt(lab[1] * lab[1] + lab[2] * lab[2])
    np.maximum(lab[0], 0, out=lab[0])
    limit = lab[0] * _along(_border(tuple(np.ravel(rgb_to_xyz))), _turn(lab[1], lab[2]))
    lab[1:] *= np.minimum(1, limit / np.maximum(chroma, 1e-9))
    cut = np.maximum(rgb, 0)
    return cut + share * (from_oklab(lab, rgb_to_xyz) - cut)


def _under_one(rgb: np.ndarray, rgb_to_xyz: np.ndarray) -> np.ndarray:
    """By Newton's method on the channels, which are cubics in chroma. What its last step leaves over is mixed with grey
    of the same luminance."""
    lab = to_oklab(rgb, rgb_to_xyz)
    lightness = np.clip(lab[0], 0, 1)
    to_rgb = np.linalg.inv(_to_lms(rgb_to_xyz)).astype(rgb.dtype)
    step = _LAB_TO_LMS[:, 1:].astype(rgb.dtype) @ lab[1:]
    kept = np.ones_like(lightness)
    for _ in range(_STEPS):
        lms = lightness + kept * step
        square = lms * lms
        over = to_rgb @ (square * lms)
        over -= 1
        square *= step
        slope = (3 * to_rgb) @ square
        over[slope < 1e-3] = 0
        np.maximum(slope, 1e-3, out=slope)
        over /= slope
        shorter = np.maximum(np.maximum(over[0], over[1]), over[2])
        kept = np.clip(kept - np.maximum(shorter, 0), 0, 1)
    lms = lightness + kept * step
    rgb = to_rgb @ (lms * lms * lms)
    grey, most = rgb_to_xyz[1].astype(rgb.dtype) @ rgb, rgb.max(axis=0)
    share = np.minimum(1, np.maximum(1 - grey, 0) / np.maximum(most - grey, 1e-9))
    rgb -= grey
    rgb *= share
    rgb += grey
    return rgb


def _turn(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Hue as a number in [0, 1] that grows with the angle, without its cost."""
    turn = np.copysign(1 - a / np.maximum(np.abs(a) + np.abs(b), np.float32(1e-9)), b)
    return np.where(turn < 0, turn + 4, turn) / 4


def _direction(turn: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Unit vector in a, b of a turn."""
    a = np.abs(2 - 4 * turn) - 1
    b = np.where(turn <= 0.5, 1, -1) * (1 - np.abs(a))
    length = np.hypot(a, b)
    return a / length, b / length


@cache
def _border(key: tuple[float, ...]) -> np.ndarray:
    """Largest chroma at lightness 1 with no channel below 0, at even turns of hue, (hues + 1,), a little smoothed."""
    rgb_to_xyz = np.reshape(key, (3, 3))
    a, b = _direction(np.linspace(0, 1, _HUES + 1)[:-1])

    def outside(chroma: np.ndarray) -> np.ndarray:
        rgb = from_oklab(np.stack([np.ones_like(chroma), chroma * a, chroma * b]), rgb_to_xyz)
        return rgb.min(axis=0) < 0

    low, high = np.zeros(_HUES), np.full(_HUES, _FARTHEST)
    found = np.zeros(_HUES, bool)
    for step in np.linspace(0, _FARTHEST, 33)[1:]:  # the first crossing, then halving
        crossed = ~found & outside(np.full(_HUES, step))
        high[crossed] = step
        low[~found & ~crossed] = step
        found |= crossed
    for _ in range(20):
        middle = (low + high) / 2
        leaves = outside(middle)
        low, high = np.where(leaves, low, middle), np.where(leaves, middle, high)
    reach = round(_SMOOTH_DEG / 360 * _HUES)
    bell = np.exp(-0.5 * (np.arange(-3 * reach, 3 * reach + 1) / reach) ** 2)
    smooth = np.convolve(np.concatenate([low[-3 * reach :], low, low[: 3 * reach]]), bell / bell.sum(), "valid")
    return np.append(smooth, smooth[0]).astype(np.float32)


def _along(table: np.ndarray, turn: np.ndarray) -> np.ndarray:
    """Value (n,) of a table over the turn."""
    x = turn * (len(table) - 1)
    i = np.minimum(x.astype(np.intp), len(table) - 2)
    part = x - i.astype(x.dtype)
    return table.take(i) * (1 - part) + table.take(i + 1) * part
