"""Lights of unit output (one lumen of the lamp, or one lumen second): their table in device memory.

A light is a flat exit, a ball, a tube, the surroundings, or the sun. All share one set of opaque parameters, so one
kernel serves every light; `kind` chooses by selection, not by branching.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import drjit as dr
import mitsuba as mi
import numpy as np

from scenes.cell_walls import STEPS, cell_table
from scenes.field import inside, picture_value, source_area_m2, source_of, widest_slope_of
from scenes.fixtures import area_m2, exit_area_m2, spot_profile
from scenes.stage import Distant, Fixture, Light

from .buffers import buffer
from .hot_spot import RINGS, hot_spot
from .types import Luminaire, Mouth, Table

RECTANGLE, DISK, OCTAGON, SPHERE, TUBE, AMBIENT, SUN = range(7)
KINDS = {"rectangle": RECTANGLE, "disk": DISK, "octagon": OCTAGON, "sphere": SPHERE, "spot": DISK, "tube": TUBE}
HEXAGON_CELLS, ROUND_CELLS, SQUARE_CELLS = range(3)
CELL_KINDS = {"hexagon": HEXAGON_CELLS, "round": ROUND_CELLS, "square": SQUARE_CELLS}
NO_BODY = 0xFFFF
FAR_M = 1e4
_AMBIENT_RADIANCE = 1 / math.pi  # an open flat meter then reads one lux
_ROUND_REACH = {"disk": 1.0, "octagon": 1 / math.cos(math.pi / 8)}
_NEVER_M2 = 1e9
_ANY_SLOPE = 1e6
_ANY_ANGLE = 1e9

_WALLS = 56  # where the numbers of cells with reflecting walls begin in a row
_MOUTH = _WALLS + 8  # where those of a mouth do
_ROW = _MOUTH + 28
_ONE = np.ones((1, 1), np.float32)
EVEN_RINGS = 1  # where the table of an even glow begins
_NO_MOUTH = EVEN_RINGS + RINGS + 1  # where a table of two by two by two zeros begins


@dataclass
class LightTable:
    """Device table of lights, and the array that holds their directional tables and pictures.

    `mirrored` is a plain flag: whether cells of any have walls that reflect. Those lights have a kernel of their own,
    so that others pay nothing.
    """

    rows: mi.Float
    tables: mi.Float
    mirrored: bool


def upload_lights(lights: list[Light], bodies: list[int]) -> LightTable:
    """Device table of lights that emit one lumen each; `bodies` are their indices among the fixture bodies."""
    rows: list[np.ndarray] = []
    tables: list[np.ndarray] = [_ONE.ravel(), np.linspace(0, 1, RINGS + 1, dtype=np.float32), np.zeros(8, np.float32)]
    for light, body in zip(lights, bodies, strict=True):
        rows.append(_row(light, body, tables))
    mirrored = any(light.fixture is not None and has_mirrors(light.fixture) for light in lights)
    return LightTable(buffer(np.concatenate(rows)), buffer(np.concatenate(tables)), mirrored)


def has_mirrors(fixture: Fixture) -> bool:
    """Whether the light passes cells whose walls reflect."""
    return fixture.optics.cells is not None and fixture.optics.cells.walls > 0


def light_at(table: LightTable, index: mi.UInt32) -> Luminaire:
    """The light of row `index`: one for all lanes, or one of its own for each."""
    rows = [dr.gather(mi.Vector4f, table.rows, index * (_ROW // 4) + k) for k in range(_ROW // 4)]
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
        hole=rows[5].y,
        back=rows[5].z,
        widest_slope=rows[5].w,
        source_kind=mi.UInt32(rows[6].x),
        source_depth=rows[6].y,
        source_half_width=rows[6].z,
        source_half_height=rows[6].w,
        cell_kind=mi.UInt32(rows[7].x),
        cell_ratio=rows[7].y,
        cell_walls=_table(rows[_WALLS // 4], rows[_WALLS // 4 + 1]) if table.mirrored else None,
        cell_repeats=rows[_WALLS // 4 + 1].z,
        image_plane=rows[7].z,
        image_cut=rows[7].w > 0.5,
        edge_reach=mi.Vector4f(rows[8]),
        edge_offset=mi.Vector4f(rows[9]),
        angular=_table(rows[10], rows[11]),
        image=_table(rows[12], rows[13]),
        radial=mi.UInt32(rows[11].z) + mi.UInt32(rows[11].w) * 65536,
        radial_reach=rows[13].w,
        glow_area=rows[13].z,
        tables=table.tables,
        mouth=_mouth(*rows[_MOUTH // 4 :]),
    )


def _mouth(
    place: mi.Vector4f,
    sizes: mi.Vector4f,
    hull: mi.Vector4f,
    more: mi.Vector4f,
    hung: mi.Vector4f,
    lamp: mi.Vector4f,
    hot: mi.Vector4f,
) -> Mouth:
    return Mouth(
        first=mi.UInt32(place.x) + mi.UInt32(place.y) * 65536,
        rows=mi.UInt32(place.z),
        plate_rows=mi.UInt32(place.w),
        screen_rows=mi.UInt32(sizes.x),
        outward=mi.UInt32(sizes.y),
        around=mi.UInt32(sizes.z),
        outline=mi.UInt32(sizes.w),
        radius=hull.x,
        depth=hull.y,
        slope=hull.z,
        bend=hull.w,
        rear=more.x,
        wall_way=more.y,
        stretch_x=more.z,
        stretch_y=more.w,
        screen_depth=hung.x,
        screen_radius=hung.y,
        lamp_depth=hung.z,
        lamp_radius=hung.w,
        lamp_luminance=lamp.x,
        lamp_share=lamp.y,
        gain=lamp.z,
        level=lamp.w,
        hot=mi.UInt32(hot.x) + mi.UInt32(hot.y) * 65536,
        hot_depth=hot.z,
        hot_share=hot.w,
    )


def _table(place: mi.Vector4f, scale: mi.Vector4f) -> Table:
    return Table(
        first=mi.UInt32(place.x) + mi.UInt32(place.w) * 65536,
        rows=mi.UInt32(place.y),
        columns=mi.UInt32(place.z),
        scale_x=scale.x,
        scale_y=scale.y,
    )


def _row(light: Light, body: int, tables: list[np.ndarray]) -> np.ndarray:
    """The numbers of a light, laid out as `light_at` reads them; its tables are appended to `tables`."""
    row = np.zeros(_ROW, np.float32)
    row[15], row[16], row[18:20] = 1, _AMBIENT_RADIANCE, (_ANY_ANGLE, 1)
    row[20], row[23], row[25] = NO_BODY, _ANY_SLOPE, 0
    row[24], row[26:28] = DISK, 1
    row[36:40] = _ANY_SLOPE
    row[40:46], row[48:54] = _place(_ONE, tables, 0, 0), _place(_ONE, tables, 0, 0)
    row[46], row[54:56] = EVEN_RINGS, 1
    row[_WALLS : _WALLS + 6] = _place(_ONE, tables, 0, 0)
    row[_MOUTH : _MOUTH + 16] = _NO_MOUTH, 0, 2, 0, 0, 2, 2, DISK, 1, 1, 0, 0, 1, 1, 1, 1
    row[_MOUTH + 16 :] = 0, -1, 0, 0, 0, 0, 1, 0, EVEN_RINGS, 0, 0, 0
    if light.fixture is None:
        row[3] = AMBIENT
        if light.distant is not None:
            _fill_distant(row, light.distant, tables)
        return row
    row[20] = body
    _fill_fixture(row, light.fixture)
    _fill_optics(row, light.fixture, tables)
    _fill_mouth(row, light.fixture, tables)
    return row


def _fill_distant(row: np.ndarray, distant: Distant, tables: list[np.ndarray]) -> None:
    if distant.kind == "sun":
        half = math.radians(distant.spread_deg) / 2
        row[3], row[0:3], row[15] = SUN, distant.toward, 2 * math.sin(half / 2) ** 2
        row[16] = 1 / (math.pi * math.sin(half) ** 2)  # one lux on a surface that faces it
        return
    assert distant.luminance is not None
    values = np.asarray(distant.luminance.values, np.float32)
    row[4:7], row[8:11], row[12:15], row[16] = (-1, 0, 0), (0, 0, 1), (0, -1, 0), 1
    row[40:46] = _place(values, tables, (values.shape[1] - 1) / distant.luminance.widest_rad, len(values))


def _fill_fixture(row: np.ndarray, fixture: Fixture) -> None:
    """Place, exit and level of a fixture's luminous area."""
    row[0:3], row[4:7], row[8:11], row[12:15] = fixture.centre_m, fixture.right, fixture.up, fixture.forward
    row[3], row[7], row[11] = KINDS[fixture.shape], fixture.size_m[0] / 2, fixture.size_m[1] / 2
    row[15], row[21], row[22] = exit_area_m2(fixture), fixture.hole_m / 2, fixture.optics.back_share
    optics, area = fixture.optics, source_area_m2(fixture)
    level = optics.efficiency * (optics.cells.open_share if optics.cells is not None else 1.0)
    if fixture.shape == "sphere" and optics.angular is not None:
        row[16] = level / (math.pi * fixture.size_m[0] ** 2 / 4)
    elif fixture.shape == "spot" and optics.angular is None:
        profile = spot_profile(fixture)
        row[16:20] = 0, level * profile.peak_cd_per_lm / area, profile.half_beam_rad, profile.power
    elif optics.emission is not None:
        row[16:18] = 0, 0
    elif optics.angular is None:
        row[16] = level / (math.pi * area)
    else:
        row[16:18] = (0, level / area) if optics.angular.of == "intensity" else (level / area, 0)
    if fixture.shape == "tube":
        row[15] = fixture.size_m[0] * fixture.size_m[1]  # of the strip it shows


