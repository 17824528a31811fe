"""Orthonormal frames.

References
----------
Duff et al. 2017, Building an orthonormal basis, revisited, JCGT 6(1), listing 3.
"""

from __future__ import annotations

import drjit as dr
import mitsuba as mi


def orthonormal(normal: mi.Vector3f) -> tuple[mi.Vector3f, mi.Vector3f]:
    """Two unit vectors that complete `normal` to a right-handed frame."""
    sign = dr.copysign(mi.Float(1), normal.z)
    a = -dr.rcp(sign + normal.z)
    b = normal.x * normal.y * a
    tangent = mi.Vector3f(1 + sign * normal.x * normal.x * a, sign * b, -sign * normal.x)
    bitangent = mi.Vector3f(b, sign + normal.y * normal.y * a, -normal.y)
    return tangent, bitangent


def to_local(vector: mi.Vector3f, s: mi.Vector3f, t: mi.Vector3f, n: mi.Vector3f) -> mi.Vector3f:
    """Components of `vector` in the frame (s, t, n)."""
    return mi.Vector3f(dr.dot(vector, s), dr.dot(vector, t), dr.dot(vector, n))


def from_local(vector: mi.Vector3f, s: mi.Vector3f, t: mi.Vector3f, n: mi.Vector3f) -> mi.Vector3f:
    """World vector with components `vector` in the frame (s, t, n)."""
    return s * vector.x + t * vector.y + n * vector.z


def cosine_hemisphere(u: mi.Float, v: mi.Float) -> mi.Vector3f:
    """Direction about +z with density cos / pi."""
    radius, angle = dr.sqrt(u), 2 * dr.pi * v
    sine, cosine = dr.sincos(angle)
    return mi.Vector3f(radius * cosine, radius * sine, dr.sqrt(dr.maximum(1 - u, 0)))
