"""Where the stand of a light goes: straight under it, or aside with a boom arm."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..bodies import in_frame
from ..stage import Camera, Fixture
from .housing import Look, rear_m

CLEAR_OF_SITTER_M = 0.3
BOOM_REACHES_M = (0.9, 1.2, 1.6, 2.0)
"""Lengths of arm that are tried, metres (common practice, no source)."""

SHORTEST_BOOM_M = 1.2
"""Below this height a light stands on its own foot, metres, unless the sitter is there."""

LOWEST_ARM_M = 0.5
COUNTER_M = 0.45
_TURNS = 24
_WALL_GAP_M = 0.1
_LEG_GAP_M = 0.02
FIRST_LEG_RAD = math.pi / 6
"""Turn of a stand's first leg where nothing is in the way."""


@dataclass(frozen=True, slots=True)
class Foot:
    """Where a support stands: the place (3,) on the floor, and the top (3,) of its column."""

    floor_m: np.ndarray
    top_m: np.ndarray
    boom: bool

    def column(self) -> np.ndarray:
        """Points (25, 3) up the column."""
        return self.floor_m + np.linspace(0, 1, 25)[:, None] * (self.top_m - self.floor_m)

    def arm(self, held_m: np.ndarray) -> np.ndarray:
        """Points (25, 3) along a boom arm, from what it holds to the end of its counterweight; none without a boom."""
        if not self.boom:
            return np.zeros((0, 3))
        along = self.top_m - held_m
        end = self.top_m + COUNTER_M * along / np.linalg.norm(along)
        return np.asarray(held_m + np.linspace(0, 1, 25)[:, None] * (end - held_m), float)


@dataclass(frozen=True)
class Paper:
    """A background: half its width, and its line (n, 2) of (y, z) from the top to its lower or front end, metres."""

    half_width_m: float
    profile_m: np.ndarray

    @property
    def z_m(self) -> float:
        """Where it hangs."""
        return float(self.profile_m[0, 1])

    @property
    def height_m(self) -> float:
        """Height of its top."""
        return float(self.profile_m[0, 0])

    @property
    def _lies_to_z_m(self) -> float | None:
        """How far along z it lies on the floor; None where it does not."""
        end = float(self.profile_m[-1, 1])
        return end if end > self.z_m else None

    def _past(self, points: np.ndarray) -> np.ndarray:
        """How far points (n, 3) lie behind it at their height, metres (n,), its curve included; negative before it."""
        line = self.profile_m if self._lies_to_z_m is None else self.profile_m[:-1]
        points = np.asarray(points, float)
        return np.asarray(np.interp(points[:, 1], line[::-1, 0], line[::-1, 1]) - points[:, 2], float)

    def crossed(self, points: np.ndarray) -> float:
        """How far a line through points (n, 3) reaches through where it hangs or curves, metres; 0 where not."""
        past = self._past(points)
        change = np.flatnonzero((past[1:] > 0) != (past[:-1] > 0))
        middle = (points[change] + points[change + 1]) / 2
        through = (np.abs(middle[:, 0]) < self.half_width_m) & (middle[:, 1] < self.height_m)
        return float(past.max()) if through.any() else 0.0

    def behind(self, point: np.ndarray) -> float:
        """How far a place (3,) is behind it at its height, metres; 0 beside and before it."""
        if abs(float(point[0])) >= self.half_width_m:
            return 0.0
        return max(float(self._past(np.asarray(point)[None])[0]), 0.0)

    def hides(self, point: np.ndarray) -> bool:
        """Whether a place (3,) is behind where it hangs, whatever its height."""
        return abs(float(point[0])) < self.half_width_m and float(point[2]) < self.z_m

    def reached_through(self, points: np.ndarray) -> float:
        """How far any of some points (n, 3) is behind it, below its top, metres; 0 where none is."""
        kept = points[(np.abs(points[:, 0]) < self.half_width_m) & (points[:, 1] < self.height_m)]
        return max(float(self._past(kept).max(initial=0.0)), 0.0)

    def carries(self, point: np.ndarray) -> bool:
        """Whether a place (3,) on the floor is on what lies there."""
        end = self._lies_to_z_m
        if end is None or abs(float(point[0])) >= self.half_width_m:
            return False
        return self.behind(point) == 0 and float(point[2]) < end


@dataclass(frozen=True, slots=True)
class Place:
    """What stands find on a set.

    Attributes
    ----------
    camera : where the picture is taken. face : (3,). low, high : (3,), box around the sitter.
    floor_low, floor_high : (3,), box of the room (of the ground, without a top, in the open); None without a floor.
    paper : the background; None without. behind_all_z_m : where the rearmost background or back wall stands, along z.
    """

    camera: Camera
    face: np.ndarray
    low: np.ndarray
    high: np.ndarray
    floor_low: np.ndarray | None
    floor_high: np.ndarray | None
    paper: Paper | None
    behind_all_z_m: float | None


