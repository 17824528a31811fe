"""How far a picture still is from converged, in stops.

Even and odd samples of a light are two independent halves. On patches of 8 x 8 pixels, about what a spot meter sees
on a face, half their difference is the standard error of the mean; its root mean square over the patches, relative to
the patch brightness, is quoted in stops. It is the noise of the traced picture, before denoising.
"""

from __future__ import annotations

import numpy as np

PATCH_PX = 8


def patch_means(picture: np.ndarray, mask: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Mean of a picture (H, W) over whole patches at least half inside `mask`, and the patch coverage."""
    rows, columns = (n // PATCH_PX * PATCH_PX for n in picture.shape)
    inside = _blocks(mask[:rows, :columns].astype(np.float64))
    total = _blocks(np.where(mask, picture, 0)[:rows, :columns].astype(np.float64))
    kept = inside >= PATCH_PX**2 / 2
    return total[kept] / inside[kept], inside[kept]


def _blocks(picture: np.ndarray) -> np.ndarray:
    rows, columns = picture.shape
    return picture.reshape(rows // PATCH_PX, PATCH_PX, columns // PATCH_PX, PATCH_PX).sum(axis=(1, 3))


def noise_stops(half_a: np.ndarray, half_b: np.ndarray, mask: np.ndarray) -> float | None:
    """Root-mean-square patch noise of the mean of two independent halves, in stops.

    Parameters
    ----------
    half_a, half_b : (H, W) brightness, each the mean of one half of the samples.
    mask : (H, W) bool, where to look. Patches darker than 1/64 of the mean patch are left out: what this
        light does not reach has no brightness to be relative to.

    Returns
    -------
    log2(1 + relative standard error), or None where the mask holds no lit patch.
    """
    a, _ = patch_means(half_a, mask)
    b, _ = patch_means(half_b, mask)
    mean = (a + b) / 2
    if not len(mean) or mean.max() <= 0:
        return None
    lit = mean > mean.mean() / 64
    relative = (a[lit] - b[lit]) / 2 / mean[lit]
    return float(np.log2(1 + np.sqrt(np.mean(relative**2))))
