"""Skin from what is in it: melanin in the epidermis over blood and tissue in the dermis.

Light passes the epidermis twice (melanin lies unevenly, so its transmission is averaged over a gamma
distribution), is returned by a deep scattering dermis (Kubelka and Munk), and crosses the skin's surface
both ways (Saunderson's correction). Four constants were fitted to the NIST percentiles quoted in
tests/published/test_skin.py; the fit is within 3 % there except at 780 nm in the darkest rows (10 %).

References
----------
Jacques 1998, Skin optics summary, Oregon Medical Laser Center News: baseline, scattering, melanosome absorption.
Prahl 1998, molar extinction of haemoglobin (data/haemoglobin.csv); 150 g/l blood, 64500 g/mol.
Kubelka and Munk 1931; Saunderson 1942, JOSA 32, 727 (reflection at the surface, index 1.4).
van Veen et al. 2002, Optics Letters 27, 246: pigment packed in vessels absorbs less.
Cooksey, Allen and Tsai 2017, J. Res. NIST 122:26 (reflectance of 100 forearms).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from .errors import KeyfallError, unknown_name
from .finishes import Finish, plain_finish
from .spectra import WAVELENGTHS_NM, resample

SURFACE_F0 = 0.0278
"""Reflectance of the skin's surface at normal incidence (index 1.4)."""

_INTERNAL = 0.529
"""Share of diffuse light inside that the surface turns back (index 1.4)."""

_EPIDERMIS_CM = 0.006
_UNEVENNESS = 3.0
_BASELINE_SHARE = 0.17
_VESSEL_RADIUS_CM = 0.001
_STUBBLE_COVER, _HAIR_ROOT = 0.4, 0.03

MOST_MELANIN, MOST_BLOOD = 0.6, 0.3


@dataclass(frozen=True, slots=True)
class _Tone:
    description: str
    melanin: float
    blood: float


_TONES = {
    "fair": _Tone("very light skin that burns easily (ITA about 57 degrees)", 0.0180, 0.0091),
    "light": _Tone("light skin (ITA about 48 degrees)", 0.0240, 0.0107),
    "medium": _Tone("light brown to olive skin (ITA about 35 degrees)", 0.0367, 0.0102),
    "tan": _Tone("tanned or mid-brown skin (ITA about 19 degrees)", 0.0577, 0.0082),
    "brown": _Tone("brown skin (ITA about 1 degree)", 0.0927, 0.0058),
    "deep": _Tone("deep brown skin (ITA about -33 degrees)", 0.1650, 0.0125),
}

SKIN_TONES: dict[str, str] = {name: tone.description for name, tone in _TONES.items()}
"""Stock skin tones, one in each class of the individual typology angle (Chardon 1991)."""


@cache
def _blood_absorption() -> np.ndarray:
    """Absorption of whole blood, (401, 2) per cm: oxygenated, deoxygenated."""
    table = np.loadtxt(Path(__file__).parent / "data" / "haemoglobin.csv", delimiter=",", skiprows=3)
    return resample(table[:, 0], table[:, 1:], "the haemoglobin table") * (np.log(10) * 150 / 64500)


def blood_absorption_per_cm(oxygenation: float) -> np.ndarray:
    """Absorption coefficient of whole blood, (401,), 1/cm, at an oxygen saturation of 0 to 1."""
    return _blood_absorption() @ np.array([oxygenation, 1 - oxygenation])


def baseline_absorption_per_cm() -> np.ndarray:
    """Absorption coefficient of skin without blood and melanin, (401,), 1/cm (Jacques 1998)."""
    return 0.244 + 85.3 * np.exp(-(WAVELENGTHS_NM - 154) / 66.2)


def melanosome_absorption_per_cm() -> np.ndarray:
    """Absorption coefficient inside a melanosome, (401,), 1/cm (Jacques 1998)."""
    return 6.6e11 * WAVELENGTHS_NM**-3.33


