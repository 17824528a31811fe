"""Directions from a point toward a light: how they are chosen, and with what density.

Of a flat exit only the part is sampled from which light can reach the point: narrow beams send no rays outside
themselves.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import drjit as dr
import mitsuba as mi

from .beam import emitted, is_flat
from .frames import cosine_hemisphere, from_local, orthonormal, to_local
from .luminaire import AMBIENT, DISK, EVEN_RINGS, FAR_M, OCTAGON, RINGS, SPHERE, SUN, TUBE
from .mouth_samples import in_rings, on_spot, share_to_lamp, share_to_spot, spot_density
from .rods import axes_toward, seen_from, to_mantle
from .types import LightSample, Luminaire

_WHOLE, _ROUND, _BOX, _LENS = range(4)
_LENS_SHARE = 0.85  # area that a lens of this length and width counts as when the smallest patch is chosen
_CLOSEST = 1e-6
_FARTHEST = 1e9
_BELOW_ONE = 1 - 2.0**-24
_NARROW = 20.0  # slope from which a beam counts as filling the half space
_CORNER = 2**0.5


@dataclass
class Patch:
    """Part of a flat exit: all of it, a disk around (x, y) of radius `half_x`, a box there, or a lens; `area` in m2.

    A disk that is a round luminous area is sampled by its glow (`glowing`). A lens is what up to three disks, whose
    middles lie on a line through the axis, have in common; it runs along that line, the unit vector (x, y), from
    `low` on over twice `half_x`.
    """

    form: mi.UInt32
    glowing: mi.Bool
    x: mi.Float
    y: mi.Float
    half_x: mi.Float
    half_y: mi.Float
    area: mi.Float
    low: mi.Float


@dataclass
class Disks:
    """The disks of a lens: radii of the exit, of the luminous area as seen there, and of the steepest rays; the middles
    of the latter two, metres from the axis."""

    exit: mi.Float
    source: mi.Float
    source_at: mi.Float
    reach: mi.Float
    reach_at: mi.Float

    def half_chord(self, along: mi.Float) -> mi.Float:
        """Half the width of the lens at a place along its line."""
        exit_ = dr.square(self.exit) - dr.square(along)
        source = dr.square(self.source) - dr.square(along - self.source_at)
        reach = dr.square(self.reach) - dr.square(along - self.reach_at)
        return dr.safe_sqrt(dr.minimum(exit_, dr.minimum(source, reach)))


@dataclass
class Box:
    """A box of an exit: its middle along its own axes, and its half sides."""

    x: mi.Float
    y: mi.Float
    half_x: mi.Float
    half_y: mi.Float


def disks_toward(light: Luminaire, local: mi.Vector3f) -> Disks:
    """The disks that bound what a point at `local` (fixture axes) sees of a round exit."""
    height, front = dr.maximum(dr.abs(local.z), _CLOSEST), local.z > 0
    shrink = dr.select(front, height / (height + light.source_depth), 1)
    off_axis = dr.sqrt(dr.square(local.x) + dr.square(local.y))
    return Disks(
        exit=light.half_width,
        source=shrink * light.source_half_width,
        source_at=off_axis * (1 - shrink),
        reach=dr.select(front, height * light.widest_slope, _FARTHEST),
        reach_at=off_axis,
    )


def patch_toward(light: Luminaire, local: mi.Vector3f) -> Patch:
    """The smallest simple part of the exit that holds all a point at `local` (fixture axes) can get light from: the
    exit itself, the luminous area behind it as the point sees it there, what the steepest ray allows, or the box or
    lens that these have in common."""
    height, front = dr.maximum(dr.abs(local.z), _CLOSEST), local.z > 0
    shrink = dr.select(front, height / (height + light.source_depth), 1)
    disks = disks_toward(light, local)
    box = _square_box(light, local, height, front, shrink, disks.reach)
    low = dr.maximum(-disks.exit, dr.maximum(disks.source_at - disks.source, disks.reach_at - disks.reach))
    high = dr.minimum(disks.exit, dr.minimum(disks.source_at + disks.source, disks.reach_at + disks.reach))
    length = dr.maximum(high - low, 0)
    lens_area = _LENS_SHARE * length * 2 * disks.half_chord((low + high) / 2)
    lens_area = dr.select((light.kind == DISK) & (light.source_kind == DISK), lens_area, dr.inf)

    box_area = 4 * box.half_x * box.half_y
    glow_area = dr.select(light.hole == 0, light.glow_area * dr.square(shrink), dr.inf)
    reach_area = dr.pi * dr.square(disks.reach)
    round_area = dr.minimum(glow_area, reach_area)
    least = dr.minimum(round_area, dr.minimum(box_area, lens_area))
    form = dr.select(round_area <= least, _ROUND, dr.select(lens_area <= least, _LENS, _BOX))
    form = dr.select((light.area < least * (1 - 1e-5)) | ~is_flat(light), _WHOLE, form)
    is_round, is_lens = form == _ROUND, form == _LENS
    glowing = is_round & (glow_area <= reach_area)
    radius = dr.select(glowing, disks.source * light.radial_reach, disks.reach)
    middle = dr.select(glowing, 1 - shrink, 1)
    outward = dr.select(disks.reach_at > 0, dr.rcp(dr.maximum(disks.reach_at, _CLOSEST)), 0)
    line_x = dr.select(disks.reach_at > 0, local.x * outward, 1)
    area = dr.select(is_round, dr.pi * dr.square(radius), dr.select(is_lens, 1, box_area))
    return Patch(
        form=mi.UInt32(form),
        glowing=glowing,
        x=dr.select(is_round, local.x * middle, dr.select(is_lens, line_x, box.x)),
        y=dr.select(is_round, local.y * middle, dr.select(is_lens, local.y * outward, box.y)),
        half_x=dr.select(is_round, radius, dr.select(is_lens, length / 2, box.half_x)),
        half_y=dr.select(is_round, radius, box.half_y),
        area=dr.maximum(dr.select(form == _WHOLE, light.area, area), 1e-12),
        low=low,
    )


def _square_box(
    light: Luminaire, local: mi.Vector3f, height: mi.Float, front: mi.Bool, shrink: mi.Float, reach: mi.Float
) -> Box:
    """What exit, luminous area, steepest ray and blades have in common, along the fixture's own axes."""
    source_x, source_y = local.x * (1 - shrink), local.y * (1 - shrink)
    half_x, half_y = shrink * light.source_half_width, shrink * light.source_half_height
    limit = [_within_blade(light, height, front, k, p) for k, p in enumerate((local.x, -local.x, local.y, -local.y))]
    low_x = dr.maximum(dr.maximum(-light.half_width, source_x - half_x), dr.maximum(local.x - reach, -limit[1]))
    low_y = dr.maximum(dr.maximum(-light.half_height, source_y - half_y), dr.maximum(local.y - reach, -limit[3]))
    high_x = dr.minimum(dr.minimum(light.half_width, source_x + half_x), dr.minimum(local.x + reach, limit[0]))
    high_y = dr.minimum(dr.minimum(light.half_height, source_y + half_y), dr.minimum(local.y + reach, limit[2]))
    return Box(
        (low_x + high_x) / 2, (low_y + high_y) / 2, dr.maximum(high_x - low_x, 0) / 2, dr.maximum(high_y - low_y, 0) / 2
    )


