"""Exposure arithmetic: meters, guide numbers and exposure values.

Flash is carried in lux seconds (lx s) and continuous light in lux (lx); a continuous reading becomes lx s when
multiplied by the shutter time. Lengths are metres, guide numbers metres at the ISO speed named.

References
----------
ISO 2720:1974 (photo-electric exposure meters): N^2 / t = E S / C.
ISO 1230 (flash guide numbers): GN = N d.
"""

from __future__ import annotations

import math

C_FLAT = 250.0
"""Calibration constant of a flat (cosine) incident meter, lx s; ISO 2720 recommends 240 to 400."""

C_DOME = 340.0
"""Calibration constant of a dome incident meter, lx s; ISO 2720 recommends 320 to 540."""


def exposure_from_f_number(f_number: float, iso: float = 100.0, c: float = C_FLAT) -> float:
    """Exposure H = C N^2 / S (lx s) at which an incident meter shows `f_number`.

    Examples
    --------
    >>> exposure_from_f_number(8)
    160.0
    """
    return c * f_number**2 / iso


def f_number_from_exposure(exposure_lux_s: float, iso: float = 100.0, c: float = C_FLAT) -> float:
    """F-number N = sqrt(H S / C) that an incident meter shows for an exposure in lx s; 0 in the dark.

    Examples
    --------
    >>> f_number_from_exposure(160)
    8.0
    """
    return math.sqrt(exposure_lux_s * iso / c)


def illuminance_from_ev(ev: float, c: float = C_FLAT) -> float:
    """Illuminance (lx) that an incident meter calls `ev` at ISO 100: C 2^EV / 100."""
    return float(c / 100.0 * 2.0**ev)


def intensity_from_guide_number(guide_number_m: float, iso: float = 100.0, c: float = C_FLAT) -> float:
    """Luminous intensity-time I (cd s) of a flash: I = GN^2 C / S, from N = GN / d and H = I / d^2."""
    return guide_number_m**2 * c / iso


def flash_lumen_seconds(energy_ws: float, efficacy_lm_s_per_j: float) -> float:
    """Luminous energy (lm s) of a flash head at full power: stored energy times efficacy."""
    return energy_ws * efficacy_lm_s_per_j
