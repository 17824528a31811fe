"""The shape of a plume from a smoke machine: a drifting, rising cone that thins as it widens, torn by turbulence."""

from __future__ import annotations

import math

import numpy as np

NOZZLE_M = 0.06
"""Radius of the plume at the machine, metres (common practice, no source)."""

_TEAR = 1.6  # how strongly turbulence tears it: standard deviation of the logarithm of the density
_EDDY_M = (0.18, 1.2)  # smallest and largest eddies, metres
_THIN_END = 1e-3


def plume_density(
    source_m: np.ndarray, toward: np.ndarray, rise_deg: float, spread_deg: float, low_m: np.ndarray,
    high_m: np.ndarray, cells: int, seed: int,
) -> np.ndarray:  # fmt: skip
    """Density of a plume at the nodes of an even grid over a box.

    Parameters
    ----------
    source_m : (3,) the nozzle. toward : (3,) level unit vector of its drift. rise_deg : above level.
    spread_deg : full angle of its cone, within which it falls to 1/e.
    low_m, high_m : (3,) corners of the box. cells : along its longest side. seed : of its turbulence.

    Returns
    -------
    (z, y, x) float32, from 0 to 1, the densest node exactly 1.
    """
    size = np.asarray(high_m, float) - low_m
    count = np.maximum(np.round(cells * size / size.max()).astype(int), 2)
    x, y, z = (np.linspace(low_m[k], high_m[k], count[k]) for k in range(3))
    rise = math.radians(rise_deg)
    axis = np.array([toward[0] * math.cos(rise), math.sin(rise), toward[2] * math.cos(rise)])
    away = np.stack(np.meshgrid(z, y, x, indexing="ij")[::-1], axis=-1) - source_m
    along = away @ axis
    across2 = np.maximum((away**2).sum(axis=-1) - along**2, 0)
    radius = NOZZLE_M + np.maximum(along, 0) * math.tan(math.radians(spread_deg) / 2)
    cone = np.exp(-across2 / radius**2) * (NOZZLE_M / radius) ** 2
    cone *= np.clip(along / NOZZLE_M + 1, 0, 1)
    torn = np.exp(_TEAR * _turbulence(count[::-1], size[::-1] / count[::-1], seed))
    density = cone * torn
    # the first decimetres are far denser than all that follows: cap them where the cone is a third of a metre wide
    ceiling = float(np.max(density[radius > 0.3 * min(1.0, size.max() / 4)], initial=0.0))
    density = np.minimum(density, ceiling) if ceiling > 0 else density
    density /= density.max()
    density[density < _THIN_END] = 0
    return density.astype(np.float32)


def _turbulence(shape: np.ndarray, step_m: np.ndarray, seed: int) -> np.ndarray:
    """Smooth random field of mean 0 and deviation 1: noise with the energy of eddies between two sizes, falling as the
    5/3 power (Kolmogorov 1941)."""
    noise = np.random.default_rng(seed).standard_normal(tuple(shape))
    waves = np.meshgrid(
        *(np.fft.fftfreq(n, d) for n, d in zip(shape[:2], step_m[:2], strict=True)),
        np.fft.rfftfreq(shape[2], step_m[2]), indexing="ij",
    )  # fmt: skip
    number = np.sqrt(sum(w**2 for w in waves))
    low, high = 1 / _EDDY_M[1], 1 / _EDDY_M[0]
    energy = (1 + (number / low) ** 2) ** (-11 / 6) * np.exp(-((number / high) ** 2))
    energy[0, 0, 0] = 0
    field = np.fft.irfftn(np.fft.rfftn(noise) * np.sqrt(energy), tuple(shape), axes=(0, 1, 2))
    return np.asarray(field / field.std(), float)
