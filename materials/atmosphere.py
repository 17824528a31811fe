"""Daylight through clear air: spectrum and strength of direct sun and of the blue sky, by the height of the sun.

The spectra are those of the simple spectral model of Bird and Riordan: sunlight above the air, dimmed by molecules,
droplets and dust, ozone, water vapour and mixed gases along the slant path. Illuminance and colour follow from them.

References
----------
Bird and Riordan 1984, Simple solar spectral model for direct and diffuse irradiance, NREL TR-215-2436: equations 2-1 to
2-11 (direct) and 3-1 to 3-17 (diffuse), with the single Cs of their appendix.
Kasten and Young 1989, Revised optical air mass tables and approximation formula, Applied Optics 28, 4735.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from .errors import KeyfallError, unknown_name
from .locus import correlated_colour_temperature
from .sources import Source
from .spectra import WAVELENGTHS_NM, xyz

AIRS: dict[str, float] = {"clean": 0.05, "clear": 0.1, "ordinary": 0.2, "hazy": 0.4}
"""Our names for air, and its aerosol optical depth at 500 nm straight up (usual values of mountains, of a clear day, of
the lowlands and of a hazy day; from memory)."""

CLEAR_AIR = "clear"
THICKEST_AIR = 1.0
OZONE_ATM_CM, WATER_CM, ANGSTROM = 0.34, 1.5, 1.14
"""Ozone and water over the place, and how aerosol depth falls with wavelength: usual values of the middle latitudes,
and the rural aerosol of the report."""

_GROUND = 0.2
_ASYMMETRY, _ALBEDO_400, _ALBEDO_SLOPE = 0.65, 0.945, 0.095
_OZONE_HEIGHT = 22 / 6370


@dataclass(frozen=True, slots=True)
class Daylight:
    """Sun or sky at one height of the sun: its `source`, and `lux` on a surface that faces the sun, or on level ground
    under the whole sky."""

    source: Source
    lux: float


def aerosol_depth(air: str | float) -> float:
    """Aerosol optical depth at 500 nm of a named air, or the number itself.

    Raises
    ------
    UnknownName
        For a name that is not in `AIRS`.
    KeyfallError
        For a number outside 0 to 1.
    """
    if isinstance(air, str):
        if air not in AIRS:
            raise unknown_name("air", air, AIRS)
        return AIRS[air]
    if not 0 <= air <= THICKEST_AIR:
        raise KeyfallError(f"There is no air of optical depth {air:g}. Allowed: 0 to {THICKEST_AIR:g}.")
    return float(air)


def air_mass(elevation_deg: float) -> float:
    """Air along the way from the sun, relative to that straight up, by its apparent elevation: Kasten and Young."""
    return 1 / (math.sin(math.radians(elevation_deg)) + 0.50572 * (elevation_deg + 6.07995) ** -1.6364)


def sun_through_air(elevation_deg: float, air: str | float = CLEAR_AIR) -> Daylight:
    """Direct sun at the mean distance of the earth (over the year it varies by 3 %), its centre at that elevation.

    Raises
    ------
    KeyfallError
        For a sun that is not above the horizon, or air that does not exist.
    """
    direct, _ = _spectra(elevation_deg, aerosol_depth(air))
    return _daylight("sunlight", f"direct sun {elevation_deg:.1f} degrees high", direct)


def clear_sky(elevation_deg: float, air: str | float = CLEAR_AIR) -> Daylight:
    """The blue sky as a whole, without the sun itself.

    Raises
    ------
    KeyfallError
        As for the sun.
    """
    _, diffuse = _spectra(elevation_deg, aerosol_depth(air))
    words = f"clear sky with the sun {elevation_deg:.1f} degrees high"
    return _daylight("skylight", words, diffuse)


def _daylight(name: str, words: str, irradiance: np.ndarray) -> Daylight:
    lux = float(xyz(irradiance)[1])
    spd = irradiance / lux
    spd.flags.writeable = False
    cct_k, _ = correlated_colour_temperature(xyz(spd))
    return Daylight(Source(f"{name} {round(cct_k, -1):.0f} K", words, spd), lux)


@functools.lru_cache(maxsize=64)
def _spectra(elevation_deg: float, depth_500: float) -> tuple[np.ndarray, np.ndarray]:
    """Direct irradiance facing the sun, and diffuse irradiance on level ground, W/m2/nm, (401,) each."""
    if not 0 < elevation_deg <= 90:
        raise KeyfallError(f"The sun at {elevation_deg:g} degrees is not above the horizon, so it gives no daylight.")
    sun, ozone, water, mixed = _table()
    micron, cos_zenith, mass = WAVELENGTHS_NM / 1000, math.sin(math.radians(elevation_deg)), air_mass(elevation_deg)
    depth = depth_500 * (WAVELENGTHS_NM / 500) ** -ANGSTROM
    albedo = _ALBEDO_400 * np.exp(-_ALBEDO_SLOPE * np.log(WAVELENGTHS_NM / 400) ** 2)
    ozone_mass = (1 + _OZONE_HEIGHT) / math.sqrt(cos_zenith**2 + 2 * _OZONE_HEIGHT)
    by_ozone = np.exp(-ozone * OZONE_ATM_CM * ozone_mass)

    def through(m: float) -> tuple[np.ndarray, ...]:
        wet, gas = water * WATER_CM * m, mixed * m
        return (
            np.exp(-m / (micron**4 * (115.6406 - 1.335 / micron**2))),
            np.exp(-0.2385 * wet / (1 + 20.07 * wet) ** 0.45),
            np.exp(-1.41 * gas / (1 + 118.93 * gas) ** 0.45),
            np.exp(-albedo * depth * m),
            np.exp(-(1 - albedo) * depth * m),
        )

    air, wet, gas, scattered, absorbed = through(mass)
    direct = sun * air * scattered * absorbed * by_ozone * wet * gas
    level = sun * cos_zenith * by_ozone * gas * wet * absorbed
    from_air = level * (1 - air**0.95) / 2
    from_dust = level * air**1.5 * (1 - scattered) * _forward(cos_zenith)
    air, wet, gas, scattered, absorbed = through(1.8)
    back = gas * wet * absorbed * ((1 - air) / 2 + (1 - _forward(1 / 1.8)) * air * (1 - scattered))
    again = (direct * cos_zenith + from_air + from_dust) * back * _GROUND / (1 - back * _GROUND)
    bluer = np.where(WAVELENGTHS_NM <= 450, ((WAVELENGTHS_NM + 550) / 1000) ** 1.8, 1.0)
    return direct, (from_air + from_dust + again) * bluer


def _forward(cosine: float) -> float:
    """Share of what droplets and dust scatter that goes down."""
    g = math.log(1 - _ASYMMETRY)
    a, b = g * (1.459 + g * (0.1595 + g * 0.4129)), g * (0.0783 + g * (-0.3824 - g * 0.5874))
    return 1 - 0.5 * math.exp((a + b * cosine) * cosine)


@functools.cache
def _table() -> np.ndarray:
    table = np.loadtxt(Path(__file__).parent / "data" / "atmosphere.csv", delimiter=",", skiprows=2)
    values = np.stack([np.interp(WAVELENGTHS_NM, table[:, 0], column) for column in table[:, 1:].T])
    values.flags.writeable = False
    return values
