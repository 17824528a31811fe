"""Bringing saturated colours into the display's gamut: in Oklab, lightness and hue kept, chroma reduced.

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
_LIGHTNESSES, _HUES = 129, 361
_TOLERANCE = 1e-4


def to_oklab(rgb: np.ndarray, rgb_to_xyz: np.ndarray) -> np.ndarray:
    """Oklab (3, n) of linear RGB (3, n)."""
    lms = (_XYZ_TO_LMS @ rgb_to_xyz).astype(rgb.dtype) @ rgb
    return _LMS_TO_LAB.astype(rgb.dtype) @ np.cbrt(lms)


def from_oklab(lab: np.ndarray, rgb_to_xyz: np.ndarray) -> np.ndarray:
    """Linear RGB (3, n) of Oklab (3, n)."""
    lms = (np.linalg.inv(_LMS_TO_LAB).astype(lab.dtype) @ lab) ** 3
    return np.linalg.inv(_XYZ_TO_LMS @ rgb_to_xyz).astype(lab.dtype) @ lms


@cache
def _chroma_limits(key: tuple[float, ...]) -> np.ndarray:
    """Largest chroma inside the gamut on a grid of lightness (rows, 0 to 1) and hue (columns, -pi to pi)."""
    rgb_to_xyz = np.reshape(key, (3, 3))
    lightness = np.linspace(0, 1, _LIGHTNESSES)[:, None]
    hue = np.linspace(-np.pi, np.pi, _HUES)[None]
    low, high = np.zeros((_LIGHTNESSES, _HUES)), np.full((_LIGHTNESSES, _HUES), 0.6)
    for _ in range(24):
        middle = (low + high) / 2
        lab = np.stack(np.broadcast_arrays(lightness, middle * np.cos(hue), middle * np.sin(hue))).reshape(3, -1)
        rgb = from_oklab(lab, rgb_to_xyz)
        inside = ((rgb >= -1e-9) & (rgb <= 1 + 1e-9)).all(axis=0).reshape(low.shape)
        low, high = np.where(inside, middle, low), np.where(inside, high, middle)
    return low.astype(np.float32)


def map_to_gamut(rgb: np.ndarray, rgb_to_xyz: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Bring display-linear RGB into [0, 1] at constant Oklab lightness and hue.

    Parameters
    ----------
    rgb : (3, n) float32, changed in place where out of gamut; rgb_to_xyz : (3, 3) of the display.

    Returns
    -------
    rgb : the same array; moved : (n,) bool, which colours were out of gamut.
    """
    moved = (rgb.min(axis=0) < -_TOLERANCE) | (rgb.max(axis=0) > 1 + _TOLERANCE)
    if moved.any():
        lab = to_oklab(rgb[:, moved], rgb_to_xyz)
        lab[0] = np.clip(lab[0], 0, 1)
        chroma = np.hypot(lab[1], lab[2])
        limit = _look_up(_chroma_limits(tuple(np.ravel(rgb_to_xyz))), lab[0], np.arctan2(lab[2], lab[1]))
        lab[1:] *= np.minimum(1, limit / np.maximum(chroma, 1e-9))
        rgb[:, moved] = from_oklab(lab, rgb_to_xyz)
    return np.clip(rgb, 0, 1, out=rgb), moved


def _look_up(table: np.ndarray, lightness: np.ndarray, hue: np.ndarray) -> np.ndarray:
    """Bilinear table value."""
    y = lightness * (_LIGHTNESSES - 1)
    x = (hue / (2 * np.pi) + 0.5) * (_HUES - 1)
    i = np.minimum(y.astype(np.intp), _LIGHTNESSES - 2)
    j = np.minimum(x.astype(np.intp), _HUES - 2)
    fy, fx = y - i, x - j
    top = table[i, j] * (1 - fx) + table[i, j + 1] * fx
    bottom = table[i + 1, j] * (1 - fx) + table[i + 1, j + 1] * fx
    return top * (1 - fy) + bottom * fy
