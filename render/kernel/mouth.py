"""What leaves a mouth by place and direction: `scenes.emission.Emission`, on the device."""

from __future__ import annotations

import drjit as dr
import mitsuba as mi

from .luminaire import DISK, OCTAGON
from .types import Luminaire, Mouth

_DIAGONAL = 0.5**0.5
_TINY = 1e-12
_WIDEST_STRETCH = 1.5  # of a square's or octagon's places when they are made round


def out_of_mouth(light: Luminaire, x: mi.Float, y: mi.Float, way: mi.Vector3f) -> mi.Float:
    """Luminance (1/(m2 sr) a lumen) of rays that leave the mouth at (x, y), metres, along unit vectors `way` whose z
    is above 0; nothing of lights without one."""
    mouth = light.mouth
    p, q, turned = _round_ray(mouth, x, y, way)
    screen = _screen_share(mouth, p, q, turned)
    lit = dr.select(
        _meets_lamp(mouth, x, y, way) & (screen > 1), mouth.lamp_luminance, _inside(light, p, q, turned, screen)
    )
    return mouth.level * lit


def _meets_lamp(mouth: Mouth, x: mi.Float, y: mi.Float, way: mi.Vector3f) -> mi.Bool:
    along = x * way.x + y * way.y + mouth.lamp_depth * way.z
    off = dr.square(x - along * way.x) + dr.square(y - along * way.y) + dr.square(mouth.lamp_depth - along * way.z)
    return (off < dr.square(mouth.lamp_radius)) & (mouth.lamp_luminance > 0)


def lamp_showing(mouth: Mouth, from_lamp: mi.Vector3f) -> mi.Float:
    """About how much of the lamp the screen leaves free, 0 to 1, toward a point at `from_lamp` (metres from the lamp's
    middle); 0 only where it hides all of it."""
    share = mouth.lamp_depth / from_lamp.z
    p, q, turned = _round_ray(mouth, from_lamp.x * share, from_lamp.y * share, dr.normalize(from_lamp))
    margin = dr.maximum(mouth.gain * _WIDEST_STRETCH * dr.maximum(mouth.stretch_x, mouth.stretch_y), 1)
    margin = dr.select(mouth.outline == DISK, 1, margin) * mouth.lamp_radius
    past = (_screen_share(mouth, p, q, turned) - 1) * mouth.screen_radius
    return dr.select(mouth.screen_radius > 0, dr.clip((past / dr.maximum(margin, _TINY) + 1) / 2, 0, 1), 1)


def _round_ray(mouth: Mouth, x: mi.Float, y: mi.Float, way: mi.Vector3f) -> tuple[mi.Float, mi.Float, mi.Vector3f]:
    turned = dr.normalize(mi.Vector3f(way.x * mouth.stretch_x, way.y * mouth.stretch_y, way.z))
    x, y = x * mouth.stretch_x, y * mouth.stretch_y
    radius = dr.sqrt(dr.square(x) + dr.square(y))
    square = dr.maximum(dr.abs(x), dr.abs(y))
    octagon = dr.maximum(square, (dr.abs(x) + dr.abs(y)) * _DIAGONAL)
    edge = dr.select(mouth.outline == DISK, radius, dr.select(mouth.outline == OCTAGON, octagon, square))
    scale = mouth.gain * edge / dr.maximum(radius, _TINY)
    return x * scale, y * scale, turned


def _screen_share(mouth: Mouth, x: mi.Float, y: mi.Float, way: mi.Vector3f) -> mi.Float:
    """Distance from the axis at the screen over its radius; above 1 without a screen."""
    t = mouth.screen_depth / way.z
    share = dr.sqrt(dr.square(x - t * way.x) + dr.square(y - t * way.y)) / mouth.screen_radius
    return dr.select(mouth.screen_radius > 0, share, 2)