def _within_blade(light: Luminaire, height: mi.Float, front: mi.Bool, blade: int, place: mi.Float) -> mi.Float:
    """How far off the axis on one side the exit can be seen past the blade there, from a point `place` off the axis."""
    reach, offset = light.edge_reach[blade], light.edge_offset[blade]
    beyond = height - reach
    limit = (offset * height - place * reach) / dr.maximum(beyond, _CLOSEST)
    return dr.select(front & (beyond > _CLOSEST), limit, dr.inf)


def _radius2(light: Luminaire, patch: Patch, u: mi.Float) -> tuple[mi.Float, mi.Float]:
    """Squared radius of a sample of a disk, relative, and its density relative to an even one."""
    return in_rings(light, dr.select(patch.glowing, light.radial, EVEN_RINGS), u)


def _density(light: Luminaire, local: mi.Vector3f, x: mi.Float, y: mi.Float) -> mi.Float:
    """Density over the area (1/m2) with which `_on_patch` gives the point (x, y) of the exit."""
    patch = patch_toward(light, local)
    radius2 = (dr.square(x - patch.x) + dr.square(y - patch.y)) / dr.square(dr.maximum(patch.half_x, _CLOSEST))
    ring = light.radial + dr.minimum(mi.UInt32(radius2 * RINGS), RINGS - 1)
    share = dr.gather(mi.Float, light.tables, ring + 1) - dr.gather(mi.Float, light.tables, ring)
    relative = dr.select(patch.glowing, dr.maximum(share, 1e-7) * RINGS, 1)
    chord = disks_toward(light, local).half_chord(x * patch.x + y * patch.y)
    return dr.select(patch.form == _LENS, _lens_density(patch, chord), relative / patch.area)


