"""From where to look at the set so that all of it fits and nothing hides the sitter; and where labels go."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scenes.aiming import direction, look_frame

from .parts import SetPart

HALF_FIELD_DEG = 11.0
"""Half the vertical field of the view: a long lens, so that uprights stay near upright."""

MARGIN = 0.07
BEARINGS_DEG = (35.0, -35.0, 25.0, -25.0, 45.0, -45.0, 55.0, -55.0, 15.0, -15.0)
RISES_DEG = (26.0, 33.0, 20.0, 40.0)
_SEEN_POINTS = 220


@dataclass(frozen=True, slots=True)
class Eye:
    """From where the set is seen: place (3,) and orthonormal axes (3,); tangents of the half fields."""

    origin_m: np.ndarray
    right: np.ndarray
    up: np.ndarray
    forward: np.ndarray
    tan_x: float
    tan_y: float

    def seen(self, points: np.ndarray) -> np.ndarray:
        """Points (n, 3) as (n, 3): x and y from -1 to 1 in the picture (right, up) and depth in metres."""
        away = np.asarray(points, float) - self.origin_m
        depth = away @ self.forward
        return np.column_stack([away @ self.right / depth / self.tan_x, away @ self.up / depth / self.tan_y, depth])

    def pixels(self, points: np.ndarray, size_px: tuple[int, int]) -> np.ndarray:
        """Points (n, 3) in pixels (n, 2) from the upper left corner of the picture."""
        seen = self.seen(points)
        width, height = size_px
        return np.column_stack([(seen[:, 0] + 1) / 2 * width, (1 - seen[:, 1]) / 2 * height])


def fitted(points: np.ndarray, bearing_deg: float, rise_deg: float, aspect: float) -> Eye:
    """The nearest eye on a bearing (0 toward the camera, positive to its right) from which all points are in view."""
    toward = direction(bearing_deg, rise_deg)
    right, up, forward = look_frame(toward, np.zeros(3))
    tan_y = math.tan(math.radians(HALF_FIELD_DEG))
    tan_x = aspect * tan_y
    x, y, w = points @ right, points @ up, points @ forward
    room_x, room_y = tan_x * (1 - MARGIN), tan_y * (1 - MARGIN)
    a, b = (x - w * room_x).max(), (-x - w * room_x).max()
    c, d = (y - w * room_y).max(), (-y - w * room_y).max()
    back = min(-(a + b) / (2 * room_x), -(c + d) / (2 * room_y))
    # where one direction has room to spare, the set sits in its middle as seen
    origin = (a - b) / 2 * right + (c - d) / 2 * up + back * forward
    return Eye(origin, right, up, forward, tan_x, tan_y)


def chosen(points: np.ndarray, parts: Sequence[SetPart], aspect: float) -> tuple[Eye, float]:
    """The eye that shows most of sitter, camera and lights, a quarter view by preference, and its bearing."""
    sitter = _sitter_points(parts)
    owners = sorted({p.owner for p in parts if p.kind in ("housing", "camera")})
    bodies = {owner: _body_points(owner, parts) for owner in owners}
    best: tuple[float, Eye, float] | None = None
    for r, rise in enumerate(RISES_DEG):
        for k, bearing in enumerate(BEARINGS_DEG):
            eye = fitted(points, bearing, rise, aspect)
            cost = 0.02 * (k // 2) + 0.004 * (k % 2) + 0.015 * r + hidden(eye, sitter, parts)
            for owner, body in bodies.items():
                others = [part for part in parts if part.owner != owner]
                cost += (0.15 if owner == "camera" else 0.06) * hidden(eye, body, others)
            if best is None or cost < best[0]:
                best = (cost, eye, bearing)
    assert best is not None
    return best[1], best[2]


def _body_points(owner: str, parts: Sequence[SetPart]) -> np.ndarray:
    points = np.concatenate([p.mesh.vertices for p in parts if p.owner == owner and p.kind in ("housing", "camera")])
    return points[:: max(1, len(points) // 24)]


def _sitter_points(parts: Sequence[SetPart]) -> np.ndarray:
    every = [p.mesh.vertices for p in parts if p.kind == "figure"]
    if not every:
        return np.zeros((0, 3))
    points = np.concatenate(every)
    # one of every cell of 5 cm, so that the finely meshed face does not count alone
    _, first = np.unique(np.floor(points / 0.05).astype(int), axis=0, return_index=True)
    step = max(1, len(first) // _SEEN_POINTS)
    return points[np.sort(first)][::step]


def hidden(eye: Eye, points: np.ndarray, parts: Sequence[SetPart]) -> float:
    """Share of points (n, 3) that housings, set pieces or the camera stand before, each taken for its convex hull."""
    if not len(points):
        return 0.0
    seen, behind = eye.seen(points), np.zeros(len(points), bool)
    for part in parts:
        if part.kind in ("housing", "piece") and part.alpha == 1:
            behind |= _covers(eye, part, seen)
    return float(behind.mean())


def blockers(eye: Eye, parts: Sequence[SetPart], share: float = 0.03) -> set[str]:
    """Names of the lights and pieces that each hide more than a share of the sitter."""
    points = _sitter_points(parts)
    if not len(points):
        return set()
    seen = eye.seen(points)
    found: dict[str, np.ndarray] = {}
    for part in parts:
        if part.owner and part.kind in ("housing", "piece", "camera"):
            found[part.owner] = found.get(part.owner, np.zeros(len(seen), bool)) | _covers(eye, part, seen)
    return {owner for owner, covered in found.items() if covered.mean() > share}


def _covers(eye: Eye, part: SetPart, seen: np.ndarray) -> np.ndarray:
    from scipy.spatial import ConvexHull, QhullError

    outline = eye.seen(part.mesh.vertices)
    try:
        hull = ConvexHull(outline[:, :2])
    except QhullError:
        return np.zeros(len(seen), bool)
    inside = (seen[:, :2] @ hull.equations[:, :2].T + hull.equations[:, 2] <= 0).all(axis=1)
    return np.asarray(inside & (seen[:, 2] > np.median(outline[:, 2])), bool)


def label_places(eye: Eye, parts: Sequence[SetPart], size_px: tuple[int, int]) -> dict[str, tuple[float, float]]:
    """Where the label of every light and the camera goes, in pixels: over what it names, apart from each other."""
    unit = size_px[0] / 1200
    tops: dict[str, tuple[float, float]] = {}
    for part in parts:
        named = part.kind in ("housing", "front", "camera") and (
            part.name.startswith("light.") or part.kind == "camera"
        )
        if not named or part.name == "camera.tripod":
            continue
        spots = eye.pixels(part.mesh.vertices, size_px)
        x, y = float((spots[:, 0].min() + spots[:, 0].max()) / 2), float(spots[:, 1].min())
        if part.owner not in tops or y < tops[part.owner][1]:
            tops[part.owner] = (x, y)
    names = list(tops)
    places = np.array([[x, y - 20 * unit] for x, y in tops.values()]).reshape(-1, 2)
    places = _apart(places, 36 * unit)
    low, high = 22 * unit, np.array(size_px) - 22 * unit
    places = np.clip(places, low, high)
    return {name: (float(x), float(y)) for name, (x, y) in zip(names, places, strict=True)}


def _apart(places: np.ndarray, gap: float, rounds: int = 60) -> np.ndarray:
    """The places moved until no two are nearer than a gap, or nearly so."""
    places = places.copy()
    for _ in range(rounds):
        moved = False
        for i in range(len(places)):
            for j in range(i):
                way = places[i] - places[j]
                distance = float(np.hypot(*way))
                if distance < gap:
                    push = (gap - distance) / 2 * (way / distance if distance > 1e-6 else np.array([1.0, 0.0]))
                    places[i] += push
                    places[j] -= push
                    moved = True
        if not moved:
            break
    return places
