"""A measured luminaire as what a fixture needs: shape, size and optics."""

from __future__ import annotations

import math

import numpy as np

from ..optics import Angular, Optics
from .photometry import POINT_SIZE_M, STRAY_SHARE, Photometry, at_gamma, backward_share, flux_lm

_TICK_DEG = 0.05
_MOST_STEPS = 3600
_MOST_PLANES = 720
_EDGE_STEP_DEG = 0.5
_ROUNDING_DEG = 1e-6


def to_optics(photometry: Photometry) -> tuple[str, np.ndarray, Optics]:
    """Shape, size (2,) in metres and optics of a fixture that emits what was measured.

    One lumen is one of the file's rated lamp lumens, so `efficiency` is the luminaire's light output ratio; where the
    file rates no lamp (absolute photometry) it is one lumen out of the luminaire, and `efficiency` is 1. The exit is
    a rectangle or disk as large as the luminous opening where nothing leaves backward, else a ball whose outline,
    seen from all around, has the same mean area (a quarter of the surface, by Cauchy's theorem). An ellipse becomes a
    disk of its area. A size of 0 becomes `POINT_SIZE_M`.

    The file's angles become even ones: their common step where it is at least 0.05 degrees, which changes nothing,
    else its finest (at most 3600 steps, and 720 planes).
    """
    last = float(photometry.gamma_deg[-1])
    flat = backward_share(photometry.candela, photometry.c_deg, photometry.gamma_deg) <= STRAY_SHARE
    angular, lumens = _even(photometry, min(last, 90.0) if flat else last)
    efficiency = 1.0 if photometry.rated_lumens is None else lumens / photometry.rated_lumens
    shape, size = _flat_exit(photometry) if flat else _ball(photometry)
    return shape, np.array(size, float), Optics(efficiency=efficiency, angular=angular)


def _even(photometry: Photometry, widest_deg: float) -> tuple[Angular, float]:
    """Intensity on even angles, scaled to one lumen, and its lumens before that."""
    first = float(photometry.gamma_deg[0])
    used = photometry.gamma_deg[photometry.gamma_deg < widest_deg]
    gamma = _even_angles(np.append(used, widest_deg), _MOST_STEPS, _EDGE_STEP_DEG if first > 0 else math.inf)
    table = at_gamma(photometry.candela, photometry.gamma_deg, gamma)
    lit = int(np.flatnonzero(table.max(axis=0) > 0)[-1])
    columns = max(min(lit + 2, len(gamma)), 2)
    gamma, table = gamma[:columns], table[:, :columns]
    c = photometry.c_deg
    if len(c) > 1:
        around = _even_angles(np.append(c, 360.0), _MOST_PLANES)[:-1]
        closed = np.concatenate([table, table[:1]])
        table = np.stack([np.interp(around, np.append(c, 360.0), column) for column in closed.T], axis=1)
        c = around
    lumens = flux_lm(table, c, gamma)
    return Angular((table / lumens).astype(np.float32), math.radians(float(gamma[-1]))), lumens


def _even_angles(angles_deg: np.ndarray, most: int, at_most_deg: float = math.inf) -> np.ndarray:
    """Even angles from 0 to the last of `angles_deg`: on all of them where they have a common step, else as fine."""
    last = float(angles_deg[-1])
    ticks = angles_deg / _TICK_DEG
    whole = np.round(ticks).astype(np.int64)
    common = int(np.gcd.reduce(whole)) * _TICK_DEG
    on_ticks = bool((np.abs(ticks - whole) * _TICK_DEG < _ROUNDING_DEG).all())
    gaps = np.diff(angles_deg)
    step = common if on_ticks and last / common <= most else float(gaps[gaps > _ROUNDING_DEG].min())
    if step > at_most_deg:
        step /= math.ceil(step / at_most_deg)
    return np.linspace(0, last, min(max(round(last / step), math.ceil(last / step - 1e-6)), most) + 1)


def _flat_exit(photometry: Photometry) -> tuple[str, tuple[float, float]]:
    width, length = photometry.width_m or POINT_SIZE_M, photometry.length_m or POINT_SIZE_M
    if photometry.round or photometry.width_m == photometry.length_m == 0:
        diameter = math.sqrt(width * length)
        return "disk", (diameter, diameter)
    return "rectangle", (width, length)


def _ball(photometry: Photometry) -> tuple[str, tuple[float, float]]:
    """Diameter of the ball whose surface, pi d^2, is that of the box, cylinder or ellipsoid that glows."""
    width, length, height = photometry.width_m, photometry.length_m, photometry.height_m
    if not photometry.round:
        surface = 2 * (width * length + width * height + length * height)
    elif math.isclose(height, math.sqrt(width * length), rel_tol=1e-3):
        surface = math.pi * height * height
    else:
        surface = math.pi * width * length / 2 + math.pi * math.sqrt(width * length) * height
    diameter = max(math.sqrt(surface / math.pi), POINT_SIZE_M)
    return "sphere", (diameter, diameter)
