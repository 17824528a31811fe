"""The light that leaves a fixture along a ray: `scenes.field.luminance`, on the device.

A ray is told by where it crosses the exit, (x, y) in metres along the fixture's axes, and by its direction there.
"""

from __future__ import annotations

import drjit as dr
import mitsuba as mi

from scenes.cells import SIXTY
from scenes.fixtures import SPOT_CUT

from .luminaire import DISK, HEXAGON_CELLS, OCTAGON, RECTANGLE, ROUND_CELLS
from .mouth import out_of_mouth
from .types import Luminaire, Table

_DIAGONAL = 0.5**0.5
_RIM = 1 + 1e-6
_FLATTEST = 1e-6


def is_flat(light: Luminaire) -> mi.Bool:
    """Whether the light leaves through a flat exit."""
    return light.kind <= OCTAGON


def emitted(light: Luminaire, x: mi.Float, y: mi.Float, leaving: mi.Vector3f) -> mi.Float:
    """Radiance (1/(m2 sr) a lumen) of a ray that crosses the exit at (x, y) in direction `leaving`, both in the
    fixture's own axes. Balls, tubes and what is far away are met at (0, 0)."""
    flat, front = is_flat(light), leaving.z > 0
    forth = flat & front
    cosine = dr.maximum(dr.abs(leaving.z), _FLATTEST)
    slope_x, slope_y = dr.select(forth, leaving.x / cosine, 0), dr.select(forth, leaving.y / cosine, 0)
    angle = dr.select(flat & ~front, 0, dr.safe_acos(leaving.z))

    relative = dr.exp2(-dr.power(angle / light.half_beam, light.falloff_power))
    relative = dr.select(relative < SPOT_CUT, 0, relative)
    relative *= _by_direction(light, angle, dr.atan2(leaving.y, leaving.x))
    level = relative * (light.radiance + light.intensity / cosine)
    level = dr.select(front | ~flat, level, level * light.back)

    at_x, at_y = x - slope_x * light.source_depth, y - slope_y * light.source_depth
    ahead = mi.Vector3f(dr.select(forth, leaving, mi.Vector3f(0, 0, 1)))
    level += dr.select(forth, out_of_mouth(light, at_x, at_y, mi.Vector3f(ahead.x, ahead.y, cosine)), 0)
    passed = _inside(light.kind, light.half_width, light.half_height, x, y) | ~flat
    passed &= dr.square(x) + dr.square(y) >= dr.square(light.hole)
    passed &= _inside(light.source_kind, light.source_half_width, light.source_half_height, at_x, at_y)
    passed &= (x + slope_x * light.edge_reach.x <= light.edge_offset.x) & (
        -x - slope_x * light.edge_reach.y <= light.edge_offset.y
    )
    passed &= (y + slope_y * light.edge_reach.z <= light.edge_offset.z) & (
        -y - slope_y * light.edge_reach.w <= light.edge_offset.w
    )
    level *= _image_value(light, x + slope_x * light.image_plane, y + slope_y * light.image_plane)
    return dr.select(passed, level * _through_cells(light, slope_x, slope_y), 0)


def _inside(kind: mi.UInt32, half_width: mi.Float, half_height: mi.Float, x: mi.Float, y: mi.Float) -> mi.Bool:
    in_box = (dr.abs(x) <= half_width * _RIM) & (dr.abs(y) <= half_height * _RIM)
    in_disk = dr.square(x) + dr.square(y) <= dr.square(half_width) * _RIM
    in_octagon = in_box & ((dr.abs(x) + dr.abs(y)) * _DIAGONAL <= half_width * _RIM)
    return dr.select(kind == DISK, in_disk, dr.select(kind == RECTANGLE, in_box, in_octagon))


