"""Tubes: the strip that stands for one while its light is sampled, and where rays meet its side. The ends are dark."""

from __future__ import annotations

from dataclasses import dataclass, replace

import drjit as dr
import mitsuba as mi

from .luminaire import TUBE
from .types import Luminaire

_CLOSEST = 1e-6
_NEAR_TUBE = 0.1  # keeps the strip finite for a point that touches the tube; scattered rays find what it leaves out


@dataclass
class Axes:
    """The fixture's axes as a point sees them: a tube turns its strip toward the point."""

    right: mi.Vector3f
    up: mi.Vector3f
    forward: mi.Vector3f


def axes_toward(light: Luminaire, origin: mi.Point3f) -> Axes:
    """Axes of the light as `origin` sees it."""
    away = origin - light.centre
    across = away - light.right * dr.dot(away, light.right)
    facing = across * dr.rcp(dr.maximum(dr.norm(across), _CLOSEST))
    tube = light.kind == TUBE
    return Axes(
        right=light.right,
        up=mi.Vector3f(dr.select(tube, dr.cross(facing, light.right), light.up)),
        forward=mi.Vector3f(dr.select(tube, facing, light.forward)),
    )


def seen_from(light: Luminaire, origin: mi.Point3f) -> Luminaire:
    """The light with the strip that a tube shows `origin`, in the plane of its axis: as wide as the rays that graze the
    tube are apart there, which up close is more than its diameter, and as long as those past its near ends."""
    away = origin - light.centre
    along = dr.dot(away, light.right)
    across = dr.maximum(dr.norm(away - light.right * along), _CLOSEST)
    radius, length = light.half_height, light.half_width
    half = radius * dr.rsqrt(dr.maximum(1 - dr.square(radius / across), _NEAR_TUBE))
    longer = dr.rcp(dr.maximum(1 - radius / across, _NEAR_TUBE)) - 1
    reach = length + longer * (length + dr.abs(along))
    tube = light.kind == TUBE
    return replace(
        light,
        half_width=dr.select(tube, reach, length),
        half_height=dr.select(tube, half, radius),
        area=dr.select(tube, 4 * reach * half, light.area),
    )


def to_mantle(light: Luminaire, local: mi.Vector3f, toward: mi.Vector3f) -> mi.Float:
    """Distance from `local` along `toward`, both in `axes_toward`, to the side of a tube; infinite where the ray misses
    it or meets an end."""
    a = dr.maximum(dr.square(toward.y) + dr.square(toward.z), _CLOSEST**2)
    b = local.z * toward.z
    root2 = dr.square(b) - a * (dr.square(local.z) - dr.square(light.half_height))
    distance = (-b - dr.safe_sqrt(root2)) / a
    met = (root2 >= 0) & (distance > 0) & (dr.abs(local.x + toward.x * distance) <= light.half_width)
    return dr.select(met, distance, dr.inf)
