"""Daylight through the windows of a room: sampled through them, it is what plain sampling and closed forms say."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from materials import default_bands
from render.merge import merge
from render.tracer import Tracer
from scenes.aiming import direction
from scenes.daylight import sky_luminance
from scenes.model import Room
from scenes.stage import Distant, Light, Output, Shape
from scenes.studio import Surface, holed, room_surfaces
from scenes.windows import glass_of, openings_of, places_of, window_surfaces

from .sets import finish, light, mesh, stage

UP = np.array([0.0, 1.0, 0.0])
ROOM = {
    "size_m": [4, 5, 3], "wall_m": 0.001,
    "window": {
        "left": {"wall": "left", "centre_m": 0.5, "size_m": [1.2, 1.0], "sill_m": 1.5, "glass": "none"},
        "back": {"wall": "back", "centre_m": -0.8, "size_m": [0.8, 1.4], "sill_m": 1.2, "glass": "none"},
    },
}  # fmt: skip


def room(**changes) -> Room:
    return Room.model_validate({**ROOM, **changes})


def sky(kind: int = 5, toward=UP) -> Light:
    of = Distant("sky", np.asarray(toward, float), 0.0, sky_luminance(kind, np.asarray(toward, float)))
    return replace(light(None, "sky"), distant=of, output=Output(lumens=1.0, reading_lux=None))


def sun(azimuth: float, elevation: float) -> Light:
    of = Distant("sun", direction(azimuth, elevation), 0.53, None)
    return replace(light(None, "sun"), distant=of, output=Output(lumens=1.0, reading_lux=None))


def shape(surface: Surface, of) -> Shape:
    return mesh(surface.vertices, surface.faces, surface.normals, of, name=surface.name)


def shapes(the_room: Room, reflectance: float) -> list[Shape]:
    of, found = finish(reflectance), []
    for side, surface in room_surfaces(the_room).items():
        holes = [
            (p.at(-x, -y, 0.0), p.at(x, y, 0.0))
            for name, p in places_of(the_room).items()
            if the_room.window[name].wall == side
            for x, y in [p.size_m / 2]
        ]
        found.append(shape(holed(surface, holes) if holes else surface, of))
    for surface, own in window_surfaces(the_room):
        found.append(shape(surface, of if isinstance(own, str) else own))
    return found


def readings(the_room: Room, of: Light, places, normals, reflectance=0.0, *, portals=True, samples=4096, seeds=4):
    """(seeds, M) lux of unit output."""
    built = replace(stage(shapes(the_room, reflectance), [of]), panes=glass_of(the_room))
    if portals:
        built = replace(built, openings=openings_of(the_room))
    tracer = Tracer(built, merge(built), default_bands(), "auto", None)
    placement = (np.asarray(places, float), np.asarray(normals, float), np.zeros(len(places), bool))
    return np.array([tracer.meters((of,), placement, samples, seed)[0].mean(axis=0) for seed in range(seeds)])


def lambert(corners: np.ndarray, point: np.ndarray, normal: np.ndarray) -> float:
    """Illuminance from a polygon of luminance 1 that lies wholly above the receiver's horizon.

    Lambert 1760, Photometria: half the sum over the edges of the angle each fills times the cosine between its plane's
    normal and the receiver's.
    """
    rays = corners - point
    rays /= np.linalg.norm(rays, axis=1, keepdims=True)
    total = 0.0
    for a, b in zip(rays, np.roll(rays, -1, axis=0), strict=True):
        across = np.cross(a, b)
        total += math.acos(np.clip(a @ b, -1, 1)) * float(across @ normal) / np.linalg.norm(across)
    return abs(total) / 2


PLACES = [[0.0, 0.8, 0.0], [-1.2, 0.2, 0.6], [0.5, 1.0, -1.9], [1.8, 0.5, 2.0]]
NORMALS = [[0, 1, 0], [0, 1, 0], [-0.6, 0.8, 0], [-1, 0, 0]]


def test_windows_under_an_even_sky_are_lambert_s_polygons():
    """Black room, even sky of 1 / pi cd/m2 (a level meter reads 1 lx): meters under the sills see sky alone."""
    the_room = room()
    got = readings(the_room, sky(), PLACES, NORMALS, samples=2048)
    for k, (place, normal) in enumerate(zip(np.array(PLACES), np.array(NORMALS, float), strict=True)):
        expected = 0.0
        for window in places_of(the_room).values():
            x, y = window.size_m / 2
            corners = np.stack([window.at(u, v, 0.0) for u, v in ((-x, -y), (x, -y), (x, y), (-x, y))])
            assert ((corners - place) @ normal > 0).all()
            expected += lambert(corners, place, normal) / math.pi
        error = got[:, k].std(ddof=1) / 2
        assert error < 0.01 * expected
        assert got[:, k].mean() == pytest.approx(expected, abs=4 * error + 1e-3 * expected)


@pytest.mark.slow
def test_portals_change_the_noise_alone():
    """A grey room with thick walls, bars, glass, an open side and a clear sky: as with plain sampling of the hemisphere,
    and by far less noisy. A dome hanging in the window, where portals are at their worst, is right as well."""
    window = {**ROOM["window"]["left"], "glass": "double", "panes": [2, 2]}
    the_room = room(wall_m=0.3, window={"left": window, "back": ROOM["window"]["back"]}, open=["front"])
    toward = direction(-120, 30)
    places, normals = [*PLACES, [-2.1, 2.0, 0.5]], [*NORMALS, [1, 0, 0]]
    through = readings(the_room, sky(12, toward), places, normals, 0.5, samples=1024, seeds=16)
    plain = readings(the_room, sky(12, toward), places, normals, 0.5, portals=False, samples=8192, seeds=16)
    errors = np.hypot(through.std(axis=0, ddof=1), plain.std(axis=0, ddof=1)) / 4
    assert (errors < 0.03 * plain.mean(axis=0)).all()
    assert (np.abs(through.mean(axis=0) - plain.mean(axis=0)) < 4 * errors).all()
    closed = room(wall_m=0.3)
    noise = [readings(closed, sky(), PLACES, NORMALS, portals=p, samples=1024, seeds=8).std(axis=0) for p in (True, False)]
    assert np.median(noise[0] / noise[1]) < 0.25


def test_the_sun_s_patch_on_the_floor_is_where_geometry_puts_it():
    """A grid of meters on the floor: lit just where the ray toward the sun passes both the inner and the outer edge of the
    window (walls of 0.2 m); the last 2 cm at the edges, where the sun's disk is cut, are left out."""
    the_room = room(wall_m=0.2, size_m=[6, 5, 3], window={"left": {**ROOM["window"]["left"], "sill_m": 1.2}})
    lit = sun(-75, 35)
    assert lit.distant is not None
    x, z = (a.ravel() for a in np.meshgrid(np.linspace(-2.9, 0.9, 20), np.linspace(-2.4, 2.4, 20)))
    toward = lit.distant.toward
    margins = []
    for plane in (-3.0, -3.2):
        run = (plane - x) / toward[0]
        along, up = z + run * toward[2], 0.001 + run * toward[1]
        margins += [0.6 - np.abs(along - 0.5), 0.5 - np.abs(up - 1.7)]
    margin = np.min(margins, axis=0)
    sure = np.abs(margin) > 0.02
    places = np.stack([x, np.full(len(x), 0.001), z], axis=1)[sure]
    got = readings(the_room, lit, places, np.tile(UP, (len(places), 1)), samples=128, seeds=1)[0]
    expected = np.where(margin[sure] > 0, math.sin(math.radians(35)), 0)
    assert 10 < (expected > 0).sum() < 0.3 * len(expected)
    np.testing.assert_allclose(got, expected, atol=1e-3)


