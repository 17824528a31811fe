"""A window in the world: where its opening lies, how it is fitted, and what of it the sun shines through."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

CURTAIN_PAST_M = 0.12
"""How far a curtain hangs past the opening, metres."""

@dataclass(frozen=True, slots=True)
class WindowPlace:
    """A window in the world.

    Attributes
    ----------
    centre_m : (3,) float64, middle of the opening on the inner face of the wall.
    along, out : (3,) float64, unit vectors along the wall (its width) and outward; +y is its height.
    size_m : (2,) float64. wall_m : thickness of the wall.
    """

    centre_m: np.ndarray
    along: np.ndarray
    out: np.ndarray
    size_m: np.ndarray
    wall_m: float

    def at(self, u: np.ndarray | float, v: np.ndarray | float, outward_m: np.ndarray | float) -> np.ndarray:
        """Points (..., 3) at `u` along, `v` up from the middle and `outward_m` from the inner face, metres."""
        up = np.array([0.0, 1.0, 0.0])
        u, v, w = np.broadcast_arrays(np.asarray(u, float), np.asarray(v, float), np.asarray(outward_m, float))
        placed: np.ndarray = self.centre_m + u[..., None] * self.along + v[..., None] * up + w[..., None] * self.out
        return placed

    def passes(self, start: np.ndarray, end: np.ndarray) -> bool:
        """Whether a straight line between two points goes through the opening, the wall's thickness included."""
        depth = float((end - start) @ self.out)
        if abs(depth) < 1e-9:
            return False
        for plane in (0.0, self.wall_m):
            reach = (plane - float((start - self.centre_m) @ self.out)) / depth
            off = start + reach * (end - start) - self.centre_m
            if not 0 <= reach <= 1 or abs(off @ self.along) > self.size_m[0] / 2 or abs(off[1]) > self.size_m[1] / 2:
                return False
        return True


@dataclass(frozen=True, slots=True)
class SetWindow:
    """A window of the room as the scene file tells of it.

    Attributes
    ----------
    wall : "front", "back", "left" or "right". place : its opening. sill_m : height of its lower edge above the floor.
    panes : columns and rows; bar_m : width of the bars. glass : "double", "single", "frosted" or "none".
    curtain : its finish, and curtain_stops : what a plain one costs; None without. drawn : share of the width that is
        covered, from both sides in.
    blind : finish of its slats, None without. lowered : share of the height that they cover, from the top down.
        slat_deg : their tilt.
    """

    name: str
    wall: str
    place: WindowPlace
    sill_m: float
    panes: tuple[int, int]
    bar_m: float
    glass: str
    curtain: str | None
    curtain_stops: float | None
    drawn: float
    blind: str | None
    lowered: float
    slat_deg: float

    def bare(self) -> np.ndarray | None:
        """The part of the opening, (2, 2), least and greatest (u, v) in metres from its middle, that no curtain, blind
        or frosted glass covers; None where they cover all."""
        if self.glass == "frosted":
            return None
        x, y = (float(half) for half in self.place.size_m / 2)
        side = x if self.drawn <= 0 else min((1 - self.drawn) * (x + CURTAIN_PAST_M), x)
        top = y - 2 * y * self.lowered
        return None if side <= 0 or top <= -y else np.array([[-side, -y], [side, top]])
