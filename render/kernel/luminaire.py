"""Lights of unit output (one lumen, or one lumen second): sampling, density and emission.

A light is a flat panel, a sphere, a spot, or the surroundings. All share one set of opaque parameters, so one
kernel serves every light; `kind` chooses by selection, not by branching.
"""

from __future__ import annotations

import math

import drjit as dr
import mitsuba as mi
import numpy as np

from scenes.fixtures import SPOT_CUT, exit_area_m2, radiance_per_lumen, spot_profile
from scenes.stage import Fixture, Light

from .frames import cosine_hemisphere, from_local, orthonormal
from .types import LightSample, Luminaire

RECTANGLE, DISK, OCTAGON, SPHERE, AMBIENT = range(5)
KINDS = {"rectangle": RECTANGLE, "disk": DISK, "octagon": OCTAGON, "sphere": SPHERE, "spot": DISK}
NO_BODY = 0xFFFF
FAR_M = 1e4
_AMBIENT_RADIANCE = 1 / math.pi  # an open flat meter then reads one lux


_ROW = 24


def upload_lights(lights: list[Light], bodies: list[int]) -> mi.Float:
    """Device table of lights that emit one lumen each; `bodies` are their indices among the fixture bodies."""
    table = mi.Float(np.concatenate([_row(light, body) for light, body in zip(lights, bodies, strict=True)]))
    dr.make_opaque(table)
    return table


