"""Where most light of a mouth comes from: what its sampling is planned by, before anything is traced.

A bowl is brightest near its lamp, deep inside. Most samples of its mouth are therefore drawn over a disk across the
axis at some depth, by squared radius, and looked at from the point that is lit: so they follow the parallax.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from scenes.emission import Emission

RINGS = 32
_DEPTHS = (0.0, 0.25, 0.5, 0.75, 1.0)
_SHARES = (0.5, 0.8, 0.9)
_ANGLES_DEG = (0.0, 8.0, 16.0, 24.0, 32.0, 40.0, 50.0)
_PLACES = 1500
_EVEN = 0.1
_WORTH = 0.9


@dataclass(frozen=True, slots=True)
class HotSpot:
    """Rings of even area of a disk as large as the round mouth, at a depth behind it.

    Attributes
    ----------
    share : share of the samples that are drawn by it; 0 where it brings nothing.
    depth_m : metres behind the mouth.
    within : (RINGS + 1,) float32, from 0 to 1: share of them within squared radii that rise evenly.
    """

    share: float
    depth_m: float
    within: np.ndarray


def hot_spot(emission: Emission) -> HotSpot:
    """The one that leaves the least noise, over points up to 50 degrees off the axis and far away."""
    radius = emission.hull.radius_m
    round_ = replace(emission, outline="disk", half_m=np.full(2, radius))
    number = np.arange(_PLACES) + 0.5
    r, turn = radius * np.sqrt(number / _PLACES), number * math.pi * (3 - math.sqrt(5))
    x, y = r * np.cos(turn), r * np.sin(turn)
    seen, slopes = [], np.tan(np.radians(_ANGLES_DEG))
    for angle in np.radians(_ANGLES_DEG):
        lit = round_.walls(x, y, np.array([math.sin(angle), 0.0, math.cos(angle)])[:, None])
        seen.append(lit / max(float(lit.mean()), 1e-30))
    level = np.array(seen)
    best = HotSpot(0.0, 0.0, np.linspace(0, 1, RINGS + 1).astype(np.float32))
    least = _WORTH * float((level**2).mean())
    for depth in np.array(_DEPTHS) * emission.hull.depth_m:
        square = ((x - depth * slopes[:, None]) ** 2 + y**2) / radius**2
        ring = np.minimum((square * RINGS).astype(int), RINGS)
        sums = np.bincount(ring.ravel(), level.ravel(), RINGS + 1)[:RINGS]
        shares = (1 - _EVEN) * sums / max(float(sums.sum()), 1e-30) + _EVEN / RINGS
        drawn = np.append(shares * RINGS, 0.0)[ring]
        for share in _SHARES:
            noise = float((level**2 / (share * drawn + 1 - share)).mean())
            if noise < least:
                within = np.concatenate([[0.0], np.cumsum(shares)]) / shares.sum()
                least, best = noise, HotSpot(share, float(depth), within.astype(np.float32))
    return best