def _lens_density(patch: Patch, half_chord: mi.Float) -> mi.Float:
    return dr.rcp(dr.maximum(4 * patch.half_x * half_chord, 1e-12))


def _on_patch(light: Luminaire, local: mi.Vector3f, u: mi.Float, v: mi.Float) -> tuple[mi.Float, mi.Float, mi.Float]:
    """Point of the exit for a receiver at `local`, in the fixture's axes (m), and its density over the area."""
    patch = patch_toward(light, local)
    whole, lens = patch.form == _WHOLE, patch.form == _LENS
    half_x, half_y = dr.select(whole, light.half_width, patch.half_x), dr.select(whole, light.half_height, patch.half_y)
    square_x, square_y = (2 * u - 1) * half_x, (2 * v - 1) * half_y
    relative, density = _radius2(light, patch, u)
    ring2 = dr.lerp(dr.square(light.hole), dr.square(half_x), u)
    radius = dr.sqrt(dr.select(whole, ring2, relative * dr.square(half_x)))
    sine, cosine = dr.sincos(2 * dr.pi * v)

    side = dr.floor(u * 8)
    along = dr.sqrt(u * 8 - side)
    reach = along * light.half_width
    rise = reach * (2 * v - 1) * math.tan(math.pi / 8)
    turn_sine, turn_cosine = dr.sincos(side * (math.pi / 4))
    oct_x, oct_y = reach * turn_cosine - rise * turn_sine, reach * turn_sine + rise * turn_cosine

    place = patch.low + 2 * patch.half_x * u
    chord = disks_toward(light, local).half_chord(place)
    across = (2 * v - 1) * chord

    as_disk = (patch.form == _ROUND) | (whole & (light.kind == DISK))
    as_octagon = whole & (light.kind == OCTAGON)
    x = dr.select(as_disk, radius * cosine, dr.select(as_octagon, oct_x, square_x))
    y = dr.select(as_disk, radius * sine, dr.select(as_octagon, oct_y, square_y))
    x = dr.select(whole, x, dr.select(lens, place * patch.x - across * patch.y, x + patch.x))
    y = dr.select(whole, y, dr.select(lens, place * patch.y + across * patch.x, y + patch.y))
    density = dr.select(patch.glowing, density, 1) / patch.area
    return x, y, dr.select(lens, _lens_density(patch, chord), density)


def _ball(light: Luminaire) -> tuple[mi.Point3f, mi.Float]:
    """Middle and radius of a ball, or of the lamp in a mouth."""
    flat = is_flat(light)
    middle = light.centre - light.forward * (light.source_depth + light.mouth.lamp_depth)
    return mi.Point3f(dr.select(flat, middle, light.centre)), dr.select(flat, light.mouth.lamp_radius, light.half_width)


def _sphere_cap(light: Luminaire, origin: mi.Point3f) -> tuple[mi.Vector3f, mi.Float, mi.Float]:
    """Direction and distance to the middle of the ball, lamp or sun, and the height ``1 - cos`` of the cap it fills."""
    middle, radius = _ball(light)
    toward = middle - origin
    distance = dr.norm(toward)
    sine2 = dr.minimum(dr.square(radius / distance), 1)
    sun = light.kind == SUN
    axis = dr.select(sun, mi.Vector3f(light.centre), toward / distance)
    return mi.Vector3f(axis), distance, dr.select(sun, light.area, sine2 / (1 + dr.safe_sqrt(1 - sine2)))


