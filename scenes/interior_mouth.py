"""The inside of a modifier, traced into the table of what leaves its mouth: `Emission`.

Every entry is a mean over rays that leave a small area of the hull within a small cone, followed back from the mouth
through the real inside up to the first reflection. What came by more of them is gathered by the rings that they meet
(`interior_gather`), for linings whose lobes are some degrees wide. Rays that the lamp or the screen would stop are left
out, and entries without any ray take what stands beside them; where lamp and screen stand is told exactly when the
table is read.
"""

from __future__ import annotations

import functools
import math
from dataclasses import replace

import numpy as np

from .emission import Emission, Hull, gauge
from .interior import Interior, body_of, sent_by_rings
from .interior_gather import Gathered
from .interior_rays import OUTSIDE, Body, Rays, follow_each, turned
from .interior_store import Record, kept
from .interior_surfaces import around

PLATE_ROWS, WALL_ROWS, SCREEN_ROWS = 10, 28, 8
"""Entries along the plate, the wall, and the screen."""

OUTWARD, AROUND = 27, 14
"""Entries of directions: away from the axis and around it."""

SAMPLES, SAMPLES_RING = 32, 512
"""Rays an entry, and a side of a ring of the surfaces. Powers of two."""

EACH = 4
"""One ray of so many asks for the light of several reflections, which varies less from place to place."""

SAMPLES_FLUX = 1 << 17
"""Rays that tell how much leaves the mouth."""

FITS = 2
"""Steps of the fit of the table to the rays: one gives means over neighbours, more come nearer to least squares."""

FLAT = 1e-3
"""Plates narrower than this share of the mouth count as none."""

UNLIKE = 2e-3
"""Lumens per lumen that a shadow on the lamp's own light may be off, else the lamp goes into the table."""

_NUMBERS = 13  # of a record, beside the table
_HALF_RANGE = 1024.0  # where the largest entry lies in half precision: far from its ends
_TINY = 1e-30
_FLATTEST = 1e-4
_SUPPORTED = 0.1  # share of the rays of a full entry from which one counts as known


def _traced(interior: Interior) -> tuple[float, Emission]:
    """Lumens through the round mouth for one of the lamp, and its emission."""
    hull, screen = hull_of(interior), _screen(interior)
    body = body_of(interior)
    lamp_lm, told = _lamp_flux(body, hull.radius_m, screen)
    lamp = (-interior.lamp.z_m, interior.lamp.radius_m, body.luminance if told and lamp_lm > 0 else 0.0)
    plate = PLATE_ROWS if hull.rear_m > FLAT * hull.radius_m else 0
    rows = (plate, SCREEN_ROWS if screen[1] else 0)
    values = _table(body, hull, screen, *rows, sees_lamp=not told)
    emission = Emission(values, hull, *rows, *screen, *lamp, "disk", np.full(2, hull.radius_m))
    flux = _walls_flux(emission) + (lamp_lm if told else 0.0)
    return flux, emission


def mouth(interior: Interior, outline: str, size_m: np.ndarray) -> tuple[float, Emission]:
    """Lumens through the mouth for one of the lamp, and how they leave it; traced once and kept.

    Parameters
    ----------
    interior : a body of revolution without a sheet across its exit.
    outline, size_m : shape of the mouth (disk, rectangle or octagon) and its width and height, metres. One that is not
        round is taken to send out what the round one does; see `Emission.outline`.
    """
    wide, high = (float(side) for side in size_m)
    return _kept_mouth(interior, outline, wide, high)


@functools.lru_cache(maxsize=256)
def _kept_mouth(interior: Interior, outline: str, wide_m: float, high_m: float) -> tuple[float, Emission]:
    size = np.array([wide_m, high_m])
    record = kept(interior, (outline, wide_m, high_m), _NUMBERS, lambda: _packed(*trace_mouth(interior, outline, size)))
    flux, radius, depth, slope, bend, plate, screen, *told = map(float, record.numbers)
    screen_depth, screen_radius, lamp_depth, lamp_radius, lamp, scale = told
    values = (record.table.astype(np.float32) * np.float32(scale)).reshape(-1, OUTWARD, AROUND)
    values.setflags(write=False)
    made = Emission(
        values, Hull(radius, depth, slope, bend), int(plate), int(screen), screen_depth, screen_radius, lamp_depth,
        lamp_radius, lamp, outline, size / 2,
    )  # fmt: skip
    return flux, made