def support_of(fixture: Fixture, look: Look, place: Place) -> Foot | None:
    """Where the stand of a light goes; None for a window, and for a ring light on the camera.

    It stands straight under the light, unless it would be in the picture or in the sitter there: then a boom arm
    reaches in from the nearest place that is clear of both, of the walls and of the background.
    """
    if look == "window" or float(np.linalg.norm(fixture.centre_m - place.camera.origin_m)) < 0.4:
        return None
    top = fixture.centre_m - rear_m(fixture, look) * fixture.forward
    below = Foot(top * [1, 0, 1], top, False)
    low = top[1] < SHORTEST_BOOM_M and (_gap(below, place) > 0 or top[1] < LOWEST_ARM_M)
    if low or _clear(below, top, place):
        return below
    tried = [_arm(top, turn, reach) for reach in BOOM_REACHES_M for turn in _turns(top, place)]
    return next((foot for foot in tried if _clear(foot, top, place)), below)


def legs_of(top_m: np.ndarray) -> tuple[float, float]:
    """Of the three legs under a column with its top at (3,): the height where they meet it, and how far they spread."""
    height = float(top_m[1])
    return min(0.75, 0.55 * height), min(0.46, 0.75 * height)


def legs_at(foot: Foot, body: np.ndarray) -> tuple[float, float]:
    """The turn of a stand's legs that best clears a body, radians, and how deep they still reach into it, metres.

    Parameters
    ----------
    body : (n, 3), points all over it. The turn is that of the first leg, from +z toward +x.
    """
    crotch, spread = legs_of(foot.top_m)
    low = body[body[:, 1] < crotch] - foot.floor_m
    low = low[np.hypot(low[:, 0], low[:, 2]) < spread + _LEG_GAP_M]
    best = (FIRST_LEG_RAD, 0.0)
    if not len(low):
        return best
    best = (FIRST_LEG_RAD, np.inf)
    for turn in FIRST_LEG_RAD + np.arange(12) * math.pi / 18:
        deepest = 0.0
        for leg in turn + np.arange(3) * 2 * math.pi / 3:
            toe = spread * np.array([math.sin(leg), 0.0, math.cos(leg)])
            way = np.array([0.0, crotch, 0.0]) - toe
            share = np.clip((low - toe) @ way / (way @ way), 0, 1)
            hit = np.linalg.norm(low - toe - share[:, None] * way, axis=1) < _LEG_GAP_M
            if hit.any():
                deepest = max(deepest, spread + _LEG_GAP_M - float(np.hypot(low[hit, 0], low[hit, 2]).min()))
        if deepest < best[1]:
            best = (float(turn), deepest)
    return best


def _turns(top: np.ndarray, place: Place) -> list[float]:
    """Bearings to try, the one away from the sitter first."""
    away = top - place.face
    first = math.atan2(away[0], away[2])
    steps = sorted(range(_TURNS), key=lambda k: (min(k, _TURNS - k), k))
    return [first + 2 * math.pi * k / _TURNS for k in steps]


def _arm(top: np.ndarray, turn: float, reach_m: float) -> Foot:
    pivot = top + reach_m * np.array([math.sin(turn), -0.12, math.cos(turn)])
    return Foot(pivot * [1, 0, 1], pivot, True)


def _gap(foot: Foot, place: Place) -> float:
    x, z = foot.floor_m[0], foot.floor_m[2]
    low, high = place.low, place.high
    return math.hypot(max(low[0] - x, 0, x - high[0]), max(low[2] - z, 0, z - high[2]))


def _clear(foot: Foot, held: np.ndarray, place: Place) -> bool:
    column = foot.column()
    if in_frame(place.camera, column[:-1] if foot.boom else column).any():
        return False
    if _gap(foot, place) <= CLEAR_OF_SITTER_M or not _in_room(foot.floor_m, place):
        return False
    if place.behind_all_z_m is not None and float(foot.floor_m[2]) < place.behind_all_z_m:
        return False
    if place.paper is not None and place.paper.crossed(column):
        return False
    return not foot.boom or _arm_clear(foot.arm(held), place)


def _arm_clear(arm: np.ndarray, place: Place) -> bool:
    past = arm[4:]  # where it meets the head, it may be anywhere the head is
    if place.floor_high is not None and (past > place.floor_high).any():
        return False
    if place.floor_low is not None and (past < place.floor_low).any():
        return False
    inside = ((past > place.low) & (past < place.high)).all(axis=1)
    return not inside.any() and (place.paper is None or not place.paper.crossed(past))


def _in_room(point: np.ndarray, place: Place) -> bool:
    if place.floor_low is None or place.floor_high is None:
        return True
    low, high = place.floor_low + _WALL_GAP_M, place.floor_high - _WALL_GAP_M
    return bool(low[0] < point[0] < high[0] and low[2] < point[2] < high[2])
