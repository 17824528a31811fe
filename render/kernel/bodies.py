"""Housings of all lights, tested analytically beside the ray query.

A housing is a convex block behind its exit area: a box, a cylinder, an eight-sided prism, a ball, or a rod; a ring has
a hole through it. It blocks the light of every fixture; its exit face emits only while its own light is traced.
"""

from __future__ import annotations

from dataclasses import dataclass

import drjit as dr
import mitsuba as mi
import numpy as np

from scenes.stage import Fixture

from .buffers import buffer
from .frames import to_local
from .luminaire import DISK, KINDS, NO_BODY, OCTAGON, SPHERE

_ROW = 20
_FRONT_GLOWS, _BOTH_FACES_GLOW, _SIDE_GLOWS = range(3)
_DIAGONAL = 0.5**0.5


@dataclass
class Bodies:
    """Device table of housings, 20 numbers each, and how many there are (opaque, so it never recompiles)."""

    table: mi.Float
    count: mi.UInt32


@dataclass
class BodyHit:
    """Nearest housing along a ray: `distance` (infinite when none), its index, and whether its exit face was met."""

    distance: mi.Float
    index: mi.UInt32
    front: mi.Bool


def upload_bodies(fixtures: list[Fixture]) -> Bodies:
    """Device table of the housings of `fixtures`, in their order."""
    rows = np.zeros((max(len(fixtures), 1), _ROW), np.float32)
    for row, fixture in zip(rows, fixtures, strict=False):
        row[:] = _row(fixture)
    return Bodies(buffer(rows), dr.opaque(mi.UInt32, len(fixtures)))


def _row(fixture: Fixture) -> np.ndarray:
    """20 numbers of a housing, laid out as `_meet` reads them. A rod stands on its end: its axis is its depth."""
    row = np.zeros(_ROW, np.float32)
    row[16], row[18] = fixture.visible, fixture.hole_m / 2
    if fixture.shape == "tube":
        length, diameter = fixture.size_m
        row[0:3] = fixture.centre_m + fixture.right * length / 2
        row[4:7], row[8:11], row[12:15] = fixture.up, fixture.forward, fixture.right
        row[3], row[7], row[11], row[15], row[17] = diameter / 2, diameter / 2, length, DISK, _SIDE_GLOWS
        return row
    row[0:3], row[4:7], row[8:11], row[12:15] = fixture.centre_m, fixture.right, fixture.up, fixture.forward
    row[3], row[7], row[11] = fixture.size_m[0] / 2, fixture.size_m[1] / 2, fixture.body_depth_m
    row[15] = KINDS[fixture.shape]
    row[17] = _BOTH_FACES_GLOW if fixture.optics.back_share else _FRONT_GLOWS
    return row


def _slab(origin: mi.Float, direction: mi.Float, low: mi.Float, high: mi.Float) -> tuple[mi.Float, mi.Float]:
    inverse = dr.rcp(dr.select(dr.abs(direction) < 1e-9, 1e-9, direction))
    a, b = (low - origin) * inverse, (high - origin) * inverse
    return dr.minimum(a, b), dr.maximum(a, b)


def _quadric(a: mi.Float, b: mi.Float, c: mi.Float) -> tuple[mi.Float, mi.Float]:
    """Entry and exit of ``a t^2 + 2 b t + c <= 0``; an empty interval when the ray misses, all of it when the ray runs
    along the inside."""
    along = a < 1e-12
    root2 = dr.square(b) - a * c
    root = dr.safe_sqrt(root2)
    inverse = dr.rcp(dr.select(along, 1, a))
    missed = dr.select(along, c > 0, root2 < 0)
    t_in, t_out = dr.select(along, -dr.inf, (-b - root) * inverse), dr.select(along, dr.inf, (-b + root) * inverse)
    return dr.select(missed, dr.inf, t_in), dr.select(missed, -dr.inf, t_out)


