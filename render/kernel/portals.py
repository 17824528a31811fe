"""The ways by which light from outside gets into a room: windows and open sides.

From inside, directions toward surroundings and skies are chosen through them alone: an opening by about the solid angle
it fills, then a point on it evenly. Scattered rays that go out by themselves are weighted against that, so where this
choice is poor, as on a sill, they take over. Some of the scattered rays are sent that way too, through the inner edge:
reveals, blinds and what is lit outside are far brighter than the room, and few rays would find them.
"""

from __future__ import annotations

from dataclasses import dataclass

import drjit as dr
import mitsuba as mi
import numpy as np

from scenes.stage import Openings

from .beam import emitted
from .buffers import buffer
from .frames import to_local
from .luminaire import AMBIENT, FAR_M, SUN
from .rods import axes_toward
from .toward import arriving, sample_light
from .types import LightSample, Luminaire

_ROW = 16
_SLACK_M = 0.005
_EVEN_SHARE = 0.05  # of the choice that falls on all openings alike
_LEAST = 1e-9
GUIDED = 0.25  # of the scattered rays, where light comes from outside


@dataclass
class Portals:
    """Device table of openings, 16 numbers each, how many there are (opaque), and the corners of the room."""

    table: mi.Float
    count: mi.UInt32
    low: mi.Point3f
    high: mi.Point3f


@dataclass
class Choice:
    """An opening chosen for a point: its index, the probability, and the random number that is left over; `inside` says
    whether the point is in the room or one of its reveals, and `total` is the sum of all weights."""

    index: mi.UInt32
    weight: mi.Float
    left: mi.Float
    inside: mi.Bool
    total: mi.Float


def upload_portals(openings: Openings | None) -> Portals:
    """Device table of the openings of a room; none for an open location or a closed room."""
    ways = () if openings is None else openings.ways
    rows = np.zeros((max(len(ways), 1), _ROW), np.float32)
    for row, way in zip(rows, ways, strict=False):
        row[0:3], row[4:7], row[8:11], row[12:15] = way.centre_m, way.right, way.up, way.inward
        row[3], row[7], row[11] = way.size_m[0] / 2, way.size_m[1] / 2, way.depth_m
    low, high = (np.zeros(3), np.zeros(3)) if openings is None else (openings.low_m, openings.high_m)
    portals = Portals(
        buffer(rows), dr.opaque(mi.UInt32, len(ways)), mi.Point3f(*map(float, low)),
        mi.Point3f(*map(float, high)),
    )  # fmt: skip
    dr.make_opaque(portals.low, portals.high)
    return portals