def _fill_optics(row: np.ndarray, fixture: Fixture, tables: list[np.ndarray]) -> None:
    optics = fixture.optics
    row[23] = min(widest_slope_of(fixture), _ANY_SLOPE)
    source = source_of(fixture)
    if fixture.shape not in ("sphere", "tube"):
        row[24:28] = KINDS[source.shape], source.depth_m, source.size_m[0] / 2, source.size_m[1] / 2
    if optics.cells is not None:
        cells = optics.cells
        row[28:30] = CELL_KINDS[cells.kind], cells.ratio
        if cells.walls:
            table = cell_table(cells.kind, cells.walls)
            row[_WALLS : _WALLS + 6] = _place(table.values, tables, STEPS, 0)
            row[_WALLS + 6] = table.repeats
    if optics.edges is not None:
        row[32:36], row[36:40] = optics.edges[:, 0], optics.edges[:, 1]
    if optics.angular is not None:
        values = np.asarray(optics.angular.values, np.float32)
        row[40:46] = _place(values, tables, (values.shape[1] - 1) / optics.angular.widest_rad, len(values))
    if optics.slide is not None:
        row[30:32] = optics.slide.distance_m, 1
        row[48:54] = _place(np.asarray(optics.slide.values, np.float32), tables, *(1 / optics.slide.half_size_m))
    elif optics.glow is not None:
        row[30:32] = -source.depth_m, 0
        row[48:54] = _place(np.asarray(optics.glow, np.float32), tables, *(2 / source.size_m))
    row[54] = area_m2("disk", source.size_m) if source.shape == "disk" else _NEVER_M2
    if optics.glow is not None and source.shape in _ROUND_REACH:
        reach = _ROUND_REACH[source.shape]
        rings, area = _light_within_rings(np.asarray(optics.glow, float), source.shape, reach)
        row[46:48] = _place(rings[None], tables, 0, 0)[[0, 3]]
        row[54:56] = math.pi * (reach * source.size_m[0] / 2) ** 2 * area, reach