@pytest.mark.slow
def test_glass_and_curtain_take_what_they_say():
    bare = readings(room(), sky(), PLACES, NORMALS).mean(axis=0)
    panes = {name: {**window, "glass": "single", "bar_m": 0.0001} for name, window in ROOM["window"].items()}
    glazed = readings(room(window=panes), sky(), PLACES, NORMALS).mean(axis=0)
    assert np.median(glazed / bare) == pytest.approx(0.88, abs=0.01)
    drawn = {name: {**window, "curtain_stops": 1.0} for name, window in ROOM["window"].items()}
    veiled = readings(room(window=drawn), sky(), PLACES, NORMALS, samples=8192).mean(axis=0)
    assert (veiled < 0.9 * bare).all()
    assert (veiled > 0.1 * bare).all()
    shut = {name: {**w, "blind": "black-paint", "slat_deg": 90, "slat_m": 0.1} for name, w in ROOM["window"].items()}
    hung = readings(room(window=shut, wall_m=0.3), sky(), PLACES[:1], NORMALS[:1]).mean()  # in the reveal
    assert hung < 0.05 * bare[0]
    tilted = {}
    for tilt in (-40, 40):
        blinds = {name: {**w, "blind": "black-paint", "slat_deg": tilt} for name, w in ROOM["window"].items()}
        tilted[tilt] = readings(room(window=blinds, wall_m=0.3), sky(), PLACES[:1], NORMALS[:1]).mean()
    assert tilted[40] < 0.3 * tilted[-40]  # the inner edge up shuts out the sky
