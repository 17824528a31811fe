"""Grids and tubes: published geometry through the formulas and through the traced path, and real ones built as meshes.

Sources: overlap of two circles (collimator optics), and Howell and Menguc's coaxial equal disks, whose factor equals
the flux a grid of black round cells passes; penumbra of a disk behind an aperture by similar triangles. Numbers were
computed for this project by two independent routes (closed form and ray counting).
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from render.backend import init
from scenes.beams import intensity
from scenes.cells import ratio_for_slope, transmission
from scenes.field import illuminance
from scenes.optics import Cells, Optics, Source
from tests.render.sets import far_speck, finish, fixture, mesh, quad

from .test_photometry import agree, readings

CIRCLE = {
    # depth over diameter: {degrees off the axis: transmission}
    1: {5: 0.88875, 10: 0.77666, 15: 0.66296, 20: 0.54702, 30: 0.30807},
    2: {5: 0.77835, 10: 0.56048, 15: 0.35191, 20: 0.16322, 30: 0.0},
    4: {5: 0.56369, 10: 0.18331, 15: 0.0, 20: 0.0},
    8: {5: 0.18820, 10: 0.0},
}
FLUX = {1: (0.171573, 0.18332), 1.5: (0.091673, 0.09925), 2: (0.055728, 0.06074), 3: (0.026334, 0.02887),
        4: (0.015155, 0.01666), 5: (0.009805, 0.01079), 6: (0.006850, 0.00754), 8: (0.003876, 0.00427)}  # fmt: skip
HALF_WIDTH_DEG = {1: 43.995, 1.5: 30.146, 2: 22.839, 3: 15.338, 4: 11.534, 5: 9.238, 6: 7.704, 8: 5.782}
TENTH_WIDTH_DEG = {1: 77.695, 1.5: 56.465, 2: 43.868, 3: 30.055, 4: 22.768, 5: 18.301, 6: 15.29, 8: 11.5}


@pytest.mark.parametrize("ratio", CIRCLE)
def test_round_cells_at_published_angles(ratio):
    for degrees, share in CIRCLE[ratio].items():
        slope = math.tan(math.radians(degrees))
        for turn in (0.0, 1.1):
            got = transmission("round", ratio, slope * math.cos(turn), slope * math.sin(turn))
            assert got == pytest.approx(share, abs=1e-4 if share else 1e-12)


@pytest.mark.parametrize("ratio", FLUX)
def test_flux_through_cells_is_the_view_factor_of_their_ends(ratio):
    circle, hexagon = FLUX[ratio]
    s = ratio  # coaxial equal disks a cell depth apart: x - sqrt(x^2 - 1) with x = 1 + 2 s^2
    x = 1 + 2 * s * s
    assert x - math.sqrt(x * x - 1) == pytest.approx(circle, abs=1e-6)
    widest = math.atan(2 / math.sqrt(3) / ratio)
    sine2 = (np.arange(1500) + 0.5) / 1500 * math.sin(widest) ** 2
    slope = np.sqrt(sine2 / (1 - sine2))[:, None]
    turn = (np.arange(180) + 0.5) / 180 * 2 * math.pi
    for kind, flux in (("round", circle), ("hexagon", hexagon)):
        through = transmission(kind, ratio, slope * np.cos(turn), slope * np.sin(turn)).mean() * math.sin(widest) ** 2
        assert through == pytest.approx(flux, rel=1e-3)


@pytest.mark.parametrize("ratio", HALF_WIDTH_DEG)
def test_degrees_of_a_grid(ratio):
    for share, width in ((0.5, HALF_WIDTH_DEG[ratio]), (0.1, TENTH_WIDTH_DEG[ratio]), (0.0, None)):
        half = math.atan(1 / ratio) if width is None else math.radians(width / 2)
        assert ratio_for_slope("round", share, math.tan(half)) == pytest.approx(ratio, rel=1e-3)


@pytest.mark.slow
@pytest.mark.parametrize("ratio", [1, 2, 4])
def test_traced_grid_at_published_angles(ratio):
    """A small gridded disk seen from afar: E(theta) / E(0) = T(theta) cos(theta), through the traced path."""
    of = fixture("disk", (0.001, 0.001), at=(0, 0, 0), toward=(0, 0, -1))
    of = replace(of, optics=Optics(cells=Cells("round", ratio, 0.9)))
    angles = np.radians([0, *(d for d, share in CIRCLE[ratio].items() if share > 0)])
    away = np.stack([np.sin(angles), 0 * angles, -np.cos(angles)], axis=1)
    got = readings([far_speck()], of, 2 * away, -away)
    truth = np.array([1, *(s for s in CIRCLE[ratio].values() if s > 0)]) * np.cos(angles) * 0.9 / math.pi / 4
    agree(got, truth, rounding=2e-3)  # slopes within 1 mm seen from 2 m


TUBES = [
    # source radius, tube length, mouth radius, distance of the plane from the mouth, {radius in it: share seen}
    (0.03, 0.2, 0.04, 1.0, {0.05: 1.0, 0.1: 0.98398, 0.2: 0.59895, 0.3: 0.20892, 0.41: 0.0}),
    (0.03, 0.2, 0.025, 1.5, {0.0: 0.89198, 0.2: 0.41445, 0.45: 0.0}),
]


@pytest.mark.slow
@pytest.mark.parametrize(("a", "s", "b", "distance", "shares"), TUBES)
def test_traced_tube_penumbra(a, s, b, distance, shares):
    """Share of a disk that a point of the plane sees through the tube's mouth: with the tube over without it.

    The share is by area; weighing it with the cosines, as light does, moves it by up to 0.004 at these sizes.
    """
    places = np.array([[r, 0, -distance] for r in shares])
    facing = np.tile([0.0, 0, 1], (len(places), 1))
    tube = fixture("disk", (2 * b, 2 * b), at=(0, 0, 0), toward=(0, 0, -1))
    tube = replace(tube, optics=Optics(source=Source("disk", np.array([2 * a, 2 * a]), s)))
    bare = fixture("disk", (2 * a, 2 * a), at=(0, 0, s), toward=(0, 0, -1))
    with_tube, without = (readings([far_speck()], of, places, facing) for of in (tube, bare))
    share = with_tube.mean(axis=0) / without.mean(axis=0)
    assert share == pytest.approx(np.array(list(shares.values())), rel=1e-3, abs=4e-3)


@pytest.mark.parametrize(("a", "s", "b", "distance", "shares"), TUBES)
def test_tube_penumbra_without_a_set(a, s, b, distance, shares):
    """The same through what `keyfall beam` computes with."""
    places = np.array([[r, 0, -distance] for r in shares])
    tube = fixture("disk", (2 * b, 2 * b), at=(0, 0, 0), toward=(0, 0, -1))
    tube = replace(tube, optics=Optics(source=Source("disk", np.array([2 * a, 2 * a]), s)))
    bare = fixture("disk", (2 * a, 2 * a), at=(0, 0, s), toward=(0, 0, -1))
    lit, open_ = (illuminance(of, places, np.array([0.0, 0, 1]), steps=256) for of in (tube, bare))
    assert lit / open_ == pytest.approx(np.array(list(shares.values())), rel=1e-3, abs=4e-3)


@pytest.mark.parametrize("ratio", [1, 2, 4])
def test_grid_without_a_set(ratio):
    """Far-field intensity of a small gridded disk, as `keyfall beam` and its photometric files have it."""
    of = fixture("disk", (0.001, 0.001), at=(0, 0, 0), toward=(0, 0, 1))
    of = replace(of, optics=Optics(cells=Cells("round", ratio, 0.9)))
    angles = np.radians([0, *CIRCLE[ratio]])
    got = intensity(of, angles, np.array([0.0, 1.0]))
    truth = np.array([1, *CIRCLE[ratio].values()]) * np.cos(angles) * 0.9 / math.pi
    assert got == pytest.approx(np.tile(truth, (2, 1)), rel=0.006, abs=1e-9)


@pytest.mark.slow
def test_half_shadow_of_a_straight_edge():
    """A disk 0.3 m wide, 2 m up, over an edge half a metre up: the half shadow is 0.3 x 0.5 / 1.5 = 0.1 m wide (thin
    geometry), and across it the share of the disk in sight is that beyond a chord."""
    edge = quad([0, 0.5, -50], [0, 0, 100], [50, 0, 0], finish(0.0))
    lamp = fixture("disk", (0.3, 0.3), at=(0, 2, 0))
    places = np.array([-0.06, -0.03, -0.01, 0.0, 0.01, 0.03, 0.06]) * [[1], [0], [0]]
    facing = np.tile([0.0, 1, 0], (7, 1))
    shadowed, bare = (readings(shapes, lamp, places.T, facing) for shapes in ([edge], [far_speck()]))
    h = np.clip(places[0] / 0.05, -1, 1)
    truth = (np.arccos(h) - h * np.sqrt(1 - h * h)) / math.pi
    assert shadowed.mean(axis=0) / bare.mean(axis=0) == pytest.approx(truth, abs=0.004)


def _tube_mesh(rear_radius: float, mouth_radius: float, length: float, sides: int = 256):
    """Black frustum from z = length (rear) to z = 0 (mouth), open at both ends."""
    turn = np.arange(sides) / sides * 2 * np.pi
    ring = np.stack([np.cos(turn), np.sin(turn), 0 * turn], axis=1)
    scale = np.cos(np.pi / sides) ** -0.5  # between the inscribed and the circumscribed polygon
    vertices = np.concatenate([ring * rear_radius * scale + [0, 0, length], ring * mouth_radius * scale])
    i, j = np.arange(sides), (np.arange(sides) + 1) % sides
    faces = np.concatenate([np.stack([i, j, j + sides], axis=1), np.stack([i, j + sides, i + sides], axis=1)])
    return mesh(vertices, faces, np.concatenate([-ring, -ring]), finish(0.0))


@pytest.mark.slow
def test_a_real_tube_built_as_a_mesh():
    """Black tube of the same size in front of a plain disk, ray-traced, against the fast model: 2 % inside the beam."""
    a, s, b, distance = 0.05, 0.2, 0.035, 1.5
    radii = np.array([0.0, 0.08, 0.16, 0.24, 0.32, 0.4])
    places = np.stack([radii, 0 * radii, 0 * radii - distance], axis=1)
    facing = np.tile([0.0, 0, 1], (len(places), 1))
    fast = fixture("disk", (2 * b, 2 * b), at=(0, 0, 0), toward=(0, 0, -1))
    fast = replace(fast, optics=Optics(source=Source("disk", np.array([2 * a, 2 * a]), s)))
    lamp = fixture("disk", (2 * a, 2 * a), at=(0, 0, s), toward=(0, 0, -1))
    real = readings([_tube_mesh(a * 1.001, b, s - 1e-3)], lamp, places, facing, samples=32768)
    modelled = readings([far_speck()], fast, places, facing)
    inside = modelled.mean(axis=0) > 0.1 * modelled.mean(axis=0)[0]
    assert inside.sum() >= 5
    error = real.std(axis=0, ddof=1) / 4 / real.mean(axis=0)
    assert error[inside].max() < 0.005
    assert real.mean(axis=0)[inside] == pytest.approx(modelled.mean(axis=0)[inside], rel=0.02)


def _honeycomb_mesh(diameter: float, cell: float, depth: float):
    """Walls without thickness of hexagons, `cell` flat to flat, over a disk, from z = 0 (front) to z = depth; two flats
    of every cell look up and down."""
    side = cell / math.sqrt(3)
    corners = {}
    walls = set()

    def corner(x: float, y: float) -> int:
        return corners.setdefault((round(x / side * 1000), round(y / side * 1000)), len(corners))

    rings = int(diameter / cell) + 2
    places: list[tuple[float, float]] = []
    for column in range(-rings, rings + 1):
        for row in range(-rings, rings + 1):
            x, y = 1.5 * side * column, cell * (row + 0.5 * (column % 2))
            if math.hypot(x, y) > diameter / 2 + cell:
                continue
            points = [(x + side * math.cos(k * math.pi / 3), y + side * math.sin(k * math.pi / 3)) for k in range(6)]
            names = [corner(*p) for p in points]
            walls |= {tuple(sorted(pair)) for pair in zip(names, names[1:] + names[:1], strict=True)}
    places = [(x / 1000 * side, y / 1000 * side) for x, y in corners]
    flat = np.array([(x, y, 0.0) for x, y in places])
    count = len(flat)
    vertices = np.concatenate([flat, flat + np.array([0, 0, depth])])
    faces = [f for i, j in walls for f in ((i, j, j + count), (i, j + count, i + count))]
    return mesh(vertices, np.array(faces), np.tile([1.0, 0, 0], (2 * count, 1)), finish(0.0))


@pytest.mark.slow
def test_a_real_honeycomb_built_as_a_mesh():
    """A grid of real hexagons in a black rim in front of a plain disk, ray-traced, against the fast model: 2 % inside the beam.

    Meters lie on two azimuths, across flats and across corners, and are means over a cell's shift, since a real grid
    also throws a fine pattern that the fast model leaves out.
    """
    diameter, cell, ratio, distance = 0.18, 0.005, 2.3, 1.0
    depth = ratio * cell
    radii = np.array([0.0, 0.08, 0.16, 0.24, 0.32])
    shifts = np.random.default_rng(5).uniform(-0.04, 0.04, (200, 2))
    places = []
    for turn in (0.0, math.pi / 2):
        for r in radii:
            for dx, dy in shifts:
                places.append((r * math.cos(turn) + dx, r * math.sin(turn) + dy, -distance))
    places = np.array(places)
    facing = np.tile([0.0, 0, 1], (len(places), 1))
    rear = Source("disk", np.array([diameter, diameter]), depth)
    fast = fixture("disk", (diameter, diameter), at=(0, 0, 0), toward=(0, 0, -1))
    fast = replace(fast, optics=Optics(source=rear, cells=Cells("hexagon", ratio, 1.0)))
    lamp = fixture("disk", (diameter, diameter), at=(0, 0, depth + 1e-4), toward=(0, 0, -1))
    rim = _tube_mesh(diameter / 2, diameter / 2, depth)
    real = readings([_honeycomb_mesh(diameter, cell, depth), rim], lamp, places, facing, samples=2048, seeds=2)
    modelled = readings([far_speck()], fast, places, facing, samples=1024, seeds=2)
    real, modelled = (r.mean(axis=0).reshape(2, len(radii), -1).mean(axis=2) for r in (real, modelled))
    inside = modelled > 0.1 * modelled.max()
    assert inside.sum() >= 8
    assert real[inside] == pytest.approx(modelled[inside], rel=0.02)


def _through_mirrors(walls, exit_radius: float, cell: float, places: np.ndarray, rays: int, reflectance: float):
    """Illuminance facing +z at places (n, 3) before a round exit, behind it the walls of a mesh, which mirror, and an even
    luminance of 1, a few cells wider than the exit, since cells at the rim reach past it: rays from the places through
    the exit, followed from wall to wall by the ray tracer's queries alone."""
    init("auto")
    import mitsuba as mi

    shape = mi.Mesh("walls", len(walls.vertices), len(walls.faces))
    told = mi.traverse(shape)
    told["vertex_positions"], told["faces"] = mi.Float(walls.vertices.ravel()), mi.UInt32(walls.faces.ravel())
    told.update()
    scene = mi.load_dict({"type": "scene", "walls": shape})
    rng = np.random.default_rng(8)
    share, turn = rng.uniform(size=(len(places), rays)), rng.uniform(0, 2 * np.pi, (len(places), rays))
    radius = exit_radius * np.sqrt(share)
    exits = np.stack([radius * np.cos(turn), radius * np.sin(turn), 0 * turn], axis=2)
    way = exits - places[:, None]
    far2 = (way**2).sum(axis=2)
    way /= np.sqrt(far2)[..., None]
    weight = way[..., 2] ** 2 / far2 * np.pi * exit_radius**2
    origin, way, kept = exits.reshape(-1, 3) - 1e-5 * way.reshape(-1, 3), way.reshape(-1, 3), np.ones(weight.size)
    live = np.arange(weight.size)
    for _ in range(40):
        ray = mi.Ray3f(mi.Point3f(*origin[live].T.astype(np.float32)), mi.Vector3f(*way[live].T.astype(np.float32)))
        hit = scene.ray_intersect(ray)
        met, t = np.array(hit.is_valid()), np.array(hit.t, float)
        live, t, normal = live[met], t[met], np.array(hit.n, float).T[met]
        if not len(live):
            break
        origin[live] += t[:, None] * way[live]
        way[live] -= 2 * (way[live] * normal).sum(axis=1)[:, None] * normal
        origin[live] += 1e-6 * way[live]
        kept[live] *= reflectance
    end = origin + (float(walls.vertices[:, 2].max()) - origin[:, 2])[:, None] / way[:, 2:] * way
    seen = (np.hypot(end[:, 0], end[:, 1]) <= exit_radius + 2 * cell) * kept
    return (seen.reshape(weight.shape) * weight).mean(axis=1)


