"""Smoothing and local maxima of pictures by sums of what is not negative, which stay not negative.

Running sums are not used: their differences leave rounding residues where the picture is dark.
"""

from __future__ import annotations

import numpy as np

BLOCK_PX = 16
"""Side of the blocks whose maxima tell what was traced nearby: within a block or next to it."""


def smooth(planes: np.ndarray, times: int) -> np.ndarray:
    """Planes (..., H, W) smoothed `times` by 1-2-1 weights along rows and columns; edges repeat.

    The kernel nears a Gaussian with a variance of `times` / 2 square pixels each way.
    """
    out = np.array(planes, np.float32)
    for _ in range(times):
        for axis in (-1, -2):
            out = _once(out, axis)
    return out


def wide_smooth(plane: np.ndarray, sigma_px: float) -> np.ndarray:
    """A plane (H, W) smoothed by a Gaussian, as a sum of weighted neighbours; mirrored at the edges."""
    from scipy.ndimage import gaussian_filter

    return np.asarray(gaussian_filter(plane, sigma_px, mode="reflect", truncate=3.0))


def _once(planes: np.ndarray, axis: int) -> np.ndarray:
    view = np.swapaxes(planes, -1, axis)
    out = view * np.float32(0.5)
    if view.shape[-1] == 1:
        return np.swapaxes(out * 2, -1, axis)
    out[..., 1:] += np.float32(0.25) * view[..., :-1]
    out[..., :-1] += np.float32(0.25) * view[..., 1:]
    out[..., 0] += np.float32(0.25) * view[..., 0]
    out[..., -1] += np.float32(0.25) * view[..., -1]
    return np.swapaxes(out, -1, axis)


def block_means(planes: np.ndarray, side: int) -> np.ndarray:
    """Means (..., h, w) of blocks of `side` pixels; blocks at the far edges may be smaller."""
    height, width = planes.shape[-2:]
    sums = _over_blocks(np.add, planes, side)
    rows, columns = (np.minimum(side, n - np.arange(0, n, side)) for n in (height, width))
    return np.asarray(sums / (rows[:, None] * columns).astype(np.float32))


def block_maxima(planes: np.ndarray, side: int = BLOCK_PX) -> np.ndarray:
    """Largest value (..., h, w) in each block of `side` pixels."""
    return _over_blocks(np.maximum, planes, side)


def nearby_maxima(planes: np.ndarray) -> np.ndarray:
    """Largest value (..., h, w) in each block of `BLOCK_PX` pixels and its eight neighbours."""
    most = block_maxima(planes)
    for axis in (-1, -2):
        view, out = np.swapaxes(most, -1, axis), np.swapaxes(most.copy(), -1, axis)
        out[..., 1:] = np.maximum(out[..., 1:], view[..., :-1])
        out[..., :-1] = np.maximum(out[..., :-1], view[..., 1:])
        most = np.swapaxes(out, -1, axis)
    return most


def _over_blocks(join: np.ufunc, planes: np.ndarray, side: int) -> np.ndarray:
    """Rows are joined first, whole blocks at once: several times faster than ``reduceat`` on both axes."""
    *front, height, width = planes.shape
    whole = height // side * side
    parts = [join.reduce(planes[..., :whole, :].reshape(*front, -1, side, width), axis=-2)]
    if whole < height:
        parts.append(join.reduce(planes[..., whole:, :], axis=-2)[..., None, :])
    return np.asarray(join.reduceat(np.concatenate(parts, axis=-2), np.arange(0, width, side), axis=-1))


def spread_blocks(blocks: np.ndarray, height: int, width: int, side: int = BLOCK_PX) -> np.ndarray:
    """Block values (..., h, w) at every pixel (..., height, width)."""
    return np.repeat(np.repeat(blocks, side, axis=-2)[..., :height, :], side, axis=-1)[..., :width]


def enlarged(blocks: np.ndarray, height: int, width: int, side: int) -> np.ndarray:
    """Block values (n, h, w) at every pixel (n, height, width) float32, linear between the blocks' middles."""
    rows, columns = blocks.shape[-2:]
    top, low, t = _between(height, rows, side)
    left, right, s = _between(width, columns, side)
    beside = blocks[..., left] * (1 - s) + blocks[..., right] * s
    return np.asarray(beside[..., top, :] * (1 - t[:, None]) + beside[..., low, :] * t[:, None], np.float32)


def _between(pixels: int, blocks: int, side: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """For pixels in a row, the blocks whose middles they lie between, and how far they are toward the second."""
    at = np.clip((np.arange(pixels) + 0.5) / side - 0.5, 0, blocks - 1)
    first = at.astype(int)
    return first, np.minimum(first + 1, blocks - 1), (at - first).astype(np.float32)