def _through_cells(light: Luminaire, slope_x: mi.Float, slope_y: mi.Float) -> mi.Float:
    """Share of the cells' opening that a ray passes; see `scenes.cells.transmission`."""
    x, y = light.cell_ratio * slope_x, light.cell_ratio * slope_y
    u = dr.minimum(dr.sqrt(dr.square(x) + dr.square(y)), 1)
    circle = (2 / dr.pi) * (dr.safe_acos(u) - u * dr.safe_sqrt(1 - dr.square(u)))
    square = dr.maximum(1 - dr.abs(x), 0) * dr.maximum(1 - dr.abs(y), 0)
    second = SIXTY[0] * y + SIXTY[1] * x
    a, b = dr.maximum(1 - dr.abs(y), 0), dr.maximum(1 - dr.abs(second), 0)
    c = dr.maximum(1 - dr.abs(second - y), 0)
    corner = dr.maximum((a + b - c) / 2, 0)
    cut = dr.square(corner) - dr.square(dr.maximum(corner - a, 0)) - dr.square(dr.maximum(corner - b, 0))
    hexagon = dr.maximum(a * b - cut, 0) / 0.75
    straight = dr.select(
        light.cell_kind == HEXAGON_CELLS, hexagon, dr.select(light.cell_kind == ROUND_CELLS, circle, square)
    )
    table = light.cell_walls
    if table is None:
        return straight
    across = dr.sqrt(dr.square(x) + dr.square(y)) * table.scale_x
    turns = dr.atan2(slope_y, slope_x) * (dr.inv_two_pi * light.cell_repeats)
    mirrored = _wrapped(light.tables, table, across, turns)
    return dr.select(table.columns > 1, dr.select(across <= mi.Float(table.columns - 1), mirrored, 0), straight)


def _by_direction(light: Luminaire, angle: mi.Float, azimuth: mi.Float) -> mi.Float:
    """Value of the directional table, linear in both angles; 0 beyond its last column."""
    table = light.angular
    across = angle * table.scale_x
    value = _wrapped(light.tables, table, across, azimuth * dr.inv_two_pi)
    return dr.select(across <= mi.Float(table.columns - 1) + 1e-3, value, 0)


def _wrapped(tables: mi.Float, table: Table, across: mi.Float, turns: mi.Float) -> mi.Float:
    """Value of a table whose rows go around, linear in both: at a column `across`, and after so many turns."""
    around = (turns - dr.floor(turns)) * mi.Float(table.rows)
    row, column = mi.UInt32(around), mi.UInt32(across)
    row = dr.select(row >= table.rows, 0, row)
    after = dr.select(row + 1 == table.rows, 0, row + 1)
    return _bilinear(tables, table, column, row, after, across - mi.Float(column), around - dr.floor(around))


def _image_value(light: Luminaire, x: mi.Float, y: mi.Float) -> mi.Float:
    """Value of the picture in the beam, or of the glow of the luminous area, where the ray crosses its plane."""
    table = light.image
    u, v = x * table.scale_x, y * table.scale_y
    last_column, last_row = mi.Float(table.columns) - 1, mi.Float(table.rows) - 1
    column = dr.clip((u + 1) * 0.5 * mi.Float(table.columns) - 0.5, 0, last_column)
    row = dr.clip((1 - v) * 0.5 * mi.Float(table.rows) - 0.5, 0, last_row)
    i, j = mi.UInt32(column), mi.UInt32(row)
    below = dr.minimum(j + 1, table.rows - 1)
    value = _bilinear(light.tables, table, i, j, below, column - mi.Float(i), row - mi.Float(j))
    shown = ~light.image_cut | ((dr.abs(u) <= 1) & (dr.abs(v) <= 1))
    return dr.select(shown, value, 0)


def _bilinear(
    tables: mi.Float, table: Table, column: mi.UInt32, row: mi.UInt32, next_row: mi.UInt32, s: mi.Float, t: mi.Float
) -> mi.Float:
    column = dr.minimum(column, table.columns - 1)
    next_column = dr.minimum(column + 1, table.columns - 1)
    near, far = table.first + row * table.columns, table.first + next_row * table.columns
    upper = dr.lerp(dr.gather(mi.Float, tables, near + column), dr.gather(mi.Float, tables, near + next_column), s)
    lower = dr.lerp(dr.gather(mi.Float, tables, far + column), dr.gather(mi.Float, tables, far + next_column), s)
    return dr.lerp(upper, lower, t)
