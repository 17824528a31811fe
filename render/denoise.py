"""Denoising a light's bands together.

All bands of a light ride the same paths, so they share their noise. Three broad sums of the bands are denoised
as one picture, guided by the set's albedo and normals, and every band is scaled by what the denoiser changed.
Where a pixel caught too little light for its own spectrum to be trusted, its neighbours' spectrum takes over.
"""

from __future__ import annotations

import numpy as np

_NOTHING = 1e-30
_NEARBY_PX = 9
_TRUST = 0.05  # share of the neighbourhood's light below which a pixel's own spectrum loses its say
_QUALITY = {"draft": "Fast", "preview": "Balanced", "final": "High"}


def channel_weights(bands: int) -> np.ndarray:
    """Partition of the bands into three overlapping broad channels, (3, B); columns sum to one."""
    position = np.linspace(0, 2, bands)
    return np.maximum(1 - np.abs(position[None] - np.arange(3)[:, None]), 0)


def denoise_light(picture: np.ndarray, albedo: np.ndarray, normal: np.ndarray, quality: str = "preview") -> np.ndarray:
    """Denoise one light's bands.

    Parameters
    ----------
    picture : (B, H, W), not negative; albedo : (B, H, W); normal : (3, H, W).
    quality : "draft", "preview" or "final".

    Returns
    -------
    (B, H, W) float32; each channel keeps the picture's mean exactly.
    """
    weights = channel_weights(len(picture)).astype(np.float32)
    picture = np.asarray(picture, np.float32)
    channels = np.tensordot(weights, picture, 1)
    guide = np.tensordot(weights / weights.sum(1, keepdims=True), albedo, 1)
    clean = _filter(channels, guide, normal, quality)
    return _spread(picture, channels, clean, weights)


def denoise_haze(picture: np.ndarray, quality: str = "preview") -> np.ndarray:
    """Denoise what comes out of the haze, (B, H, W), without guides: it knows nothing of the surfaces behind it."""
    weights = channel_weights(len(picture)).astype(np.float32)
    picture = np.asarray(picture, np.float32)
    channels = np.tensordot(weights, picture, 1)
    return _spread(picture, channels, _filter(channels, None, None, quality), weights)


def denoise_plane(picture: np.ndarray, normal: np.ndarray) -> np.ndarray:
    """Denoise a single plane (H, W), not negative, such as an illuminance map; `normal` (3, H, W) keeps its edges."""
    channels = np.repeat(np.asarray(picture, np.float32)[None], 3, axis=0)
    return _filter(channels, np.ones_like(channels), normal, "draft").mean(axis=0)


def _filter(channels: np.ndarray, albedo: np.ndarray | None, normal: np.ndarray | None, quality: str) -> np.ndarray:
    """Denoised channels (3, H, W) whose means are those of the noisy ones; with both guides or without."""
    import mitsuba_oidn as oidn

    means = channels.mean(axis=(1, 2))
    if means.max() <= 0:
        return channels.copy()
    guides = {}
    if albedo is not None and normal is not None:
        guides = {"albedo": _to_pixels(albedo), "normal": _to_pixels(normal), "clean_aux": True}
    clean = oidn.denoise(
        _to_pixels(channels),
        **guides,
        hdr=True,
        quality=getattr(oidn.Quality, _QUALITY[quality]),
        input_scale=float(0.1 / means.mean()),
    )
    clean = np.maximum(np.nan_to_num(np.asarray(clean, np.float32)), 0).transpose(2, 0, 1)
    return clean * (means / np.maximum(clean.mean(axis=(1, 2)), _NOTHING))[:, None, None]


def _spread(picture: np.ndarray, channels: np.ndarray, clean: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """Give the denoised channels back to the bands in the proportion of each pixel's own, or nearby, spectrum."""
    from scipy.ndimage import uniform_filter

    change = clean / np.maximum(channels, _NOTHING)
    out = picture * np.tensordot(weights.T, change, 1)
    nearby = np.stack([uniform_filter(c, _NEARBY_PX, mode="nearest") for c in channels])
    lack = np.clip(1 - channels / np.maximum(nearby * _TRUST, _NOTHING), 0, 1).max(axis=0)
    rows, columns = np.nonzero(lack)
    if len(rows):
        borrowed = _nearby_spectrum(picture, rows, columns)
        total = weights @ borrowed
        borrowed *= weights.T @ (clean[:, rows, columns] / np.maximum(total, _NOTHING))
        share = lack[rows, columns]
        out[:, rows, columns] = out[:, rows, columns] * (1 - share) + borrowed * share
    return out


def _nearby_spectrum(picture: np.ndarray, rows: np.ndarray, columns: np.ndarray) -> np.ndarray:
    """Mean spectra (B, n) around the pixels (rows, columns)."""
    from scipy.ndimage import uniform_filter

    return np.stack([uniform_filter(band, _NEARBY_PX, mode="nearest")[rows, columns] for band in picture])


def _to_pixels(channels: np.ndarray) -> np.ndarray:
    return np.ascontiguousarray(np.asarray(channels, np.float32).transpose(1, 2, 0))
