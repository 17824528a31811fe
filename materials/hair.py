"""Hair from its two melanins.

A head of hair is many fibres: its colour falls with a power of the fibres' absorption, between 1 (one filter)
and 1/2 (light that wanders through a dense mass). The power, the strengths, the part that the fibres' scales
return without colour and the steeper slope of the red pigment were chosen by eye (no source).

References
----------
Jacques, Extinction coefficient of melanin, Oregon Medical Laser Center: eumelanin as nm^-3.33, pheomelanin nm^-4.75.
Chiang et al. 2016, A practical and controllable hair and fur model, eq. 9 (the dense mass).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from .errors import KeyfallError, unknown_name
from .finishes import Finish, plain_finish
from .spectra import WAVELENGTHS_NM

FIBRE_F0 = 0.0465
"""Reflectance of a hair's surface at normal incidence (keratin, index 1.55)."""

_UNDYED, _SCALES, _MASS, _RED_SLOPE = 0.70, 0.014, 0.6, -6.5


@dataclass(frozen=True, slots=True)
class _Colour:
    description: str
    eumelanin: float
    pheomelanin: float
    grey: float = 0.0


_COLOURS = {
    "black": _Colour("black hair, a little warm in strong light", 18.0, 0.3),
    "dark-brown": _Colour("dark brown hair", 6.6, 0.3),
    "brown": _Colour("mid-brown hair", 3.4, 0.25),
    "light-brown": _Colour("light brown hair", 1.9, 0.2),
    "auburn": _Colour("dark red-brown hair", 2.0, 1.35),
    "ginger": _Colour("light red hair", 0.16, 1.5, 0.03),
    "dark-blond": _Colour("dark blond hair", 0.95, 0.16),
    "blond": _Colour("light blond hair", 0.36, 0.12),
    "pepper": _Colour("dark hair with a good deal of grey in it", 12.0, 0.2, 0.10),
    "grey": _Colour("grey hair", 10.0, 0.1, 0.34),
    "white": _Colour("white hair", 0.0, 0.02, 1.0),
}

HAIR_COLOURS: dict[str, str] = {name: colour.description for name, colour in _COLOURS.items()}
"""Stock hair colours."""


def hair_reflectance(eumelanin: float, pheomelanin: float, grey: float = 0.0) -> np.ndarray:
    """Diffuse reflectance of a mass of hair, (401,).

    Parameters
    ----------
    eumelanin, pheomelanin : absorption at 550 nm of the brown and the red pigment, along a fibre's width in
        units in which black hair has about 18; 0 to 100.
    grey : share of hairs without pigment, 0 to 1.

    Raises
    ------
    KeyfallError
        For a value out of its range.
    """
    for name, value, most in (("eumelanin", eumelanin, 100), ("pheomelanin", pheomelanin, 100), ("grey", grey, 1)):
        if not 0 <= value <= most:
            raise KeyfallError(f"Hair cannot have {name} {value:g}. Allowed: 0 to {most:g}.")
    ratio = WAVELENGTHS_NM / 550.0
    depth = (eumelanin * ratio**-3.33) ** _MASS + pheomelanin * ratio**_RED_SLOPE
    keratin = _UNDYED * (1 - 0.30 * np.exp(-(WAVELENGTHS_NM - 380) / 55))
    return keratin * (grey + (1 - grey) * np.exp(-depth)) + _SCALES


@cache
def hair_finish(colour: str) -> Finish:
    """Hair of a stock colour: tint 1 darker roots, tint 2 sun-bleached ends, tint 3 hairs without pigment.

    Raises
    ------
    UnknownName
        For a colour that is not in `HAIR_COLOURS`.
    """
    if colour not in _COLOURS:
        raise unknown_name("hair colour", colour, HAIR_COLOURS)
    own = _COLOURS[colour]
    roots = hair_reflectance(1.5 * own.eumelanin, 1.2 * own.pheomelanin, own.grey)
    ends = hair_reflectance(0.55 * own.eumelanin, 0.9 * own.pheomelanin, own.grey)
    base = hair_reflectance(own.eumelanin, own.pheomelanin, own.grey)
    return plain_finish(
        f"{colour} hair", own.description, base, tints=(roots, ends, hair_reflectance(0, 0, 1)),
        f0=FIBRE_F0, roughness=0.42, gloss_roughness=0.28, transmission=0.1,
    )  # fmt: skip
