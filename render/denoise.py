"""Denoising a light's bands together.

All bands of a light ride the same paths, so they share their noise. Three broad sums of the bands are denoised as one
picture, guided by the set's albedo and normals. What the denoiser took away beyond the noise is given back
(`render.given_back`), and every band gets its share of the broad sums (`render.shares`). Nothing here can amplify:
shares lie between 0 and 1, and no denoised sum exceeds what was traced near it.
"""

from __future__ import annotations

import numpy as np

from .given_back import WIDE_PX, given_back
from .shares import channel_weights, share_out, tinted
from .smoothing import BLOCK_PX, block_means, enlarged, nearby_maxima, smooth, spread_blocks, wide_smooth

_NOTHING = 1e-30
_QUALITY = {"draft": "Fast", "preview": "Balanced", "final": "High"}
_NOISY = 0.5
"""Standard error of a pixel over its brightness from which only the denoiser's largest network leaves even surfaces
even; the others weave a pattern into them."""

AT_ONCE_PX = 2_200_000
_OVERLAP_PX = 128  # no pixel that far away has a say in the denoiser's network
_ALIGNED_PX = 16
_MARGIN_PX = 16
"""Pixels by which a picture is mirrored at its edges, where the denoiser frays."""

_SHIFT_PX = 3

_MOST_OVER = 4.0
"""Times the brightness around that a pixel may exceed what both halves of its samples saw."""

_MOST_AMONG = 2.0
"""Likewise among strands, times the brightness of the strands close by."""

_LEAST_SHARE = 1e-3
_MOST_SCALED = 4.0

_LAID_PX = 32
"""Width over which light that a few bright pixels held is laid out, in proportion to what is there."""

_TIMES_LAID, _KEPT = 8, 1e-3
"""What is still missing is laid evenly around where it was traced, below what is allowed there; share it may lack."""


def denoise_light(
    picture: np.ndarray,
    albedo: np.ndarray,
    normal: np.ndarray,
    quality: str = "preview",
    halves: np.ndarray | None = None,
    strands: np.ndarray | None = None,
) -> np.ndarray:
    """Denoise one light's bands.

    Parameters
    ----------
    picture : (B, H, W), not negative; albedo : (B, H, W); normal : (3, H, W).
    quality : "draft", "preview" or "final".
    halves : (H, W), band mean of the odd samples less that of the even ones, which tells the noise; None gives
        nothing back.
    strands : (H, W) bool, where the set is finer than a pixel, as hair is; None is nowhere.

    Returns
    -------
    (B, H, W) float32, not negative; each band keeps the picture's mean.
    """
    picture = np.asarray(picture, np.float32)
    weights = channel_weights(len(picture))
    channels = np.tensordot(weights, picture, 1)
    guide = np.tensordot(weights / weights.sum(1, keepdims=True), albedo, 1)
    if halves is None:
        return share_out(_settle(_filter(channels, guide, normal, quality), channels), picture, albedo)
    halves = halves * np.float32(len(picture) / 3)
    traced = channels.mean(axis=0)
    agreed = _agreed(traced, halves, strands)
    seen = channels * agreed
    clean = _filter(seen, guide, normal, quality)
    # a lit strand is as rare in its pixel as a stray path elsewhere: among strands all light has its place near by
    wanted = agreed if strands is None else np.where(strands, np.float32(1), agreed)
    clean *= given_back(clean.mean(axis=0), traced * wanted, halves * wanted, strands).astype(np.float32)
    return share_out(_settle(clean, channels), picture, albedo, agreed, halves)


def effort(quality: str, picture: np.ndarray, halves: np.ndarray) -> str:
    """Quality at which light (B, H, W) is denoised: that asked for, or "final" where it is noisy; `halves` as in
    `denoise_light`."""
    errors = np.sqrt(block_means((halves / 2)[None] ** 2, BLOCK_PX)).mean()
    return "final" if errors > _NOISY * block_means(picture.mean(axis=0)[None], BLOCK_PX).mean() else quality


def denoise_haze(picture: np.ndarray, quality: str = "preview", halves: np.ndarray | None = None) -> np.ndarray:
    """Denoise what comes out of the haze, (B, H, W).

    There are no guides: it knows nothing of the surfaces behind it. Its brightness is denoised alone and takes the
    colour of wide surroundings, since haze changes colour slowly and its few paths differ much in theirs. `halves` as
    in `denoise_light`, of all light.
    """
    picture = np.asarray(picture, np.float32)
    traced = picture.mean(axis=0)
    agreed = np.ones_like(traced) if halves is None else _agreed(traced, halves)
    clean = _filter(np.repeat((traced * agreed)[None], 3, axis=0), None, None, quality).mean(axis=0)
    return tinted(_settle(clean[None], traced[None])[0], picture, agreed)


def denoise_plane(picture: np.ndarray, normal: np.ndarray) -> np.ndarray:
    """Denoise a single plane (H, W), not negative, such as an illuminance map; `normal` (3, H, W) keeps its edges."""
    channels = np.repeat(np.asarray(picture, np.float32)[None], 3, axis=0)
    return _settle(_filter(channels, np.ones_like(channels), normal, "draft"), channels).mean(axis=0)


