"""Trees and hills at the far side of the ground: outline, relief and tone, always the same for the same place.

An outline is a function of direction, made of seeded random parts whose sizes are bounded: crowns of trees, or ridges
of hills. Its finest part is as wide as twigs or single crowns, which from the set is less than a pixel, so that the
edge is as soft as foliage. Tone comes from relief (normals), from light and dark foliage (tints of `mottled`), and
from the air before it (`veil`).
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np

from materials.atmosphere import ANGSTROM
from materials.haze import KOSCHMIEDER

from .studio import Surface

DARK, LIGHT = 0.45, 1.6
"""Reflectance of foliage in shade and in light, relative to the finish itself (common practice, no source)."""

_COARSE, _FINE, _SECTOR = 1536, 3072, math.radians(30)
_ROWS, _HILL_ROWS = 12, 6
_NOISE = 1 << 15
_SEED = 23
_LAYERS = ((1.0, 0.18, 0.7), (1.5, 0.35, 0.9), (2.2, 0.45, 1.0))
"""Of hills: distance over the nearest one's, and least and greatest height, as seen, over the greatest of all."""



@dataclass(frozen=True, slots=True)
class Relief:
    """A band of trees or hills seen from the set: `turn` (c,) from +z toward +x, radians; `top` (c,) of its outline,
    relative to the greatest height; and (r, c) at even heights from its foot to its outline: slopes of its relief
    `across` and `up`, and weights 0 to 1 of `dark` and `light` foliage."""

    turn: np.ndarray
    top: np.ndarray
    across: np.ndarray
    up: np.ndarray
    dark: np.ndarray
    light: np.ndarray


@functools.cache
def _noise(seed: int, waves: float) -> np.ndarray:
    """Random values around the horizon, deviation 1, smooth over a turn divided by `waves`."""
    from scipy.ndimage import gaussian_filter1d

    raw = np.random.default_rng(seed).normal(size=_NOISE)
    smooth = gaussian_filter1d(raw, 0.35 * _NOISE / waves, mode="wrap")
    return np.asarray(smooth / smooth.std(), float)


def _around(turn: np.ndarray, seed: int, waves: float) -> np.ndarray:
    """`_noise` at directions, linear between its values."""
    at = (turn / (2 * math.pi) % 1) * _NOISE
    i = at.astype(int) % _NOISE
    values = _noise(seed, min(waves, _NOISE / 8))
    return np.asarray(values[i] + (at - np.floor(at)) * (values[(i + 1) % _NOISE] - values[i]), float)


@functools.cache
def _crowns(spread: float) -> np.ndarray:
    """Crowns (k, 5) of a row of trees around the set: direction, half width (radians), top and half height (of the
    greatest height), and how light it is, -1 to 1. `spread` is the greatest height over the distance."""
    rng = np.random.default_rng(_SEED)
    count = int(np.clip(2 * math.pi / (0.22 * spread), 60, 2400))
    place = (np.arange(count) + rng.uniform(-0.8, 0.8, count)) * 2 * math.pi / count
    stand = 0.5 + 0.5 * np.tanh(1.2 * _around(place, _SEED + 1, 9))  # taller and lower parts of the wood
    top = np.clip(0.5 + 0.3 * stand + 0.2 * rng.uniform(-0.7, 1, count), 0.4, 1)
    wide = (2 * math.pi / count) * rng.uniform(0.8, 2.1, count)
    high = np.minimum(wide / spread * rng.uniform(0.8, 1.5, count), 0.6 * top)
    return np.stack([place, wide, top, high, rng.uniform(-1, 1, count)], axis=1)


def _tops(turn: np.ndarray, spread: float) -> np.ndarray:
    """Outline of trees (c,)."""
    found = np.full(len(turn), 0.42)
    order = np.argsort(turn % (2 * math.pi))
    ahead = (turn % (2 * math.pi))[order]
    for place, wide, top, high, _ in _crowns(spread):
        for at in (place - 2 * math.pi, place, place + 2 * math.pi):
            low, end = np.searchsorted(ahead, [at - wide, at + wide])
            if low < end:
                u = (ahead[low:end] - at) / wide
                here = order[low:end]
                found[here] = np.maximum(found[here], top - high * (1 - np.sqrt(np.maximum(1 - u * u, 0))))
    twigs = 0.03 * _around(turn, _SEED + 2, 9 / spread * 6) + 0.02 * _around(turn, _SEED + 3, 40 / spread * 6)
    return np.asarray(np.clip(found + twigs - 0.03, 0.1, 1.0), float)