def _packed(flux: float, made: Emission) -> Record:
    """All of it but what `mouth` is asked with; the table in half precision (1 part in 2000), about its largest."""
    scale = max(float(made.values.max()), _TINY) / _HALF_RANGE
    numbers = [
        flux, made.hull.radius_m, made.hull.depth_m, made.hull.slope_m, made.hull.bend, made.plate_rows,
        made.screen_rows, made.screen_depth_m, made.screen_radius_m, made.lamp_depth_m, made.lamp_radius_m,
        made.lamp_luminance, scale,
    ]  # fmt: skip
    return Record(np.array(numbers, float), (made.values / scale).astype(np.float16).ravel())


def trace_mouth(interior: Interior, outline: str, size_m: np.ndarray) -> tuple[float, Emission]:
    """What `mouth` gives, to full precision.

    Raises
    ------
    ValueError
        When no light leaves.
    """
    flux, round_ = _traced(interior)
    if not flux > 0:
        raise ValueError("no light leaves this inside")
    half = np.asarray(size_m, float) / 2
    made = replace(round_, lamp_luminance=round_.lamp_luminance / flux, outline=outline, half_m=half)
    lamp_lm = _lamp_share(made) if made.lamp_luminance else 0.0
    walls = _walls_flux(made)
    scale = (1 - lamp_lm / flux) / walls if walls > 0 else 0.0
    return flux, replace(made, values=(round_.values * scale).astype(np.float32))


def hull_of(interior: Interior) -> Hull:
    """The hull that comes nearest to the outermost walls."""
    radius = interior.exit_radius_m
    depths = [-z for w in interior.walls for z in (w.z0_m, w.z1_m)]
    depth = max(*depths, -interior.lamp.z_m, 1e-3 * radius) if depths else radius
    z = -np.linspace(0, depth, 65)
    outermost = np.zeros(z.shape)
    for w in interior.walls:
        if w.z0_m != w.z1_m:
            within = (z >= min(w.z0_m, w.z1_m)) & (z <= max(w.z0_m, w.z1_m))
            outermost[within] = np.maximum(outermost[within], w.radius_m(z[within]))
    known = outermost > 0
    rear = float(outermost[known][-1]) if known.any() else radius
    across = (rear**2 - radius**2) / depth
    # r^2 = radius^2 - across z + bend (z^2 + depth z), which passes through both ends
    along, term = z[known], z[known] ** 2 + depth * z[known]
    bend = float(term @ (outermost[known] ** 2 - radius**2 + across * along) / max(float(term @ term), 1e-30))
    hull = Hull(radius, depth, bend * depth - across, bend)
    inner = hull.wall_m(-z)[1:]
    return hull if known.any() and inner.min() > 0 else Hull(radius, depth, -across, 0.0)


def _screen(interior: Interior) -> tuple[float, float]:
    """Depth and radius of the largest disk across the axis in front of the lamp; zeros without one."""
    disks = [(-w.z0_m, max(w.r0_m, w.r1_m)) for w in interior.walls if w.z0_m == w.z1_m and min(w.r0_m, w.r1_m) == 0]
    disks += [(-s.z_m, s.radius_m) for s in interior.sheets]
    front = -interior.lamp.z_m - interior.lamp.radius_m
    hanging = [disk for disk in disks if 0 < disk[0] <= front]
    return max(hanging, key=lambda disk: disk[1], default=(0.0, 0.0))


def _lamp_flux(body: Body, exit_radius_m: float, screen: tuple[float, float]) -> tuple[float, bool]:
    """Lumens that leave straight from the lamp, and whether the screen alone tells which rays do."""
    x, y, z, way = _from_lamp(body.lamp_z_m, body.lamp_radius_m)
    reach = (OUTSIDE * exit_radius_m - z) / way[2]
    leaves = np.hypot(x + reach * way[0], y + reach * way[1]) <= exit_radius_m
    if screen[1]:
        there = (-screen[0] - z) / way[2]
        leaves &= np.hypot(x + there * way[0], y + there * way[1]) > screen[1]
    told = leaves.mean()
    r, turned_way = turned(x[leaves], y[leaves], way[:, leaves])
    free = body.nearest(r, z[leaves], turned_way)[0] > reach[leaves]
    seen = float(free.sum() / len(leaves))
    if seen == 0:
        return 0.0, True
    return seen, abs(float(told) - seen) <= UNLIKE


