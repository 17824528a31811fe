"""Reference spectra and colour differences the material tests share, from colour-science."""

from __future__ import annotations

from functools import cache

import numpy as np

from materials import WAVELENGTHS_NM, xyz


@cache
def chart() -> dict[str, np.ndarray]:
    """Reflectances (401,) of the 24 patches of ISO 17321-1, as colour-science tabulates them at 5 nm."""
    import colour

    patches = colour.SDS_COLOURCHECKERS["ISO 17321-1"]
    return {name: np.interp(WAVELENGTHS_NM, sd.wavelengths, sd.values) for name, sd in patches.items()}


def lab(tristimulus: np.ndarray, white: np.ndarray) -> np.ndarray:
    """CIELAB (CIE 015:2018 section 8.2.1), (..., 3)."""
    ratio = tristimulus / white
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    x, y, z = np.moveaxis(f, -1, 0)
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def lab_under(reflectance: np.ndarray, spd: np.ndarray) -> np.ndarray:
    """CIELAB of reflectances (..., 401) under a light, the light being white."""
    return lab(xyz(reflectance * spd), xyz(spd))


def colour_difference(first: np.ndarray, second: np.ndarray) -> np.ndarray:
    """CIEDE2000 through colour-science, (...)."""
    import colour

    return np.asarray(colour.difference.delta_E_CIE2000(first, second))


def typology_angle(colour_lab: np.ndarray) -> float:
    """Individual typology angle, degrees (Chardon 1991)."""
    return float(np.degrees(np.arctan2(colour_lab[0] - 50, colour_lab[2])))
