"""Bodies along an axis, thick enough a description of a housing to tell what it runs into."""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np

_AROUND = 24
_ALONG_M = 0.03
_SAMPLES = 16


@dataclass(frozen=True, eq=False)
class Solid:
    """A body of elliptic or rectangular sections along an axis.

    Attributes
    ----------
    origin_m : (3,), where the depth is 0. axes : (3, 3), columns right, up and the way in which depth counts.
    depths_m : (k,) ascending. halves_m : (k, 2), half width and half height there; straight lines between.
    square : whether the sections are rectangles. hole_m : half width of an opening all along the axis, 0 without.
    """

    origin_m: np.ndarray
    axes: np.ndarray
    depths_m: np.ndarray
    halves_m: np.ndarray
    square: bool = False
    hole_m: float = 0.0

    @functools.cached_property
    def surface(self) -> np.ndarray:
        """Points (n, 3) on its skin and its two ends."""
        turn = np.linspace(0, 2 * np.pi, _AROUND, endpoint=False)
        rim = np.column_stack([np.cos(turn), np.sin(turn)])
        if self.square:
            rim /= np.abs(rim).max(axis=1, keepdims=True)
        first, last = float(self.depths_m[0]), float(self.depths_m[-1])
        depths = np.unique(np.r_[self.depths_m, np.linspace(first, last, 2 + int((last - first) / _ALONG_M))])
        rings = [self._ring(depth, rim) for depth in depths]
        ends = [self._ring(depth, share * rim) for depth in (first, last) for share in (0.3, 0.65)]
        local = np.concatenate([*rings, *ends])
        if self.hole_m:
            local = local[np.hypot(local[:, 0], local[:, 1]) >= self.hole_m]
        return self.origin_m + local @ self.axes.T

    def _ring(self, depth: float, rim: np.ndarray) -> np.ndarray:
        return np.column_stack([rim * self._half(np.array([depth])), np.full(len(rim), depth)])

    def _half(self, depths: np.ndarray) -> np.ndarray:
        return np.column_stack([np.interp(depths, self.depths_m, self.halves_m[:, k]) for k in (0, 1)])

    def depth_in(self, points: np.ndarray) -> np.ndarray:
        """How deep points (n, 3) lie in it, metres (n,), about; negative outside."""
        local = (np.asarray(points, float) - self.origin_m) @ self.axes
        return self._deep(local)

    def _deep(self, local: np.ndarray) -> np.ndarray:
        z = local[:, 2]
        half = np.maximum(self._half(z), 1e-6)
        share = np.abs(local[:, :2]) / half
        r = share.max(axis=1) if self.square else np.hypot(share[:, 0], share[:, 1])
        sides = (1 - r) * half.min(axis=1)
        if self.hole_m:
            sides = np.minimum(sides, np.hypot(local[:, 0], local[:, 1]) - self.hole_m)
        ends = np.minimum(z - self.depths_m[0], self.depths_m[-1] - z)
        return np.asarray(np.minimum(sides, ends), float)

    def stops(self, start: np.ndarray, ends: np.ndarray) -> np.ndarray:
        """Which of the straight ways from places (3,) or (n, 3) to places (n, 3) it stands in: (n,) bool."""
        a = (np.broadcast_to(np.asarray(start, float), np.shape(ends)) - self.origin_m) @ self.axes
        b = (np.asarray(ends, float) - self.origin_m) @ self.axes
        run = b[:, 2] - a[:, 2]
        safe = np.where(np.abs(run) > 1e-9, run, 1e-9)
        t0, t1 = ((depth - a[:, 2]) / safe for depth in (self.depths_m[0], self.depths_m[-1]))
        enter, leave = np.clip(np.minimum(t0, t1), 0, 1), np.clip(np.maximum(t0, t1), 0, 1)
        stopped = np.zeros(len(b), bool)
        for share in (np.arange(_SAMPLES) + 0.5) / _SAMPLES:
            t = enter + share * (leave - enter)
            stopped |= (leave > enter) & (self._deep(a + t[:, None] * (b - a)) > 0)
        return stopped