def _from_lamp(z_m: float, radius_m: float) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Places (x, y, z) on the lamp and directions (3, n) of its light; those that go back do so with z near 0."""
    rays = Rays.of(np.array([SAMPLES_FLUX]))
    up = np.array([[0.0], [0.0], [1.0]])
    out = around(up, np.abs(2 * rays.number(0) - 1), rays.number(1))
    out[2] *= np.where(rays.number(0) < 0.5, -1.0, 1.0)
    flip = np.where(out[2] < 0, -1.0, 1.0)
    way = around(out * flip, np.sqrt(rays.number(2)), rays.number(3)) * flip
    way[2] = np.where(way[2] > 1e-9, way[2], 1e-9)
    x, y, z = out * radius_m
    return x, y, z + z_m, way


def _lamp_share(emission: Emission) -> float:
    """Lumens that leave a mouth straight from the lamp, for one of the lamp."""
    x, y, z, way = _from_lamp(-emission.lamp_depth_m, emission.lamp_radius_m)
    p, q = x - z / way[2] * way[0], y - z / way[2] * way[1]
    leaves = gauge(emission.outline, p / emission.half_m[0], q / emission.half_m[1]) <= 1
    return float((leaves & emission.meets_lamp(p, q, way)).mean())


def _walls_flux(emission: Emission) -> float:
    """Lumens that leave the mouth but for the lamp's own, as the table has them."""
    rays = Rays.of(np.array([SAMPLES_FLUX]))
    wide, high = emission.half_m
    if emission.outline == "disk":
        r, at = wide * np.sqrt(rays.number(2)), 2 * math.pi * rays.number(3)
        x, y, area = r * np.cos(at), r * np.sin(at), math.pi * wide * wide
    else:
        x, y, area = wide * (2 * rays.number(2) - 1), high * (2 * rays.number(3) - 1), 4 * wide * high
    on = gauge(emission.outline, x / wide, y / high) <= 1
    # ways are even over the cosine, or come from a disk at the lamp's depth, more of them the nearer to the lamp
    depth, reach, turn = emission.lamp_depth_m, emission.hull.radius_m, 2 * math.pi * rays.number(1)
    sine = np.sqrt(rays.number(0))
    even = np.array([sine * np.cos(turn), sine * np.sin(turn), np.sqrt(np.maximum(1 - sine**2, 1e-12))])
    r = reach * rays.number(0) ** 2
    near = np.array([x - r * np.cos(turn), y - r * np.sin(turn), np.full(r.shape, depth)])
    way = np.where(rays.number(4) < 0.5, near / np.sqrt((near * near).sum(axis=0)), even)
    from_axis = np.maximum(np.hypot(x - depth / way[2] * way[0], y - depth / way[2] * way[1]), _TINY)
    dense = np.where(from_axis < reach, 1 / (4 * math.pi * np.sqrt(reach) * from_axis**1.5), 0.0)
    density = (1 / math.pi + dense * depth**2 / way[2] ** 4) / 2
    return float((emission.walls(x, y, way) * on / density).mean()) * area