def sample_light(light: Luminaire, origin: mi.Point3f, normal: mi.Vector3f, u: mi.Float, v: mi.Float) -> LightSample:
    """Choose a direction from `origin` to the light: by area of flat exits, by solid angle of balls and the sun, and by
    the cosine about `normal` for the surroundings."""
    axes, itself, light = axes_toward(light, origin), light, seen_from(light, origin)
    local = to_local(origin - light.centre, axes.right, axes.up, axes.forward)
    to_lamp = share_to_lamp(light, local)
    to_spot = share_to_spot(light, local)
    lamp = u < to_lamp
    u = dr.select(lamp, u / dr.maximum(to_lamp, _CLOSEST), (u - to_lamp) / (1 - to_lamp))
    spot = ~lamp & (u < to_spot)
    u = dr.select(spot, u / dr.maximum(to_spot, _CLOSEST), dr.select(lamp, u, (u - to_spot) / (1 - to_spot)))
    u = dr.minimum(u, _BELOW_ONE)
    x, y, density = _on_patch(light, local, u, v)
    spot_x, spot_y = on_spot(light, local, u, v)
    x, y = dr.select(spot, spot_x, x), dr.select(spot, spot_y, y)
    flat = light.centre + axes.right * x + axes.up * y - origin
    flat_distance = dr.norm(flat)
    flat_direction = flat / flat_distance

    axis, centre_distance, cap = _sphere_cap(light, origin)
    cos_polar = 1 - u * cap
    sine, cosine = dr.sincos(2 * dr.pi * v)
    radial = dr.safe_sqrt((2 - u * cap) * u * cap)
    s, t = orthonormal(axis)
    ball_direction = from_local(mi.Vector3f(radial * cosine, radial * sine, cos_polar), s, t, axis)
    ball_distance = centre_distance * cos_polar - dr.safe_sqrt(
        dr.square(light.half_width) - dr.square(centre_distance) * (1 - dr.square(cos_polar))
    )

    through = to_local(ball_direction, axes.right, axes.up, axes.forward)
    lamp_distance = local.z / dr.maximum(-through.z, _CLOSEST)
    x, y = (
        dr.select(lamp, local.x + through.x * lamp_distance, x),
        dr.select(lamp, local.y + through.y * lamp_distance, y),
    )
    flat_direction = mi.Vector3f(dr.select(lamp, ball_direction, flat_direction))
    flat_distance = dr.select(lamp, lamp_distance, flat_distance)
    density = dr.select(lamp | spot, _density(light, local, x, y), density)
    density = dr.lerp(density, spot_density(light, local, x, y), to_spot)
    seen = lamp | (dr.squared_norm(flat_direction - axis) < 2 * cap)

    s, t = orthonormal(normal)
    around = cosine_hemisphere(u, v)

    ball, ambient, sun = light.kind == SPHERE, light.kind == AMBIENT, light.kind == SUN
    plane = ~(ball | ambient | sun)
    direction = dr.select(ambient, from_local(around, s, t, normal), flat_direction)
    direction = mi.Vector3f(dr.select(ball | sun, ball_direction, direction))
    distance = dr.select(ball, ball_distance, dr.select(plane, flat_distance, FAR_M))
    leaving = -to_local(direction, axes.right, axes.up, axes.forward)
    flat_pdf = dr.square(flat_distance) / dr.maximum(dr.abs(leaving.z), _CLOSEST) * density
    flat_pdf = dr.lerp(flat_pdf, dr.select(seen, 1 / (2 * dr.pi * cap), 0), to_lamp)
    pdf = dr.select(plane, flat_pdf, dr.select(ambient, around.z * dr.inv_pi, 1 / (2 * dr.pi * cap)))
    exits = is_flat(light)
    radiance = emitted(light, dr.select(exits, x, 0), dr.select(exits, y, 0), leaving)
    side = to_mantle(itself, local, -leaving)
    lit = (pdf > 0) & ((light.kind != TUBE) | (side < dr.inf))
    distance = dr.select(lit & (light.kind == TUBE), side, distance)
    return LightSample(direction, distance, dr.select(lit, radiance / pdf, 0), pdf)


