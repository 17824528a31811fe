"""What haze lies on the ways that matter, and the light that is metered through it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from materials import default_bands, make_medium
from render.haze_ways import haze_ways, share_reached, ways_words
from render.merge import merge
from render.tracer import Tracer
from scenes.haze import resolve_haze
from scenes.model import Haze, Room
from scenes.stage import Haze as SetHaze
from scenes.through_haze import mean_density
from tests.render.sets import camera, finish, fixture, light, quad, stage

ROOM = Room(size_m=[6, 8, 3], back_wall_m=3)


def test_mean_density_of_closed_forms():
    """Even haze: the share of the way in its box. A layer straight up: h (1 - e^-L/h) / L."""
    even = resolve_haze(Haze(visibility_m=60), ROOM)
    ends = np.array([[0, 1, 3], [0, 1, 8], [0, 1, 30], [0, 6, 0], [40, 1, 0]])
    assert mean_density(even, np.array([0.0, 1, 0]), ends) == pytest.approx([1, 5 / 8, 5 / 30, 2 / 5, 3 / 40])
    assert mean_density(even, np.array([0.0, 9, 0]), np.array([[0, 12, 0]])) == pytest.approx([0])
    layer = resolve_haze(Haze(visibility_m=20, form="layered", thins_m=0.5), ROOM)
    up = mean_density(layer, np.array([0.0, 0, 0]), np.array([[0, 2.0, 0]]))
    assert up == pytest.approx([0.5 * (1 - np.exp(-4)) / 2], rel=0.01)


def test_mean_density_of_a_plume_is_that_of_another_interpolation():
    plume = resolve_haze(Haze(visibility_m=5, form="plume", from_m=[-1, 1, 0], toward_deg=90, cells=40), ROOM)
    axes = [np.linspace(plume.low_m[k], plume.high_m[k], plume.density.shape[2 - k]) for k in (2, 1, 0)]
    by_grid = RegularGridInterpolator(axes, plume.density, bounds_error=False, fill_value=0)
    start, end = np.array([-1.0, 1, 0]), np.array([2.0, 1.6, 0.3])
    places = start + np.linspace(0, 1, 4001)[:, None] * (end - start)
    assert mean_density(plume, start, end)[0] == pytest.approx(by_grid(places[:, ::-1]).mean(), rel=0.02)
    assert mean_density(plume, start, end)[0] > 0.02


def _hazy(form: str, **more):
    lamps = [light(fixture("spot", (0.1, 0.1), at=(-2, 1.5, 1), toward=(2, 0, -1), beam=20, field=40))]
    built = stage(
        [quad([-3, 0, -2], [6, 0, 0], [0, 3, 0], finish(0.5))], lamps, camera(at=(0, 1.5, 4), look=(0, 1.5, 0))
    )
    placed = resolve_haze(Haze(visibility_m=10, form=form, **more), ROOM)
    return replace(built, haze=placed, landmarks={"face": np.array([0, 1.5, 0.0])})


def test_even_haze_is_the_same_on_every_way():
    ways = haze_ways(_hazy("even"))
    assert [way.way for way in ways] == ["camera to face", "key to face", "beam of key"]
    assert all(way.visibility_m == pytest.approx(10) for way in ways)
    assert ways[0].light_lost == pytest.approx(1 - np.exp(-np.log(50) / 10 * 4))


def test_a_plume_says_where_it_is_not():
    """Low and far from everything, the same plume leaves the ways clear; across the beam it does not."""
    away = haze_ways(_hazy("plume", from_m=[2.5, 0.2, 4.5], rise_deg=0, toward_deg=90, spread_deg=10, cells=48))
    assert [way.visibility_m for way in away[:2]] == [None, None]
    assert ways_words(away).startswith("Mean visibility: camera to face clear, key to face clear")
    across = haze_ways(_hazy("plume", from_m=[-1.2, 1.0, 0.6], rise_deg=85, spread_deg=30, cells=48))
    assert 10 < across[2].visibility_m < 1000
    assert across[2].extinction_per_m > 4 * away[2].extinction_per_m


@pytest.mark.slow
@pytest.mark.parametrize("form", ["even", "layered"])
def test_what_a_meter_reads_is_not_dimmed_by_haze_before_the_camera(form):
    """Illuminance of a wall by its pixels, through 6.5 m of haze that absorbs, against a meter on the wall."""
    built = _hazy(form, **({"thins_m": 1.0} if form == "layered" else {}))
    built = replace(built, camera=camera(at=(0, 1.5, 4.5), look=(0, 1.5, -2), half_angle_deg=0.2, size=(32, 32)))
    medium = replace(built.haze.medium, albedo=np.zeros_like(built.haze.medium.albedo))
    built = replace(built, haze=replace(built.haze, medium=medium))
    tracer = Tracer(built, merge(built), default_bands(), "auto", None)
    lamp = built.lights[0]
    lux = tracer.pass_runner(lamp, [], 3)(0, 256).irradiance / 256
    shared = share_reached(built, tracer.guides([]), default_bands())
    assert 0.05 < np.mean(shared) < 0.9
    at = (np.array([[0, 1.5, -1.999]]), np.array([[0, 0, 1.0]]), np.array([False]))
    metered = tracer.meters((lamp,), at, 65536)[0, :, 0]
    assert (lux / shared).mean(axis=(1, 2)) == pytest.approx(metered, rel=0.03)


def test_the_thinnest_way_is_clear():
    medium = make_medium("glycol", visibility_m=10_000)
    built = replace(_hazy("even"), haze=SetHaze(medium, np.full(3, -9.0), np.full(3, 9.0), None))
    assert all(way.visibility_m is None for way in haze_ways(built))
