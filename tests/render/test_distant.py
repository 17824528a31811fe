"""The sun, skies, nets, rings and thin glowing sheets, through the traced path."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from materials import default_bands
from render.merge import merge
from render.tracer import Tracer
from scenes.optics import Angular, Optics
from scenes.stage import Distant, Net, Output

from .sets import camera, far_speck, finish, fixture, light, quad, stage

UP = np.array([0.0, 1.0, 0.0])


def _distant(kind: str, toward, luminance: Angular | None = None):
    toward = np.asarray(toward, float) / np.linalg.norm(toward)
    of = Distant(kind, toward, 0.53 if kind == "sun" else 0.0, luminance)
    return replace(light(None), distant=of, output=Output(lumens=1.0, reading_lux=None))


def _readings(shapes, the_light, positions, normals, nets=(), samples=4096, seeds=4) -> np.ndarray:
    """(M,) lux of unit output, mean over bands and seeds."""
    built = replace(stage(shapes, [the_light]), nets=tuple(nets))
    tracer = Tracer(built, merge(built), default_bands(), "auto", None)
    positions, normals = np.atleast_2d(np.asarray(positions, float)), np.atleast_2d(np.asarray(normals, float))
    placement = (positions, normals, np.zeros(len(positions), bool))
    return np.mean([tracer.meters((the_light,), placement, samples, seed)[0] for seed in range(seeds)], axis=(0, 1))


@pytest.mark.slow
@pytest.mark.parametrize("elevation", [90, 40, 12])
def test_the_sun_gives_a_facing_surface_its_lux(elevation):
    e = math.radians(elevation)
    toward = np.array([math.cos(e), math.sin(e), 0])
    facing, level, away = _readings([far_speck()], _distant("sun", toward), np.zeros((3, 3)), [toward, UP, -toward])
    assert facing == pytest.approx(1, rel=1e-3)
    assert level == pytest.approx(math.sin(e), rel=2e-3)
    assert away == 0


def test_the_suns_half_shadow_is_as_wide_as_its_disk():
    """A straight edge 3 m above: the sun, 0.53 degrees across, goes from clear to hidden over 3 m times 0.00925."""
    edge = quad([0, 3, -50], [0, 0, 100], [50, 0, 0], finish(0.0))
    width = 3 * 2 * math.tan(math.radians(0.53 / 2))
    places = np.array([-0.6, -0.25, 0.0, 0.25, 0.6]) * width
    got = _readings([edge], _distant("sun", UP), np.stack([places, 0 * places, 0 * places], 1), np.tile(UP, (5, 1)))
    h = 0.5  # share of a disk beyond a chord half a radius from its middle
    segment = (math.acos(h) - h * math.sqrt(1 - h * h)) / math.pi
    assert got == pytest.approx([1, 1 - segment, 0.5, segment, 0], abs=0.01)


def test_an_even_sky_is_ambient_light():
    even = Angular(np.array([[1.0, 1.0]], np.float32) / np.pi, np.pi, "luminance")
    normals = np.array([UP, [1, 0, 0], [0.6, 0.8, 0]])
    sky = _readings([far_speck()], _distant("sky", UP, even), np.zeros((3, 3)), normals)
    ambient = _readings([far_speck()], light(None), np.zeros((3, 3)), normals)
    assert sky == pytest.approx(ambient, rel=1e-4)


def test_a_sky_is_turned_as_it_says():
    """Azimuth runs from +x toward -z: a sky that is bright only there lights what faces -z."""
    rows = np.zeros((8, 3), np.float32)
    rows[1:4] = 1
    sky = _distant("sky", UP, Angular(rows, np.pi / 2, "luminance"))
    back, front, right, left = _readings(
        [far_speck()], sky, np.zeros((4, 3)), [[0, 0, -1], [0, 0, 1], [1, 0, 0], [-1, 0, 0]]
    )
    assert back > 10 * front
    assert right == pytest.approx(left, rel=0.03)


def _net(transmittance: float, size=(1.0, 1.0), round_=False, height=1.0) -> Net:
    return Net(
        "net", np.array([0, height, 0]), np.array([1.0, 0, 0]), np.array([0, 0, -1.0]), UP, np.array(size), round_,
        transmittance,
    )  # fmt: skip


@pytest.mark.slow
def test_nets_dim_what_passes_and_nothing_else():
    lamp = light(fixture("disk", (0.1, 0.1), at=(0, 2, 0)))
    places, normals = np.array([[0.0, 0, 0], [1.5, 0, 0]]), np.tile(UP, (2, 1))
    open_ = _readings([far_speck()], lamp, places, normals)
    one = _readings([far_speck()], lamp, places, normals, [_net(0.5)])
    two = _readings([far_speck()], lamp, places, normals, [_net(0.5), _net(0.25, (0.3, 0.3), True, 1.5)])
    assert one / open_ == pytest.approx([0.5, 1], rel=1e-4)
    assert two / open_ == pytest.approx([0.125, 1], rel=1e-4)


def test_a_net_dims_light_on_its_way_back_too():
    """From a white floor up to a meter under the ceiling: what bounces has crossed the net twice."""
    floor = quad([-5, 0, 5], [10, 0, 0], [0, 0, -10], finish(0.8))
    lamp = light(fixture("disk", (0.1, 0.1), at=(0, 2, 0)))
    wide = _net(0.5, (9.9, 9.9), height=0.5)
    place, facing = np.array([[0.5, 2.0, 0]]), -UP[None]
    once = _readings([floor], lamp, place, facing, samples=16384)
    twice = _readings([floor], lamp, place, facing, [wide], samples=16384)
    assert twice / once == pytest.approx([0.25], rel=0.03)


def test_a_mirror_shows_the_shape_of_the_light():
    """Catchlights: a polished black wall reflects a ring as a ring and an octagon as an octagon."""
    wall = quad([-2, -2, 0], [4, 0, 0], [0, 4, 0], finish(0.0, f0=1.0, roughness=0.03))
    view = camera(at=(0, 0, 3), look=(0, 0, 0), half_angle_deg=6.0, size=(60, 60))
    half = 3 * math.tan(math.radians(6)) * 2  # half width of what is seen at the lamp's mirror image, 6 m away
    x = ((np.arange(60) + 0.5) / 30 - 1) * half
    x, y = np.meshgrid(x, x)
    radius = np.hypot(x, y)
    ring = replace(fixture("disk", (0.8, 0.8), at=(0, 0, 3), toward=(0, 0, -1)), hole_m=0.4)
    box = fixture("rectangle", (0.9, 0.3), at=(0, 0, 3), toward=(0, 0, -1))
    eight = fixture("octagon", (0.9, 0.9), at=(0, 0, 3), toward=(0, 0, -1))
    shapes = {
        "ring": (ring, (radius < 0.34) & (radius > 0.26), (radius < 0.12) | (radius > 0.5)),
        "box": (box, (abs(x) < 0.38) & (abs(y) < 0.08), (abs(x) > 0.55) | (abs(y) > 0.25)),
        "octagon": (eight, (radius < 0.38), (abs(x) + abs(y)) > 0.76),
    }
    for name, (of, bright, dark) in shapes.items():
        built = stage([wall], [light(of)], view)
        run = Tracer(built, merge(built), default_bands(), "auto", None).pass_runner(built.lights[0], [], 3)
        picture = run(0, 64).radiance.mean(axis=0)
        assert picture[bright].min() > 5 * picture[dark].max(), name


def test_the_camera_looks_through_a_ring():
    """Behind the ring the hole is open; the ring's own place in the picture is dark housing from behind."""
    from render.kernel.bodies import nearest_body, upload_bodies

    ring = replace(fixture("disk", (0.4, 0.4), at=(0, 0, 0), toward=(0, 0, -1), depth=0.06), hole_m=0.2)
    import mitsuba as mi

    from render.backend import init

    init("auto")
    x = np.array([0.0, 0.05, 0.15, 0.25], np.float32)
    origin = mi.Point3f(mi.Float(x), 0, 1)
    hit = nearest_body(upload_bodies([ring]), origin, mi.Vector3f(0, 0, -1), mi.Bool(False), mi.UInt32(0xFFFF))
    assert np.isfinite(np.array(hit.distance)).tolist() == [False, False, True, False]
    origin = mi.Point3f(mi.Float(x), 0, -1)
    hit = nearest_body(upload_bodies([ring]), origin, mi.Vector3f(0, 0, 1), mi.Bool(False), mi.UInt32(0xFFFF))
    assert (np.array(hit.front) & np.isfinite(np.array(hit.distance))).tolist() == [False, False, True, False]


