"""Daylight: where the sun stands by the clock, and how bright a sky is in every direction.

Bearings are compass bearings, from north through east, degrees. A set lies on the compass by its front: the bearing
from the sitter toward the front (+z). With the front to the south, camera right (+x) is east.
"""

from __future__ import annotations

import functools
import math
import tomllib
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from materials.atmosphere import Daylight, clear_sky
from materials.errors import KeyfallError, unknown_name
from materials.sources import make_source

from .aiming import direction
from .optics import Angular

STEP_DEG = 1
"""Step of a sky's table in both angles, degrees: from 2 degrees above the horizon up every direction is right to 2 %
(the glow around the sun has a cusp), and what a meter gathers to 0.1 %."""

FIRST_YEAR, LAST_YEAR = 1800, 2200
"""Years for which the sun is placed; clocks and calendars further off are not those of a set."""

_STOCK: list[dict[str, Any]] = tomllib.loads(
    (Path(__file__).parent / "data" / "skies.toml").read_text(encoding="utf-8")
)["sky"]
KINDS = len(_STOCK)
SKIES: dict[str, int] = {entry["name"]: number for number, entry in enumerate(_STOCK, 1) if "name" in entry}
"""Our names for skies, and the numbers they have in the CIE standard general sky."""

SKY_WORDS: tuple[str, ...] = tuple(entry["is"] for entry in _STOCK)
"""What each sky is like, in the order of the numbers."""


def sun_place(when: datetime, latitude_deg: float, longitude_deg: float) -> tuple[float, float]:
    """Bearing (0 to 360) and elevation of the sun's centre at a time and place, degrees.

    The elevation is as it is seen: air lifts the sun, by half a degree at the horizon (air of 1010 hPa and 15 °C). A
    sun below the horizon has a negative one; there the lift means little, and is at most 1.5 degrees.

    Parameters
    ----------
    when : with its offset from UTC.
    latitude_deg : -90 to 90, north is positive. longitude_deg : -180 to 180, east is positive.

    Raises
    ------
    KeyfallError
        For a time without an offset, a year that is not covered, or a place outside those ranges.
    """
    if when.utcoffset() is None:
        raise KeyfallError("The time says no offset from UTC. Give one, e.g. +02:00, or Z for UTC.")
    if not (abs(latitude_deg) <= 90 and abs(longitude_deg) <= 180):
        raise KeyfallError(
            f"There is no place at latitude {latitude_deg:g}, longitude {longitude_deg:g}. "
            "Allowed: latitude -90 to 90, longitude -180 to 180 degrees."
        )
    if not FIRST_YEAR <= when.year <= LAST_YEAR:
        raise KeyfallError(f"There is no sun for the year {when.year}. Allowed: {FIRST_YEAR} to {LAST_YEAR}.")
    import ephem

    observer = ephem.Observer()
    observer.lat, observer.lon = math.radians(latitude_deg), math.radians(longitude_deg)
    observer.pressure, observer.temp = 1010.0, 15.0
    observer.date = when.astimezone(UTC).replace(tzinfo=None)
    sun = ephem.Sun(observer)
    return math.degrees(sun.az), math.degrees(sun.alt)


def sun_direction(bearing_deg: float, elevation_deg: float, front_bearing_deg: float) -> np.ndarray:
    """Unit vector (3,) from the set toward a bearing and elevation, in the frame of the set.

    Parameters
    ----------
    front_bearing_deg : bearing from the sitter toward the front of the set.
    """
    return direction(front_bearing_deg - bearing_deg, elevation_deg)


def sky_kind(sky: str | int) -> int:
    """Number (1 to 15) of a sky, from its number or our name.

    Raises
    ------
    UnknownName
        For a name that is not in `SKIES`.
    KeyfallError
        For any other number.
    """
    if isinstance(sky, str):
        if sky not in SKIES:
            raise unknown_name("sky", sky, SKIES)
        return SKIES[sky]
    if not 1 <= sky <= KINDS:
        raise KeyfallError(f"There is no sky of number {sky}. Allowed: 1 to {KINDS}.")
    return sky


def turns_with_sun(kind: int) -> bool:
    """Whether a sky (1 to 15) looks different toward the sun than away from it."""
    entry = _STOCK[sky_kind(kind) - 1]
    return bool(entry["c"] or entry["e"])