def _table(
    body: Body, hull: Hull, screen: tuple[float, float], plate_rows: int, screen_rows: int, sees_lamp: bool
) -> np.ndarray:
    """Luminance (rows, outward, around) per lumen of the lamp, fitted to that of rays by least squares."""
    walls_end = plate_rows + WALL_ROWS
    shape = (walls_end + screen_rows, OUTWARD, AROUND)
    ends = [part for part in ((0, plate_rows), (plate_rows, walls_end), (walls_end, shape[0])) if part[0] < part[1]]
    cells = np.concatenate([np.arange(first, end - 1) for first, end in ends])
    rays = Rays.of(np.full(len(cells) * (OUTWARD - 1) * (AROUND - 1), SAMPLES))
    whole = np.unravel_index(rays.group, (len(cells), OUTWARD - 1, AROUND - 1))
    share = np.array([rays.number(k) for k in range(3)])
    row, across, around_axis = cells[whole[0]] + share[0], whole[1] + share[1], whole[2] + share[2]

    r, depth = hull.on_wall((row - plate_rows) / (WALL_ROWS - 1))
    if plate_rows:
        on_plate = row < plate_rows
        r = np.where(on_plate, row / (plate_rows - 1) * hull.rear_m, r)
        depth = np.where(on_plate, hull.depth_m, depth)
    on_screen = row >= walls_end
    if screen_rows:
        r = np.where(on_screen, (row - walls_end) / (screen_rows - 1) * screen[1], r)
        depth = np.where(on_screen, screen[0], depth)
    out = np.array([2 * across / (OUTWARD - 1) - 1, around_axis / (AROUND - 1)])
    square = (out * out).sum(axis=0)
    out, up = out * np.sqrt(np.maximum(2 - square, 0)), np.maximum(1 - square, _FLATTEST)
    x, y = r + depth / up * out[0], depth / up * out[1]
    leaves = (square < 1 - _FLATTEST) & (np.hypot(x, y) <= hull.radius_m)
    if screen_rows:
        s = screen[0] / up
        leaves &= on_screen | (depth <= screen[0]) | (np.hypot(x - s * out[0], y - s * out[1]) > screen[1])
    rays.r, rays.way = turned(x, y, -np.array([*out, up]))
    rays.z = np.full(r.shape, OUTSIDE * hull.radius_m)
    if not sees_lamp:
        leaves &= ~_meets_lamp_first(body, rays)

    rays = rays.only(leaves)
    found, met = follow_each(body, rays, sees_lamp=sees_lamp, reflections=1)
    gathered = Gathered.by(body, met.ring)
    sent = sent_by_rings(body, np.concatenate([met.ring, gathered.met.ring]), SAMPLES_RING)
    places = np.array([row[leaves], across[leaves], around_axis[leaves]])
    some = rays.index % EACH == 0
    once = _fitted(ends, shape, places, found + met.sums(len(found), sent))
    return once + _fitted(ends, shape, places[:, some], gathered.sent_on(body, rays.only(some), sent))


def _fitted(
    ends: list[tuple[int, int]],
    shape: tuple[int, int, int],
    at: np.ndarray,
    found: np.ndarray,
) -> np.ndarray:
    """The table, linear between its entries, that comes near to what was `found` (n,) at places (3, n).

    Parameters
    ----------
    ends : first row, and the row after the last, of every part of the table.
    """
    low = [np.minimum(np.floor(part).astype(int), size - 2) for part, size in zip(at, shape, strict=True)]
    places, shares = [], []
    for corner in np.ndindex(2, 2, 2):
        places.append(np.ravel_multi_index([part + step for part, step in zip(low, corner, strict=True)], shape))
        ways = [part - first if step else 1 - part + first for part, first, step in zip(at, low, corner, strict=True)]
        shares.append(np.prod(ways, axis=0))
    place, share = np.array(places), np.array(shares)
    amount = np.bincount(place.ravel(), share.ravel(), math.prod(shape))
    known = amount > _SUPPORTED * amount.max()
    values, left = np.zeros(math.prod(shape)), found
    for turn in range(FITS):
        step = np.bincount(place.ravel(), (share * left).ravel(), len(values)) / np.maximum(amount, 1e-9)
        values = np.maximum(values + np.where(known, step, 0.0), 0.0)
        if turn == 0:
            table = np.where(known, values, np.nan).reshape(shape)
            values = np.concatenate([_filled(table[first:end]) for first, end in ends]).ravel()
        left = found - (values[place] * share).sum(axis=0)
    return values.reshape(shape)


def _filled(values: np.ndarray) -> np.ndarray:
    """A table whose unknown entries (not finite) take the mean of known neighbours, from the known ones outward."""
    values = values.copy()
    while not np.isfinite(values).all():
        known = np.pad(np.isfinite(values), 1)
        padded = np.pad(np.where(np.isfinite(values), values, 0.0), 1)
        total, count = np.zeros(values.shape), np.zeros(values.shape)
        for axis in range(values.ndim):
            for step in (-1, 1):
                part = tuple(slice(None) if k == axis else slice(1, -1) for k in range(values.ndim))
                total += np.roll(padded, step, axis)[part].take(range(1, values.shape[axis] + 1), axis)
                count += np.roll(known, step, axis)[part].take(range(1, values.shape[axis] + 1), axis)
        if not count.any():
            return np.zeros(values.shape)
        new = ~np.isfinite(values) & (count > 0)
        values[new] = total[new] / count[new]
    return values


def _meets_lamp_first(body: Body, rays: Rays) -> np.ndarray:
    """Which rays meet the lamp before anything else."""
    distance = body.lamp_m(rays.r, rays.z, rays.way)
    met = np.isfinite(distance)
    met[met] = body.nearest(rays.r[met], rays.z[met], rays.way[:, met])[0] > distance[met]
    return met
