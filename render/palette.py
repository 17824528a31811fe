"""The false-colour scale of the exposure maps.

Lightness rises evenly with exposure, so the scale reads in grey and for every kind of colour vision; hue only says
on which side of mid-grey a tone lies: blue below, neutral at mid-grey, ochre above. A tone with no detail left is
hatched instead of coloured.
"""

from __future__ import annotations

import numpy as np

FROM_STOPS, TO_STOPS = -7.0, 5.0
_STEPS = 1024
_DARK, _LIGHT = 0.16, 0.965
_BLUE_HUE_DEG, _OCHRE_HUE_DEG = 262.0, 78.0
_BLUE_CHROMA, _OCHRE_CHROMA = 0.115, 0.125


def _scale() -> np.ndarray:
    from .develop import encode_srgb
    from .gamut import from_oklab, map_to_gamut

    stops = np.linspace(FROM_STOPS, TO_STOPS, _STEPS)
    lightness = np.interp(stops, [FROM_STOPS, TO_STOPS], [_DARK, _LIGHT])
    below = np.clip(-stops / 2.5, 0, 1)
    above = np.clip(stops / 2.0, 0, 1)
    ends = np.clip((stops - FROM_STOPS) / 3, 0.35, 1) * np.clip((TO_STOPS - stops) / 1.6, 0.25, 1)
    chroma = (below * _BLUE_CHROMA + above * _OCHRE_CHROMA) * ends
    hue = np.radians(np.where(stops < 0, _BLUE_HUE_DEG, _OCHRE_HUE_DEG))
    lab = np.stack([lightness, chroma * np.cos(hue), chroma * np.sin(hue)])
    rgb_to_xyz = np.array(
        [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
    )  # IEC 61966-2-1
    rgb, _ = map_to_gamut(from_oklab(lab, rgb_to_xyz), rgb_to_xyz)
    return np.round(encode_srgb(rgb).T * 255).astype(np.uint8)


_table: np.ndarray | None = None


def colours(stops: np.ndarray) -> np.ndarray:
    """sRGB codes (..., 3) uint8 of exposures in stops from mid-grey; the ends of the scale hold beyond it."""
    global _table
    if _table is None:
        _table = _scale()
    position = (np.asarray(stops) - FROM_STOPS) / (TO_STOPS - FROM_STOPS) * (_STEPS - 1)
    return _table[np.clip(np.round(position), 0, _STEPS - 1).astype(np.intp)]
