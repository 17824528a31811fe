"""Exposure arithmetic: meters, guide numbers, exposure values and the stops between them.

Flash is carried in lux seconds (lx s) and continuous light in lux (lx); a continuous reading becomes lx s when
multiplied by the shutter time. Lengths are metres, guide numbers metres at the ISO speed named.

References
----------
ISO 2720:1974 (photo-electric exposure meters): N^2 / t = E S / C and N^2 / t = L S / K.
ISO 1230 (flash guide numbers): GN = N d.
ISO 12232:2019 (speed of digital cameras): H = q L t / N^2; saturation speed 78 / H.
"""

from __future__ import annotations

import math

C_FLAT = 250.0
"""Calibration constant of a flat (cosine) incident meter, lx s; ISO 2720 recommends 240 to 400."""

C_DOME = 340.0
"""Calibration constant of a dome incident meter, lx s; ISO 2720 recommends 320 to 540."""

K_REFLECTED = 12.5
"""Calibration constant of a reflected-light meter, cd s/m2; 12.5 and 14 are in use."""

SATURATION_LUX_S = 78.0
"""Focal-plane exposure times ISO speed at which a sensor saturates, lx s (ISO 12232)."""


def stops(ratio: float) -> float:
    """Stops between two amounts of light whose ratio is given: log2(ratio).

    Raises
    ------
    ValueError
        Unless `ratio` is positive.
    """
    if not ratio > 0:
        raise ValueError(f"stops need a positive ratio of light, not {ratio}")
    return math.log2(ratio)


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


def illuminance_from_settings(f_number: float, shutter_s: float, iso: float = 100.0, c: float = C_FLAT) -> float:
    """Illuminance (lx) of continuous light for which an incident meter gives these settings."""
    return exposure_from_f_number(f_number, iso, c) / shutter_s


def exposure_value(f_number: float, shutter_s: float, iso: float = 100.0) -> float:
    """EV at ISO 100 of the settings: log2(N^2 / t) - log2(S / 100)."""
    return math.log2(f_number**2 / shutter_s * 100.0 / iso)


def illuminance_from_ev(ev: float, c: float = C_FLAT) -> float:
    """Illuminance (lx) that an incident meter calls `ev` at ISO 100: C 2^EV / 100."""
    return float(c / 100.0 * 2.0**ev)


def ev_from_illuminance(illuminance_lux: float, c: float = C_FLAT) -> float:
    """EV at ISO 100 that an incident meter shows for an illuminance in lx."""
    return math.log2(illuminance_lux * 100.0 / c)


def luminance_from_ev(ev: float, k: float = K_REFLECTED) -> float:
    """Luminance (cd/m2) that a reflected-light meter calls `ev` at ISO 100: K 2^EV / 100."""
    return float(k / 100.0 * 2.0**ev)


def intensity_from_guide_number(guide_number_m: float, iso: float = 100.0, c: float = C_FLAT) -> float:
    """Luminous intensity-time I (cd s) of a flash: I = GN^2 C / S, from N = GN / d and H = I / d^2."""
    return guide_number_m**2 * c / iso


def guide_number_from_intensity(intensity_cd_s: float, iso: float = 100.0, c: float = C_FLAT) -> float:
    """Guide number (m) of a flash of intensity-time I (cd s): GN = sqrt(I S / C)."""
    return math.sqrt(intensity_cd_s * iso / c)


def flash_lumen_seconds(energy_ws: float, efficacy_lm_s_per_j: float, power: float = 1.0) -> float:
    """Luminous energy (lm s) of a flash head: stored energy times efficacy times the power fraction."""
    return energy_ws * efficacy_lm_s_per_j * power


def flat_response(cosine: float) -> float:
    """Response of a flat meter to light from an angle of this cosine, 1 on axis: max(cos, 0)."""
    return max(cosine, 0.0)


def dome_response(cosine: float) -> float:
    """Response of a dome meter, 1 on axis: the projected area of a hemisphere, (1 + cos) / 2."""
    return (1.0 + cosine) / 2.0


def implied_reflectance(k: float = K_REFLECTED, c: float = C_FLAT) -> float:
    """Reflectance of the matt surface for which reflected and incident readings agree: pi K / C."""
    return math.pi * k / c


def lens_factor(transmittance: float = 0.9, vignetting: float = 0.98, off_axis_deg: float = 10.0) -> float:
    """The factor q of H = q L t / N^2: (pi / 4) T v cos^4(theta); 0.65 for the usual values."""
    return math.pi / 4 * transmittance * vignetting * math.cos(math.radians(off_axis_deg)) ** 4


def focal_plane_exposure(luminance_time: float, f_number: float, q: float = 0.65) -> float:
    """Exposure of the sensor (lx s) from a luminance-time in cd s/m2: H = q L t / N^2."""
    return q * luminance_time / f_number**2


def saturation_stops(reflectance: float, c: float = C_FLAT, q: float = 0.65) -> float:
    """Stops left below saturation for a matt surface exposed by the incident reading.

    A surface of reflectance rho lit by H = C N^2 / S sends rho H / pi, so the sensor's H S is
    q rho C / pi; ISO 12232 saturates at 78.
    """
    return stops(SATURATION_LUX_S / (q * reflectance * c / math.pi))


def flash_over_ambient_gain(ambient_stops_under: float) -> float:
    """Stops that ambient light adds to a flash exposure when it lies this many stops under it."""
    return math.log2(1.0 + 2.0**-ambient_stops_under)


def distance_stops(from_m: float, to_m: float) -> float:
    """Change in stops of a small light moved between two distances (inverse square); negative when farther."""
    return 2.0 * math.log2(from_m / to_m)