def _ridge(turn: np.ndarray, layer: int) -> np.ndarray:
    """Outline of one layer of hills (c,), woods on it included."""
    _, least, most = _LAYERS[layer]
    seed = _SEED + 100 * (layer + 1)
    waves = zip((9, 23, 60, 140), (1.0, 0.6, 0.2, 0.06), strict=True)
    total = sum(share * _around(turn, seed + k, count) for k, (count, share) in enumerate(waves))
    shape = least + (most - least) * (0.5 + 0.5 * np.tanh(0.9 * total))
    return np.asarray(shape - 0.01 * np.abs(_around(turn, seed + 9, 1500)), float)  # woods along it


def outline(kind: str, turn: np.ndarray, spread: float) -> np.ndarray:
    """Height of the outline against the sky by direction (radians), relative to the greatest, at most 1.

    Parameters
    ----------
    kind : "trees" or "hills". spread : greatest height over distance.
    """
    if kind == "trees":
        return _tops(np.asarray(turn, float), spread)
    return np.max([_ridge(np.asarray(turn, float), k) for k in range(len(_LAYERS))], axis=0)


def directions(view: float) -> np.ndarray:
    """Directions (c,) ascending over a full turn, close together about the one the camera looks in."""
    even = np.linspace(-math.pi, math.pi, _COARSE, endpoint=False)
    close = np.linspace(-_SECTOR, _SECTOR, _FINE)
    return np.asarray(np.union1d(even[np.abs(even) > _SECTOR], close) + view, float)


def _trees(turn: np.ndarray, spread: float) -> Relief:
    """Crowns before each other, rounded and each of its own tone; between and under them it is dark."""
    top = _tops(turn, spread)
    height = np.linspace(0, 1, _ROWS)[:, None] * top
    shape = height.shape
    nearest, across, up, tone = np.full(shape, -1.0), np.zeros(shape), np.zeros(shape), np.full(shape, -1.0)
    ahead = turn - turn[0]
    rank = np.random.default_rng(_SEED + 7)
    for place, wide, crown, high, own in _crowns(spread):
        front = rank.uniform(0, 1.2)
        at = (place - turn[0]) % (2 * math.pi)
        for here in (at, at - 2 * math.pi):
            low, end = np.searchsorted(ahead, [here - wide, here + wide])
            if low >= end:
                continue
            u = ((ahead[low:end] - here) / wide)[None]
            v = (height[:, low:end] - (crown - high)) / high
            depth = 1 - u * u - v * v
            part = np.s_[:, low:end]
            seen = (depth > 0) & (front + np.sqrt(np.maximum(depth, 0)) > nearest[part])
            nearest[part] = np.where(seen, front + np.sqrt(np.maximum(depth, 0)), nearest[part])
            across[part] = np.where(seen, u, across[part])
            up[part] = np.where(seen, v, up[part])
            tone[part] = np.where(seen, own, tone[part])
    leaves = np.stack([_around(turn, _SEED + 40 + r, 60 / spread) for r in range(_ROWS)])
    shade = np.clip(0.6 - 0.4 * up - 0.3 * (height / top) + 0.2 * leaves + 0.25 * (nearest < 0), 0.1, 0.95)
    bright = np.clip(0.28 * tone + 0.25 * up + 0.12 * leaves, 0, 1)
    return Relief(turn, top, 0.9 * across + 0.3 * leaves, 0.5 * up + 0.25, shade, np.minimum(bright, 1 - shade))


