"""What must hold of every denoised light, checked always; where it does not, the traced pixels stand instead."""

from __future__ import annotations

import numpy as np

from .smoothing import BLOCK_PX, block_maxima, nearby_maxima

ENERGY_TOLERANCE = 0.01
"""Share by which a band's light may differ from what was traced."""

_SPREAD = 1.25
"""Bands are handed out of broad sums: a band may exceed its own traced maximum nearby by so much."""

_FAINT = 1e-4
"""Share of the picture's peak below which nothing is seen."""


def hold(clean: np.ndarray, traced: np.ndarray) -> tuple[np.ndarray, float]:
    """Denoised bands that keep what must hold.

    No pixel is negative, no number, or more than a quarter above the largest traced value of its neighbourhood (its
    block of 16 pixels and the eight around); the light of every band is that of the traced one within 1 %. Where the
    first fails, the traced pixels stand; where the second fails, the whole traced picture.

    Parameters
    ----------
    clean, traced : (B, H, W); `traced` is finite and not negative. `clean` is changed in place.

    Returns
    -------
    The bands, and the share of the pixels that were put back.
    """
    failed = _failing(clean, traced)
    if failed is not None:
        clean[:, failed] = traced[:, failed]
    share = 0.0 if failed is None else float(failed.mean())
    wanted, got = traced.mean(axis=(1, 2), dtype=np.float64), clean.mean(axis=(1, 2), dtype=np.float64)
    if (np.abs(got - wanted) > ENERGY_TOLERANCE * np.maximum(wanted, _FAINT * wanted.max(initial=0))).any():
        return np.array(traced), 1.0
    return clean, share


def _failing(clean: np.ndarray, traced: np.ndarray) -> np.ndarray | None:
    """Pixels (H, W) that break a rule; None when there are none, found by blocks first since there rarely are any."""
    most = nearby_maxima(traced) * np.float32(_SPREAD)
    most += np.float32(_FAINT) * traced.max(initial=0)
    bad = ~(block_maxima(clean) <= most).all(axis=0)  # no number compares false
    if not bad.any() and clean.min(initial=0) >= 0:
        return None
    failed: np.ndarray = np.asarray((clean < 0).any(axis=0))
    for row, column in zip(*np.nonzero(bad), strict=True):
        place = np.s_[row * BLOCK_PX : (row + 1) * BLOCK_PX, column * BLOCK_PX : (column + 1) * BLOCK_PX]
        block = clean[:, place[0], place[1]]
        failed[place] |= ~(block <= most[:, row, column, None, None]).all(axis=0)
    return failed if failed.any() else None
