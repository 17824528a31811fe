"""Eyes and teeth. Levels were chosen by eye against close portraits (no source)."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from .errors import unknown_name
from .finishes import Finish, plain_finish
from .skin import skin_reflectance
from .spectra import WAVELENGTHS_NM, smooth_curve

CORNEA_F0 = 0.025
"""Reflectance of the tear film at normal incidence (index 1.376 of the cornea gives 2.5 %)."""

ENAMEL_F0 = 0.056
"""Reflectance of enamel at normal incidence (index 1.62)."""


@dataclass(frozen=True, slots=True)
class _Iris:
    description: str
    scatter: float
    depth: float
    melanin: float
    yellow: float = 0.0


_IRISES = {
    "dark-brown": _Iris("very dark brown eyes", 0.020, 0.070, 0.80),
    "brown": _Iris("brown eyes", 0.020, 0.180, 0.72),
    "amber": _Iris("light golden-brown eyes", 0.040, 0.270, 0.52),
    "hazel": _Iris("brown-green eyes", 0.150, 0.110, 0.26, 0.45),
    "green": _Iris("green eyes", 0.270, 0.010, 0.09, 0.55),
    "grey": _Iris("grey eyes", 0.130, 0.075, 0.04),
    "blue": _Iris("blue eyes", 0.260, 0.010, 0.01),
    "dark-blue": _Iris("dark blue eyes", 0.160, 0.001, 0.01),
}

IRIS_COLOURS: dict[str, str] = {name: iris.description for name, iris in _IRISES.items()}
"""Stock eye colours."""


def iris_reflectance(scatter: float, depth: float, melanin: float, yellow: float = 0.0) -> np.ndarray:
    """Diffuse reflectance of an iris, (401,).

    Fine fibres of the stroma scatter blue most (as nm^-2.8; `scatter` is their part at 450 nm), the tissue
    behind returns `depth` at every wavelength; melanin of optical depth `melanin` at 550 nm filters both, and so
    does a yellow pigment that takes the share `yellow` of the light below 500 nm.
    """
    filtered = np.exp(-2 * melanin * (WAVELENGTHS_NM / 550) ** -3.33)
    filtered *= 1 - yellow / (1 + np.exp((WAVELENGTHS_NM - 500) / 12))
    return (scatter * (WAVELENGTHS_NM / 450) ** -2.8 + depth) * filtered + 0.004


def _sclera() -> np.ndarray:
    return smooth_curve([380, 420, 460, 520, 580, 640, 780], [0.34, 0.46, 0.545, 0.58, 0.60, 0.645, 0.68])


@cache
def eye_finish(colour: str) -> Finish:
    """An eye: base the white, tint 1 iris, tint 2 pupil and dark rim, tint 3 pink corner and veins.

    Raises
    ------
    UnknownName
        For a colour that is not in `IRIS_COLOURS`.
    """
    if colour not in _IRISES:
        raise unknown_name("eye colour", colour, IRIS_COLOURS)
    own = _IRISES[colour]
    veins = skin_reflectance(0.003, 0.045, 0.8, surface=False)
    return plain_finish(
        f"{colour} eye", own.description, _sclera(),
        tints=(iris_reflectance(own.scatter, own.depth, own.melanin, own.yellow), np.full(401, 0.004), veins),
        f0=CORNEA_F0, roughness=0.04,
    )  # fmt: skip


@cache
def teeth_finish() -> Finish:
    """Teeth: base enamel, tint 1 gums, tint 2 the dark of the mouth, tint 3 slightly stained enamel."""
    enamel = smooth_curve([380, 420, 460, 520, 580, 650, 780], [0.30, 0.44, 0.53, 0.59, 0.62, 0.65, 0.67])
    stained = enamel * smooth_curve([380, 450, 550, 650, 780], [0.70, 0.78, 0.88, 0.93, 0.95])
    gums = skin_reflectance(0.008, 0.08, 0.7, surface=False)
    return plain_finish(
        "teeth", "teeth, wet", enamel, tints=(gums, np.full(401, 0.008), stained), f0=ENAMEL_F0, roughness=0.18
    )
