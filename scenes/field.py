"""The light a fixture sends out, ray by ray, and what falls on the set: the reference of the traced light.

All strengths are per lumen of the lamp. Rays are told by where they cross the exit, (x, y) in metres along the
fixture's right and up, and by their slopes along its axis; see `scenes.optics`.
"""

from __future__ import annotations

import math

import numpy as np

from .cell_walls import cell_table
from .cells import transmission, widest_slope
from .fixtures import (
    area_m2,
    exit_area_m2,
    front_m,
    plain_axial_illuminance,
    plain_axial_intensity,
    spot_intensity,
    spot_profile,
)
from .optics import PLAIN, Angular, Source
from .stage import Fixture

STEPS = 96
"""Points a side of the raster that stands for an exit area."""

_DIAGONAL = math.sqrt(0.5)
_NOWHERE = 1e9


def source_of(fixture: Fixture) -> Source:
    """The luminous area of a flat fixture: the one behind the exit, or the exit itself."""
    own = fixture.optics.source
    shape = "disk" if fixture.shape == "spot" else fixture.shape
    return own if own is not None else Source(shape, fixture.size_m, 0.0)


def source_area_m2(fixture: Fixture) -> float:
    """Area of the luminous surface in m2."""
    own = fixture.optics.source
    return exit_area_m2(fixture) if own is None else area_m2(own.shape, own.size_m)


def widest_slope_of(fixture: Fixture) -> float:
    """Slope off the axis beyond which a flat fixture sends nothing; infinite when it fills the half space."""
    optics, widest = fixture.optics, math.inf
    angles = [] if optics.angular is None else [optics.angular.widest_rad]
    if fixture.beam_deg is not None:
        angles.append(spot_profile(fixture).cut_rad)
    for angle in angles:
        if angle < math.pi / 2 - 1e-3:
            widest = min(widest, math.tan(angle))
    if optics.cells is not None:
        cells = optics.cells
        table = cell_table(cells.kind, cells.walls) if cells.walls else None
        steepest = widest_slope(cells.kind, cells.ratio) if table is None else table.widest / cells.ratio
        widest = min(widest, steepest)
    return widest


def luminance(
    fixture: Fixture,
    x: np.ndarray,
    y: np.ndarray,
    slope_x: np.ndarray,
    slope_y: np.ndarray,
    lamp_only: bool = False,
) -> np.ndarray:
    """Luminance (cd/m2 per lm) of a flat exit for rays that leave it to the front.

    Parameters
    ----------
    x, y : metres; slope_x, slope_y : dx/dz and dy/dz. Any shapes that broadcast.
    lamp_only : whether only the bare lamp counts, of a mouth through which it is seen (`Optics.emission`).
    """
    source = source_of(fixture)
    at_x, at_y = x - slope_x * source.depth_m, y - slope_y * source.depth_m
    value = _passed(fixture, x, y, slope_x, slope_y) * inside(source.shape, source.size_m, at_x, at_y)
    emission = fixture.optics.emission
    if emission is None:
        value = value * _spread(fixture, slope_x, slope_y)
        if fixture.optics.glow is not None:
            value = value * picture_value(fixture.optics.glow, at_x, at_y, source.size_m / 2)
        return np.asarray(value, float)
    way = _unit(slope_x, slope_y)
    seen = emission.lamp(at_x, at_y, way)
    return np.asarray(value * (seen if lamp_only else seen + emission.walls(at_x, at_y, way)), float)


def _unit(slope_x: np.ndarray, slope_y: np.ndarray) -> np.ndarray:
    """Directions (3, ...) of slopes."""
    along = 1 / np.sqrt(1 + np.square(slope_x) + np.square(slope_y))
    return np.stack(np.broadcast_arrays(slope_x * along, slope_y * along, along))


def _passed(
    fixture: Fixture, x: np.ndarray, y: np.ndarray, slope_x: np.ndarray, slope_y: np.ndarray
) -> np.ndarray | float:
    """Share of a ray that leaves the exit, of what the luminous area sends out for one lumen."""
    optics = fixture.optics
    value = optics.efficiency * inside(fixture.shape, fixture.size_m, x, y)
    if fixture.hole_m:
        value = value * (np.hypot(x, y) >= fixture.hole_m / 2)
    if optics.slide is not None:
        slide = optics.slide
        far_x, far_y = x + slope_x * slide.distance_m, y + slope_y * slide.distance_m
        shown = (np.abs(far_x) <= slide.half_size_m[0]) & (np.abs(far_y) <= slide.half_size_m[1])
        value = value * shown * picture_value(slide.values, far_x, far_y, slide.half_size_m)
    if optics.cells is not None:
        cells = optics.cells
        if cells.walls:
            across = cells.ratio * np.hypot(slope_x, slope_y)
            through = cell_table(cells.kind, cells.walls).passed(across, np.arctan2(slope_y, slope_x))
        else:
            through = transmission(cells.kind, cells.ratio, slope_x, slope_y)
        value = value * cells.open_share * through
    if optics.edges is not None:
        (right, right_off), (left, left_off), (up, up_off), (down, down_off) = optics.edges
        value = value * (x + slope_x * right <= right_off) * (-x - slope_x * left <= left_off)
        value = value * (y + slope_y * up <= up_off) * (-y - slope_y * down <= down_off)
    return np.asarray(value, float)