def _row(portals: Portals, index: mi.UInt32) -> list:
    return [dr.gather(mi.Vector4f, portals.table, index * (_ROW // 4) + k) for k in range(_ROW // 4)]


def _weight(rows: list, local: mi.Vector3f) -> mi.Float:
    """About the solid angle of an opening from a point at `local` in its axes; 0 from outside."""
    area = 4 * rows[0].w * rows[1].w
    apart2 = dr.squared_norm(local) + area * 0.16
    return dr.select(local.z > 0, area * (local.z * dr.rcp(dr.sqrt(apart2)) + _EVEN_SHARE) / apart2, 0)


def _in_reveal(rows: list, local: mi.Vector3f, inner: bool) -> mi.Bool:
    """Whether a point is between an opening's edges, where the inner one is no way out."""
    across = (dr.abs(local.x) <= rows[0].w + _SLACK_M) & (dr.abs(local.y) <= rows[1].w + _SLACK_M)
    return across & (local.z > 0) & (local.z <= rows[2].w + _SLACK_M) & mi.Bool(not inner)


def _in_room(portals: Portals, point: mi.Point3f) -> mi.Bool:
    above, below = point - portals.low, portals.high - point
    return (dr.min(above) >= -_SLACK_M) & (dr.min(below) >= -_SLACK_M)


def _seen_from(rows: list, point: mi.Point3f, inner: bool) -> mi.Vector3f:
    """A point in the axes of an opening, from its outer edge, or from its inner one."""
    local = to_local(point - rows[0].xyz, rows[1].xyz, rows[2].xyz, rows[3].xyz)
    return mi.Vector3f(local.x, local.y, local.z - rows[2].w) if inner else local


@dr.syntax
def choose(portals: Portals, point: mi.Point3f, u: mi.Float, inner: bool) -> Choice:
    """Choose one opening for each point, by its outer edge or by its inner one."""
    index = mi.UInt32(0)
    inside = _in_room(portals, point)
    chosen = Choice(mi.UInt32(0), mi.Float(0), mi.Float(u), mi.Bool(inside), mi.Float(0))
    while dr.hint(index < portals.count, exclude=[portals, point, inner], label="openings"):
        rows = _row(portals, index)
        local = _seen_from(rows, point, inner)
        weight = _weight(rows, local)
        chosen.total += weight
        share = weight * dr.rcp(dr.maximum(chosen.total, _LEAST))
        take = (weight > 0) & (chosen.left < share)
        chosen.index = dr.select(take, index, chosen.index)
        chosen.weight = dr.select(take, weight, chosen.weight)
        chosen.left = dr.select(
            take, chosen.left / share, (chosen.left - share) * dr.rcp(dr.maximum(1 - share, _LEAST))
        )
        chosen.inside |= _in_reveal(rows, local, inner)
        index += 1
    chosen.left = dr.clip(chosen.left, 0, dr.one_minus_epsilon(mi.Float))
    return chosen


@dr.syntax
def density(portals: Portals, point: mi.Point3f, direction: mi.Vector3f, inner: bool) -> tuple[mi.Bool, mi.Float]:
    """Whether directions from a point are chosen through the openings, and with which density (1/sr) this one is."""
    index = mi.UInt32(0)
    inside = mi.Bool(_in_room(portals, point))
    total, met = mi.Float(0), mi.Float(0)
    while dr.hint(index < portals.count, exclude=[portals, point, direction, inner], label="openings, density"):
        rows = _row(portals, index)
        local = _seen_from(rows, point, inner)
        ray = to_local(direction, rows[1].xyz, rows[2].xyz, rows[3].xyz)
        weight = _weight(rows, local)
        reach = -local.z / dr.select(dr.abs(ray.z) < _LEAST, _LEAST, ray.z)
        x, y = local.x + ray.x * reach, local.y + ray.y * reach
        through = (ray.z < 0) & (local.z > 0) & (dr.abs(x) <= rows[0].w) & (dr.abs(y) <= rows[1].w)
        by_area = dr.square(reach) * dr.rcp(dr.maximum(-ray.z, _LEAST) * 4 * rows[0].w * rows[1].w)
        met += dr.select(through, weight * by_area, 0)
        total += weight
        inside |= _in_reveal(rows, local, inner)
        index += 1
    return inside & (total > 0), met * dr.rcp(dr.maximum(total, _LEAST))


def _toward(rows: list, choice: Choice, origin: mi.Point3f, v: mi.Float, inner: bool) -> tuple[mi.Vector3f, mi.Float]:
    """Direction and distance to a point of the chosen opening."""
    x, y = (2 * choice.left - 1) * rows[0].w, (2 * v - 1) * rows[1].w
    place = mi.Point3f(rows[0].xyz) + rows[1].xyz * x + rows[2].xyz * y
    if inner:
        place = place + rows[3].xyz * rows[2].w
    to_way = place - origin
    reach = dr.maximum(dr.norm(to_way), _LEAST)
    return mi.Vector3f(to_way * dr.rcp(reach)), reach


def guided_direction(
    light: Luminaire, portals: Portals, point: mi.Point3f, direction: mi.Vector3f,
    u_way: mi.Float, u: mi.Float, v: mi.Float,
) -> mi.Vector3f:  # fmt: skip
    """The scattered `direction`, or, for a share `GUIDED` of the rays by `u_way`, one toward an opening."""
    choice = choose(portals, point, u, True)
    toward, _ = _toward(_row(portals, choice.index), choice, point, v, True)
    takes = _from_outside(light) & choice.inside & (choice.total > 0) & (u_way < GUIDED)
    return mi.Vector3f(dr.select(takes, toward, direction))


def guided_density(
    light: Luminaire, portals: Portals, point: mi.Point3f, direction: mi.Vector3f, pdf: mi.Float
) -> mi.Float:
    """Density with which scattering gives a direction (1/sr), where the surface alone gives it with `pdf`."""
    able, through = density(portals, point, direction, True)
    return dr.select(_from_outside(light) & able, dr.lerp(pdf, through, GUIDED), pdf)


def _from_outside(light: Luminaire) -> mi.Bool:
    return (light.kind == AMBIENT) | (light.kind == SUN)


def sample_source(
    light: Luminaire, portals: Portals, origin: mi.Point3f, normal: mi.Vector3f, u: mi.Float, v: mi.Float
) -> LightSample:
    """`sample_light`, but surroundings and skies seen from inside a room are sampled through its openings."""
    plain = sample_light(light, origin, normal, u, v)
    choice = choose(portals, origin, u, False)
    rows = _row(portals, choice.index)
    direction, reach = _toward(rows, choice, origin, v, False)
    facing = -dr.dot(direction, rows[3].xyz)
    probability = choice.weight * dr.rcp(dr.maximum(choice.total, _LEAST))
    pdf = probability * dr.square(reach) * dr.rcp(dr.maximum(facing, _LEAST) * 4 * rows[0].w * rows[1].w)
    pdf = dr.select((facing > 0) & (choice.weight > 0), pdf, 0)
    axes = axes_toward(light, origin)
    leaving = -to_local(direction, axes.right, axes.up, axes.forward)
    radiance = emitted(light, mi.Float(0), mi.Float(0), leaving)
    through = (light.kind == AMBIENT) & choice.inside & (choice.total > 0)
    return LightSample(
        direction=mi.Vector3f(dr.select(through, direction, plain.direction)),
        distance=dr.select(through, FAR_M, plain.distance),
        weight=dr.select(through, dr.select(pdf > 0, radiance / pdf, 0), plain.weight),
        pdf=dr.select(through, pdf, plain.pdf),
    )


def arriving_through(
    light: Luminaire, portals: Portals, origin: mi.Point3f, direction: mi.Vector3f, distance: mi.Float, cosine: mi.Float
) -> tuple[mi.Float, mi.Float]:
    """`arriving`, with the density of `sample_source`."""
    radiance, plain = arriving(light, origin, direction, distance, cosine)
    inside, through = density(portals, origin, direction, False)
    return radiance, dr.select((light.kind == AMBIENT) & inside, through, plain)
