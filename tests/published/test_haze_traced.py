"""Light in haze against published solutions, through the traced path: airlight, slabs, half spaces, attenuation.

Sources: Sun, Ramamoorthi, Narasimhan and Nayar 2005, A practical analytic single scattering model (airlight from a
point, isotropic phase; the other phase functions by quadrature of the same line integral); Heaslet and Warming 1965,
as tabulated in Modest, Radiative Heat Transfer, table 14.1 (transmittance of a conservative slab in diffuse light;
0.3900 seen quoted, the rest from memory and by ray counting); Chandrasekhar, Radiative Transfer (half space, H
function).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from materials import default_bands
from render.backend import init
from render.merge import merge
from render.tracer import Tracer
from scenes.stage import Distant, Light, Output
from tests.render.sets import camera, far_speck, finish, fixture, light, quad, stage

WIDE = (np.full(3, -60.0), np.full(3, 60.0))
ISOTROPIC = (0.0, 0.0, 1.0)
AIRLIGHT = [
    # scattering 1/m, distance of the source m, angle at the camera deg, length of the ray m, and the radiance for a
    # source of 1 cd with HG g = 0, 0.5, 0.8
    (0.02, 3, 30, 5, 2.000933e-3, 1.770297e-3, 8.66550e-4),
    (0.05, 3, 30, 5, 4.386966e-3, 3.963881e-3, 1.952174e-3),
    (0.1, 3, 30, 5, 7.068983e-3, 6.606674e-3, 3.285546e-3),
    (0.1, 3, 10, 5, 2.861727e-2, 3.735167e-2, 4.465494e-2),
    (0.1, 2, 60, 4, 5.050237e-3, 2.621770e-3, 8.73487e-4),
    (0.1, 4, 90, 6, 9.742158e-4, 3.595994e-4, 1.078122e-4),
]
EVEN, GRID = None, np.ones((3, 3, 3), np.float32)


def _haze(extinction, albedo, lobes=ISOTROPIC, box=WIDE, density=EVEN, mixed=None):
    init("auto")
    from render.kernel.haze import upload_haze

    bands = len(default_bands().nodes_nm)
    return upload_haze(np.broadcast_to(extinction, bands), np.full(bands, albedo), lobes, *box, density, mixed)


def _out_of_haze(shapes, lamp: Light, view, haze, samples: int) -> np.ndarray:
    """Radiance out of the haze, per unit output: (pixels,), mean over bands."""
    init("auto")
    built = stage(shapes, [lamp], view)
    tracer = Tracer(built, merge(built), default_bands(), "auto", None)
    tracer._device_set()
    tracer._haze = haze
    sums = tracer.pass_runner(lamp, [], 3)(0, samples)
    return sums.haze.mean(axis=0).ravel().astype(float) / samples


@pytest.mark.slow
@pytest.mark.parametrize(("density", "tolerance"), [(EVEN, 1e-3), (GRID, 1e-2)], ids=["even", "grid"])
@pytest.mark.parametrize(("beta", "away", "angle", "ray", "iso", "half", "most"), AIRLIGHT)
def test_airlight_of_a_point(beta, away, angle, ray, iso, half, most, density, tolerance):
    """A tiny ball and a black wall; the albedo is 1e-4, so that nearly all of it is scattered once."""
    init("auto")
    place = np.array([np.sin(np.radians(angle)), 0, -np.cos(np.radians(angle))]) * away
    lamp = light(fixture("sphere", (0.002, 0.002), at=place))
    wall = quad([-50, -50, -ray], [100, 0, 0], [0, 100, 0], finish(0.0))
    view = camera(at=(0, 0, 0), look=(0, 0, -1), half_angle_deg=0.02, size=(32, 32))
    samples = 128 if density is EVEN else 256
    for g, truth in zip((0, 0.5, 0.8), (iso, half, most), strict=True):
        got = _out_of_haze([wall], lamp, view, _haze(beta, 1e-4, (g, 0.0, 1.0), density=density), samples)
        got *= 4 * np.pi / 1e-4
        error = got.std() / np.sqrt(got.size)
        assert error < tolerance / 2 * truth
        assert got.mean() == pytest.approx(truth, abs=4 * error + tolerance * truth)


def _lux(lamp: Light, haze, place, facing, samples=65536, seeds=4) -> tuple[float, float]:
    """Mean and standard error of a flat meter over black ground, lux per unit output."""
    init("auto")
    ground = quad([-1e4, -1, 1e4], [2e4, 0, 0], [0, 0, -2e4], finish(0.0))
    built = stage([ground], [lamp])
    tracer = Tracer(built, merge(built), default_bands(), "auto", None)
    tracer._device_set()
    tracer._haze = haze
    at = (np.array([place], float), np.array([facing], float), np.array([False]))
    runs = [tracer.meters((lamp,), at, samples, seed).mean() for seed in range(seeds)]
    return float(np.mean(runs)), float(np.std(runs, ddof=1) / np.sqrt(seeds))


def _slab(depth: float):
    return np.array([-3e3, 0.0, -3e3]), np.array([3e3, depth, 3e3])


@pytest.mark.slow
@pytest.mark.parametrize(
    ("depth", "through"), [(0.1, 0.9157), (0.2, 0.8491), (0.5, 0.7040), (1, 0.5532), (2, 0.3900), (5, 0.2077)]
)
def test_a_conservative_slab_in_diffuse_light(depth, through):
    haze = _haze(1.0, 1.0, box=_slab(depth))
    mean, error = _lux(light(None), haze, (0, -0.5, 0), (0, 1, 0), seeds=8)
    assert error < 0.005 * through
    assert mean == pytest.approx(through, rel=0.01)


@pytest.mark.slow
def test_no_light_is_lost_in_a_conservative_slab():
    """Energy: what diffuse light does not pass, it gives back; R + T = 1 (closed form)."""
    haze = _haze(1.0, 1.0, (0.6, -0.4, 0.9), box=_slab(1.5))
    through, _ = _lux(light(None), haze, (0, -0.5, 0), (0, 1, 0))
    back, _ = _lux(light(None), haze, (0, 2.0, 0), (0, -1, 0))
    assert through + back == pytest.approx(1, abs=0.006)


@pytest.mark.slow
def test_an_uneven_slab_with_a_constant_grid_is_the_even_one():
    density = np.ones((2, 3, 2), np.float32)
    mean, error = _lux(light(None), _haze(1.0, 1.0, box=_slab(1.0), density=density), (0, -0.5, 0), (0, 1, 0), 32768)
    assert error < 0.005
    assert mean == pytest.approx(0.5532, rel=0.01)


@pytest.mark.slow
def test_an_absorbing_slab_in_diffuse_light():
    mean, _ = _lux(light(None), _haze(1.0, 0.9, box=_slab(1.0)), (0, -0.5, 0), (0, 1, 0))
    assert mean == pytest.approx(0.475, rel=0.01)


@pytest.mark.slow
@pytest.mark.parametrize(("albedo", "back"), [(0.5, 0.11523), (0.9, 0.41495), (0.99, 0.75272)])
def test_a_half_space_under_the_sun(albedo, back):
    """Chandrasekhar: reflectance of a semi-infinite isotropic medium for normal incidence; 40 mean free paths deep."""
    up = np.array([0.0, 1, 0])
    sun = replace(light(None), distant=Distant("sun", up, 0.53, None), output=Output(lumens=1.0, reading_lux=None))
    mean, error = _lux(sun, _haze(1.0, albedo, box=_slab(40.0)), (0, 40.5, 0), (0, -1, 0), 65536, 6)
    assert error < 0.005 * back
    assert mean == pytest.approx(back, rel=0.01)


@pytest.mark.slow
@pytest.mark.parametrize("density", [EVEN, GRID], ids=["even", "grid"])
def test_beer_lambert(density):
    """What comes straight from the light through black haze: exp(-sigma d) (closed form)."""
    lamp = light(fixture("disk", (0.2, 0.2), at=(0, 3, 0)))
    clear, _ = _lux(lamp, _haze(1e-9, 0.0, density=density), (0, 0, 0), (0, 1, 0), 8192)
    for sigma in (0.05, 0.2):
        hazed, error = _lux(lamp, _haze(sigma, 0.0, density=density), (0, 0, 0), (0, 1, 0), 8192, 6)
        assert hazed / clear == pytest.approx(np.exp(-sigma * 3), abs=4 * error / clear + 2e-3)


@pytest.mark.slow
def test_a_narrow_beam_is_found_wherever_the_ray_crosses_it():
    """The stretch inside the beam's cone must hold all of the beam: the same light with and without the bound."""
    init("auto")
    from render.kernel import paths
    from scenes.optics import Cells, Optics

    lamp = fixture("disk", (0.2, 0.2), at=(0.6, 1.8, -1.0), toward=(-0.5, -1.0, 0.6))
    lamp = light(replace(lamp, optics=Optics(cells=Cells("hexagon", 2.5, 0.9))))
    wall = quad([-5, -5, -3], [10, 0, 0], [0, 10, 0], finish(0.0))
    view = camera(at=(0, 1, 3), look=(0, 1, 0), half_angle_deg=28, size=(32, 32))
    bound = _out_of_haze([wall], lamp, view, _haze(0.1, 0.5, (0.7, -0.2, 0.9)), 256)
    original = paths.span_in_beam
    try:
        paths.span_in_beam = lambda light, origin, direction, start, end: (start, end)
        free = _out_of_haze([wall], lamp, view, _haze(0.1, 0.5, (0.7, -0.2, 0.9)), 1024)
    finally:
        paths.span_in_beam = original
    assert bound.mean() == pytest.approx(free.mean(), rel=0.01)
    blocks = [a.reshape(4, 8, 4, 8).mean(axis=(1, 3)) for a in (bound, free)]
    assert blocks[0] == pytest.approx(blocks[1], rel=0.08, abs=0.02 * blocks[1].max())


def test_a_clear_set_has_no_haze_part():
    lamp = light(fixture("disk", (0.2, 0.2), at=(0, 3, 0)))
    built = stage([far_speck()], [lamp])
    sums = Tracer(built, merge(built), default_bands(), "auto", None).pass_runner(lamp, [], 1)(0, 2)
    assert sums.haze is None