def _hills(turn: np.ndarray, layer: int) -> Relief:
    """Slopes with gullies, wooded unevenly."""
    top, seed = _ridge(turn, layer), _SEED + 1000 * (layer + 1)
    rows = np.linspace(0, 1, _HILL_ROWS)[:, None]
    gullies = np.stack([_around(turn + 0.06 * r, seed, 60) for r in range(_HILL_ROWS)])
    meadows = np.stack([_around(turn + 0.02 * r, seed + 20 + r // 2, 150) for r in range(_HILL_ROWS)])
    grain = np.stack([_around(turn, seed + 50 + r, 900) for r in range(_HILL_ROWS)])
    dark = np.clip(0.75 - 0.35 * np.maximum(meadows - 0.6, 0) - 0.15 * (1 - rows) + 0.05 * grain, 0, 1)
    light = np.clip(0.5 * np.maximum(meadows - 1.0, 0), 0, 1)
    up = np.full_like(grain, 0.6)
    return Relief(turn, top, 0.6 * gullies + 0.1 * grain, up, dark, np.minimum(light, 1 - dark))


def skyline(
    kind: str, distance_m: float, height_m: float, level_m: float, view: float, visibility_m: float
) -> list[Surface]:
    """The bands of trees or hills around the set, nearest first, as surfaces with tints and veil.

    Parameters
    ----------
    view : direction in which the camera looks, radians from +z toward +x: there it is finest.
    """
    spread, turn = height_m / distance_m, directions(view)
    if kind == "trees":
        return [_band(_trees(turn, spread), distance_m, height_m, level_m, visibility_m, f"around.{kind}")]
    found = []
    for layer, (away, _, _) in enumerate(_LAYERS):
        name = f"around.{kind}" if layer == 0 else f"around.{kind}.{layer + 1}"
        relief = _hills(turn, layer)
        found.append(_band(relief, away * distance_m, away * height_m, level_m, visibility_m, name))
    return found


def _band(relief: Relief, distance: float, height: float, level: float, visibility: float, name: str) -> Surface:
    high, count = relief.dark.shape
    rows = np.linspace(0, 1, high)[:, None]
    sine, cosine = np.sin(relief.turn), np.cos(relief.turn)
    y = level + height * relief.top * rows
    vertices = np.stack([np.broadcast_to(distance * sine, y.shape), y, np.broadcast_to(distance * cosine, y.shape)], 2)
    inward, along = np.stack([-sine, 0 * sine, -cosine], 1), np.stack([cosine, 0 * sine, -sine], 1)
    normals = inward + relief.across[..., None] * along + relief.up[..., None] * np.array([0, 1.0, 0])
    normals /= np.linalg.norm(normals, axis=2, keepdims=True)
    i = np.arange(high - 1)[:, None] * count + np.arange(count)
    right = np.arange(high - 1)[:, None] * count + (np.arange(count) + 1) % count
    faces = np.concatenate([np.stack([i, i + count, right + count], 2), np.stack([i, right + count, right], 2)])
    tints = np.stack([relief.dark, relief.light, 0 * relief.dark], axis=2)
    return Surface(
        name, vertices.reshape(-1, 3).astype(np.float32), faces.reshape(-1, 3).astype(np.int32),
        normals.reshape(-1, 3).astype(np.float32), (255 * tints.reshape(-1, 3)).round().astype(np.uint8),
        np.full(count * high, air_share(distance, visibility), np.float32),
    )  # fmt: skip


def air_share(distance_m: np.ndarray | float, visibility_m: float) -> np.ndarray:
    """Share of the light of the sky at the horizon in what is seen at a distance (Koschmieder 1924)."""
    return np.asarray(-np.expm1(-KOSCHMIEDER * np.asarray(distance_m, float) / visibility_m))


def visibility_through_m(depth_500: float) -> float:
    """How far one sees through air whose aerosol has an optical depth straight up, metres: the aerosol falls off with a
    scale height of 1.2 km (Elterman 1968), and the air itself takes 1.2 % a kilometre at 550 nm (Bucholtz 1995); both
    from memory."""
    aerosol = depth_500 * (550 / 500) ** -ANGSTROM / 1200
    return KOSCHMIEDER / (aerosol + 1.2e-5)
