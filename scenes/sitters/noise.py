"""Smooth three-dimensional noise on vertices."""

from __future__ import annotations

import numpy as np

_SIDE = 32


def _turned(seed: int) -> np.ndarray:
    """A random rotation (3, 3), so that the lattice of one octave does not line up with the next."""
    q, r = np.linalg.qr(np.random.default_rng(seed).normal(size=(3, 3)))
    return q * np.sign(np.diag(r))


def value_noise(points: np.ndarray, grain_m: float, seed: int) -> np.ndarray:
    """Noise (n,) with mean about 0 and standard deviation about 1 at `points` (n, 3).

    Random values on a turned lattice of `grain_m` metres, blended with the cubic 3 t^2 - 2 t^3.
    """
    lattice = np.random.default_rng(seed).normal(size=_SIDE**3) * 1.7
    at = points @ _turned(seed + 1) / grain_m + 1000.0
    cell = np.floor(at).astype(np.int64)
    t = at - cell
    t = t * t * (3.0 - 2.0 * t)
    low = cell % _SIDE
    high = (cell + 1) % _SIDE
    total = np.zeros(len(points))
    for corner in range(8):
        weight = np.ones(len(points))
        index = np.zeros(len(points), np.int64)
        for axis in range(3):
            up = corner >> axis & 1
            weight *= t[:, axis] if up else 1.0 - t[:, axis]
            index = index * _SIDE + (high if up else low)[:, axis]
        total += weight * lattice[index]
    return total


def mottle(points: np.ndarray, grains_m: tuple[float, ...], seed: int, fall: float = 0.7) -> np.ndarray:
    """Sum (n,) of octaves of noise, each `fall` as strong as the one before, scaled to a deviation of about 1."""
    total, power = np.zeros(len(points)), 0.0
    for octave, grain in enumerate(grains_m):
        total += fall**octave * value_noise(points, grain, seed + 17 * octave)
        power += fall ** (2 * octave)
    return total / np.sqrt(power)


def smooth_step(low: float, high: float, x: np.ndarray) -> np.ndarray:
    """0 below `low`, 1 above `high` (either order), a cubic between."""
    t = np.clip((x - low) / (high - low), 0.0, 1.0)
    return t * t * (3.0 - 2.0 * t)