def light_at(table: mi.Float, index: mi.UInt32) -> Luminaire:
    """The light of row `index`: one for all lanes, or one of its own for each."""
    rows = [dr.gather(mi.Vector4f, table, index * (_ROW // 4) + k) for k in range(_ROW // 4)]
    return Luminaire(
        kind=mi.UInt32(rows[0].w),
        centre=mi.Point3f(rows[0].xyz),
        right=mi.Vector3f(rows[1].xyz),
        up=mi.Vector3f(rows[2].xyz),
        forward=mi.Vector3f(rows[3].xyz),
        half_width=rows[1].w,
        half_height=rows[2].w,
        area=rows[3].w,
        radiance=rows[4].x,
        intensity=rows[4].y,
        half_beam=rows[4].z,
        falloff_power=rows[4].w,
        body=mi.UInt32(rows[5].x),
    )


def _row(light: Light, body: int) -> np.ndarray:
    """24 numbers of a light, laid out as `light_at` reads them."""
    row = np.zeros(_ROW, np.float32)
    fixture = light.fixture
    if fixture is None:
        row[3], row[16], row[18:20], row[20] = AMBIENT, _AMBIENT_RADIANCE, 1, NO_BODY
        row[15] = 1
        return row
    row[0:3], row[4:7], row[8:11], row[12:15] = fixture.centre_m, fixture.right, fixture.up, fixture.forward
    row[3], row[7], row[11] = KINDS[fixture.shape], fixture.size_m[0] / 2, fixture.size_m[1] / 2
    row[15], row[16:20], row[20] = exit_area_m2(fixture), _emission(fixture), body
    return row


def _emission(fixture: Fixture) -> tuple[float, float, float, float]:
    """Radiance of a diffuse exit; peak intensity, half-beam angle and falloff power of a spot. What does not apply is 0
    (1 where it would divide)."""
    if fixture.shape == "spot":
        profile = spot_profile(fixture)
        return 0.0, profile.peak_cd_per_lm, profile.half_beam_rad, profile.power
    return radiance_per_lumen(fixture), 0.0, 1.0, 1.0


def emitted(light: Luminaire, cos_exit: mi.Float) -> mi.Float:
    """Radiance (1/(m2 sr) a lumen) that leaves the exit area at `cos_exit` from its axis."""
    angle = dr.safe_acos(cos_exit)
    relative = dr.exp2(-dr.power(angle / light.half_beam, light.falloff_power))
    relative = dr.select(relative < SPOT_CUT, 0, relative)
    spot = light.intensity * relative / (light.area * dr.maximum(cos_exit, 1e-6))
    return dr.select(cos_exit > 0, light.radiance + spot, 0)


def _on_exit(light: Luminaire, u: mi.Float, v: mi.Float) -> tuple[mi.Float, mi.Float]:
    """Uniform point of a flat exit, in its own axes (m)."""
    square_x, square_y = (2 * u - 1) * light.half_width, (2 * v - 1) * light.half_height
    radius = light.half_width * dr.sqrt(u)
    sine, cosine = dr.sincos(2 * dr.pi * v)

    side = dr.floor(u * 8)
    along = dr.sqrt(u * 8 - side)
    reach = along * light.half_width
    rise = reach * (2 * v - 1) * math.tan(math.pi / 8)
    turn_sine, turn_cosine = dr.sincos(side * (math.pi / 4))
    oct_x, oct_y = reach * turn_cosine - rise * turn_sine, reach * turn_sine + rise * turn_cosine

    disk, octagon = light.kind == DISK, light.kind == OCTAGON
    x = dr.select(disk, radius * cosine, dr.select(octagon, oct_x, square_x))
    y = dr.select(disk, radius * sine, dr.select(octagon, oct_y, square_y))
    return x, y


def _sphere_cap(light: Luminaire, origin: mi.Point3f) -> tuple[mi.Vector3f, mi.Float, mi.Float]:
    """Direction and distance to the sphere's centre, and the height ``1 - cos`` of the cap it fills."""
    toward = light.centre - origin
    distance = dr.norm(toward)
    sine2 = dr.minimum(dr.square(light.half_width / distance), 1)
    return toward / distance, distance, sine2 / (1 + dr.safe_sqrt(1 - sine2))


def sample_light(light: Luminaire, origin: mi.Point3f, normal: mi.Vector3f, u: mi.Float, v: mi.Float) -> LightSample:
    """Choose a direction from `origin` to the light: by area of flat exits, by solid angle of spheres, and by the
    cosine about `normal` for the surroundings."""
    x, y = _on_exit(light, u, v)
    flat = light.centre + light.right * x + light.up * y - origin
    flat_distance = dr.norm(flat)
    flat_direction = flat / flat_distance
    cos_exit = -dr.dot(flat_direction, light.forward)
    flat_pdf = dr.square(flat_distance) / (dr.maximum(cos_exit, 1e-6) * light.area)

    axis, centre_distance, cap = _sphere_cap(light, origin)
    cos_polar = 1 - u * cap
    sine, cosine = dr.sincos(2 * dr.pi * v)
    radial = dr.safe_sqrt(1 - dr.square(cos_polar))
    s, t = orthonormal(axis)
    ball_direction = from_local(mi.Vector3f(radial * cosine, radial * sine, cos_polar), s, t, axis)
    ball_distance = centre_distance * cos_polar - dr.safe_sqrt(
        dr.square(light.half_width) - dr.square(centre_distance) * (1 - dr.square(cos_polar))
    )

    s, t = orthonormal(normal)
    around = cosine_hemisphere(u, v)

    ball, ambient = light.kind == SPHERE, light.kind == AMBIENT
    direction = dr.select(ball, ball_direction, dr.select(ambient, from_local(around, s, t, normal), flat_direction))
    distance = dr.select(ball, ball_distance, dr.select(ambient, FAR_M, flat_distance))
    pdf = dr.select(ball, 1 / (2 * dr.pi * cap), dr.select(ambient, around.z * dr.inv_pi, flat_pdf))
    radiance = emitted(light, dr.select(ball | ambient, 1, cos_exit))
    return LightSample(direction, distance, dr.select(pdf > 0, radiance / pdf, 0), pdf)


def density(
    light: Luminaire, origin: mi.Point3f, direction: mi.Vector3f, distance: mi.Float, cos_normal: mi.Float
) -> mi.Float:
    """Solid-angle density with which `sample_light` gives a `direction` known to reach the light at `distance`."""
    cos_exit = -dr.dot(direction, light.forward)
    flat = dr.square(distance) / (dr.maximum(cos_exit, 1e-6) * light.area)
    _, _, cap = _sphere_cap(light, origin)
    ball, ambient = light.kind == SPHERE, light.kind == AMBIENT
    return dr.select(ball, 1 / (2 * dr.pi * cap), dr.select(ambient, cos_normal * dr.inv_pi, flat))