def _spread(fixture: Fixture, slope_x: np.ndarray, slope_y: np.ndarray) -> np.ndarray | float:
    """Luminance of the source by direction (cd/m2 per lm), the same all over it."""
    area, angular = source_area_m2(fixture), fixture.optics.angular
    if fixture.shape != "spot" and angular is None:
        return 1 / (math.pi * area)
    slope = np.hypot(slope_x, slope_y)
    angle, cosine = np.arctan(slope), 1 / np.sqrt(1 + slope * slope)
    if angular is None:
        return spot_intensity(fixture, angle) / (area * cosine)
    value = angular_value(angular, angle, np.arctan2(slope_y, slope_x))
    return value / (area * cosine) if angular.of == "intensity" else value / area


def angular_value(angular: Angular, off_axis_rad: np.ndarray, azimuth_rad: np.ndarray) -> np.ndarray:
    """Value of a directional table, linear between its entries; 0 beyond its widest angle."""
    values = np.asarray(angular.values, float)
    rows, columns = values.shape
    off_axis, azimuth = np.broadcast_arrays(np.asarray(off_axis_rad, float), np.asarray(azimuth_rad, float))
    across = off_axis * (columns - 1) / angular.widest_rad
    column = np.clip(across.astype(int), 0, columns - 2)
    around = (azimuth / (2 * math.pi) % 1) * rows
    row = around.astype(int) % rows
    s, t = np.clip(across - column, 0, 1), around - np.floor(around)
    near = values[row, column] * (1 - s) + values[row, column + 1] * s
    far = values[(row + 1) % rows, column] * (1 - s) + values[(row + 1) % rows, column + 1] * s
    return np.where(off_axis <= angular.widest_rad * (1 + 1e-9), near * (1 - t) + far * t, 0.0)


def picture_value(values: np.ndarray, x: np.ndarray, y: np.ndarray, half_size_m: np.ndarray) -> np.ndarray:
    """Value of a picture, top row first, spread over a box around the axis; linear between the centres of its cells."""
    height, width = values.shape
    column = np.clip((x / half_size_m[0] + 1) / 2 * width - 0.5, 0, width - 1)
    row = np.clip((1 - y / half_size_m[1]) / 2 * height - 0.5, 0, height - 1)
    i, j = np.minimum(column.astype(int), max(width - 2, 0)), np.minimum(row.astype(int), max(height - 2, 0))
    s, t = column - i, row - j
    k, m = np.minimum(i + 1, width - 1), np.minimum(j + 1, height - 1)
    upper = values[j, i] * (1 - s) + values[j, k] * s
    return np.asarray(upper * (1 - t) + (values[m, i] * (1 - s) + values[m, k] * s) * t, float)