def _fill_mouth(row: np.ndarray, fixture: Fixture, tables: list[np.ndarray]) -> None:
    """What leaves a mouth, as `_mouth` reads it."""
    emission, cells = fixture.optics.emission, fixture.optics.cells
    if emission is None:
        return
    hull = emission.hull
    rows, outward, around = emission.values.shape
    place = _place(emission.values.reshape(rows, -1), tables, 0, 0)
    # where it shows, the lamp's intensity beside that of a mouth that glows evenly
    lamp = emission.lamp_luminance * math.pi**2 * emission.lamp_radius_m**2
    spot = hot_spot(emission)
    rings = _place(spot.table[None], tables, 0, 0)
    row[_MOUTH:] = (
        place[0], place[3], rows, emission.plate_rows,
        emission.screen_rows, outward, around, KINDS[emission.outline],
        hull.radius_m, hull.depth_m, hull.slope_m, hull.bend,
        hull.rear_m, hull.wall_way_m, *emission.stretch,
        emission.screen_depth_m, emission.screen_radius_m if emission.screen_rows else -1,
        emission.lamp_depth_m, emission.lamp_radius_m,
        emission.lamp_luminance, lamp / (lamp + 1), emission.gain,
        fixture.optics.efficiency * (cells.open_share if cells is not None else 1.0),
        rings[0], rings[3], spot.depth_m, spot.share if cells is None else 0.0,
    )  # fmt: skip


def _light_within_rings(glow: np.ndarray, shape: str, reach: float) -> tuple[np.ndarray, float]:
    """Share of a glow's light, a tenth of it counted as even, within squared radii that rise evenly from 0 to those of
    the disk around the luminous area; and the share of that disk's area that would be as noisy, were it even."""
    fine = 4 * glow.shape[0]
    x = ((np.arange(fine) + 0.5) / fine * 2 - 1) * reach
    x, y = (a.ravel() for a in np.meshgrid(x, x))
    ones = np.ones(2)
    lit = picture_value(glow, x, y, ones) * inside(shape, 2 * ones, x, y)
    radius2 = (x * x + y * y) / reach**2
    ring = np.minimum((radius2 * RINGS).astype(int), RINGS)
    counted = np.bincount(ring, minlength=RINGS + 1)[:RINGS]
    mean, square = (np.bincount(ring, v, RINGS + 1)[:RINGS] / counted for v in (lit, lit**2))
    level = 0.9 * mean / mean.mean() + 0.1
    share = np.concatenate([[0], np.cumsum(level)]) / level.sum()
    return share.astype(np.float32), float(mean.mean() ** 2 / np.mean(square / level))


def _place(values: np.ndarray, tables: list[np.ndarray], scale_x: float, scale_y: float) -> np.ndarray:
    """Append a table; returns where it begins (low and high 16 bits apart, exact in single precision), its shape, and
    its scales."""
    first = 0 if values is _ONE else sum(map(len, tables))
    if first:
        tables.append(values.ravel())
    return np.array([first % 65536, *values.shape, first // 65536, scale_x, scale_y], np.float32)
