"""Colours of finishes and lights as linear sRGB, for drawing the set and handing it on."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from materials import display_matrix, make_source, xyz
from materials.finishes import Finish
from scenes.stage import Exposure, Light

from ..develop import scene_rgb_matrix
from ..gamut import map_to_gamut
from ..look import light_spectrum, mid_grey_scale

_DARK = 1e-9


def finish_rgb(finish: Finish) -> np.ndarray:
    """Linear sRGB (4, 3) of a finish's base and tints under D65, a perfect white being 1; clipped to 0 to 1."""
    return _rgb(finish.reflectance.tobytes())


@lru_cache(maxsize=128)
def _rgb(reflectance: bytes) -> np.ndarray:
    source = make_source("D65").spd
    curves = np.frombuffer(reflectance).reshape(4, 401)
    seen = np.clip(xyz(curves * source) / xyz(source)[1] @ display_matrix("srgb").T, 0, 1)
    seen.flags.writeable = False
    return seen


def light_rgb(light: Light, exposure: Exposure) -> np.ndarray:
    """Linear sRGB (3,) of a light through its gels as the camera's white balance sees it, the largest channel 1.

    A colour too saturated for sRGB keeps its hue and lightness and loses chroma. White for gels that let nothing pass.
    """
    seen = xyz(light_spectrum(light))
    if seen[1] <= _DARK:
        return np.ones(3)
    rgb = scene_rgb_matrix(exposure, "srgb") @ seen / mid_grey_scale(exposure)
    # at a luminance of 0.4 saturated hues have room in the gamut
    column = (0.4 / seen[1] * rgb)[:, None].astype(np.float32)
    mapped, _ = map_to_gamut(column, np.linalg.inv(display_matrix("srgb")))
    shown = np.clip(mapped[:, 0].astype(float), 0, None)
    return shown / shown.max()
