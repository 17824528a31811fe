"""Where paths start: a pinhole camera."""

from __future__ import annotations

from dataclasses import dataclass

import drjit as dr
import mitsuba as mi

from scenes.stage import Camera

from .types import Start


@dataclass
class Lens:
    """Device copy of the camera: pixel (x, y) counts from the top left corner."""

    origin: mi.Point3f
    right: mi.Vector3f
    up: mi.Vector3f
    forward: mi.Vector3f
    tan_half_width: mi.Float
    tan_half_height: mi.Float
    width: mi.UInt32
    height: mi.UInt32

    def start(self, lane: mi.UInt32, u: mi.Float, v: mi.Float) -> Start:
        """First ray of a sample of pixel `lane`."""
        origin, direction = camera_ray(self, lane, u, v)
        return Start(origin, direction, weight=mi.Float(1), pdf=mi.Float(0), cos_normal=mi.Float(0), depth=mi.UInt32(0))


def upload_camera(camera: Camera) -> Lens:
    """Device copy of `camera`, every member opaque."""
    vectors = [mi.Vector3f(*(float(x) for x in v)) for v in (camera.origin_m, camera.right, camera.up, camera.forward)]
    lens = Lens(
        mi.Point3f(vectors[0]),
        *vectors[1:],
        mi.Float(camera.tan_half_width),
        mi.Float(camera.tan_half_height),
        mi.UInt32(camera.width_px),
        mi.UInt32(camera.height_px),
    )
    dr.make_opaque(lens)
    return lens


def camera_ray(lens: Lens, pixel: mi.UInt32, u: mi.Float, v: mi.Float) -> tuple[mi.Point3f, mi.Vector3f]:
    """Ray through the point (u, v) in [0, 1) of a pixel given by its row-major index."""
    row = pixel // lens.width
    column = pixel - row * lens.width
    x = (mi.Float(column) + u) / mi.Float(lens.width) * 2 - 1
    y = 1 - (mi.Float(row) + v) / mi.Float(lens.height) * 2
    direction = lens.forward + lens.right * (x * lens.tan_half_width) + lens.up * (y * lens.tan_half_height)
    return mi.Point3f(lens.origin), dr.normalize(direction)