def _meet(bodies: Bodies, index: mi.UInt32, origin: mi.Point3f, direction: mi.Vector3f) -> tuple:
    """Entry distance of a ray into housing `index` (infinite when it misses), front-face flag, visible flag."""
    rows = [dr.gather(mi.Vector4f, bodies.table, index * (_ROW // 4) + k) for k in range(_ROW // 4)]
    right, up, forward = rows[1].xyz, rows[2].xyz, rows[3].xyz
    half_width, half_height, depth, kind = rows[0].w, rows[1].w, rows[2].w, mi.UInt32(rows[3].w)
    o = to_local(origin - rows[0].xyz, right, up, forward)
    d = to_local(direction, right, up, forward)

    z_in, z_out = _slab(o.z, d.z, -depth, mi.Float(0))
    x_in, x_out = _slab(o.x, d.x, -half_width, half_width)
    y_in, y_out = _slab(o.y, d.y, -half_height, half_height)
    p_in, p_out = _slab((o.x + o.y) * _DIAGONAL, (d.x + d.y) * _DIAGONAL, -half_width, half_width)
    q_in, q_out = _slab((o.x - o.y) * _DIAGONAL, (d.x - d.y) * _DIAGONAL, -half_width, half_width)

    ball = kind == SPHERE
    z2 = dr.select(ball, 1, 0)
    r_in, r_out = _quadric(
        dr.square(d.x) + dr.square(d.y) + z2 * dr.square(d.z),
        o.x * d.x + o.y * d.y + z2 * o.z * d.z,
        dr.square(o.x) + dr.square(o.y) + z2 * dr.square(o.z) - dr.square(half_width),
    )
    rounded, eight = ball | (kind == DISK), kind == OCTAGON
    side_in = dr.select(rounded, r_in, dr.maximum(x_in, y_in))
    side_out = dr.select(rounded, r_out, dr.minimum(x_out, y_out))
    side_in = dr.select(eight, dr.maximum(side_in, dr.maximum(p_in, q_in)), side_in)
    side_out = dr.select(eight, dr.minimum(side_out, dr.minimum(p_out, q_out)), side_out)
    t_in = dr.select(ball, r_in, dr.maximum(side_in, z_in))
    t_out = dr.select(ball, r_out, dr.minimum(side_out, z_out))
    glows, hole2 = mi.UInt32(rows[4].y), dr.square(rows[4].z)
    met = (t_in <= t_out) & (t_in > 0)  # a thin sheet has no depth
    met &= ~((_off_axis2(o, d, z_in) < hole2) & (_off_axis2(o, d, z_out) < hole2))
    faces = z_in >= side_in
    front = ball | dr.select(glows == _SIDE_GLOWS, ~faces, faces & ((d.z < 0) | (glows == _BOTH_FACES_GLOW)))
    return dr.select(met, t_in, dr.inf), front, rows[4].x > 0


def _off_axis2(origin: mi.Vector3f, direction: mi.Vector3f, distance: mi.Float) -> mi.Float:
    return dr.square(origin.x + direction.x * distance) + dr.square(origin.y + direction.y * distance)


@dr.syntax
def nearest_body(
    bodies: Bodies, origin: mi.Point3f, direction: mi.Vector3f, from_camera: mi.Bool, except_body: mi.UInt32
) -> BodyHit:
    """Nearest housing a ray enters; rays `from_camera` pass hidden ones, and all pass housing `except_body`."""
    index = mi.UInt32(0)
    hit = BodyHit(dr.full(mi.Float, dr.inf, dr.width(origin)), mi.UInt32(NO_BODY), mi.Bool(False))
    while dr.hint(
        index < bodies.count, exclude=[bodies, origin, direction, from_camera, except_body], label="housings"
    ):
        distance, front, visible = _meet(bodies, index, origin, direction)
        nearer = (distance < hit.distance) & (visible | ~from_camera) & (index != except_body)
        hit.distance = dr.select(nearer, distance, hit.distance)
        hit.index = dr.select(nearer, index, hit.index)
        hit.front = dr.select(nearer, front, hit.front)
        index += 1
    return hit
