"""The shape of a plume from a smoke machine: a drifting, rising cone that thins as it widens, torn by turbulence."""

from __future__ import annotations

import math

import numpy as np

from materials.errors import KeyfallError

NOZZLE_M = 0.06
"""Radius of the plume at the machine, metres (common practice, no source)."""

_NOZZLE_STEPS = 4.0  # a nozzle finer than this many steps of the grid is drawn as wide as them
_TEAR = 0.8  # how strongly turbulence tears it: standard deviation of the logarithm of the density
_CALM_M = 0.5  # from the machine, over which turbulence grows
_EDDY_M = (0.18, 1.2)  # smallest and largest eddies, metres
_WAVES = 256
_WAVE_STEPS = 4  # eddies smaller than this many steps of the grid are left out


def plume_density(
    source_m: np.ndarray, toward: np.ndarray, rise_deg: float, spread_deg: float, low_m: np.ndarray,
    high_m: np.ndarray, cells: int, seed: int,
) -> np.ndarray:  # fmt: skip
    """Density of a plume at the nodes of an even grid over a box; none outside its cone.

    Parameters
    ----------
    source_m : (3,) the nozzle. toward : (3,) level unit vector of its drift. rise_deg : above level.
    spread_deg : full angle of its cone. low_m, high_m : (3,) corners of the box.
    cells : nodes along its longest side. seed : of its turbulence, the same on every grid but for the finest eddies.

    Returns
    -------
    (z, y, x) float32, from 0 to 1, the densest node exactly 1; elsewhere it is far thinner.

    Raises
    ------
    KeyfallError
        For a plume that meets no node of the grid.
    """
    size = np.asarray(high_m, float) - low_m
    count = np.maximum(np.round(cells * size / size.max()).astype(int), 2)
    x, y, z = (np.linspace(low_m[k], high_m[k], count[k]) - source_m[k] for k in range(3))
    rise = math.radians(rise_deg)
    axis = np.array([toward[0] * math.cos(rise), math.sin(rise), toward[2] * math.cos(rise)])
    along = axis[2] * z[:, None, None] + axis[1] * y[:, None] + axis[0] * x
    across2 = np.maximum(z[:, None, None] ** 2 + y[:, None] ** 2 + x**2 - along**2, 0)
    nozzle = max(NOZZLE_M, _NOZZLE_STEPS * float((size / (count - 1)).max()))
    radius = nozzle + np.maximum(along, 0) * math.tan(math.radians(spread_deg) / 2)
    started = np.clip(along / nozzle, 0, 1)
    cone = np.maximum(1 - across2 / radius**2, 0) ** 2 * (nozzle / radius) ** 2 * started**2 * (3 - 2 * started)
    grown = np.clip(along / _CALM_M, 0, 1)
    density = cone * np.exp(_TEAR * grown * _turbulence(x, y, z, seed))
    if not density.max() > 0:
        raise KeyfallError("This plume leaves the set at once. Turn it inward, move its machine, or raise cells.")
    return (density / density.max()).astype(np.float32)


def _turbulence(x: np.ndarray, y: np.ndarray, z: np.ndarray, seed: int) -> np.ndarray:
    """Smooth random field (z, y, x) of mean 0 and deviation up to 1 at places in metres: plane waves with the energy of
    eddies between two sizes, falling as the 5/3 power (Kolmogorov 1941)."""
    rng = np.random.default_rng(seed)
    number = np.geomspace(1 / _EDDY_M[1], 1 / _EDDY_M[0], _WAVES)  # of waves in a metre, evenly spread by octaves
    heading = rng.standard_normal((_WAVES, 3))
    wave = 2 * math.pi * number[:, None] * heading / np.linalg.norm(heading, axis=1, keepdims=True)
    energy = number ** (-2 / 3)  # the 5/3 power, times the width of an octave
    step = max(float(np.diff(places).max()) for places in (x, y, z))
    height = np.sqrt(2 * energy / energy.sum()) * (number * _WAVE_STEPS * step < 1)
    phase = rng.uniform(0, 2 * math.pi, _WAVES)
    across = np.exp(1j * (z[:, None, None] * wave[:, 2] + y[:, None] * wave[:, 1] + phase)) * height
    line = np.exp(1j * wave[:, 0, None] * x)
    return np.asarray(across.real @ line.real - across.imag @ line.imag, float)
