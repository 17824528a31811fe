"""Pictures of the set itself, without light: what the denoiser and the maps are guided by."""

from __future__ import annotations

from dataclasses import dataclass

import drjit as dr
import mitsuba as mi
import numpy as np

from render.olat import NO_REGION

from .bodies import Bodies, nearest_body
from .camera import Lens, camera_ray
from .geometry import Geometry, surface_point
from .luminaire import NO_BODY
from .sampler import mix, pair
from .surface import Palette
from .types import SurfacePoint


@dataclass
class GuideSums:
    """Sums over a pixel's samples: `albedo` (B, pixels), 1 where nothing is met, and `normal`."""

    albedo: mi.ArrayXf
    normal: mi.Vector3f


@dr.syntax
def _sum_guides(
    geometry: Geometry, palette: Palette, bodies: Bodies, lens: Lens, pixel: mi.UInt32, count: mi.UInt32
) -> GuideSums:
    pixels = dr.width(pixel)
    sums = GuideSums(dr.zeros(mi.ArrayXf, (palette.band_count, pixels)), dr.zeros(mi.Vector3f, pixels))
    sample = dr.zeros(mi.UInt32, pixels)
    while dr.hint(sample < count, exclude=[geometry, palette, bodies, lens, pixel, count], label="guides"):
        u, v = pair(mix(pixel, 0x51A1), sample)
        origin, direction = camera_ray(lens, pixel, u, v)
        hit = geometry.accel.ray_intersect_preliminary(mi.Ray3f(origin, direction), coherent=True)
        body = nearest_body(bodies, origin, direction, mi.Bool(True), mi.UInt32(NO_BODY))
        seen = hit.is_valid() & (hit.t <= body.distance)
        point = surface_point(geometry, hit.prim_index, hit.prim_uv, direction, seen)
        sums.albedo += dr.select(seen, _colour(geometry, palette, point, seen), 1)
        sums.normal += dr.select(seen, mi.Vector3f(point.normal), 0)
        sample += 1
    return sums


def _colour(geometry: Geometry, palette: Palette, point: SurfacePoint, seen: mi.Bool) -> mi.ArrayXf:
    """Reflectance of a point; the air before it takes its colour from it."""
    colour = palette.reflectance(point, seen)
    return dr.lerp(colour, 1, point.veil) if geometry.airy else colour


def trace_guides(
    geometry: Geometry, palette: Palette, bodies: Bodies, lens: Lens, rows: tuple[int, int], width: int, samples: int
) -> dict[str, np.ndarray]:
    """Guide pictures of H `rows` (first, end) of `width` pixels.

    Returns
    -------
    albedo (B, H, W) and normal (3, H, W), means over the pixel, float32, where sky and lamps count as an albedo of 1,
    since no surface colours their light; from the pixel's centre: depth (H, W) in metres (infinite where nothing is
    met), position (3, H, W) in metres, region (H, W) uint8 (`NO_REGION` for none).
    """
    height = rows[1] - rows[0]
    pixel = dr.arange(mi.UInt32, width * height) + dr.opaque(mi.UInt32, rows[0] * width)
    dr.eval(pixel)
    sums = _sum_guides(geometry, palette, bodies, lens, pixel, dr.opaque(mi.UInt32, samples))

    origin, direction = camera_ray(lens, pixel, mi.Float(0.5), mi.Float(0.5))
    hit = geometry.accel.ray_intersect_preliminary(mi.Ray3f(origin, direction), coherent=True)
    body = nearest_body(bodies, origin, direction, mi.Bool(True), mi.UInt32(NO_BODY))
    seen = hit.is_valid() & (hit.t <= body.distance)
    centre = surface_point(geometry, hit.prim_index, hit.prim_uv, direction, seen)
    depth = dr.select(seen, hit.t, dr.inf)
    position = mi.Vector3f(dr.select(seen, centre.position, 0))
    region = dr.select(seen, centre.region, NO_REGION)
    dr.eval(sums, depth, position, region)
    return {
        "albedo": np.array(sums.albedo).reshape(-1, height, width) / samples,
        "normal": np.array(sums.normal).reshape(3, height, width) / samples,
        "depth": np.array(depth).reshape(height, width),
        "position": np.array(position).reshape(3, height, width),
        "region": np.array(region).reshape(height, width).astype(np.uint8),
    }
