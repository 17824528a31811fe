"""Grids of black cells: how much of the light gets through, by slope.

A cell of depth L and width w, seen along slopes (dx/dz, dy/dz), lets through where its front opening overlaps the
rear one, shifted by L times the slope. All lengths are in cell widths, so that `ratio` = L / w is the only size.
"""

from __future__ import annotations

import math

import numpy as np

SIXTY = (0.5, math.sqrt(3) / 2)
"""Cosine and sine of 60 degrees: how far the second pair of a hexagon's flats is turned from the first."""


def widest_slope(kind: str, ratio: float) -> float:
    """Slope dr/dz beyond which no light gets through in any azimuth."""
    return {"round": 1.0, "hexagon": 2 / math.sqrt(3), "square": math.sqrt(2)}[kind] / ratio


def transmission(kind: str, ratio: float, slope_x: np.ndarray, slope_y: np.ndarray) -> np.ndarray:
    """Share of the cell's opening that light of these slopes passes, 0 to 1.

    Parameters
    ----------
    kind : "round", "square" (sides along x and y) or "hexagon" (two flats up and down).
    ratio : depth over width; slope_x, slope_y : any shape.

    References
    ----------
    Round cells: overlap of two circles, T = 2/pi (acos u - u sqrt(1 - u^2)), u = ratio tan(theta). Hexagons: three
    pairs of flats, each narrowed by the shift along its normal, bound the overlap, a parallelogram less two corners.
    """
    x, y = ratio * np.asarray(slope_x, float), ratio * np.asarray(slope_y, float)
    if kind == "round":
        u = np.minimum(np.hypot(x, y), 1.0)
        return 2 / math.pi * (np.arccos(u) - u * np.sqrt(1 - u * u))
    if kind == "square":
        return np.maximum(1 - np.abs(x), 0) * np.maximum(1 - np.abs(y), 0)
    first, second = y, SIXTY[0] * y + SIXTY[1] * x
    a, b, c = (np.maximum(1 - np.abs(shift), 0) for shift in (first, second, second - first))
    corner = np.maximum((a + b - c) / 2, 0)
    cut = corner**2 - np.maximum(corner - a, 0) ** 2 - np.maximum(corner - b, 0) ** 2
    return np.maximum(a * b - cut, 0) / 0.75


def ratio_for_slope(kind: str, share: float, slope: float) -> float:
    """Ratio of depth to width at which light of this slope passes `share`, averaged over azimuth.

    Raises
    ------
    ValueError
        Unless 0 <= share < 1 and the slope is positive.
    """
    from scipy.optimize import brentq

    if not (0 <= share < 1 and slope > 0):
        raise ValueError("needs a share from 0 up to 1 and a positive slope")
    if share == 0:
        return widest_slope(kind, 1.0) / slope
    turn = (np.arange(180) + 0.5) * math.pi / 180
    x, y = np.cos(turn), np.sin(turn)
    found = brentq(lambda u: transmission(kind, u, x, y).mean() - share, 1e-9, widest_slope(kind, 1.0))
    return float(found / slope)