def test_a_thin_sheet_glows_on_both_sides():
    sheet = replace(
        fixture("disk", (0.5, 0.5), at=(0, 0, 0), toward=(0, 0, -1), depth=0.002), optics=Optics(back_share=0.5)
    )
    front, back = _readings([far_speck()], light(sheet), [[0, 0, -2], [0, 0, 2]], [[0, 0, 1], [0, 0, -1]])
    assert back / front == pytest.approx(0.5, rel=0.01)


def test_what_the_camera_sees_of_a_shaped_light_is_its_luminance():
    """A visible gridded disk, looked into along its axis and off it: radiance in the picture is `field.luminance`."""
    from scenes.field import luminance
    from scenes.optics import Cells

    of = fixture("disk", (0.3, 0.3), at=(0, 0, 0), toward=(0, 0, -1), visible=True)
    of = replace(of, optics=Optics(cells=Cells("hexagon", 2, 0.9)))
    for x in (0.0, 0.8):
        view = camera(at=(x, 0, -3), look=(0, 0, 0), half_angle_deg=0.05, size=(8, 8))
        built = stage([far_speck()], [light(of)], view)
        run = Tracer(built, merge(built), default_bands(), "auto", None).pass_runner(built.lights[0], [], 5)
        seen = run(0, 8).radiance.mean() / 8
        assert seen == pytest.approx(float(luminance(of, 0.0, 0.0, x / 3, 0.0)), rel=0.01)
