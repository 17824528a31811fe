"""The intensities of a fixture on a grid of angles, such that who reads them linearly gets all of its light.

A reader spreads every entry over its neighbours by a hat: 1 at its own angles, falling straight to 0 at the next. An
entry here is the mean of the intensity under its hat, weighted by solid angle. The hats add up to 1 everywhere, so the
reader's integral is that of the intensity itself, however sharp the beam is against the grid.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

Intensity = Callable[[np.ndarray, np.ndarray], np.ndarray]
"""Candela (c, g) at angles off the axis (g,) and azimuths (c,), both in radians."""

STEPS_DEG = (0.05, 0.1, 0.25, 0.5)
"""Steps between angles off the axis: the coarsest that cuts the beam's reach into `_ACROSS` parts."""

_ACROSS = 50
_POINTS = 2
_GAUSS = np.polynomial.legendre.leggauss(_POINTS)


def gamma_grid(reach_deg: float, last_deg: float) -> np.ndarray:
    """Angles off the axis (g,) in degrees, from 0 over the reach of the light to `last_deg`."""
    step = max((s for s in STEPS_DEG if reach_deg / s >= _ACROSS), default=STEPS_DEG[0])
    count = min(math.ceil(reach_deg / step - 1e-9) + 1, round(last_deg / step))
    angles = np.arange(count + 1) * step
    return angles if last_deg - angles[-1] < step / 2 else np.append(angles, last_deg)


def conserved(intensity: Intensity, c_deg: np.ndarray, gamma_deg: np.ndarray, symmetry: int) -> np.ndarray:
    """Candela (c, g) whose integral, linear in both angles, is that of the intensity.

    Parameters
    ----------
    c_deg : (c,) evenly over the full turn from 0; a single 0 for a body of revolution.
    gamma_deg : (g,) ascending from 0.
    symmetry : 4 where right and left, and up and down, are alike: a quarter is then read; else 1.
    """
    gamma = np.radians(gamma_deg)
    low, high = gamma[:-1, None], gamma[1:, None]
    angle = ((low + high) / 2 + (high - low) / 2 * _GAUSS[0]).ravel()
    share = ((angle.reshape(len(low), -1) - low) / (high - low)).ravel()
    weight = ((high - low) / 2 * _GAUSS[1]).ravel() * np.sin(angle)
    values = _around(intensity, len(c_deg), angle, symmetry)
    cell = np.repeat(np.arange(len(low)), _POINTS)
    table, area = np.zeros((len(c_deg), len(gamma))), np.zeros(len(gamma))
    for node, part in ((cell, 1 - share), (cell + 1, share)):
        np.add.at(area, node, weight * part)
        np.add.at(table.T, node, (values * weight * part).T)
    table /= _hats(gamma)
    table[:, 0] = table[:, 0].mean()
    return table


def _hats(gamma: np.ndarray) -> np.ndarray:
    """Integral of every hat times the sine, by closed form."""
    step = np.diff(gamma)
    mean = np.diff(np.sin(gamma)) / step
    rising, falling = mean - np.cos(gamma[1:]), np.cos(gamma[:-1]) - mean
    return np.append(falling, 0) + np.insert(rising, 0, 0)


def _around(intensity: Intensity, planes: int, angle: np.ndarray, symmetry: int) -> np.ndarray:
    """Intensity (c, q) at these angles off the axis, under the hats of the planes."""
    if planes == 1:
        return intensity(angle, np.zeros(1))
    finer = 2 * planes
    turn = (np.arange(finer // symmetry) + 0.5) * 2 * math.pi / finer
    values = intensity(angle, turn)
    if symmetry == 4:
        values = np.concatenate([values, values[::-1], values, values[::-1]])
    # each plane takes the two nearest of the finer rows on either side, a quarter and three quarters of a step away
    first, second = values[0::2], values[1::2]
    return (3 * first + second + 3 * np.roll(second, 1, axis=0) + np.roll(first, 1, axis=0)) / 8
