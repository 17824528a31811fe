"""A measured luminaire: intensity by direction and the size of its luminous opening, whatever file it came from.

Directions follow the C-gamma system (CIE 121, LM-63 type C): gamma is the angle off the luminaire's axis, C the
azimuth around it. A fixture made of it sends gamma = 0 along its `forward`, and its planes C0, C90, C180 and C270
lie toward its right, up, left and down; so a ceiling luminaire's nadir is the fixture's forward.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from materials.errors import DataError

from .turn import turn_weights

STRAY_SHARE = 1e-3
"""Share of the light behind the plane of the opening that is taken for stray light of the measurement."""

POINT_SIZE_M = 0.02
"""What stands for an extent of 0 in a fixture: small enough to act as a point on a portrait set."""

_RATED_MARGIN = 0.05


@dataclass(frozen=True, slots=True)
class Photometry:
    """One whole luminaire as measured: lamps, ballast and multipliers are all in `candela`.

    Attributes
    ----------
    name : what the file calls it.
    candela : (c, g) float64, intensity in cd.
    c_deg : (c,) azimuths of the rows, ascending from 0 to below 360; a single 0 for a body of revolution.
    gamma_deg : (g,) angles off the axis of the columns, ascending within 0 to 180; nothing leaves outside them.
    lumens : integral of `candela` over all directions, linear between the angles.
    rated_lumens : of the bare lamps; None where the file knows none (absolute photometry).
    width_m, length_m, height_m : luminous opening along C0-C180 (a fixture's right), C90-C270 (its up) and the axis;
        0 where it has no extent.
    round : whether the opening is a disk (with a height: a cylinder or a ball) rather than a rectangle.
    watts : electrical power, None where unknown.
    notes : sentences on what is odd about the file, or was read into it.
    """

    name: str
    candela: np.ndarray
    c_deg: np.ndarray
    gamma_deg: np.ndarray
    lumens: float
    rated_lumens: float | None
    width_m: float
    length_m: float
    height_m: float
    round: bool
    watts: float | None
    notes: tuple[str, ...] = ()


def make_photometry(
    name: str,
    candela: np.ndarray,
    c_deg: np.ndarray | Sequence[float],
    gamma_deg: np.ndarray | Sequence[float],
    *,
    width_m: float = 0.0,
    length_m: float = 0.0,
    height_m: float = 0.0,
    round: bool = False,
    rated_lumens: float | None = None,
    expected_lumens: float | None = None,
    watts: float | None = None,
    notes: Sequence[str] = (),
) -> Photometry:
    """Build a `Photometry` from intensities over the full turn: integrates the lumens and notes what is odd.

    Parameters
    ----------
    candela : (c, g); c_deg : (c,); gamma_deg : (g,); see `Photometry`, as for all others.
    expected_lumens : what should leave the luminaire, where the source states it; a note tells a difference above 5 %.

    Raises
    ------
    DataError
        When shapes do not match, angles do not ascend or lie outside, or a value is negative or not finite.
    """
    table, around, off_axis = (np.asarray(a, float) for a in (candela, c_deg, gamma_deg))
    if table.shape != (len(around), len(off_axis)) or len(off_axis) < 2 or not len(around):
        raise DataError(
            f"{name}: intensities of shape {table.shape} do not fit {len(around)} planes of {len(off_axis)} angles. "
            "Give one row a plane, one column an angle, and at least two angles."
        )
    if not (np.isfinite(table).all() and (table >= 0).all() and (table > 0).any()):
        raise DataError(f"{name}: intensities must be finite, not negative, and not all 0.")
    for angles, last, label in ((around, 360 - 1e-9, "C"), (off_axis, 180.0, "gamma")):
        if not (np.diff(angles) > 0).all() or angles[0] < 0 or angles[-1] > last:
            allowed = "0 to below 360" if label == "C" else "0 to 180"
            raise DataError(f"{name}: {label} angles must ascend within {allowed} degrees.")
    if around[0] != 0:
        raise DataError(f"{name}: the first plane stands at C{around[0]:g}. It must be C0.")
    lumens = flux_lm(table, around, off_axis)
    said = [*notes, *_extent_notes(off_axis), *_rating_notes(lumens, rated_lumens, expected_lumens)]
    if not (width_m and length_m):
        missing = "size" if width_m == length_m else "width"
        said.append(f"the opening has no {missing}; a fixture made of it takes {POINT_SIZE_M * 100:g} cm instead")
    stray = backward_share(table, around, off_axis)
    if 0 < stray <= STRAY_SHARE:
        said.append(f"{stray:.2%} of the light goes backward; it is left out as stray light of the measurement")
    return Photometry(
        name, table, around, off_axis, lumens, rated_lumens, width_m, length_m, height_m, round, watts, tuple(said)
    )


def _extent_notes(gamma_deg: np.ndarray) -> list[str]:
    first, last = float(gamma_deg[0]), float(gamma_deg[-1])
    if first == 0 and last in (90, 180):
        return []
    return [f"intensities are given from {first:g} to {last:g} degrees off the axis; beyond is taken as dark"]


def _rating_notes(lumens: float, rated: float | None, expected: float | None) -> list[str]:
    if expected is not None:
        off = lumens / expected - 1
        if abs(off) <= _RATED_MARGIN:
            return []
        return [
            f"the intensities add up to {lumens:.0f} lm, {off:+.0%} from the {expected:.0f} lm that the file states: "
            "check its flux, light output ratio and conversion factor"
        ]
    if rated is not None and lumens > rated * (1 + _RATED_MARGIN):
        return [
            f"the intensities add up to {lumens:.0f} lm, {lumens / rated:.0%} of the lamps' rated {rated:.0f} lm: "
            "check its lamp lumens and multiplier"
        ]
    return []


def backward_share(candela: np.ndarray, c_deg: np.ndarray, gamma_deg: np.ndarray) -> float:
    """Share of the flux that leaves more than 90 degrees off the axis."""
    if gamma_deg[-1] <= 90:
        return 0.0
    if gamma_deg[0] >= 90:
        return 1.0
    front = np.append(gamma_deg[gamma_deg < 90], 90.0)
    forward = flux_lm(at_gamma(candela, gamma_deg, front), c_deg, front)
    return max(1 - forward / flux_lm(candela, c_deg, gamma_deg), 0.0)


def at_gamma(candela: np.ndarray, gamma_deg: np.ndarray, wanted_deg: np.ndarray) -> np.ndarray:
    """Intensities (c, n) at other angles off the axis, linear in between and dark outside."""
    return np.stack([np.interp(wanted_deg, gamma_deg, row, left=0.0, right=0.0) for row in candela])


def flux_lm(candela: np.ndarray, c_deg: np.ndarray, gamma_deg: np.ndarray) -> float:
    """Luminous flux (lm) of intensities that are linear in both angles, by closed form; nothing outside `gamma_deg`.

    Parameters
    ----------
    candela : (c, g); c_deg : (c,) over the full turn, the first not repeated; gamma_deg : (g,).
    """
    gamma = np.radians(gamma_deg)
    mean = turn_weights(np.asarray(c_deg, float)) @ np.asarray(candela, float)
    slope = np.diff(mean) / np.diff(gamma)
    zones = mean[:-1] * np.cos(gamma[:-1]) - mean[1:] * np.cos(gamma[1:]) + slope * np.diff(np.sin(gamma))
    return float(2 * math.pi * zones.sum())
