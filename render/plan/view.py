"""Views of the set for the lighting plan: from above and from camera right, to scale, cut at the drawing's edge."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

SCALES = (5, 10, 15, 20, 25, 30, 40, 50, 60, 75, 100, 125, 150, 200, 250, 300, 400, 500, 750, 1000)
"""Scales a drawing may have, as 1 to so much."""

TOP, SIDE = "top", "side"
_AXES = {
    TOP: (np.array([1.0, 0.0, 0.0]), np.array([0.0, 0.0, 1.0])),
    SIDE: (np.array([0.0, 0.0, -1.0]), np.array([0.0, -1.0, 0.0])),
}


@dataclass(frozen=True, slots=True)
class Frame:
    """A rectangle on paper, millimetres from the page's top left corner."""

    left: float
    top: float
    right: float
    bottom: float

    @property
    def width(self) -> float:
        """Across, mm."""
        return self.right - self.left

    @property
    def height(self) -> float:
        """Down, mm."""
        return self.bottom - self.top

    def holds(self, point: np.ndarray, margin: float = 0.0) -> bool:
        """Whether a point (2,) lies in it, `margin` mm from its edges."""
        x, y = point
        across = self.left + margin <= x <= self.right - margin
        return bool(across and self.top + margin <= y <= self.bottom - margin)

    def shrunk(self, mm: float) -> Frame:
        """The same, smaller on every side."""
        return Frame(self.left + mm, self.top + mm, self.right - mm, self.bottom - mm)


@dataclass(frozen=True, slots=True)
class View:
    """A parallel view of the set on paper.

    Attributes
    ----------
    kind : "top" (camera right is right, the camera's side is below) or "side" (seen from camera right: the camera's
        side is left, up is up).
    origin_mm : (2,) where the floor mark, the origin of the set, falls on the page.
    mm_per_m : millimetres on paper for a metre.
    frame : what of the page it fills.
    """

    kind: str
    origin_mm: np.ndarray
    mm_per_m: float
    frame: Frame

    def flat(self, vectors: np.ndarray) -> np.ndarray:
        """Vectors (..., 3) in metres as (..., 2): right and down on paper, metres."""
        across, down = _AXES[self.kind]
        vectors = np.asarray(vectors, float)
        return np.stack([vectors @ across, vectors @ down], axis=-1)

    def at(self, points: np.ndarray) -> np.ndarray:
        """Points (..., 3) of the set as places on paper (..., 2), millimetres."""
        placed: np.ndarray = self.origin_mm + self.mm_per_m * self.flat(points)
        return placed


def flat_box(kind: str, points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Least and greatest (2,), metres right and down of the floor mark, of points (n, 3) in a view."""
    across, down = _AXES[kind]
    flat = np.stack([np.asarray(points, float) @ across, np.asarray(points, float) @ down], axis=-1)
    return flat.min(axis=0), flat.max(axis=0)


def scale_for(span_m: np.ndarray, room_mm: np.ndarray) -> int:
    """The largest round scale at which a span (2,) in metres fits into (2,) millimetres."""
    needed = max(float(s) * 1000 / max(float(r), 1e-6) for s, r in zip(span_m, room_mm, strict=True))
    return next((scale for scale in SCALES if scale >= needed - 1e-9), SCALES[-1])


def cut_polygon(points: np.ndarray, frame: Frame) -> np.ndarray:
    """A polygon (n, 2) cut at a frame: (m, 2), m is 0 when nothing is left.

    References
    ----------
    Sutherland and Hodgman, Comm. ACM 17 (1974) 32.
    """
    shape = [np.asarray(p, float) for p in points]
    for axis, bound, sign in ((0, frame.left, 1), (0, frame.right, -1), (1, frame.top, 1), (1, frame.bottom, -1)):
        kept: list[np.ndarray] = []
        for a, b in zip(shape, shape[1:] + shape[:1], strict=True):
            inside_a, inside_b = sign * (a[axis] - bound) >= 0, sign * (b[axis] - bound) >= 0
            if inside_a:
                kept.append(a)
            if inside_a != inside_b:
                kept.append(a + (bound - a[axis]) / (b[axis] - a[axis]) * (b - a))
        shape = kept
        if not shape:
            return np.zeros((0, 2))
    return np.array(shape)


def cut_line(start: np.ndarray, end: np.ndarray, frame: Frame) -> np.ndarray | None:
    """The part (2, 2) of a line that lies in a frame; None when none does.

    References
    ----------
    Liang and Barsky, ACM Trans. Graphics 3 (1984) 1.
    """
    low, high = 0.0, 1.0
    run = np.asarray(end, float) - start
    for axis, least, most in ((0, frame.left, frame.right), (1, frame.top, frame.bottom)):
        if abs(run[axis]) < 1e-12:
            if not least <= start[axis] <= most:
                return None
            continue
        first, last = sorted(((least - start[axis]) / run[axis], (most - start[axis]) / run[axis]))
        low, high = max(low, float(first)), min(high, float(last))
    return np.stack([start + low * run, start + high * run]) if low < high else None


def hull(points: np.ndarray) -> np.ndarray:
    """Convex outline (m, 2) of points (n, 2); the points themselves when they lie on one line."""
    from scipy.spatial import ConvexHull, QhullError

    try:
        return np.asarray(points)[ConvexHull(points).vertices]
    except (QhullError, ValueError):
        return np.asarray(points)


def sides_of_hull(near: np.ndarray, far: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Convex outline (m, 2) around two sets of points (n, 2), and those of its sides (k, 2, 2), each from a near point
    to a far one, that join them."""
    from scipy.spatial import ConvexHull, QhullError

    points = np.concatenate([near, far])
    try:
        order = ConvexHull(points).vertices
    except (QhullError, ValueError):
        return points, np.zeros((0, 2, 2))
    found = []
    for a, b in zip(order, np.roll(order, -1), strict=True):
        if (a < len(near)) != (b < len(near)):
            found.append(points[[min(a, b), max(a, b)]])
    return points[order], np.array(found).reshape(-1, 2, 2)
