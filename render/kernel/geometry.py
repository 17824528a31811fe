"""The set as the ray tracer sees it: one merged mesh, packed vertex records, surface points by interpolation.

The only module that creates Mitsuba objects.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import drjit as dr
import mitsuba as mi
import numpy as np

from .buffers import buffer, index_buffer
from .types import SurfacePoint

if TYPE_CHECKING:
    from render.merge import MergedSet

_TINT_SCALE = 1.0 / 255.0
_MIN_COS = 1e-2


@dataclass
class Geometry:
    """Device copy of the merged set.

    `accel` answers ray queries; `corners` holds (i0, i1, i2, material | region << 16) a face;
    `points` (x, y, z, packed tints) and `normals` (x, y, z, veil) a vertex; `offset_m` lifts rays off surfaces.
    `airy` is a plain flag: a set with air before something has a kernel of its own, so all others pay nothing.
    """

    accel: object
    corners: mi.UInt32
    points: mi.Float
    normals: mi.Float
    offset_m: mi.Float
    airy: bool


def upload(merged: MergedSet) -> Geometry:
    """Copy a merged set to the device and build its ray-query structure."""
    mesh = mi.Mesh("set", len(merged.vertices), len(merged.faces))
    parameters = mi.traverse(mesh)
    parameters["vertex_positions"] = mi.Float(merged.vertices.ravel())
    parameters["faces"] = mi.UInt32(merged.faces.ravel())
    parameters.update()
    scene = mi.load_dict({"type": "scene", "set": mesh})

    tints = merged.tints.view(np.uint32).view(np.float32)
    points = np.concatenate([merged.vertices, tints], axis=1)
    normals = np.concatenate([merged.normals, merged.veil[:, None]], axis=1)
    tags = merged.material.astype(np.uint32) | (merged.region.astype(np.uint32) << 16)
    corners = np.concatenate([merged.faces.astype(np.uint32), tags[:, None]], axis=1)
    geometry = Geometry(
        accel=scene,
        corners=index_buffer(corners),
        points=buffer(points),
        normals=buffer(normals),
        offset_m=mi.Float(merged.extent_m * 1e-5),
        airy=bool(merged.veil.any()),
    )
    dr.make_opaque(geometry.offset_m)
    return geometry


def _vertex(
    geometry: Geometry, index: mi.UInt32, active: mi.Bool
) -> tuple[mi.Point3f, mi.Normal3f, mi.UInt32, mi.Float]:
    point = dr.gather(mi.Vector4f, geometry.points, index, active)
    normal = dr.gather(mi.Vector4f, geometry.normals, index, active)
    return point.xyz, normal.xyz, dr.reinterpret_array(mi.UInt32, point.w), normal.w


def _unpack_tints(packed: mi.UInt32) -> mi.Vector4f:
    return mi.Vector4f(
        mi.Float(packed & 0xFF),
        mi.Float((packed >> 8) & 0xFF),
        mi.Float((packed >> 16) & 0xFF),
        mi.Float(packed >> 24),
    )


def surface_point(
    geometry: Geometry, prim: mi.UInt32, uv: mi.Point2f, direction: mi.Vector3f, active: mi.Bool
) -> SurfacePoint:
    """Interpolate the vertex records of triangle `prim` at barycentrics `uv`; normals face against `direction`."""
    corner = dr.gather(mi.Vector4u, geometry.corners, prim, active)
    p0, n0, t0, v0 = _vertex(geometry, corner.x, active)
    p1, n1, t1, v1 = _vertex(geometry, corner.y, active)
    p2, n2, t2, v2 = _vertex(geometry, corner.z, active)
    b1, b2 = uv.x, uv.y
    b0 = 1 - b1 - b2

    geometric = dr.normalize(dr.cross(p1 - p0, p2 - p0))
    geometric = dr.select(dr.dot(geometric, direction) > 0, -geometric, geometric)
    shading = dr.normalize(n0 * b0 + n1 * b1 + n2 * b2)
    shading = dr.select(dr.dot(shading, geometric) < 0, -shading, shading)
    grazing = dr.dot(shading, direction)  # must stay negative: bend normals that look away from the viewer
    shading = dr.normalize(dr.select(grazing > -_MIN_COS, shading - direction * (grazing + _MIN_COS), shading))

    tints = (_unpack_tints(t0) * b0 + _unpack_tints(t1) * b1 + _unpack_tints(t2) * b2) * _TINT_SCALE
    base = dr.maximum(1 - tints.x - tints.y - tints.z, 0)
    return SurfacePoint(
        position=p0 * b0 + p1 * b1 + p2 * b2,
        normal_geometric=geometric,
        normal=shading,
        material=corner.w & 0xFFFF,
        region=corner.w >> 16,
        weights=mi.Vector4f(base, tints.x, tints.y, tints.z),
        gloss=tints.w,
        veil=v0 * b0 + v1 * b1 + v2 * b2,
    )
