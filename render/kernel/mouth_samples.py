"""Directions toward a mouth: some of them go to the bare lamp in it, most of the others over its hot spot."""

from __future__ import annotations

import math

import drjit as dr
import mitsuba as mi

from .beam import is_flat
from .hot_spot import RINGS, SECTORS, STEP_DEG, STEPS, STRIDE
from .luminaire import DISK
from .mouth import lamp_showing
from .types import Luminaire

_CLOSEST = 1e-6


def in_rings(light: Luminaire, first: mi.UInt32, u: mi.Float) -> tuple[mi.Float, mi.Float]:
    """Squared radius of a sample by the table of rings that begins at `first`, relative, and its density likewise."""
    return _drawn(light, first, RINGS, u, mi.Bool(True))


def _drawn(light: Luminaire, first: mi.UInt32, count: int, u: mi.Float, there: mi.Bool) -> tuple[mi.Float, mi.Float]:
    """A number from 0 to 1 by the `count` + 1 rising numbers of the table that begins at `first`, where it is
    `there`, and its density."""
    cell = mi.UInt32(0)
    step = count // 2
    while step:  # a binary search, unrolled
        below = dr.gather(mi.Float, light.tables, first + cell + step, there)
        cell = dr.select(below <= u, cell + step, cell)
        step //= 2
    low = dr.gather(mi.Float, light.tables, first + cell, there)
    share = dr.maximum(dr.gather(mi.Float, light.tables, first + cell + 1, there) - low, 1e-7)
    return (mi.Float(cell) + dr.clip((u - low) / share, 0, 1)) / count, share * count


def _density_in(
    light: Luminaire, first: mi.UInt32, count: int, at: mi.Float, there: mi.Bool
) -> tuple[mi.UInt32, mi.Float]:
    """The cell in which `_drawn` gives a number, and its density there."""
    cell = dr.select(there, dr.minimum(mi.UInt32(dr.clip(at, 0, 1) * count), count - 1), 0)
    above = dr.gather(mi.Float, light.tables, first + cell + 1, there)
    return cell, (above - dr.gather(mi.Float, light.tables, first + cell, there)) * count


def share_to_lamp(light: Luminaire, local: mi.Vector3f) -> mi.Float:
    """Share of the samples that go from `local` (fixture axes) to the lamp in a mouth; none where it is hidden."""
    lamp = light.mouth.lamp_depth + light.source_depth
    from_lamp = mi.Vector3f(local.x, local.y, dr.maximum(local.z, _CLOSEST) + lamp)
    exit_x, exit_y = dr.abs(local.x) * lamp / from_lamp.z, dr.abs(local.y) * lamp / from_lamp.z
    wide, high = light.half_width + light.mouth.lamp_radius, light.half_height + light.mouth.lamp_radius
    out = dr.select(
        light.kind == DISK,
        dr.square(exit_x) + dr.square(exit_y) > dr.square(wide),
        (exit_x > wide) | (exit_y > high),
    )
    shows = is_flat(light) & (local.z > 0) & ~out
    return dr.select(shows, light.mouth.lamp_share * lamp_showing(light.mouth, from_lamp), 0)


def share_to_spot(light: Luminaire, local: mi.Vector3f) -> mi.Float:
    """Share of the other samples that are drawn over the hot spot of a mouth."""
    return dr.select(is_flat(light) & (local.z > 0), light.mouth.hot_share, 0)


def _spot_shrink(light: Luminaire, local: mi.Vector3f) -> mi.Float:
    """Size at the exit of what lies in the plane of the hot spot, as a point at `local` sees it."""
    height = dr.maximum(local.z, _CLOSEST)
    return height / (height + light.source_depth + light.mouth.hot_depth)


def _toward(light: Luminaire, local: mi.Vector3f) -> tuple[mi.UInt32, mi.Float, mi.Float]:
    """The table of the hot spot for the angle off the axis at which `local` lies, and its side, a unit vector."""
    off = dr.sqrt(dr.square(local.x) + dr.square(local.y))
    height = dr.maximum(local.z, _CLOSEST) + light.source_depth + light.mouth.hot_depth
    step = dr.minimum(mi.UInt32(dr.atan2(off, height) / math.radians(STEP_DEG) + 0.5), STEPS - 1)
    some = off > _CLOSEST
    scale = dr.rcp(dr.maximum(off, _CLOSEST))
    return light.mouth.hot + step * STRIDE, dr.select(some, local.x * scale, 1), dr.select(some, local.y * scale, 0)


def on_spot(light: Luminaire, local: mi.Vector3f, u: mi.Float, v: mi.Float) -> tuple[mi.Float, mi.Float]:
    """Point of the exit's plane through which `local` sees a sample of the hot spot."""
    shrink = _spot_shrink(light, local)
    there = light.mouth.hot_share > 0
    first, side_x, side_y = _toward(light, local)
    square = _drawn(light, first, RINGS, u, there)[0]
    ring = dr.minimum(mi.UInt32(square * RINGS), RINGS - 1)
    turn = dr.pi * _drawn(light, _sectors(first, ring), SECTORS, dr.abs(2 * v - 1), there)[0]
    sine, cosine = dr.sincos(dr.select(v < 0.5, -turn, turn))
    radius = shrink * light.mouth.radius * dr.sqrt(square)
    x, y = radius * (cosine * side_x - sine * side_y), radius * (cosine * side_y + sine * side_x)
    return local.x * (1 - shrink) + x, local.y * (1 - shrink) + y


def spot_density(light: Luminaire, local: mi.Vector3f, x: mi.Float, y: mi.Float) -> mi.Float:
    """Density over the exit's area (1/m2) with which `on_spot` gives the point (x, y)."""
    shrink = _spot_shrink(light, local)
    there = light.mouth.hot_share > 0
    first, side_x, side_y = _toward(light, local)
    radius = shrink * light.mouth.radius
    off_x, off_y = x - local.x * (1 - shrink), y - local.y * (1 - shrink)
    square = (dr.square(off_x) + dr.square(off_y)) / dr.square(radius)
    ring, of_ring = _density_in(light, first, RINGS, square, there)
    turn = dr.abs(dr.atan2(off_y * side_x - off_x * side_y, off_x * side_x + off_y * side_y)) / dr.pi
    of_sector = _density_in(light, _sectors(first, ring), SECTORS, turn, there)[1]
    return dr.select(there & (square < 1), of_ring * of_sector / (dr.pi * dr.square(radius)), 0)


def _sectors(first: mi.UInt32, ring: mi.UInt32) -> mi.UInt32:
    return first + (RINGS + 1) + ring * (SECTORS + 1)
