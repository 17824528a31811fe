"""CIELAB and the CIEDE2000 colour difference. colour-science has both, and the tests compare; but it takes a second to
load, too long for something every check of a scene asks.

References
----------
CIE 015:2018 sections 8.2.1 (CIELAB) and 8.3.1 (CIEDE2000).
"""

from __future__ import annotations

import numpy as np


def cielab(ratio: np.ndarray) -> np.ndarray:
    """CIELAB (..., 3) of tristimulus values over those of the white (..., 3)."""
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    x, y, z = np.moveaxis(f, -1, 0)
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def ciede2000(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """CIEDE2000 (...) between CIELAB colours (..., 3), all parametric factors 1."""
    (l1, a1, b1), (l2, a2, b2) = (np.moveaxis(np.asarray(lab, np.float64), -1, 0) for lab in (one, other))
    seventh = ((np.hypot(a1, b1) + np.hypot(a2, b2)) / 2) ** 7
    stretch = 1 + 0.5 * (1 - np.sqrt(seventh / (seventh + 25.0**7)))
    c1, c2 = np.hypot(a1 * stretch, b1), np.hypot(a2 * stretch, b2)
    h1, h2 = np.arctan2(b1, a1 * stretch), np.arctan2(b2, a2 * stretch)
    turn = np.where(c1 * c2 == 0, 0, (h2 - h1 + np.pi) % (2 * np.pi) - np.pi)
    hue = np.where(c1 * c2 == 0, h1 + h2, h1 + turn / 2)
    light, chroma = (l1 + l2) / 2, (c1 + c2) / 2
    weight = (
        1 - 0.17 * np.cos(hue - np.pi / 6) + 0.24 * np.cos(2 * hue)
        + 0.32 * np.cos(3 * hue + np.radians(6)) - 0.20 * np.cos(4 * hue - np.radians(63))
    )  # fmt: skip
    around = (np.degrees(hue) % 360 - 275) / 25
    seventh = chroma**7
    rotation = -2 * np.sqrt(seventh / (seventh + 25.0**7)) * np.sin(np.radians(60) * np.exp(-(around**2)))
    in_light = (l2 - l1) / (1 + 0.015 * (light - 50) ** 2 / np.sqrt(20 + (light - 50) ** 2))
    in_chroma = (c2 - c1) / (1 + 0.045 * chroma)
    in_hue = 2 * np.sqrt(c1 * c2) * np.sin(turn / 2) / (1 + 0.015 * chroma * weight)
    return np.sqrt(np.maximum(in_light**2 + in_chroma**2 + in_hue**2 + rotation * in_chroma * in_hue, 0))
