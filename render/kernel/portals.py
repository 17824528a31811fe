"""The ways by which light from outside gets into a room: windows and open sides.

From inside, directions toward surroundings and skies are chosen through them alone: an opening by about the solid angle
it fills, then a point on it evenly. Scattered rays that go out by themselves are weighted against that, so where this
choice is poor, as on a sill, they take over.
"""

from __future__ import annotations

from dataclasses import dataclass

import drjit as dr
import mitsuba as mi
import numpy as np

from scenes.stage import Openings

from .beam import emitted
from .frames import to_local
from .luminaire import AMBIENT, FAR_M
from .toward import arriving, axes_toward, sample_light
from .types import LightSample, Luminaire

_ROW = 16
_SLACK_M = 0.005
_EVEN_SHARE = 0.05  # of the choice that falls on all openings alike
_LEAST = 1e-9


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
        mi.Float(rows.ravel()), dr.opaque(mi.UInt32, len(ways)), mi.Point3f(*map(float, low)),
        mi.Point3f(*map(float, high)),
    )  # fmt: skip
    dr.make_opaque(portals.table, portals.low, portals.high)
    return portals


def _row(portals: Portals, index: mi.UInt32) -> list:
    return [dr.gather(mi.Vector4f, portals.table, index * (_ROW // 4) + k) for k in range(_ROW // 4)]


def _weight(rows: list, local: mi.Vector3f) -> mi.Float:
    """About the solid angle of an opening from a point at `local` in its axes; 0 from outside."""
    area = 4 * rows[0].w * rows[1].w
    apart2 = dr.squared_norm(local) + area * 0.16
    return dr.select(local.z > 0, area * (local.z * dr.rcp(dr.sqrt(apart2)) + _EVEN_SHARE) / apart2, 0)


def _in_reveal(rows: list, local: mi.Vector3f) -> mi.Bool:
    across = (dr.abs(local.x) <= rows[0].w + _SLACK_M) & (dr.abs(local.y) <= rows[1].w + _SLACK_M)
    return across & (local.z > 0) & (local.z <= rows[2].w + _SLACK_M)


def _in_room(portals: Portals, point: mi.Point3f) -> mi.Bool:
    above, below = point - portals.low, portals.high - point
    return (dr.min(above) >= -_SLACK_M) & (dr.min(below) >= -_SLACK_M)


@dr.syntax
def choose(portals: Portals, point: mi.Point3f, u: mi.Float) -> Choice:
    """Choose one opening for each point."""
    index = mi.UInt32(0)
    inside = _in_room(portals, point)
    chosen = Choice(mi.UInt32(0), mi.Float(0), mi.Float(u), mi.Bool(inside), mi.Float(0))
    while dr.hint(index < portals.count, exclude=[portals, point], label="openings"):
        rows = _row(portals, index)
        local = to_local(point - rows[0].xyz, rows[1].xyz, rows[2].xyz, rows[3].xyz)
        weight = _weight(rows, local)
        chosen.total += weight
        share = weight * dr.rcp(dr.maximum(chosen.total, _LEAST))
        take = (weight > 0) & (chosen.left < share)
        chosen.index = dr.select(take, index, chosen.index)
        chosen.weight = dr.select(take, weight, chosen.weight)
        chosen.left = dr.select(
            take, chosen.left / share, (chosen.left - share) * dr.rcp(dr.maximum(1 - share, _LEAST))
        )
        chosen.inside |= _in_reveal(rows, local)
        index += 1
    chosen.left = dr.clip(chosen.left, 0, dr.one_minus_epsilon(mi.Float))
    return chosen


@dr.syntax
def density(portals: Portals, point: mi.Point3f, direction: mi.Vector3f) -> tuple[mi.Bool, mi.Float]:
    """Whether directions from a point are chosen through the openings, and with which density (1/sr) this one is."""
    index = mi.UInt32(0)
    inside = mi.Bool(_in_room(portals, point))
    total, met = mi.Float(0), mi.Float(0)
    while dr.hint(index < portals.count, exclude=[portals, point, direction], label="openings, density"):
        rows = _row(portals, index)
        local = to_local(point - rows[0].xyz, rows[1].xyz, rows[2].xyz, rows[3].xyz)
        ray = to_local(direction, rows[1].xyz, rows[2].xyz, rows[3].xyz)
        weight = _weight(rows, local)
        reach = -local.z / dr.select(dr.abs(ray.z) < _LEAST, _LEAST, ray.z)
        x, y = local.x + ray.x * reach, local.y + ray.y * reach
        through = (ray.z < 0) & (local.z > 0) & (dr.abs(x) <= rows[0].w) & (dr.abs(y) <= rows[1].w)
        by_area = dr.square(reach) * dr.rcp(dr.maximum(-ray.z, _LEAST) * 4 * rows[0].w * rows[1].w)
        met += dr.select(through, weight * by_area, 0)
        total += weight
        inside |= _in_reveal(rows, local)
        index += 1
    return inside & (total > 0), met * dr.rcp(dr.maximum(total, _LEAST))


def sample_source(
    light: Luminaire, portals: Portals, origin: mi.Point3f, normal: mi.Vector3f, u: mi.Float, v: mi.Float
) -> LightSample:
    """`sample_light`, but surroundings and skies seen from inside a room are sampled through its openings."""
    plain = sample_light(light, origin, normal, u, v)
    choice = choose(portals, origin, u)
    rows = _row(portals, choice.index)
    x, y = (2 * choice.left - 1) * rows[0].w, (2 * v - 1) * rows[1].w
    to_way = mi.Point3f(rows[0].xyz) + rows[1].xyz * x + rows[2].xyz * y - origin
    reach = dr.maximum(dr.norm(to_way), _LEAST)
    direction = to_way * dr.rcp(reach)
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
    inside, through = density(portals, origin, direction)
    return radiance, dr.select((light.kind == AMBIENT) & inside, through, plain)
