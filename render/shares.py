"""From three denoised broad sums back to the bands.

A band's share of a sum is read from the light traced at the pixel and close by, taken relative to the surface's own
reflectance, so that the colours of neighbouring surfaces do not mix. A share lies between 0 and 1 and the shares of a
sum add to one: light is handed out, never made.
"""

from __future__ import annotations

import numpy as np

from .smoothing import block_means, enlarged, nearby_maxima, smooth, spread_blocks

_DARKEST = 0.005
"""Added to reflectances: black surfaces still send back a little, such as from their coat."""

_CLOSE_TIMES = 2
_AROUND_PX = 8
_AROUND_WEIGHT, _AROUND_NOISY = np.float32(0.3), np.float32(8)
"""Say of the wider surroundings, which steady the colours of few paths and decide where none was traced close by; and
how much more for each unit of the relative variance of what was traced close by."""

_CLOSE_PX = np.float32(4 * np.pi)
"""Pixels that count as independent in the close surroundings."""

_NOISIEST = np.float32(4)
_LOUDEST, _DIMMEST = np.float32(16), np.float32(1e-3)
"""Times the denoised brightness that a pixel's light has a say in colours at most, and the share of the picture's mean
below which brightness makes no difference."""

_TINT_PX = 16
"""Blocks over which the colour of haze is read."""

_FAINTEST = np.float32(1e-30)


def channel_weights(bands: int) -> np.ndarray:
    """Partition of the bands into three overlapping broad channels, (3, B) float32; columns sum to one."""
    position = np.linspace(0, 2, bands)
    return np.maximum(1 - np.abs(position[None] - np.arange(3)[:, None]), 0).astype(np.float32)


def share_out(
    channels: np.ndarray, picture: np.ndarray, albedo: np.ndarray | None, agreed: np.ndarray | None = None,
    halves: np.ndarray | None = None,
) -> np.ndarray:  # fmt: skip
    """Bands (B, H, W) float32 whose broad sums are `channels` (3, H, W).

    Parameters
    ----------
    channels, picture : not negative; `picture` (B, H, W) is the traced light. Where none of a sum was traced at the
        pixel or around it, none is handed out.
    albedo : (B, H, W), or None where no surface colours the light.
    agreed : (H, W), at most 1, how much of a pixel's light has a say in colours; None for all.
    halves : (H, W), the odd samples less the even ones, in the unit of the sums' mean; None where noise is not known.
    """
    if picture.max(initial=0) <= 0:
        return np.zeros_like(picture)
    weights = channel_weights(len(picture))
    spectrum = np.empty(picture.shape, np.float32)
    total = np.zeros(channels.shape, np.float32)
    say = _say(channels, picture, weights) * (np.float32(1) if agreed is None else agreed)
    wider = _AROUND_WEIGHT if halves is None else _wider(channels.mean(axis=0), halves)
    for band, light in enumerate(picture):  # one by one: all at once would take six times the picture's memory
        colour = np.float32(1) if albedo is None else albedo[band] + np.float32(_DARKEST)
        np.multiply(_spectrum(light * say / colour, wider), colour, out=spectrum[band])
        for sum_, weight in zip(total, weights[:, band], strict=True):
            if weight:
                sum_ += weight * spectrum[band]
    level = np.where(total > _FAINTEST, channels / np.maximum(total, _FAINTEST), 0)
    for band, light in enumerate(picture):
        spectrum[band] *= np.tensordot(weights[:, band], level, 1)
        most = spread_blocks(nearby_maxima(light), *light.shape)  # outlines may lend a pixel another surface's colour
        np.minimum(spectrum[band], most, out=spectrum[band])
        spectrum[band] *= _to_the_mean_of(spectrum[band], light)
    return spectrum


def tinted(brightness: np.ndarray, picture: np.ndarray, agreed: np.ndarray) -> np.ndarray:
    """Bands (B, H, W) float32 of band mean `brightness` (H, W), with the colour of wide surroundings in `picture`."""
    peak = float(picture.max(initial=0))
    if peak <= 0:
        return np.zeros_like(picture)
    say = agreed * np.float32(1 / peak)
    wide = smooth(np.stack([block_means(light * say, _TINT_PX) for light in picture]), 2)
    total = wide.mean(axis=0)
    ratio = np.where(total > _FAINTEST, wide / np.maximum(total, _FAINTEST), 0)
    height, width = brightness.shape
    out = enlarged(ratio, height, width, _TINT_PX)
    for band, light in zip(out, picture, strict=True):
        band *= brightness
        band *= _to_the_mean_of(band, light)
    return out


def _say(channels: np.ndarray, picture: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """Factor (H, W) that gives every pixel about the same say in colours: by energy, the bright would colour what is
    dark beside them."""
    level = channels.mean(axis=0)
    traced = np.tensordot(weights.mean(axis=0), picture, 1)
    least = max(_DIMMEST * level.mean(), _FAINTEST)
    return np.asarray(1 / np.maximum(np.maximum(level, traced / _LOUDEST), least), np.float32)


def _wider(level: np.ndarray, halves: np.ndarray) -> np.ndarray:
    """Weight (H, W) of the wider surroundings: the noisier what lies close by, the more."""
    variance = smooth((halves / 2) ** 2, _CLOSE_TIMES) / _CLOSE_PX
    known = np.maximum(smooth(level, _CLOSE_TIMES) ** 2, (_DIMMEST * level.mean()) ** 2 + _FAINTEST)
    return np.asarray(_AROUND_WEIGHT + _AROUND_NOISY * np.minimum(variance / known, _NOISIEST), np.float32)


def _spectrum(light: np.ndarray, wider: np.ndarray | np.float32) -> np.ndarray:
    """Light (H, W) over its close surroundings and, by the weight `wider`, wider ones."""
    height, width = light.shape
    around = smooth(block_means(light, _AROUND_PX), 2)
    close = smooth(light, _CLOSE_TIMES)
    close += wider * enlarged(around[None], height, width, _AROUND_PX)[0]
    return close


def _to_the_mean_of(band: np.ndarray, light: np.ndarray) -> np.float32:
    """Factor that gives a band the mean of the traced light; far from 1 only where rare paths hold much of a light."""
    wanted, got = light.mean(), band.mean()
    return np.float32(np.clip(wanted / got, 0.5, 2)) if got > 0 else np.float32(1)