def _inside(light: Luminaire, x: mi.Float, y: mi.Float, way: mi.Vector3f, screen: mi.Float) -> mi.Float:
    mouth = light.mouth
    plate = mouth.depth / way.z
    a = dr.square(way.x) + dr.square(way.y) - mouth.bend * dr.square(way.z)
    b = mouth.slope * way.z - 2 * (x * way.x + y * way.y)
    c = dr.minimum(dr.square(x) + dr.square(y) - dr.square(mouth.radius), 0)
    square = dr.square(b) - 4 * a * c
    root = dr.safe_sqrt(square)
    t = dr.select(b > 0, -2 * c / (b + root), (root - b) / (2 * a))
    on_wall = (square >= 0) & ((b > 0) | (a > 0)) & (t < plate)
    on_screen = screen <= 1
    t = dr.select(on_screen, mouth.screen_depth / way.z, dr.select(on_wall, t, plate))

    from_x, from_y = x - t * way.x, y - t * way.y
    r = dr.sqrt(dr.square(from_x) + dr.square(from_y))
    walls_end = mouth.rows - mouth.screen_rows
    wall = _along_wall(mouth, r, t * way.z)
    wall = mi.Float(mouth.plate_rows) + wall * mi.Float(walls_end - mouth.plate_rows - 1)
    middle = dr.minimum(r / dr.maximum(mouth.rear, _TINY), 1) * mi.Float(dr.maximum(mouth.plate_rows, 1) - 1)
    on_plate = ~on_wall & (mouth.plate_rows > 0)
    row = dr.select(on_plate, middle, wall)
    first = dr.select(on_plate, 0, mouth.plate_rows)
    last = dr.select(on_plate, mouth.plate_rows, walls_end)
    row = dr.select(on_screen, mi.Float(walls_end) + screen * (mi.Float(mouth.screen_rows) - 1), row)
    first, last = dr.select(on_screen, walls_end, first), dr.select(on_screen, mouth.rows, last)

    scale = dr.rcp(dr.maximum(r, _TINY) * dr.sqrt(1 + way.z))
    outward = (from_x * way.x + from_y * way.y) * scale
    around = dr.abs(from_x * way.y - from_y * way.x) * scale
    across = (outward + 1) * 0.5 * (mi.Float(mouth.outward) - 1)
    return _linear(light, row, first, last, across, around * (mi.Float(mouth.around) - 1))


def _along_wall(mouth: Mouth, r: mi.Float, depth: mi.Float) -> mi.Float:
    outward = dr.select(mouth.radius >= mouth.rear, r - mouth.rear, mouth.rear - r)
    return dr.clip((outward + mouth.depth - depth) / mouth.wall_way, 0, 1)


def _linear(
    light: Luminaire, row: mi.Float, first: mi.UInt32, last: mi.UInt32, across: mi.Float, around: mi.Float
) -> mi.Float:
    """The table, linear along all three axes, along the first only from row `first` to before `last`."""
    mouth = light.mouth
    i = dr.clip(mi.UInt32(row), first, last - 2)
    j = dr.minimum(mi.UInt32(dr.maximum(across, 0)), mouth.outward - 2)
    k = dr.minimum(mi.UInt32(around), mouth.around - 2)
    s, t = dr.clip(row - mi.Float(i), 0, 1), dr.clip(across - mi.Float(j), 0, 1)
    u = dr.clip(around - mi.Float(k), 0, 1)
    place = mouth.first + (i * mouth.outward + j) * mouth.around + k
    above = place + mouth.outward * mouth.around
    return dr.lerp(_plane(light, place, t, u), _plane(light, above, t, u), s)


def _plane(light: Luminaire, place: mi.UInt32, t: mi.Float, u: mi.Float) -> mi.Float:
    after = place + light.mouth.around
    near = dr.lerp(dr.gather(mi.Float, light.tables, place), dr.gather(mi.Float, light.tables, place + 1), u)
    far = dr.lerp(dr.gather(mi.Float, light.tables, after), dr.gather(mi.Float, light.tables, after + 1), u)
    return dr.lerp(near, far, t)
