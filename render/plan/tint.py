"""Colours for the lighting plan: a light's gel as an ink that reads on paper."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from materials import adapt_matrix, display_matrix

from ..develop import encode_srgb
from ..gamut import from_oklab, map_to_gamut, to_oklab
from ..report import LightReport

NEUTRAL_CHROMA = 0.03
"""Oklab chroma under which a light counts as white beside the picture's white balance."""

_INK_LIGHTNESS, _WASH_LIGHTNESS = 0.52, 0.84
_LEAST_CHROMA, _MOST_CHROMA = 0.07, 0.15
_NEUTRAL_INK, _NEUTRAL_WASH = "#77746d", "#c9c5bb"


@dataclass(frozen=True, slots=True)
class Tint:
    """A light's colour as #rrggbb: `ink` for lines on paper, `wash` for areas; `neutral` is white light."""

    ink: str
    wash: str
    neutral: bool = False


NEUTRAL = Tint(_NEUTRAL_INK, _NEUTRAL_WASH, True)


def tint_of(light: LightReport, white: np.ndarray) -> Tint:
    """The colour in which a light is drawn: the hue that it has in the picture, at a lightness that reads on paper;
    grey where it is white there, or where its gel lets nothing pass. `white` is XYZ (3,) of the camera's."""
    xy = light.source_xy if light.gel is None else light.gel.chromaticity_xy
    if xy is None or xy[1] <= 1e-6:
        return NEUTRAL
    to_rgb = display_matrix("srgb")
    adapted = adapt_matrix(white, np.linalg.inv(to_rgb).sum(axis=1)) @ _xyz(*xy)
    rgb = np.maximum(to_rgb @ adapted, 0)[:, None]
    rgb_to_xyz = np.linalg.inv(to_rgb)
    lab = to_oklab(rgb / rgb.max(), rgb_to_xyz)[:, 0]
    chroma, hue = float(np.hypot(lab[1], lab[2])), float(np.arctan2(lab[2], lab[1]))
    if chroma < NEUTRAL_CHROMA:
        return NEUTRAL
    kept = float(np.clip(1.3 * chroma, _LEAST_CHROMA, _MOST_CHROMA))
    ink, wash = (_hex(level, kept, hue, rgb_to_xyz) for level in (_INK_LIGHTNESS, _WASH_LIGHTNESS))
    return Tint(ink, wash)


def _xyz(x: float, y: float) -> np.ndarray:
    return np.array([x / y, 1.0, (1 - x - y) / y])


def _hex(lightness: float, chroma: float, hue: float, rgb_to_xyz: np.ndarray) -> str:
    lab = np.array([[lightness], [chroma * np.cos(hue)], [chroma * np.sin(hue)]])
    rgb, _ = map_to_gamut(from_oklab(lab, rgb_to_xyz), rgb_to_xyz)
    return "#" + "".join(f"{round(float(code) * 255):02x}" for code in encode_srgb(rgb)[:, 0])