def _filter(channels: np.ndarray, albedo: np.ndarray | None, normal: np.ndarray | None, quality: str) -> np.ndarray:
    """What the denoiser makes of channels (3, H, W), never negative; with both guides or without."""
    import mitsuba_oidn as oidn

    mean = float(channels.mean())
    if mean <= _NOTHING:
        return channels.copy()
    out = np.empty_like(channels)
    scale = np.float32(0.1 / mean)
    for first, end in _strips(*channels.shape[1:]):
        seen = slice(max(0, first - _OVERLAP_PX), end + _OVERLAP_PX)
        guides = {}
        if albedo is not None and normal is not None:
            guides = {"albedo": _mirrored(albedo[:, seen]), "normal": _mirrored(normal[:, seen]), "clean_aux": True}
        clean = oidn.denoise(  # the library keeps what it was given until the next call of the same kind and scale
            _mirrored(channels[:, seen] * scale),
            **guides,
            hdr=True,
            quality=getattr(oidn.Quality, _QUALITY[quality]),
            input_scale=1.0,
        )
        top, width = first - seen.start + _MARGIN_PX, channels.shape[2]
        kept = np.asarray(clean, np.float32)[top : top + end - first, _MARGIN_PX : _MARGIN_PX + width]
        out[:, first:end] = kept.transpose(2, 0, 1)
    out /= scale
    return np.maximum(np.nan_to_num(out, nan=0, posinf=0, neginf=0), 0)


def _strips(height: int, width: int) -> list[tuple[int, int]]:
    """A picture's rows in strips (first, end), each denoised at once with its surroundings, so that the memory this
    takes does not grow with the picture. All but the last are a multiple of 16 rows, to which the denoiser's own
    coarser levels are aligned."""
    most = max(AT_ONCE_PX // width - 2 * _OVERLAP_PX, _ALIGNED_PX)
    if height * width <= AT_ONCE_PX or height <= most:
        return [(0, height)]
    each = -(-height // -(-height // most))
    each = -(-each // _ALIGNED_PX) * _ALIGNED_PX
    return [(first, min(first + each, height)) for first in range(0, height, each)]


def _agreed(traced: np.ndarray, halves: np.ndarray, strands: np.ndarray | None = None) -> np.ndarray:
    """Factor (H, W), at most 1, that takes from single pixels what only one half of the samples saw.

    A rare path that meets something bright makes such a pixel, and a blot of the denoised picture; among strands, a
    sparkle. A catchlight or a glint is seen by both halves and stays.
    """
    both = 2 * np.maximum(traced - np.abs(halves) / 2, 0)
    height, width = traced.shape
    around = enlarged(smooth(block_means(traced[None], _LAID_PX), 1), height, width, _LAID_PX)[0]
    most = both + _MOST_OVER * around
    if strands is not None and strands.any():
        near, share = (wide_smooth(plane, WIDE_PX) for plane in (traced * strands, strands.astype(np.float32)))
        most = np.where(strands, both + _MOST_AMONG * near / np.maximum(share, _LEAST_SHARE), most)
    return np.minimum(most / np.maximum(traced, _NOTHING), 1).astype(np.float32)


def _settle(clean: np.ndarray, channels: np.ndarray) -> np.ndarray:
    """Denoised channels with the light of the traced ones, and nowhere above what was traced nearby.

    Light that rare bright pixels held comes back over wide surroundings, in proportion to what is there.
    """
    height, width = channels.shape[1:]
    most = spread_blocks(nearby_maxima(channels), height, width)
    coarse = [smooth(block_means(planes, _LAID_PX), 1) for planes in (channels, clean)]
    factor = np.clip(coarse[0] / np.maximum(coarse[1], _NOTHING), 1 / _MOST_SCALED, _MOST_SCALED)
    clean = np.minimum(clean * enlarged(factor, height, width, _LAID_PX), most)
    wanted = channels.mean(axis=(1, 2))
    clean *= np.minimum(wanted / np.maximum(clean.mean(axis=(1, 2)), _NOTHING), _MOST_SCALED)[:, None, None]
    for _ in range(_TIMES_LAID):
        clean = np.minimum(clean, most)
        missing = wanted - clean.mean(axis=(1, 2))
        if (missing < _KEPT * wanted).all():
            break
        rest = block_means(np.maximum(channels - clean, 0), BLOCK_PX)
        rest = spread_blocks(smooth(rest, 1), height, width) * (clean < most)
        clean += rest * np.clip(missing / np.maximum(rest.mean(axis=(1, 2)), _NOTHING), 0, None)[:, None, None]
    return np.minimum(clean, most)


def _mirrored(channels: np.ndarray) -> np.ndarray:
    """Channels (3, H, W) as the denoiser takes them, (H, W, 3) with a margin: mirrored, but shifted along the edge,
    since a stray pixel with its own image beside it looks like part of the set."""
    wide = np.asarray(channels, np.float32)
    for axis in (1, 2):
        size = [(0, 0)] * 3
        size[axis] = (_MARGIN_PX, _MARGIN_PX)
        wide = np.pad(wide, size, mode="symmetric")
        shifted = np.roll(wide, _SHIFT_PX, axis=3 - axis)
        view, source = np.moveaxis(wide, axis, 0), np.moveaxis(shifted, axis, 0)
        view[:_MARGIN_PX], view[-_MARGIN_PX:] = source[:_MARGIN_PX], source[-_MARGIN_PX:]
    return np.ascontiguousarray(wide.transpose(1, 2, 0))
