"""Directions toward a mouth: some of them go to the bare lamp in it, most of the others over its hot spot."""

from __future__ import annotations

import drjit as dr
import mitsuba as mi

from .beam import is_flat
from .hot_spot import RINGS
from .luminaire import DISK
from .mouth import lamp_showing
from .types import Luminaire

_CLOSEST = 1e-6


def in_rings(light: Luminaire, first: mi.UInt32, u: mi.Float) -> tuple[mi.Float, mi.Float]:
    """Squared radius of a sample by the table of rings that begins at `first`, relative, and its density likewise."""
    ring = mi.UInt32(0)
    step = RINGS // 2
    while step:  # a binary search, unrolled
        below = dr.gather(mi.Float, light.tables, first + ring + step)
        ring = dr.select(below <= u, ring + step, ring)
        step //= 2
    low, high = dr.gather(mi.Float, light.tables, first + ring), dr.gather(mi.Float, light.tables, first + ring + 1)
    share = dr.maximum(high - low, 1e-7)
    return (mi.Float(ring) + dr.clip((u - low) / share, 0, 1)) / RINGS, share * RINGS


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


def on_spot(light: Luminaire, local: mi.Vector3f, u: mi.Float, v: mi.Float) -> tuple[mi.Float, mi.Float]:
    """Point of the exit's plane through which `local` sees a sample of the hot spot."""
    shrink = _spot_shrink(light, local)
    radius = shrink * light.mouth.radius * dr.sqrt(in_rings(light, light.mouth.hot, u)[0])
    sine, cosine = dr.sincos(2 * dr.pi * v)
    return local.x * (1 - shrink) + radius * cosine, local.y * (1 - shrink) + radius * sine


def spot_density(light: Luminaire, local: mi.Vector3f, x: mi.Float, y: mi.Float) -> mi.Float:
    """Density over the exit's area (1/m2) with which `on_spot` gives the point (x, y)."""
    shrink = _spot_shrink(light, local)
    radius = shrink * light.mouth.radius
    square = (dr.square(x - local.x * (1 - shrink)) + dr.square(y - local.y * (1 - shrink))) / dr.square(radius)
    ring = light.mouth.hot + dr.minimum(mi.UInt32(dr.minimum(square, 1) * RINGS), RINGS - 1)
    share = dr.gather(mi.Float, light.tables, ring + 1) - dr.gather(mi.Float, light.tables, ring)
    return dr.select(square < 1, share * RINGS / (dr.pi * dr.square(radius)), 0)