def inside(shape: str, size_m: np.ndarray, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Which points (x, y) in metres lie in a flat shape around the origin; the edge counts."""
    half = np.asarray(size_m, float) / 2 * (1 + 1e-9)
    if shape in ("disk", "spot"):
        return np.hypot(x, y) <= half[0]
    within = (np.abs(x) <= half[0]) & (np.abs(y) <= half[1])
    if shape == "octagon":
        within &= (np.abs(x) + np.abs(y)) * _DIAGONAL <= half[0]
    return np.asarray(within)


def illuminance(fixture: Fixture, points: np.ndarray, normals: np.ndarray, steps: int = STEPS) -> np.ndarray:
    """Illuminance (lx per lm) at points (n, 3) of surfaces that face along unit normals (n, 3), nothing in between.

    The part of the exit a point can get light from is cut into `steps` by `steps` cells, each taken at its middle.
    """
    points, normals = np.reshape(np.asarray(points, float), (-1, 3)), np.reshape(np.asarray(normals, float), (-1, 3))
    normals = np.broadcast_to(normals, points.shape)
    at = {"sphere": _ball_illuminance, "tube": _tube_illuminance}.get(fixture.shape, _flat_illuminance)
    block = max(1, (2_000_000 if fixture.optics.emission is None else 250_000) // steps**2)
    parts = [at(fixture, points[i : i + block], normals[i : i + block], steps) for i in range(0, len(points), block)]
    return np.concatenate(parts) if parts else np.zeros(0)


def _flat_illuminance(fixture: Fixture, points: np.ndarray, normals: np.ndarray, steps: int) -> np.ndarray:
    right, up, forward = fixture.right, fixture.up, fixture.forward
    away = points - fixture.centre_m
    px, py, pz = (away @ axis for axis in (right, up, forward))
    h = np.maximum(np.abs(pz), 1e-6)
    low, high = _useful_box(fixture, px, py, h)
    share = (np.arange(steps) + 0.5) / steps
    x = low[0][:, None, None] + (high[0] - low[0])[:, None, None] * share[None, :, None]
    y = low[1][:, None, None] + (high[1] - low[1])[:, None, None] * share[None, None, :]
    slope_x, slope_y = (px[:, None, None] - x) / h[:, None, None], (py[:, None, None] - y) / h[:, None, None]
    behind = pz < 0
    value = luminance(fixture, x, y, slope_x, slope_y)
    emission = fixture.optics.emission
    if emission is not None and emission.lamp_luminance:
        value -= luminance(fixture, x, y, slope_x, slope_y, lamp_only=True)
    if behind.any():
        back = fixture.optics.back_share * luminance(fixture, x, y, 0 * slope_x, 0 * slope_y)
        value = np.where(behind[:, None, None], back, value)
    # slopes (sx, sy, 1) times h is the way from the exit to the point, on its own side of the exit
    away2 = 1 + slope_x**2 + slope_y**2
    nx, ny, nz = (normals @ axis for axis in (right, up, forward))
    side = np.where(behind, -1.0, 1.0)
    facing = -(
        nx[:, None, None] * slope_x + ny[:, None, None] * slope_y + (nz * side)[:, None, None] * np.ones_like(slope_x)
    )
    cell = np.maximum(high[0] - low[0], 0) * np.maximum(high[1] - low[1], 0) / steps**2
    received = (value * np.maximum(facing, 0) / away2**2).sum(axis=(1, 2)) * cell / h**2
    if emission is not None and emission.lamp_luminance:
        received = received + _lamp_illuminance(fixture, points, normals, steps)
    return np.asarray(received, float)


def _lamp_illuminance(fixture: Fixture, points: np.ndarray, normals: np.ndarray, steps: int) -> np.ndarray:
    """What comes straight from the lamp in a mouth, over the cone that the lamp fills."""
    emission = fixture.optics.emission
    assert emission is not None
    lamp = fixture.centre_m - (source_of(fixture).depth_m + emission.lamp_depth_m) * fixture.forward
    rays, solid_angle = _cone_to_ball(lamp, emission.lamp_radius_m, points, steps)
    right, up, forward = fixture.right, fixture.up, fixture.forward
    away = (points - fixture.centre_m)[:, None, None, :]
    along = -(rays @ forward)
    front = (along > 1e-9) & (away @ forward > 0)
    along = np.where(front, along, 1.0)
    reach = (away @ forward) / along
    x, y = away @ right + reach * (rays @ right), away @ up + reach * (rays @ up)
    value = luminance(fixture, x, y, -(rays @ right) / along, -(rays @ up) / along, lamp_only=True) * front
    received = np.maximum(np.einsum("nijk,nk->nij", rays, normals), 0) * value
    return np.asarray(received.mean(axis=(1, 2)) * solid_angle, float)


def _useful_box(
    fixture: Fixture, px: np.ndarray, py: np.ndarray, h: np.ndarray
) -> tuple[list[np.ndarray], list[np.ndarray]]:
    """Corners of the box of the exit that a point (px, py) at height h can get light from."""
    source, slope = source_of(fixture), min(widest_slope_of(fixture), _NOWHERE)
    shrink = h / (h + source.depth_m)
    low, high = [], []
    for k, p in enumerate((px, py)):
        centre = p * (1 - shrink)
        half, reach = shrink * source.size_m[k] / 2, h * slope
        low.append(np.maximum(np.maximum(-fixture.size_m[k] / 2, centre - half), p - reach))
        high.append(np.minimum(np.minimum(fixture.size_m[k] / 2, centre + half), p + reach))
    return low, high


def _ball_illuminance(fixture: Fixture, points: np.ndarray, normals: np.ndarray, steps: int) -> np.ndarray:
    """The ball as the disk it shows the point."""
    rays, solid_angle = _cone_to_ball(fixture.centre_m, fixture.size_m[0] / 2, points, steps)
    received = np.maximum(np.einsum("nijk,nk->nij", rays, normals), 0) * _ball_luminance(fixture, -rays)
    return np.asarray(received.mean(axis=(1, 2)) * solid_angle, float)


def _cone_to_ball(
    centre_m: np.ndarray, radius_m: float, points: np.ndarray, steps: int
) -> tuple[np.ndarray, np.ndarray]:
    """Directions (n, rings, sectors, 3) from points over the cone that a ball fills, of equal solid angle; and (n,) the
    solid angle of the whole cone."""
    toward = centre_m - points
    distance = np.linalg.norm(toward, axis=1)
    axis = toward / distance[:, None]
    side = np.cross(axis, np.where(np.abs(axis[:, 1:2]) < 0.9, [[0.0, 1.0, 0.0]], [[1.0, 0.0, 0.0]]))
    side /= np.linalg.norm(side, axis=1, keepdims=True)
    other = np.cross(axis, side)
    sine2 = np.minimum((radius_m / distance) ** 2, 1.0)
    cap = sine2 / (1 + np.sqrt(1 - sine2))
    count = max(steps // 2, 8)
    cosine = 1 - cap[:, None] * (np.arange(count) + 0.5) / count
    turn = (np.arange(count) + 0.5) / count * 2 * math.pi
    radial = np.sqrt(np.maximum(1 - cosine**2, 0))[:, :, None]
    rays = (
        cosine[:, :, None, None] * axis[:, None, None]
        + (radial * np.cos(turn))[..., None] * side[:, None, None]
        + (radial * np.sin(turn))[..., None] * other[:, None, None]
    )
    return rays, 2 * math.pi * cap


def _ball_luminance(fixture: Fixture, out: np.ndarray) -> np.ndarray | float:
    optics, radius = fixture.optics, fixture.size_m[0] / 2
    if optics.angular is None:
        return optics.efficiency / (math.pi * exit_area_m2(fixture))
    off_axis = np.arccos(np.clip(out @ fixture.forward, -1, 1))
    value = angular_value(optics.angular, off_axis, np.arctan2(out @ fixture.up, out @ fixture.right))
    return optics.efficiency * value / (math.pi * radius**2)


def _tube_illuminance(fixture: Fixture, points: np.ndarray, normals: np.ndarray, steps: int) -> np.ndarray:
    """Over the side of the tube that the point sees; its ends are dark."""
    length, radius = fixture.size_m[0], fixture.size_m[1] / 2
    count, around = steps * 4, max(steps // 4, 16)
    along = ((np.arange(count) + 0.5) / count - 0.5) * length
    away = points - fixture.centre_m
    place = away @ fixture.right
    across = away - place[:, None] * fixture.right
    height = np.maximum(np.linalg.norm(across, axis=1), 1e-9)
    facing = across / height[:, None]
    arc = np.arccos(np.minimum(radius / height, 1.0))[:, None]
    nodes, weights = np.polynomial.legendre.leggauss(around)
    cosine, sine = np.cos(arc * nodes), np.sin(arc * nodes)
    # the way from the tube to the point: along its axis, toward the point, and aside
    x = place[:, None, None] - along[None, :, None]
    z, y = (height[:, None] - radius * cosine)[:, None], (-radius * sine)[:, None]
    n_x, n_z = normals @ fixture.right, np.einsum("ni,ni->n", normals, facing)
    n_y = np.einsum("ni,ni->n", normals, np.cross(fixture.right, facing))
    received = -(n_x[:, None, None] * x + n_z[:, None, None] * z + n_y[:, None, None] * y)
    leaving = (weights * arc * radius * length / count * (height[:, None] * cosine - radius))[:, None]
    level = fixture.optics.efficiency / (math.pi * exit_area_m2(fixture))
    value = (np.maximum(received, 0) * leaving / (x * x + y * y + z * z) ** 2).sum(axis=(1, 2))
    return np.asarray(value * level, float)


def axial_illuminance_per_lumen(fixture: Fixture, distance_m: float) -> float:
    """Illuminance (lx per lm of the lamp) on the axis, facing the light.

    Parameters
    ----------
    distance_m : from the centre of the exit; positive, and outside the light itself.

    Raises
    ------
    ValueError
        When the distance is not positive or lies inside the light.
    """
    if fixture.optics is PLAIN:
        return plain_axial_illuminance(fixture, distance_m)
    if not distance_m > front_m(fixture):
        raise ValueError(f"a distance of {distance_m} m is not in front of this fixture")
    point = fixture.centre_m + distance_m * fixture.forward
    return float(illuminance(fixture, point, -fixture.forward, steps=256)[0])


def axial_intensity_per_lumen(fixture: Fixture) -> float:
    """Far-field intensity on the axis (cd per lm of the lamp)."""
    if fixture.optics is PLAIN:
        return plain_axial_intensity(fixture)
    far = 1e4 * float(max(fixture.size_m))
    return axial_illuminance_per_lumen(fixture, far) * far**2