CLOUDY_LUX = {"overcast": (300.0, 21000.0), "broken": (300.0, 45000.0)}
"""Illuminance of level ground under cloud, lx: a + b sin(elevation of the sun). IES Lighting Handbook and RP-21
(calculation of daylight availability), cloudy and partly cloudy sky (from memory)."""


def own_air(kind: int) -> str | None:
    """The air through which a cloudless sky (1 to 15) of this look is seen; None for a cloudy one."""
    return _STOCK[sky_kind(kind) - 1].get("air")


def sky_daylight(kind: int, elevation_deg: float, air: str | float, cloud_cct_k: float) -> Daylight:
    """Light of a sky (1 to 15) with the sun at a height: of cloud in proportion to the sun's sine, of a cloudless sky
    by its computed spectrum (`materials.atmosphere`).

    Raises
    ------
    KeyfallError
        For a sun that is not above the horizon, or air that does not exist.
    """
    cover = _STOCK[sky_kind(kind) - 1]["cover"]
    if cover == "clear":
        return clear_sky(elevation_deg, air)
    low, rise = CLOUDY_LUX[cover]
    lux = low + rise * math.sin(math.radians(elevation_deg))
    return Daylight(make_source("daylight", cloud_cct_k), lux)


def hides_sun(kind: int) -> bool:
    """Whether a sky (1 to 15) is so overcast that no sunlight comes through."""
    return bool(_STOCK[sky_kind(kind) - 1]["cover"] == "overcast")


def relative_luminance(kind: int, zenith_rad: np.ndarray, from_sun_rad: np.ndarray) -> np.ndarray:
    """Luminance of a sky (1 to 15), up to one factor, at angles from the zenith (up to pi / 2) and from the sun.

    References
    ----------
    ISO 15469:2004, equations 1 to 5: the product of gradation and indicatrix.
    """
    entry = _STOCK[sky_kind(kind) - 1]
    a, b, c, d, e = (entry[key] for key in "abcde")
    height = np.maximum(np.cos(zenith_rad), 1e-9)
    gradation = 1 + a * np.exp(b / height)
    indicatrix = 1 + c * (np.exp(d * from_sun_rad) - math.exp(d * math.pi / 2)) + e * np.cos(from_sun_rad) ** 2
    return np.asarray(gradation * indicatrix, float)


def sky_luminance(kind: int, toward_sun: np.ndarray) -> Angular:
    """A sky's luminance, such that a level flat meter under all of it reads 1 lx; nothing comes from below.

    Parameters
    ----------
    kind : 1 to 15. toward_sun : (3,), unit vector from the set toward the sun; not under the horizon.

    Returns
    -------
    luminance, cd/m2 : columns from the zenith to the horizon, rows by azimuth from +x toward -z; a single row for a
        sky that is the same all round.

    Raises
    ------
    KeyfallError
        For a sun under the horizon, for which the standard has no sky.
    """
    sun = np.asarray(toward_sun, float)
    if not (np.isfinite(sun).all() and sun[1] >= -1e-9):
        raise KeyfallError("The sun is under the horizon; there is a sky only while it is up.")
    zenith = np.radians(np.arange(0, 90 + STEP_DEG, STEP_DEG))
    azimuth = np.radians(np.arange(0, 360, STEP_DEG)) if turns_with_sun(kind) else np.zeros(1)
    level, turn = np.sin(zenith), azimuth[:, None]
    cosine = level * np.cos(turn) * sun[0] + np.cos(zenith) * sun[1] - level * np.sin(turn) * sun[2]
    values = relative_luminance(kind, zenith, np.arccos(np.clip(cosine, -1, 1)))
    values /= 2 * math.pi * float(values.mean(axis=0) @ _horizontal_weights())
    return Angular(values.astype(np.float32), math.pi / 2, "luminance")


@functools.cache
def _horizontal_weights() -> np.ndarray:
    """Weights (n,) that integrate luminance, linear between columns, times cos sin of the zenith angle, in closed form.

    Integral of t sin 2t / 2 over an interval, with t from its lower end: sin 2t / 8 - t cos 2t / 4.
    """
    edge = np.radians(np.arange(0, 90 + STEP_DEG, STEP_DEG))
    plain = -np.diff(np.cos(2 * edge)) / 4
    moment = np.diff(np.sin(2 * edge) / 8 - edge * np.cos(2 * edge) / 4)
    rising = (moment - edge[:-1] * plain) / np.diff(edge)
    return np.append(plain - rising, 0) + np.insert(rising, 0, 0)