def reduced_scattering_per_cm() -> np.ndarray:
    """Reduced scattering coefficient of dermis, (401,), 1/cm (Jacques 1998)."""
    return 2e5 * WAVELENGTHS_NM**-1.5 + 2e12 * WAVELENGTHS_NM**-4


def skin_reflectance(melanin: float, blood: float, oxygenation: float = 0.75, *, surface: bool = True) -> np.ndarray:
    """Reflectance of skin as an integrating sphere measures it, (401,).

    Parameters
    ----------
    melanin : share of the epidermis that is melanosomes, 0 to 0.6.
    blood : share of the dermis that is blood, 0 to 0.3.
    oxygenation : share of the blood's haemoglobin that carries oxygen, 0 to 1.
    surface : whether the light mirrored by the skin's surface counts; without it this is the body colour that
        lies under a `Finish`'s coat.

    Raises
    ------
    KeyfallError
        For a value out of its range.
    """
    for name, value, most in (
        ("melanin", melanin, MOST_MELANIN),
        ("blood", blood, MOST_BLOOD),
        ("oxygenation", oxygenation, 1.0),
    ):
        if not 0 <= value <= most:
            raise KeyfallError(f"Skin cannot have {name} {value:g}. Allowed: 0 to {most:g}.")
    baseline = _BASELINE_SHARE * baseline_absorption_per_cm()
    dermis = _deep_layer(blood * _packed(blood_absorption_per_cm(oxygenation)) + (1 - blood) * baseline)
    epidermis = melanin * melanosome_absorption_per_cm() + (1 - melanin) * baseline
    # Diffuse light crosses a layer by twice its thickness on average, once in and once out.
    below = dermis * (1 + 4 * _EPIDERMIS_CM * epidermis / _UNEVENNESS) ** -_UNEVENNESS
    body = (1 - _INTERNAL) * below / (1 - _INTERNAL * below)
    return SURFACE_F0 + (1 - SURFACE_F0) * body if surface else body


def _deep_layer(absorption_per_cm: np.ndarray) -> np.ndarray:
    """Reflectance of an endless layer: Kubelka and Munk with K = 2 mu_a and S = 3/4 mu_s'."""
    ratio = 2 * absorption_per_cm / (0.75 * reduced_scattering_per_cm())
    return 1 + ratio - np.sqrt(ratio**2 + 2 * ratio)


def _packed(absorption_per_cm: np.ndarray) -> np.ndarray:
    """Absorption of blood seen through vessels: their cores lie in the shadow of their rims."""
    depth = 2 * _VESSEL_RADIUS_CM * absorption_per_cm
    return absorption_per_cm * -np.expm1(-depth) / depth


@cache
def skin_finish(tone: str) -> Finish:
    """Skin of a stock tone: tint 1 lips, tint 2 ruddy (more blood), tint 3 stubble and shaved scalp.

    Lips are thin skin over much blood with less melanin; the ruddy tint is the same skin with three times the
    blood, as in cheeks, nose and ears; stubble covers 40 % of the skin with cut hairs (chosen by eye).

    Raises
    ------
    UnknownName
        For a tone that is not in `SKIN_TONES`.
    """
    if tone not in _TONES:
        raise unknown_name("skin tone", tone, SKIN_TONES)
    own = _TONES[tone]
    body = skin_reflectance(own.melanin, own.blood, surface=False)
    lips = skin_reflectance(0.75 * own.melanin + 0.004, 0.055 + own.blood, 0.68, surface=False)
    ruddy = skin_reflectance(own.melanin, 3 * own.blood, 0.8, surface=False)
    stubble = (1 - _STUBBLE_COVER) * body + _STUBBLE_COVER * _HAIR_ROOT
    return plain_finish(
        f"{tone} skin", own.description, body, tints=(lips, ruddy, stubble),
        f0=SURFACE_F0, roughness=0.45, gloss_roughness=0.25,
    )  # fmt: skip