@pytest.mark.slow
@pytest.mark.parametrize(("reflectance", "distance"), [(0.56, 0.5), (0.56, 2.0), (0.05, 2.0)])
def test_a_real_honeycomb_whose_walls_mirror(reflectance, distance):
    """The same grid built as a mesh, its walls mirrors of so much, before an even disk: on the axis and off it to four
    times where black cells end, near and far, against what `keyfall beam` computes with: 1.5 %, and 0.02 % of the
    axis where there is next to nothing."""
    diameter, cell, ratio = 0.18, 0.005, 2.3
    walls = _honeycomb_mesh(diameter + 4 * cell, cell, ratio * cell)
    fast = fixture("disk", (diameter, diameter), at=(0, 0, 0), toward=(0, 0, -1))
    fast = replace(fast, optics=Optics(cells=Cells("hexagon", ratio, 1.0, reflectance)))
    area = math.pi**2 * diameter**2 / 4  # a disk of luminance 1 emits so many lumens
    tangents = np.array([0.0, 0.15, 0.3, 0.45, 0.7, 1.2, 1.8])
    azimuth = 0.7 + np.linspace(0, 2 * np.pi, 12, endpoint=False)
    places = np.stack([np.outer(tangents, np.cos(azimuth)), np.outer(tangents, np.sin(azimuth)),
                       -np.ones((7, 12))], axis=2).reshape(-1, 3) * distance  # fmt: skip
    real = _through_mirrors(walls, diameter / 2, cell, places, 4000, reflectance).reshape(7, 12)
    error = real.std(axis=1, ddof=1) / np.sqrt(12)
    real = real.mean(axis=1)
    model = illuminance(fast, places, np.array([0.0, 0, 1]), steps=48).reshape(7, 12).mean(axis=1) * area
    assert (error[:4] < 0.03 * real[:4]).all()
    assert (np.abs(model - real) < 0.015 * real + 2e-4 * real[0] + 3 * error).all()
