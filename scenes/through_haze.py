"""How much of a set's haze lies on the way between two places."""

from __future__ import annotations

import numpy as np

from .stage import Haze

_STEPS = 96


def mean_density(haze: Haze, start_m: np.ndarray, ends_m: np.ndarray, steps: int = _STEPS) -> np.ndarray:
    """Mean density of the haze along straight ways, relative to where it is densest; outside its box there is none.

    Parameters
    ----------
    start_m : (3,). ends_m : (n, 3). steps : places looked at on each way, where the haze is uneven.

    Returns
    -------
    (n,) from 0 to 1.
    """
    start, ends = np.asarray(start_m, float), np.atleast_2d(np.asarray(ends_m, float))
    if haze.density is None:
        return share_in_box(haze, start, ends)
    from scipy.ndimage import map_coordinates

    share = (np.arange(steps) + 0.5) / steps
    places = start + share[:, None, None] * (ends - start)
    inside = ((places >= haze.low_m) & (places <= haze.high_m)).all(axis=-1)
    nodes = np.array(haze.density.shape[::-1]) - 1
    index = (places - haze.low_m) / (haze.high_m - haze.low_m) * nodes
    found = map_coordinates(haze.density, np.moveaxis(index[..., ::-1], -1, 0), order=1, mode="nearest")
    return np.where(inside, found, 0.0).mean(axis=0)


def share_in_box(haze: Haze, start: np.ndarray, ends: np.ndarray) -> np.ndarray:
    """Share (n,) of straight ways from `start` (3,) to `ends` (n, 3) that lies in the box the haze fills."""
    way = ends - start
    safe = np.where(np.abs(way) < 1e-12, 1e-12, way)
    a, b = (haze.low_m - start) / safe, (haze.high_m - start) / safe
    enters, leaves = np.minimum(a, b).max(axis=-1), np.maximum(a, b).min(axis=-1)
    return np.clip(np.minimum(leaves, 1) - np.maximum(enters, 0), 0, 1)
