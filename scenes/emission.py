"""Light out of a mouth by place and direction: bowls, dishes, open boxes, umbrellas.

What leaves a bowl comes from its inside, which lies deeper than its mouth: a point near by sees other parts of it than
one far away. A ray is therefore followed back from the mouth to the hull, a surface of revolution that stands for the
inside, and told by the place there and by its direction, over which the light of an inside varies slowly: a coarse
table is enough. What has sharp edges is told apart: a disk that hangs in the body (the screen: a deflector, an inner
cloth, the head in an umbrella) has rows of its own in the table, and the bare lamp is a ball.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

_DIAGONAL = math.sqrt(0.5)
_TINY = 1e-12


@dataclass(frozen=True, slots=True)
class Hull:
    """Where rays end: r^2 = radius^2 + slope z + bend z^2 from the mouth (z = 0) back to a plate at z = -depth.

    Paraboloids (bend 0), cones, cylinders and balls are of this form.

    Attributes
    ----------
    radius_m, depth_m : metres.
    slope_m, bend : metres, and a number.
    """

    radius_m: float
    depth_m: float
    slope_m: float
    bend: float

    @property
    def rear_m(self) -> float:
        """Radius of the plate."""
        return float(self.wall_m(np.array(self.depth_m)))

    @property
    def wall_way_m(self) -> float:
        """Way along the wall from plate to mouth, steps along the axis and across it added."""
        return abs(self.radius_m - self.rear_m) + self.depth_m

    def wall_m(self, depth_m: np.ndarray) -> np.ndarray:
        """Radius of the wall at depths behind the mouth."""
        square = self.radius_m**2 - self.slope_m * depth_m + self.bend * depth_m**2
        return np.sqrt(np.maximum(square, 0.0))

    def met(self, x: np.ndarray, y: np.ndarray, way: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """How far (in lengths of `way`) behind the mouth rays out of (x, y) along `way` (3, ...; z positive) left the
        hull, and whether that was the wall. Points beyond the rim count as on it."""
        plate = self.depth_m / way[2]
        a = way[0] ** 2 + way[1] ** 2 - self.bend * way[2] ** 2
        b = self.slope_m * way[2] - 2 * (x * way[0] + y * way[1])
        c = np.minimum(x * x + y * y - self.radius_m**2, 0.0)
        square = b * b - 4 * a * c
        root = np.sqrt(np.maximum(square, 0.0))
        with np.errstate(divide="ignore", invalid="ignore"):
            t = np.where(b > 0, -2 * c / (b + root), (root - b) / (2 * a))
        on_wall = (square >= 0) & ((b > 0) | (a > 0)) & (t < plate)
        return np.where(on_wall, t, plate), on_wall

    def wall_share(self, r: np.ndarray, depth_m: np.ndarray) -> np.ndarray:
        """Share of the wall's way at which places on it lie, 0 at the plate, 1 at the mouth."""
        outward = math.copysign(1.0, self.radius_m - self.rear_m)
        way = outward * (r - self.rear_m) + self.depth_m - depth_m
        return np.asarray(np.clip(way / self.wall_way_m, 0.0, 1.0), float)

    def on_wall(self, share: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(r, depth) of shares of the wall's way."""
        depth = np.linspace(self.depth_m, 0.0, 4096)
        radius = self.wall_m(depth)
        way = self.wall_share(radius, depth)
        return np.interp(share, way, radius), np.interp(share, way, depth)


@dataclass(frozen=True, slots=True)
class Emission:
    """What leaves a mouth, scaled so that the whole is one lumen.

    Attributes
    ----------
    values : (p + w + s, a, b) float32, luminance in cd/m2 per lm. Rows are even radii of the hull's plate (p of them, 0
        where it has none), even shares of the wall's way (w), and even radii of the screen (s, 0 without one). The
        other axes are the direction of the ray: the parts of its unit vector away from the axis and around it, over
        sqrt(1 + its part along the axis), evenly from -1 to 1 and from 0 to 1 (equal areas, equal solid angles).
        Between entries it is linear.
    hull : what rays are followed to.
    plate_rows, screen_rows : p and s.
    screen_depth_m, screen_radius_m : of the disk in front of hull and lamp; 0 without one.
    lamp_depth_m, lamp_radius_m, lamp_luminance : the ball seen where the screen does not hide it; cd/m2 per lm, 0
        where none is seen.
    outline : shape of the mouth, disk, rectangle or octagon; a place on a mouth that is not round stands for the place
        of the round one of the same area that lies at the same share of the way to the edge.
    half_m : (2,) half the width and height of the mouth.
    """

    values: np.ndarray
    hull: Hull
    plate_rows: int
    screen_rows: int
    screen_depth_m: float
    screen_radius_m: float
    lamp_depth_m: float
    lamp_radius_m: float
    lamp_luminance: float
    outline: str
    half_m: np.ndarray

    @property
    def stretch(self) -> tuple[float, float]:
        """Factors along x and y that make a rectangle a square of the same area; directions go with them."""
        wide, high = self.half_m
        return math.sqrt(high / wide), math.sqrt(wide / high)

    @property
    def gain(self) -> float:
        """Radius of the round mouth over half the width of the square, octagon or disk that `stretch` makes."""
        return self.hull.radius_m / math.sqrt(self.half_m[0] * self.half_m[1])

    def walls(self, x: np.ndarray, y: np.ndarray, way: np.ndarray) -> np.ndarray:
        """Luminance (cd/m2 per lm) of what is seen along rays that leave the mouth at (x, y) metres along unit vectors
        `way` (3, ...; z positive), the lamp not counted but hiding what is behind it."""
        return np.where(self.meets_lamp(x, y, way), 0.0, self._inside(*self._round_ray(x, y, way)))

    def lamp(self, x: np.ndarray, y: np.ndarray, way: np.ndarray) -> np.ndarray:
        """Luminance (cd/m2 per lm) of the lamp along the same rays."""
        return self.lamp_luminance * self.meets_lamp(x, y, way)

    def meets_lamp(self, x: np.ndarray, y: np.ndarray, way: np.ndarray) -> np.ndarray:
        """Whether rays come straight from the lamp."""
        if not self.lamp_luminance:
            return np.zeros(np.broadcast_shapes(np.shape(x), np.shape(way[0])), bool)
        along = x * way[0] + y * way[1] + self.lamp_depth_m * way[2]
        off = (x - along * way[0]) ** 2 + (y - along * way[1]) ** 2 + (self.lamp_depth_m - along * way[2]) ** 2
        seen = off < self.lamp_radius_m**2
        if self.screen_rows:
            seen &= self._screen_share(*self._round_ray(x, y, way)) > 1
        return np.asarray(seen)

    def _round_ray(self, x: np.ndarray, y: np.ndarray, way: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """The ray out of the round mouth that a ray out of this one stands for."""
        along, up = self.stretch
        way = np.stack(np.broadcast_arrays(way[0] * along, way[1] * up, way[2]))
        x, y = x * along, y * up
        scale = self.gain * gauge(self.outline, x, y) / np.maximum(np.hypot(x, y), _TINY)
        return x * scale, y * scale, way / np.sqrt((way * way).sum(axis=0))

    def _screen_share(self, x: np.ndarray, y: np.ndarray, way: np.ndarray) -> np.ndarray:
        t = self.screen_depth_m / way[2]
        return np.asarray(np.hypot(x - t * way[0], y - t * way[1]) / self.screen_radius_m, float)

    def _inside(self, x: np.ndarray, y: np.ndarray, way: np.ndarray) -> np.ndarray:
        t, on_wall = self.hull.met(x, y, way)
        r = np.hypot(x - t * way[0], y - t * way[1])
        rows, walls_end = len(self.values), len(self.values) - self.screen_rows
        row = self.plate_rows + self.hull.wall_share(r, t * way[2]) * (walls_end - self.plate_rows - 1)
        first, last = np.full(row.shape, self.plate_rows), np.full(row.shape, walls_end - 1)
        if self.plate_rows:
            plate = np.minimum(r / max(self.hull.rear_m, _TINY), 1) * (self.plate_rows - 1)
            row, first = np.where(on_wall, row, plate), np.where(on_wall, first, 0)
            last = np.where(on_wall, last, self.plate_rows - 1)
        if self.screen_rows:
            share = self._screen_share(x, y, way)
            on = share <= 1
            t = np.where(on, self.screen_depth_m / way[2], t)
            row = np.where(on, walls_end + share * (self.screen_rows - 1), row)
            first, last = np.where(on, walls_end, first), np.where(on, rows - 1, last)
        from_x, from_y = x - t * way[0], y - t * way[1]
        r = np.maximum(np.hypot(from_x, from_y), _TINY)
        scale = 1 / (r * np.sqrt(1 + way[2]))
        outward, around = (from_x * way[0] + from_y * way[1]) * scale, np.abs(from_x * way[1] - from_y * way[0]) * scale
        _, a, b = self.values.shape
        return _linear(self.values, row, first, last, (outward + 1) / 2 * (a - 1), around * (b - 1))


def gauge(outline: str, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Half the width of the disk, square or octagon around the origin on whose edge (x, y) lies."""
    if outline == "disk":
        return np.hypot(x, y)
    edge = np.maximum(np.abs(x), np.abs(y))
    return np.maximum(edge, (np.abs(x) + np.abs(y)) * _DIAGONAL) if outline == "octagon" else edge


def _linear(
    values: np.ndarray, row: np.ndarray, first: np.ndarray, last: np.ndarray, across: np.ndarray, around: np.ndarray
) -> np.ndarray:
    """Entries linear along all three axes, along the first only between rows `first` and `last`."""
    _, a, b = values.shape
    i = np.clip(row.astype(int), first, last - 1)
    j, k = np.clip(across.astype(int), 0, a - 2), np.clip(around.astype(int), 0, b - 2)
    s, t, u = (np.clip(at - whole, 0, 1) for at, whole in ((row, i), (across, j), (around, k)))
    flat = values.ravel()
    total = np.zeros(row.shape)
    for di, ws in ((0, 1 - s), (1, s)):
        for dj, wt in ((0, 1 - t), (1, t)):
            at = ((i + di) * a + j + dj) * b + k
            total += ws * wt * (flat[at] * (1 - u) + flat[at + 1] * u)
    return total
