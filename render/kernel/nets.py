"""Nets on frames: they dim what passes and scatter nothing.

A net is black thread, so light it stops is gone; it needs no ray of its own.
"""

from __future__ import annotations

from dataclasses import dataclass

import drjit as dr
import mitsuba as mi
import numpy as np

from scenes.stage import Net

from .buffers import buffer
from .frames import to_local

_ROW = 16


@dataclass
class Nets:
    """Device table of nets, 16 numbers each, and how many there are (opaque)."""

    table: mi.Float
    count: mi.UInt32


def upload_nets(nets: tuple[Net, ...]) -> Nets:
    """Device table of nets."""
    rows = np.zeros((max(len(nets), 1), _ROW), np.float32)
    for row, net in zip(rows, nets, strict=False):
        row[0:3], row[4:7], row[8:11], row[12:15] = net.centre_m, net.right, net.up, net.forward
        row[3], row[7], row[11], row[15] = net.size_m[0] / 2, net.size_m[1] / 2, net.round, net.transmittance
    return Nets(buffer(rows), dr.opaque(mi.UInt32, len(nets)))


@dr.syntax
def let_through(nets: Nets, origin: mi.Point3f, direction: mi.Vector3f, distance: mi.Float) -> mi.Float:
    """Share of light that passes all nets a ray crosses within `distance`."""
    index = mi.UInt32(0)
    share = dr.full(mi.Float, 1, dr.width(origin))
    while dr.hint(index < nets.count, exclude=[nets, origin, direction, distance], label="nets"):
        rows = [dr.gather(mi.Vector4f, nets.table, index * (_ROW // 4) + k) for k in range(_ROW // 4)]
        o = to_local(origin - rows[0].xyz, rows[1].xyz, rows[2].xyz, rows[3].xyz)
        d = to_local(direction, rows[1].xyz, rows[2].xyz, rows[3].xyz)
        reach = -o.z / dr.select(dr.abs(d.z) < 1e-9, 1e-9, d.z)
        x, y = (o.x + d.x * reach) / rows[0].w, (o.y + d.y * reach) / rows[1].w
        inside = dr.select(rows[2].w > 0, dr.square(x) + dr.square(y) <= 1, (dr.abs(x) <= 1) & (dr.abs(y) <= 1))
        share *= dr.select(inside & (reach > 0) & (reach < distance), rows[3].w, 1)
        index += 1
    return share
