"""Black bodies, daylight and correlated colour temperature.

References
----------
CIE 015:2018: Planck's law (section 4.1.1), D series (section 4.1.2), correlated colour temperature (section 9.5),
CIE 1960 u, v. Second radiation constant: 1.4388e-2 m K, as CIE 015 uses.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np

from .errors import KeyfallError
from .spectra import WAVELENGTHS_NM, resample, xyz

C2_M_K = 1.4388e-2
_DATA = Path(__file__).parent / "data"
_LOCUS_MIRED = np.geomspace(10.0, 1000.0, 2000)


def planck(temperature_k: float | np.ndarray) -> np.ndarray:
    """Relative spectral power of black bodies, (..., 401), 1 at 560 nm."""
    t = np.asarray(temperature_k, np.float64)[..., None]
    metre = WAVELENGTHS_NM * 1e-9
    return (560e-9 / metre) ** 5 * np.expm1(C2_M_K / (560e-9 * t)) / np.expm1(C2_M_K / (metre * t))


def daylight(cct_k: float) -> np.ndarray:
    """Relative spectral power of CIE D-series daylight, (401,), for 4000 to 25000 K."""
    inverse = 1e3 / cct_k
    if cct_k <= 7000:
        x = ((-4.6070 * inverse + 2.9678) * inverse + 0.09911) * inverse + 0.244063
    else:
        x = ((-2.0064 * inverse + 1.9018) * inverse + 0.24748) * inverse + 0.237040
    y = -3.0 * x * x + 2.870 * x - 0.275
    scale = 0.0241 + 0.2562 * x - 0.7341 * y
    m1 = (-1.3515 - 1.7703 * x + 5.9114 * y) / scale
    m2 = (0.0300 - 31.4424 * x + 30.0717 * y) / scale
    return _daylight_basis() @ np.array([1.0, m1, m2])


@cache
def _daylight_basis() -> np.ndarray:
    table = np.loadtxt(_DATA / "daylight.csv", delimiter=",", skiprows=2)
    return resample(table[:, 0], table[:, 1:], "the daylight table")


def _uv(tristimulus: np.ndarray) -> np.ndarray:
    x, y, z = np.moveaxis(tristimulus, -1, 0)
    total = x + 15 * y + 3 * z
    return np.stack([4 * x / total, 6 * y / total], axis=-1)


def beside_locus(cct_k: float, duv: float) -> np.ndarray:
    """XYZ (3,), Y = 1, of a colour by its correlated colour temperature (K) and its distance from the black body in CIE
    1960 u, v, positive on the green side, across the locus (CIE 015:2018 section 9.5)."""
    mired = 1e6 / cct_k
    before, at, after = _uv(xyz(planck(1e6 / np.array([mired - 0.05, mired, mired + 0.05]))))
    along = after - before
    across = np.array([-along[1], along[0]]) / np.hypot(*along)
    u, v = at + duv * (across if across[1] > 0 else -across)
    x, y = 3 * u / (2 * u - 8 * v + 4), 2 * v / (2 * u - 8 * v + 4)
    return np.array([x / y, 1.0, (1 - x - y) / y])


@cache
def _locus() -> np.ndarray:
    return _uv(xyz(planck(1e6 / _LOCUS_MIRED)))


def correlated_colour_temperature(tristimulus: np.ndarray) -> tuple[float, float]:
    """Correlated colour temperature (K) and distance from the locus (Duv, positive on the green side).

    Foot of the perpendicular on the black-body locus in CIE 1960 u, v, the locus taken as a chain of 2000
    chords from 1000 to 100000 K (error under 0.1 K at 6500 K).

    Parameters
    ----------
    tristimulus : (3,) XYZ.

    Raises
    ------
    KeyfallError
        When the colour is more than 0.05 from the locus, where the quantity is not defined, or off its ends.
    """
    point, locus = _uv(np.asarray(tristimulus, np.float64)), _locus()
    start, along = locus[:-1], np.diff(locus, axis=0)
    part = np.clip(np.sum((point - start) * along, axis=1) / np.sum(along * along, axis=1), 0, 1)
    away = point - (start + part[:, None] * along)
    nearest = int(np.argmin(np.hypot(*away.T)))
    distance = float(np.hypot(*away[nearest]))
    at_end = (nearest == 0 and part[0] == 0) or (nearest == len(part) - 1 and part[-1] == 1)
    if distance > 0.05 or at_end:
        raise KeyfallError(
            "This colour is too far from any black body to have a correlated colour temperature. "
            "Use its x, y chromaticity instead."
        )
    mired = _LOCUS_MIRED[nearest] + part[nearest] * (_LOCUS_MIRED[nearest + 1] - _LOCUS_MIRED[nearest])
    return 1e6 / float(mired), float(np.copysign(distance, away[nearest][1]))
