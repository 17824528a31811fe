"""What must hold exactly, or within noise, whatever the set: light adds, and developing is arithmetic."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from materials import make_gel, make_source
from render import Cache, develop, job, passes, relight, trace
from render.develop import scene_rgb
from render.maps import luminance_stops
from render.readings import all_readings, find
from scenes.stage import Output
from tests.render.sets import box, camera, finish, fixture, light, probe, quad, stage

KEY = fixture("octagon", (0.6, 0.6), at=(0.9, 1.6, 1.4), toward=(-0.9, -0.8, -1.4))
FILL = fixture("rectangle", (0.8, 0.8), at=(-1.2, 1.4, 1.6), toward=(1.2, -0.6, -1.6))
RIM = fixture("spot", (0.1, 0.1), at=(-0.8, 1.8, -0.9), toward=(0.8, -1.0, 0.9), beam=40, field=60)


def studio(*lights, scale: float = 1.0, size=(48, 48)):
    grey = finish(0.4)
    shapes = [
        *box(np.array((-2, 0, -1.5)) * scale, np.array((2, 2.5, 3)) * scale, finish(0.5)),
        quad(
            np.array((-0.4, 0.4, 0)) * scale, np.array((0.8, 0, 0)) * scale, np.array((0, 0.8, 0)) * scale, grey, "face"
        ),
    ]
    view = camera(at=np.array((0, 1.0, 2.8)) * scale, look=np.array((0, 0.9, 0)) * scale, half_angle_deg=16, size=size)
    built = stage(shapes, lights, view, [probe("face", np.array((0, 0.8, 0.02)) * scale, (0, 0, 1))])
    return replace(built, landmarks={"face": np.array((0, 0.8, 0.0)) * scale})


def lights():
    return [light(KEY, "key", lumens=3000), light(FILL, "fill", lumens=1500), light(RIM, "rim", lumens=2500)]


@pytest.fixture(scope="module")
def traced(tmp_path_factory):
    built = studio(*lights())
    return built, trace(built, samples=8, cache=Cache(tmp_path_factory.mktemp("traced")))


def test_lights_add_up(traced):
    built, olat = traced
    together = scene_rgb(olat, built)
    alone = [
        scene_rgb(olat, replace(built, lights=tuple(replace(li, on=li.name == name) for li in built.lights)))
        for name in olat.names
    ]
    np.testing.assert_allclose(sum(alone), together, rtol=1e-5, atol=1e-7)


def test_power_is_linear(traced):
    built, olat = traced
    only = built
    for name in ("fill", "rim"):
        only = relight(only, name, on=False)
    np.testing.assert_allclose(scene_rgb(olat, relight(only, "key", stops=2)), 4 * scene_rgb(olat, only), rtol=1e-5)


def test_one_stop_of_power_is_one_stop_in_the_map(traced):
    built, olat = traced
    brighter = built
    for name in olat.names:
        brighter = relight(brighter, name, stops=1)
    np.testing.assert_allclose(luminance_stops(olat, brighter) - luminance_stops(olat, built), 1, atol=1e-4)


def test_a_gel_on_the_light_equals_a_gel_in_developing(traced, tmp_path):
    built, olat = traced
    gelled = relight(built, "key", gel=make_gel("teal"))
    fresh = trace(gelled, samples=8, cache=Cache(tmp_path))
    np.testing.assert_array_equal(scene_rgb(fresh, gelled), scene_rgb(olat, gelled))


def test_a_grey_gel_costs_its_stops(traced):
    built, olat = traced
    one = built
    for name in olat.names:
        one = relight(one, name, gel=make_gel("nd-1-stop"))
    loss = np.median(luminance_stops(olat, built) - luminance_stops(olat, one))
    assert loss == pytest.approx(make_gel("nd-1-stop").loss_stops(make_source("E")), abs=1e-3)


@pytest.fixture
def count_traces(monkeypatch):
    traced_lights = []
    original = job.trace_light

    def counting(*args, **kwargs):
        traced_lights.append(1)
        return original(*args, **kwargs)

    monkeypatch.setattr(job, "trace_light", counting)
    return traced_lights


def test_gel_power_exposure_and_switches_trace_nothing_again(tmp_path, count_traces):
    cache, built = Cache(tmp_path), studio(*lights(), size=(16, 16))
    trace(built, samples=2, cache=cache)
    assert len(count_traces) == 3
    changed = relight(relight(built, "key", gel=make_gel("amber"), stops=-1), "rim", on=False)
    changed = replace(changed, exposure=replace(built.exposure, f_number=4.0, iso=400.0, white_balance=3200.0))
    trace(changed, samples=2, cache=cache)
    assert len(count_traces) == 3


def test_moving_one_light_traces_one_light(tmp_path, count_traces):
    cache, built = Cache(tmp_path), studio(*lights(), size=(16, 16))
    trace(built, samples=2, cache=cache)
    moved = replace(KEY, centre_m=KEY.centre_m + np.array([0.2, 0.1, 0]))
    trace(replace(built, lights=(replace(built.lights[0], fixture=moved), *built.lights[1:])), samples=2, cache=cache)
    assert len(count_traces) == 4


def test_a_body_moved_into_another_light_traces_that_light_too(tmp_path, count_traces):
    cache, built = Cache(tmp_path), studio(*lights(), size=(16, 16))
    trace(built, samples=2, cache=cache)
    in_the_way = replace(KEY, centre_m=FILL.centre_m + 0.6 * FILL.forward)
    trace(
        replace(built, lights=(replace(built.lights[0], fixture=in_the_way), *built.lights[1:])), samples=2, cache=cache
    )
    assert len(count_traces) == 5


def test_flash_ignores_the_shutter_and_continuous_light_follows_it(traced):
    built, olat = traced
    slow = replace(built, exposure=replace(built.exposure, shutter_s=built.exposure.shutter_s * 4))
    np.testing.assert_array_equal(scene_rgb(olat, slow), scene_rgb(olat, built))
    steady = replace(built, lights=tuple(replace(li, flash=False) for li in built.lights))
    steady_slow = replace(steady, exposure=slow.exposure)
    np.testing.assert_allclose(scene_rgb(olat, steady_slow), 4 * scene_rgb(olat, steady), rtol=1e-5)


@pytest.mark.slow
@pytest.mark.parametrize("scale", [0.1, 10.0])
def test_scaling_the_whole_set_changes_brightness_by_the_square_only(scale, tmp_path):
    """Lengths times k, output times k squared: the same picture."""
    scaled = [
        light(replace(of, size_m=of.size_m * scale, centre_m=of.centre_m * scale, body_depth_m=of.body_depth_m * scale), name, lumens=1000 * scale**2)
        for name, of in (("key", KEY), ("rim", RIM))
    ]  # fmt: skip
    plain = [light(KEY, "key", lumens=1000), light(RIM, "rim", lumens=1000)]
    a, b = studio(*plain), studio(*scaled, scale=scale)
    one, other = (scene_rgb(trace(s, samples=64, cache=Cache(tmp_path)), s) for s in (a, b))
    assert other.mean() == pytest.approx(one.mean(), rel=0.01)
    assert np.median(np.abs(other / one - 1)) < 0.05


def test_seeds_are_independent_and_unbiased():
    """Means of 2 x 12 runs with different seeds agree within 4 standard errors, and no two runs are equal."""
    from materials import default_bands
    from render.merge import merge
    from render.tracer import Tracer

    built = studio(light(KEY, "key"), size=(32, 32))
    tracer = Tracer(built, merge(built), default_bands(), "auto", None)
    runs = [tracer.pass_runner(built.lights[0], [], seed)(0, 4).radiance.mean() for seed in range(24)]
    assert len(set(runs)) == 24
    first, second = np.array(runs[:12]), np.array(runs[12:])
    error = np.sqrt(first.var(ddof=1) / 12 + second.var(ddof=1) / 12)
    assert abs(first.mean() - second.mean()) < 4 * error
    assert error < 0.01 * first.mean()


def test_a_card_of_18_per_cent_at_the_metered_exposure_is_mid_grey(tmp_path):
    """ISO 2720 closure: lit by the H = C N^2 / S that a flat meter asks for, an 18 % card comes out at 18 % (sRGB 118)."""
    sun = fixture("disk", (0.1, 0.1), at=(0, 0, 20), toward=(0, 0, -1))
    card = [quad([-0.2, -0.2, 0], [0.4, 0, 0], [0, 0.4, 0], finish(0.18), "face")]
    view = camera(at=(0.6, 0, 3), look=(0, 0, 0), half_angle_deg=2)
    built = stage(card, [light(sun, "key", source="flash")], view, [probe("face", (0, 0, 0.001), (0, 0, 1))])
    olat = trace(built, samples=16, cache=Cache(tmp_path))
    reading = find(all_readings(olat.meters, built), "face", "key", "flat:surface")
    wanted = 250 * built.exposure.f_number**2 / built.exposure.iso
    metered = replace(built, lights=(replace(built.lights[0], output=Output(wanted / reading.exposure_lx_s, None)),))
    assert find(all_readings(olat.meters, metered), "face", "key", "flat:surface").f_number == pytest.approx(
        8, rel=1e-3
    )
    picture = develop(olat, metered)
    np.testing.assert_allclose(np.median(picture.linear, axis=(1, 2)), 0.18, rtol=0.01)
    assert np.all(np.abs(np.median(picture.to_8_bit().reshape(-1, 3), axis=0) - 118) <= 1)


def test_ambient_reads_at_the_face_what_the_scene_says(tmp_path):
    open_room = box((-2, 0, -2), (2, 2.5, 3), finish(0.5))[:4]
    built = stage(
        open_room, [light(None, "day", lux=800.0)], camera(at=(0, 1, 2.5)), [probe("face", (0, 1, 0), (0, 0, 1))]
    )
    olat = trace(built, samples=4, cache=Cache(tmp_path))
    reading = find(all_readings(olat.meters, built), "face", "day", "dome")
    assert reading.exposure_lx_s == pytest.approx(800 * built.exposure.shutter_s, rel=1e-6)


@pytest.mark.slow
def test_an_interrupted_trace_goes_on_where_it_stopped(tmp_path, monkeypatch):
    """Stopped in the middle of its second pass, of four strips each; strips and stops change nothing."""
    built = studio(light(KEY, "key"), size=(16, 16))
    whole = trace(built, samples=16, cache=Cache(tmp_path / "whole"))
    monkeypatch.setattr(passes, "PIXELS_PER_LAUNCH", 16 * 4)
    monkeypatch.setattr(passes, "_PATHS_PER_LAUNCH", 16 * 4 * 4)
    cache = Cache(tmp_path / "cut")
    original, traced = job.trace_light, []

    def cut(runner, plan, face, state, told, kept):
        def stop_in_the_second(first, end, rows):
            if len(traced) == 6:
                raise KeyboardInterrupt
            traced.append((first, end, rows))
            return runner(first, end, rows)

        return original(stop_in_the_second, plan, face, state, told, kept)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(job, "trace_light", cut)
        with pytest.raises(KeyboardInterrupt):
            trace(built, samples=16, cache=cache)
    assert [p.name.split("-")[0] for p in (tmp_path / "cut").glob("partial-*")] == ["partial"]
    assert traced[3:] == [(0, 4, (12, 16)), (4, 8, (0, 4)), (4, 8, (4, 8))]
    resumed = trace(built, samples=16, cache=cache)
    for name in ("albedo", "normal", "depth_m", "position_m", "region"):
        np.testing.assert_array_equal(getattr(resumed.guides, name), getattr(whole.guides, name))
    for a, b in zip(resumed.transports, whole.transports, strict=True):
        np.testing.assert_allclose(a.noisy.unpack(), b.noisy.unpack(), rtol=1e-3, atol=1e-9)
        np.testing.assert_allclose(a.irradiance.unpack(), b.irradiance.unpack(), rtol=1e-3, atol=1e-9)
        assert (a.samples, a.noise_stops) == (16, pytest.approx(b.noise_stops, rel=1e-4))
    assert not list((tmp_path / "cut").glob("partial-*"))


def test_a_visible_lamp_spoils_no_number(tmp_path):
    """Rays that meet a fixture meet no surface: nothing undefined may leak from there."""
    lamp = fixture("sphere", (0.4, 0.4), at=(0, 0.9, 0.8), depth=0.0, visible=True)
    built = studio(light(lamp, "key"), light(FILL, "fill"))
    olat = trace(built, samples=4, cache=Cache(tmp_path))
    for transport in olat.transports:
        for values in (transport.radiance, transport.noisy, transport.irradiance):
            assert np.isfinite(values.values).all()


def test_a_fixture_that_fills_the_frame_is_a_picture_too(tmp_path):
    """Nothing of the set is seen, so no point tells which bodies stand in the way."""
    wall = fixture("rectangle", (4, 4), at=(0, 1, 2), toward=(0, 0, 1), visible=True)
    built = studio(light(wall, "key"), light(FILL, "fill"))
    olat = trace(built, samples=2, cache=Cache(tmp_path))
    assert (olat.guides.region == 255).all()
    assert np.isfinite(olat.radiance).all()


def test_a_pixel_records_the_illuminance_a_meter_reads():
    """On a coated card in a room, straight light and what the walls send back: 1 %."""
    from materials import default_bands
    from render.merge import merge
    from render.tracer import Tracer

    aside = fixture("rectangle", (0.4, 0.4), at=(-0.9, 0.9, 0.9), toward=(0.8, -0.3, -0.9))
    walls = box((-1.5, 0, -1), (1.5, 2, 2.5), finish(0.8))
    card = quad([-0.1, 0.9, 0], [0.2, 0, 0], [0, 0.2, 0], finish(0.5, f0=0.2, roughness=0.4))
    built = stage(
        [*walls, card], [light(aside)], camera(at=(1, 1.2, 2), look=(0, 1, 0), half_angle_deg=0.4, size=(16, 16))
    )
    tracer = Tracer(built, merge(built), default_bands(), "auto", None)
    lux = tracer.pass_runner(built.lights[0], [], 3)(0, 128).irradiance.mean(axis=(1, 2)) / 128
    at = (np.array([[0, 1, 0.001]]), np.array([[0, 0, 1.0]]), np.array([False]))
    read = tracer.meters(built.lights, at, 16384)[0, :, 0]
    assert lux == pytest.approx(read, rel=0.01)
