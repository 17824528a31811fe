"""Denoising a light's bands together.

All bands of a light ride the same paths, so they share their noise. Three broad sums of the bands are denoised
as one picture, guided by the set's albedo and normals, and every band is scaled by what the denoiser changed.
Where a pixel caught too little light for its own spectrum to be trusted, its neighbours' spectrum takes over.
"""

from __future__ import annotations

import numpy as np

_TRUST = 0.05  # share of the neighbourhood's light below which a pixel's own spectrum loses its say
_QUALITY = {"draft": "Fast", "preview": "Balanced", "final": "High"}


def channel_weights(bands: int) -> np.ndarray:
    """Partition of the bands into three overlapping broad channels, (3, B); columns sum to one."""
    position = np.linspace(0, 2, bands)
    return np.maximum(1 - np.abs(position[None] - np.arange(3)[:, None]), 0)


def denoise_light(
    picture: np.ndarray, albedo: np.ndarray | None, normal: np.ndarray, quality: str = "preview"
) -> np.ndarray:
    """Denoise one light's bands.

    Parameters
    ----------
    picture : (B, H, W), not negative; albedo : (B, H, W) or None; normal : (3, H, W).
    quality : "draft", "preview" or "final".

    Returns
    -------
    (B, H, W) float32; each channel keeps the picture's mean exactly.
    """
    import mitsuba_oidn as oidn

    weights = channel_weights(len(picture)).astype(np.float32)
    picture = np.asarray(picture, np.float32)
    channels = np.tensordot(weights, picture, 1)
    peak = float(channels.mean())
    if peak <= 0:
        return picture.copy()
    if albedo is None:  # the filter takes normals only beside an albedo; an even one tells it nothing
        guide = np.ones((*picture.shape[1:], 3), np.float32)
    else:
        guide = _to_pixels(np.tensordot(weights / weights.sum(1, keepdims=True), albedo, 1))
    clean = oidn.denoise(
        _to_pixels(channels),
        albedo=guide,
        normal=_to_pixels(normal),
        hdr=True,
        clean_aux=True,
        quality=getattr(oidn.Quality, _QUALITY[quality]),
        input_scale=float(0.1 / peak),
    )
    clean = np.maximum(np.nan_to_num(np.asarray(clean, np.float32)), 0).transpose(2, 0, 1)
    clean *= (channels.mean(axis=(1, 2)) / np.maximum(clean.mean(axis=(1, 2)), 1e-30))[:, None, None]
    return _spread(picture, channels, clean, weights)


def _spread(picture: np.ndarray, channels: np.ndarray, clean: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """Give the denoised channels back to the bands in the proportion of each pixel's own, or nearby, spectrum."""
    from scipy.ndimage import uniform_filter

    nearby = np.stack([uniform_filter(c, 9, mode="nearest") for c in channels])
    lack = np.clip(1 - channels / np.maximum(nearby * _TRUST, 1e-30), 0, 1)
    out = np.zeros_like(picture)
    for band, values in enumerate(picture):
        share = weights[:, band]
        near_value = None
        for k in np.flatnonzero(share):
            own = np.maximum(channels[k], 1e-30)
            if near_value is None and lack[k].any():
                near_value = uniform_filter(values, 9, mode="nearest")
            ratio = values / own
            if near_value is not None:
                ratio = np.where(lack[k] > 0, ratio * (1 - lack[k]) + near_value / np.maximum(nearby[k], 1e-30) * lack[k], ratio)
            out[band] += share[k] * ratio * clean[k]
    return out


def _to_pixels(channels: np.ndarray) -> np.ndarray:
    return np.ascontiguousarray(np.asarray(channels, np.float32).transpose(1, 2, 0))