def arriving(
    light: Luminaire, origin: mi.Point3f, direction: mi.Vector3f, distance: mi.Float, cos_normal: mi.Float
) -> tuple[mi.Float, mi.Float]:
    """Radiance of a ray known to meet the light at `distance`, and the solid-angle density with which `sample_light`
    gives it."""
    axes, light = axes_toward(light, origin), seen_from(light, origin)
    local = to_local(origin - light.centre, axes.right, axes.up, axes.forward)
    toward = to_local(direction, axes.right, axes.up, axes.forward)
    exits, sun = is_flat(light), light.kind == SUN
    strip = -local.z / dr.select(dr.abs(toward.z) < _CLOSEST, -_CLOSEST, toward.z)  # a tube is met before its axis
    tube = light.kind == TUBE
    distance = dr.select(tube, dr.maximum(strip, distance), distance)
    x, y = local.x + toward.x * distance, local.y + toward.y * distance
    sampled = ~tube | ((dr.abs(x) <= light.half_width) & (dr.abs(y) <= light.half_height))
    x, y = dr.select(exits, x, 0), dr.select(exits, y, 0)
    radiance = emitted(light, x, y, -toward)
    off_sun = dr.squared_norm(direction - mi.Vector3f(light.centre))
    radiance = dr.select(sun & (off_sun > 2 * light.area), 0, radiance)

    flat = (
        dr.square(distance)
        / dr.maximum(dr.abs(toward.z), _CLOSEST)
        * dr.lerp(_density(light, local, x, y), spot_density(light, local, x, y), share_to_spot(light, local))
    )
    axis, _, cap = _sphere_cap(light, origin)
    seen = dr.squared_norm(direction - axis) < 2 * cap
    flat = dr.lerp(flat, dr.select(seen, 1 / (2 * dr.pi * cap), 0), share_to_lamp(light, local))
    ball, ambient = light.kind == SPHERE, light.kind == AMBIENT
    round_pdf = 1 / (2 * dr.pi * cap)
    return radiance, dr.select(
        ball | sun, round_pdf, dr.select(ambient, cos_normal * dr.inv_pi, dr.select(sampled, flat, 0))
    )


def span_in_beam(
    light: Luminaire, origin: mi.Point3f, direction: mi.Vector3f, start: mi.Float, end: mi.Float
) -> tuple[mi.Float, mi.Float]:
    """The stretch between `start` and `end` of a ray on which the light can reach it: inside the cone that holds the
    beam of a flat exit, or all of it for other lights; an empty stretch where there is none."""
    local = to_local(origin - light.centre, light.right, light.up, light.forward)
    ray = to_local(direction, light.right, light.up, light.forward)
    slope = light.widest_slope
    narrow = is_flat(light) & (slope < _NARROW) & (light.back <= 0)
    radius = dr.maximum(light.half_width, light.half_height) * _CORNER
    rim = radius + slope * local.z
    a = dr.square(ray.x) + dr.square(ray.y) - dr.square(slope * ray.z)
    b = local.x * ray.x + local.y * ray.y - slope * ray.z * rim
    c = dr.square(local.x) + dr.square(local.y) - dr.square(rim)
    root2 = dr.square(b) - a * c
    root = dr.safe_sqrt(root2)
    a = dr.select(dr.abs(a) < 1e-9, dr.copysign(mi.Float(1e-9), a), a)
    first, last = dr.minimum((-b - root) / a, (-b + root) / a), dr.maximum((-b - root) / a, (-b + root) / a)
    # a steeper ray than the cone's side stays inside from where it enters on, or until it leaves
    onward = ray.z > 0
    low = dr.select(
        a > 0, dr.select(root2 > 0, first, dr.inf), dr.select(onward, dr.select(root2 > 0, last, -dr.inf), -dr.inf)
    )
    high = dr.select(a > 0, last, dr.select(onward, dr.inf, dr.select(root2 > 0, first, dr.inf)))
    plane = -local.z / dr.select(dr.abs(ray.z) < 1e-9, 1e-9, ray.z)
    flat = dr.abs(ray.z) < 1e-9
    low = dr.select(flat, dr.select(local.z > 0, low, dr.inf), dr.select(onward, dr.maximum(low, plane), low))
    high = dr.select(flat | onward, high, dr.minimum(high, plane))
    low, high = dr.select(narrow, dr.maximum(low, start), start), dr.select(narrow, dr.minimum(high, end), end)
    met = low < high
    return dr.select(met, low, end), dr.select(met, high, end)
