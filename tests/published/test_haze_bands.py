"""Haze whose extinction differs by band against closed forms and published solutions, every band by itself.

One trace carries all bands, so one run must give at once what the sources below give for one extinction each: Beer and
Lambert; Sun et al. 2005 (airlight of a point, isotropic); Heaslet and Warming 1965 (conservative slab in diffuse
light); single scattering of a parallel beam (by hand).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from materials import default_bands
from materials.haze import PHASE_NM
from render.backend import init
from render.merge import merge
from render.tracer import Tracer
from scenes.stage import Distant, Output
from tests.render.sets import camera, finish, fixture, light, quad, stage

from .test_haze_traced import EVEN, GRID, WIDE, _haze, _slab

BANDS = len(default_bands().nodes_nm)
FORMS = pytest.mark.parametrize("density", [EVEN, GRID], ids=["even", "grid"])
ONE_QUICK = pytest.mark.parametrize(
    "density", [EVEN, pytest.param(GRID, marks=pytest.mark.slow)], ids=["even", "grid"]
)


def _by_band(*values: float) -> np.ndarray:
    """(B,) that goes through the values in turn."""
    return np.resize(np.asarray(values, float), BANDS)


def _tracer(shapes, lamp, haze, view=None) -> Tracer:
    init("auto")
    built = stage(shapes, [lamp], view)
    tracer = Tracer(built, merge(built), default_bands(), "auto", None)
    tracer._device_set()
    tracer._haze = haze
    return tracer


def _seen(shapes, lamp, haze, view, samples: int, seeds: int = 1, part: str = "radiance"):
    """Mean (B,) over the picture, and its standard error over pixels and seeds."""
    tracer = _tracer(shapes, lamp, haze, view)
    runs = [getattr(tracer.pass_runner(lamp, [], seed)(0, samples), part) / samples for seed in range(seeds)]
    pixels = np.stack(runs).transpose(1, 0, 2, 3).reshape(BANDS, -1).astype(float)
    return pixels.mean(axis=1), pixels.std(axis=1) / np.sqrt(pixels.shape[1])


def _lux(lamp, haze, place, facing, samples: int, seeds: int):
    """Mean (B,) and standard error over seeds of a flat meter over black ground."""
    tracer = _tracer([quad([-1e4, -1, 1e4], [2e4, 0, 0], [0, 0, -2e4], finish(0.0))], lamp, haze)
    at = (np.array([place], float), np.array([facing], float), np.array([False]))
    runs = np.stack([tracer.meters((lamp,), at, samples, seed)[0, :, 0] for seed in range(seeds)])
    return runs.mean(axis=0), runs.std(axis=0, ddof=1) / np.sqrt(seeds)


@pytest.mark.slow
@FORMS
def test_beer_and_lambert_to_a_meter(density):
    sigma = np.geomspace(0.02, 0.8, BANDS)
    lamp = light(fixture("disk", (0.2, 0.2), at=(0, 3, 0)))
    clear, _ = _lux(lamp, _haze(1e-9, 0.0), (0, 0, 0), (0, 1, 0), 8192, 2)
    got, error = _lux(lamp, _haze(sigma, 0.0, density=density), (0, 0, 0), (0, 1, 0), 8192, 6)
    assert (error < 0.01 * clear).all()
    assert (np.abs(got - clear * np.exp(-3 * sigma)) < 4 * error + 2e-3 * clear).all()


@pytest.mark.slow
@FORMS
def test_beer_and_lambert_to_the_camera(density):
    """A lit wall 2 m from the camera and 2 m from its light, in haze that only absorbs: e to the -4 sigma."""
    sigma = np.geomspace(0.05, 0.5, BANDS)
    wall = quad([-0.05, -0.05, 0], [0.1, 0, 0], [0, 0.1, 0], finish(0.5))
    place = 2 * np.array([np.sin(0.6), 0, np.cos(0.6)])
    lamp = light(fixture("disk", (0.02, 0.02), at=place, toward=-place))
    view = camera(at=(0, 0, 2), look=(0, 0, 0), half_angle_deg=0.3, size=(24, 24))
    clear, _ = _seen([wall], lamp, _haze(1e-9, 0.0), view, 16)
    got, error = _seen([wall], lamp, _haze(sigma, 0.0, density=density), view, 128)
    assert (error < 0.02 * got).all()
    assert (np.abs(got - clear * np.exp(-4 * sigma)) < 4 * error + 2e-3 * got).all()


@ONE_QUICK
def test_airlight_of_three_extinctions_at_once(density):
    """3 m, 30 degrees, a ray of 5 m: the rows of the table for 0.02, 0.05 and 0.1 per metre, in one trace."""
    truth = _by_band(2.000933e-3, 4.386966e-3, 7.068983e-3)
    lamp = light(fixture("sphere", (0.002, 0.002), at=(3 * np.sin(np.radians(30)), 0, -3 * np.cos(np.radians(30)))))
    wall = quad([-50, -50, -5], [100, 0, 0], [0, 100, 0], finish(0.0))
    view = camera(at=(0, 0, 0), look=(0, 0, -1), half_angle_deg=0.02, size=(32, 32))
    haze = _haze(_by_band(0.02, 0.05, 0.1), 1e-4, density=density)
    got, error = _seen([wall], lamp, haze, view, 128, part="haze")
    assert (error < 5e-3 * truth * 1e-4 / (4 * np.pi)).all()
    assert (np.abs(got * 4 * np.pi / 1e-4 / truth - 1) < 4 * error / got + 1e-3).all()


@pytest.mark.slow
@FORMS
def test_sunlight_scattered_once(density):
    """A level ray of 3 m, 1 m under the top of the haze, the sun overhead: E a/(4 pi) e^-s (1 - e^-3s)."""
    sigma = np.geomspace(0.1, 1.5, BANDS)
    box = np.array([-1.0, -1.0, -3.0]), np.array([1.0, 1.0, 0.0])
    sun = replace(light(None), distant=Distant("sun", np.array([0.0, 1, 0]), 0.53, None), output=Output(1.0, None))
    wall = quad([-50, -50, -9], [100, 0, 0], [0, 100, 0], finish(0.0))
    view = camera(at=(0, 0, 1), look=(0, 0, -1), half_angle_deg=0.02, size=(32, 32))
    got, error = _seen([wall], sun, _haze(sigma, 1e-4, box=box, density=density), view, 64, part="haze")
    truth = 1e-4 / (4 * np.pi) * np.exp(-sigma) * -np.expm1(-3 * sigma)
    assert (error < 0.03 * truth).all()
    assert (np.abs(got - truth) < 4 * error + 2e-3 * truth).all()


@pytest.mark.slow
@ONE_QUICK
def test_conservative_slabs_of_four_depths_at_once(density):
    """Many scatterings with a weight each; the deepest slab is ten times the thinnest."""
    through = _by_band(0.8491, 0.7040, 0.5532, 0.3900)
    haze = _haze(_by_band(0.2, 0.5, 1.0, 2.0), 1.0, box=_slab(1.0), density=density)
    got, error = _lux(light(None), haze, (0, -0.5, 0), (0, 1, 0), 8192, 8)
    assert (error < 0.02 * through).all()
    assert (np.abs(got - through) < 4 * error + 0.005 * through).all()


@pytest.mark.slow
def test_uneven_bands_cost_little_noise():
    """The finest droplets of the tables, three to one from blue to red: each band is about as noisy as in grey haze of
    its own extinction, where every weight is one."""
    from materials import make_medium

    sigma = default_bands().project(make_medium("glycol", extinction_per_m=1.0, droplet_um=0.3).extinction_per_m)
    assert sigma.max() / sigma.min() > 2.5
    at = (0, -0.5, 0), (0, 1, 0), 2048, 24
    _, spread = _lux(light(None), _haze(sigma, 1.0, box=_slab(1.5)), *at)
    for band in (0, BANDS // 2, BANDS - 1):
        _, grey = _lux(light(None), _haze(sigma[band], 1.0, box=_slab(1.5)), *at)
        assert spread[band] < 1.6 * grey[band]


LOBES = np.array([(0.0, 0.0, 1.0), (0.5, 0.0, 1.0), (0.8, 0.0, 1.0)])


def _in_turn() -> np.ndarray:
    """(B, 3): bands of the first, second and third phase function in turn."""
    return np.resize(np.eye(3), (BANDS, 3)).astype(np.float32)


@ONE_QUICK
def test_airlight_of_three_phase_functions_at_once(density):
    """0.05 per metre, 3 m, 30 degrees, a ray of 5 m: the row of the table for g = 0, 0.5 and 0.8, in one trace."""
    truth = _by_band(4.386966e-3, 3.963881e-3, 1.952174e-3)
    lamp = light(fixture("sphere", (0.002, 0.002), at=(3 * np.sin(np.radians(30)), 0, -3 * np.cos(np.radians(30)))))
    wall = quad([-50, -50, -5], [100, 0, 0], [0, 100, 0], finish(0.0))
    view = camera(at=(0, 0, 0), look=(0, 0, -1), half_angle_deg=0.02, size=(32, 32))
    haze = _haze(0.05, 1e-4, LOBES, density=density, mixed=_in_turn())
    got, error = _seen([wall], lamp, haze, view, 64, part="haze")
    assert (error < 8e-3 * truth * 1e-4 / (4 * np.pi)).all()
    assert (np.abs(got * 4 * np.pi / 1e-4 / truth - 1) < 4 * error / got + 1e-3).all()


@pytest.mark.slow
@FORMS
def test_light_scattered_often_keeps_each_bands_own_phase_function(density):
    """A thick slab in diffuse light lets each band through as grey haze of its own phase function does."""
    at = (0, -0.5, 0), (0, 1, 0), 1024, 16
    slab = {"box": _slab(2.0), "density": density}
    haze = _haze(np.linspace(0.8, 1.2, BANDS), 1.0, LOBES, **slab, mixed=_in_turn())
    got, error = _lux(light(None), haze, *at)
    assert (error < 0.03 * got).all()
    for k, lobes in enumerate(LOBES):
        grey, grey_error = _lux(light(None), _haze(np.linspace(0.8, 1.2, BANDS), 1.0, tuple(lobes), **slab), *at)
        mine = slice(k, None, 3)
        spread = np.hypot(error, grey_error)[mine]
        assert (np.abs(got - grey)[mine] < 4 * spread).all()
        assert abs((got - grey)[mine].mean()) < 4 * np.sqrt((spread**2).mean())
    assert got[2] > got[0] + 0.1  # far enough apart that a mix-up shows


def test_haze_of_a_scene_has_the_extinction_of_its_droplets():
    from materials import make_medium
    from scenes.stage import Haze

    init("auto")
    medium = make_medium("glycol", visibility_m=20, droplet_um=0.4)
    built = replace(stage([], [light(None)]), haze=Haze(medium, *WIDE, None))
    tracer = Tracer(built, merge(built), default_bands(), "auto", None)
    tracer._device_set()
    on_device = np.array(tracer._haze.extinction).ravel()
    assert on_device == pytest.approx(default_bands().project(medium.extinction_per_m), rel=1e-6)
    assert on_device[0] > 1.8 * on_device[-1]
    import mitsuba as mi

    from render.kernel.haze import phase

    sideways = np.array(phase(tracer._haze, mi.Float(0.0))).ravel()
    nodes = default_bands().nodes_nm
    own = [np.interp(nodes, PHASE_NM, [p.value(0.0) for p in medium.phases])]
    assert sideways == pytest.approx(own[0], rel=1e-4)
    assert sideways[-1] > 1.15 * sideways[0]  # red is thrown wider
