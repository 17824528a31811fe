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
_AROUND_WEIGHT = np.float32(0.3)
"""Say of the wider surroundings, which steady the colours of few paths and decide where none was traced close by."""

_TINT_PX = 16
"""Blocks over which the colour of haze is read."""

_FAINTEST = np.float32(1e-30)


def channel_weights(bands: int) -> np.ndarray:
    """Partition of the bands into three overlapping broad channels, (3, B) float32; columns sum to one."""
    position = np.linspace(0, 2, bands)
    return np.maximum(1 - np.abs(position[None] - np.arange(3)[:, None]), 0).astype(np.float32)


def share_out(
    channels: np.ndarray, picture: np.ndarray, albedo: np.ndarray | None, agreed: np.ndarray | None = None
) -> np.ndarray:
    """Bands (B, H, W) float32 whose broad sums are `channels` (3, H, W).

    Parameters
    ----------
    channels, picture : not negative; `picture` (B, H, W) is the traced light. Where none of a sum was traced at the
        pixel or around it, none is handed out.
    albedo : (B, H, W), or None where no surface colours the light.
    agreed : (H, W), at most 1, how much of a pixel's light has a say in colours; None for all.
    """
    peak = float(picture.max(initial=0))
    if peak <= 0:
        return np.zeros_like(picture)
    weights = channel_weights(len(picture))
    spectrum = np.empty(picture.shape, np.float32)
    total = np.zeros(channels.shape, np.float32)
    say = np.float32(1 / peak) if agreed is None else agreed * np.float32(1 / peak)
    for band, light in enumerate(picture):  # one by one: all at once would take six times the picture's memory
        colour = np.float32(1) if albedo is None else albedo[band] + np.float32(_DARKEST)
        np.multiply(_spectrum(light * say / colour), colour, out=spectrum[band])
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


def _spectrum(light: np.ndarray) -> np.ndarray:
    """Light (H, W) over its close surroundings and, faintly, wider ones."""
    height, width = light.shape
    around = smooth(block_means(light, _AROUND_PX), 2) * _AROUND_WEIGHT
    close = smooth(light, _CLOSE_TIMES)
    close += enlarged(around[None], height, width, _AROUND_PX)[0]
    return close


def _to_the_mean_of(band: np.ndarray, light: np.ndarray) -> np.float32:
    """Factor that gives a band the mean of the traced light; far from 1 only where rare paths hold much of a light."""
    wanted, got = light.mean(), band.mean()
    return np.float32(np.clip(wanted / got, 0.5, 2)) if got > 0 else np.float32(1)
