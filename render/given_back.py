"""What denoising took beyond the noise, given back.

Noise of few paths is skewed: most places lie a little too dark, with small differences between the two halves of
their samples, and some far too bright. A standard error read at a place alone therefore calls chance a finding, mostly
where the traced light happens to be low, and what is then "given back" are blots. So the error is the larger of the
place's own and that of wide surroundings, both halves must say the same, and it must not hang on one pixel.
"""

from __future__ import annotations

import numpy as np

from .smoothing import block_means, enlarged, smooth, wide_smooth

WIDE_PX = 2.83
"""Width of the surroundings over which denoising must keep a light's brightness, but for noise."""

_PLACE_PX = 4 * np.pi * WIDE_PX**2
"""Pixels that count as independent in such surroundings, for the variance of their mean."""

_AROUND_PX = 32
_LEAST = 1e-3
"""Share of the mean brightness below which relative noise is not read."""

_MOST_RELATIVE = 1e3
_MOST_GIVEN = 4.0

_ERRORS = 2.5
"""How many of its standard errors a half of the samples must differ by, and the other half too, for anything to be
given back: on two sides, some 8 in 100,000 places by chance."""

_AMONG_STRANDS = 0.5
_NOTHING = 1e-30


def given_back(clean: np.ndarray, traced: np.ndarray, halves: np.ndarray, strands: np.ndarray | None) -> np.ndarray:
    """Factor (H, W) that returns what denoising took beyond the noise.

    Over a few pixels both pictures should agree within the standard error. Where both halves of the samples differ from
    the denoised picture on the same side, the lesser difference is returned, less what noise explains (as James and
    Stein shrink). Among strands, which the denoiser takes for noise, all of the difference is, but for a quarter of the
    variance.

    Parameters
    ----------
    clean, traced : (H, W) brightness, denoised and as traced, not negative.
    halves : (H, W), the odd samples less the even ones; strands : (H, W) bool, or None where there are none.
    """
    mean = float(traced.mean())
    if mean <= _NOTHING:
        return np.ones(clean.shape, np.float32)
    clean, traced, halves = (plane * np.float32(1 / mean) for plane in (clean, traced, halves))
    variance = (halves / 2) ** 2
    pixels = _PLACE_PX * _inside(clean.shape)
    base, wanted = wide_smooth(clean, WIDE_PX), wide_smooth(traced, WIDE_PX)
    own = wide_smooth(variance, WIDE_PX) / pixels
    error = np.maximum(own, _relative_variance(variance, clean) * base**2 / pixels)
    lost = wanted - base
    agreed = np.maximum(np.abs(lost) - np.abs(wide_smooth(halves, WIDE_PX)) / 2, 0)
    sure = np.where(lost > 0, np.maximum(agreed - _held_by_one(traced - clean), 0), agreed)
    factor = _toward(base, np.sign(lost) * agreed, sure, 2 * _ERRORS**2 * error)
    if strands is None or not strands.any():
        return factor
    base, wanted = (wide_smooth(plane * strands, WIDE_PX) for plane in (clean * factor, traced))
    return np.where(strands, factor * _toward(base, wanted - base, wanted - base, _AMONG_STRANDS**2 * own), factor)


def _inside(shape: tuple[int, int]) -> np.ndarray:
    """Share (H, W) of a place's surroundings that lies in the picture; the rest is mirrored, and tells nothing new."""
    from scipy.ndimage import gaussian_filter1d

    rows, columns = (gaussian_filter1d(np.ones(n, np.float32), WIDE_PX, mode="constant", truncate=3.0) for n in shape)
    return np.asarray(np.outer(rows, columns))


def _held_by_one(over: np.ndarray) -> np.ndarray:
    """What the brightest pixel of each place's surroundings alone adds to its mean, at most."""
    from scipy.ndimage import maximum_filter

    return np.asarray(maximum_filter(np.maximum(over, 0), int(3 * WIDE_PX) | 1)) / np.float32(2 * np.pi * WIDE_PX**2)


def _relative_variance(variance: np.ndarray, clean: np.ndarray) -> np.ndarray:
    """Variance of a pixel over its squared brightness, (H, W), read around: halves of dark pixels agree by chance."""
    height, width = variance.shape
    level = np.maximum(clean, _LEAST)
    relative = np.minimum(variance / level**2, _MOST_RELATIVE)
    return enlarged(smooth(block_means(relative[None], _AROUND_PX), 1), height, width, _AROUND_PX)[0]


def _toward(base: np.ndarray, lost: np.ndarray, sure: np.ndarray, noise2: np.ndarray) -> np.ndarray:
    """Factor from `base` on by `lost`, as far as what is `sure` of it is more than noise."""
    kept = np.maximum(1 - noise2 / np.maximum(sure**2, _NOTHING), 0)
    return np.clip(1 + kept * lost / np.maximum(base, _NOTHING), 1 / _MOST_GIVEN, _MOST_GIVEN)
