"""The traced light of every kind of fixture is the light that `scenes.field` computes in double precision."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from render.backend import init
from scenes import field
from scenes.fixtures import exit_area_m2, spot_profile
from scenes.optics import Angular

from .beams import all_beams, shaped
from .sets import fixture, light

BEAMS = all_beams()
FLAT = [name for name, of in BEAMS.items() if of.shape not in ("sphere", "tube")]
POINTS, SAMPLES = 60, 4096


def _on_device(of):
    init("auto")
    import drjit as dr
    import mitsuba as mi

    from render.kernel.luminaire import light_at, upload_lights

    lamp = light_at(upload_lights([light(of)], [0]), mi.UInt32(0))
    dr.make_opaque(lamp)
    return lamp


@pytest.mark.parametrize("name", FLAT)
def test_luminance_of_single_rays(name):
    """To single precision, but for the rays that graze an edge (fewer than 1 in 5000)."""
    of = BEAMS[name]
    lamp = _on_device(of)
    import mitsuba as mi

    from render.kernel.beam import emitted

    rng = np.random.default_rng(4)
    x, y = (rng.uniform(-0.5, 0.5, 100_000) * of.size_m[k] for k in range(2))
    slope_x, slope_y = rng.normal(0, 0.5, (2, 100_000))
    cosine = 1 / np.sqrt(1 + slope_x**2 + slope_y**2)
    leaving = mi.Vector3f(*(mi.Float((part * cosine).astype(np.float32)) for part in (slope_x, slope_y, 1.0)))
    traced = np.array(emitted(lamp, mi.Float(x.astype(np.float32)), mi.Float(y.astype(np.float32)), leaving))
    exact = field.luminance(of, x, y, slope_x, slope_y)
    assert exact.max() > 0
    apart = np.abs(traced - exact) / exact.max()
    assert np.quantile(apart, 1 - 2e-4) < 1e-4


def _around(seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Points round the fixture at (0, 1, 0), near and far, and normals."""
    rng = np.random.default_rng(seed)
    points = rng.uniform([-1.5, -1.0, -1.5], [1.5, 0.7, 1.5], (POINTS, 3))
    points[::2] *= [0.3, 1, 0.3]
    normals = rng.normal(size=(POINTS, 3))
    normals[:, 1] = np.abs(normals[:, 1])
    return points, normals / np.linalg.norm(normals, axis=1, keepdims=True)


@pytest.mark.parametrize("name", BEAMS)
def test_sampled_light_at_points_is_the_field(name):
    """Means of sampled light against quadrature, each point within its own noise (Sidak over the points)."""
    of = BEAMS[name]
    lamp = _on_device(of)
    import drjit as dr
    import mitsuba as mi

    from render.kernel.toward import sample_light

    points, normals = _around(7)
    exact = field.illuminance(of, points, normals, steps=128)
    each = np.repeat(np.arange(POINTS), SAMPLES)
    origin = mi.Point3f(*(mi.Float(points[each, k].astype(np.float32)) for k in range(3)))
    normal = mi.Vector3f(*(mi.Float(normals[each, k].astype(np.float32)) for k in range(3)))
    random = mi.PCG32(size=len(each), initstate=11)
    sample = sample_light(lamp, origin, normal, random.next_float32(), random.next_float32())
    value = np.array(sample.weight * dr.maximum(dr.dot(sample.direction, normal), 0)).reshape(POINTS, SAMPLES)
    mean, error = value.mean(axis=1), value.std(axis=1) / np.sqrt(SAMPLES)
    lit = exact > 0.02 * exact.max()
    assert lit.sum() >= 8
    raster = 2e-3 * exact + 1e-4 * exact.max()
    z = (np.abs(mean - exact) - raster) / np.maximum(error, 1e-12)
    assert z[lit].max() < norm.isf((1 - 0.99 ** (1 / lit.sum())) / 2)
    assert np.median(error[lit] / exact[lit]) < 0.03


@pytest.mark.parametrize("name", BEAMS)
def test_a_ray_that_meets_the_light_carries_what_was_sampled(name):
    """Next-event samples and rays that happen to hit agree in radiance and density, or combining them would be wrong."""
    of = BEAMS[name]
    lamp = _on_device(of)
    import drjit as dr
    import mitsuba as mi

    from render.kernel.toward import arriving, sample_light

    points, normals = _around(9)
    each = np.repeat(np.arange(POINTS), 256)
    origin = mi.Point3f(*(mi.Float(points[each, k].astype(np.float32)) for k in range(3)))
    normal = mi.Vector3f(*(mi.Float(normals[each, k].astype(np.float32)) for k in range(3)))
    random = mi.PCG32(size=len(each), initstate=3)
    sample = sample_light(lamp, origin, normal, random.next_float32(), random.next_float32())
    radiance, pdf = arriving(lamp, origin, sample.direction, sample.distance, dr.dot(sample.direction, normal))
    weight, density = np.array(sample.weight), np.array(sample.pdf)
    lit = weight > 0
    unlike = np.abs(np.array(pdf)[lit] / density[lit] - 1)
    assert np.quantile(unlike, 0.999) < 5e-4
    assert unlike.max() < 0.02  # a lens is thin at its tips
    apart = np.abs(np.array(radiance)[lit] / (weight * density)[lit] - 1)
    assert np.quantile(apart, 0.999) < 2e-3


@pytest.mark.parametrize(("name", "least"), [("hexagons", 0.3), ("snoot", 0.3), ("plain disk", 1.0), ("ring", 1.0)])
def test_narrow_beams_send_few_rays_outside_themselves(name, least):
    """Of samples toward points that the beam reaches, the share that carries light."""
    of = BEAMS[name]
    lamp = _on_device(of)
    import mitsuba as mi

    from render.kernel.toward import sample_light

    points, normals = _around(5)
    lit = field.illuminance(of, points, normals, steps=64) > 0
    each = np.repeat(np.flatnonzero(lit), 512)
    origin = mi.Point3f(*(mi.Float(points[each, k].astype(np.float32)) for k in range(3)))
    normal = mi.Vector3f(*(mi.Float(normals[each, k].astype(np.float32)) for k in range(3)))
    random = mi.PCG32(size=len(each))
    sample = sample_light(lamp, origin, normal, random.next_float32(), random.next_float32())
    assert (np.array(sample.weight) > 0).mean() >= least


def test_the_quadrature_meets_the_closed_forms():
    """Disk a^2 / (a^2 + h^2) and centred rectangle (Howell and Menguc): the raster is within 0.2 % at 512 steps."""
    for of in (fixture("disk", (0.5, 0.5)), fixture("rectangle", (0.6, 0.9)), fixture("octagon", (0.8, 0.8))):
        for distance in (0.5, 1.2, 3.0):
            at = of.centre_m + distance * of.forward
            closed = field.plain_axial_illuminance(of, distance)
            assert field.illuminance(of, at, -of.forward, steps=512)[0] == pytest.approx(closed, rel=2e-3)


def test_a_tube_is_a_lambertian_rod():
    """Far away I = 1 / pi^2 of its lumens square to its axis, and it sends out what it is given (closed form)."""
    tube = fixture("tube", (0.3, 0.02))
    assert field.illuminance(tube, tube.centre_m + 600 * tube.forward, -tube.forward)[0] * 600**2 == pytest.approx(
        1 / np.pi**2, rel=1e-4
    )
    angle = (np.arange(400) + 0.5) / 400 * np.pi
    out = np.cos(angle)[:, None] * tube.right + np.sin(angle)[:, None] * tube.forward
    intensity = field.illuminance(tube, tube.centre_m + 60 * out, -out) * 3600
    assert (intensity * np.sin(angle)).sum() * np.pi / 400 * 2 * np.pi == pytest.approx(1, rel=2e-3)
    assert exit_area_m2(tube) == pytest.approx(np.pi * 0.02 * 0.3)


def _emitted(of, leaving: np.ndarray) -> np.ndarray:
    """Radiance on the device of rays (n, 3), in the fixture's axes, that leave its middle."""
    lamp = _on_device(of)
    import mitsuba as mi

    from render.kernel.beam import emitted

    return np.array(
        emitted(lamp, mi.Float(0), mi.Float(0), mi.Vector3f(*(mi.Float(c) for c in leaving.T.astype("f4"))))
    )


def _turned(off_axis_deg: np.ndarray) -> np.ndarray:
    angle = np.radians(off_axis_deg)
    return np.stack([np.sin(angle), 0 * angle, np.cos(angle)], axis=1)


def test_a_ball_shines_to_its_back_by_the_table_of_its_back():
    """A lamp whose intensity rises evenly from its axis to its back: a point behind gets what the table says there, and
    nothing is folded to the front."""
    values = np.linspace(0.0, 1.0, 19)[None].astype(np.float32)
    of = shaped(fixture("sphere", (0.1, 0.1), toward=(0, 0, 1)), angular=Angular(values, np.pi))
    degrees = np.array([5.0, 45, 85, 95, 135, 175])
    share = degrees / 180
    assert _emitted(of, _turned(degrees)) == pytest.approx(share / (np.pi * 0.05**2), rel=1e-4)
    away = _turned(degrees) @ np.stack([of.right, of.up, of.forward])
    read = field.illuminance(of, of.centre_m + 30 * away, -away) * 900
    assert read == pytest.approx(share, rel=2e-3)


def test_an_even_ball_is_as_bright_from_behind():
    of = fixture("sphere", (0.3, 0.3))
    both = field.illuminance(
        of, of.centre_m + np.array([[1.0], [-1.0]]) * of.forward, np.array([[1.0], [-1.0]]) * -of.forward
    )
    assert both == pytest.approx([1 / (4 * np.pi)] * 2, rel=1e-6)
    assert _emitted(of, _turned(np.array([0.0, 180]))) == pytest.approx([1 / (np.pi * np.pi * 0.3**2)] * 2, rel=1e-5)


def test_a_flat_exit_without_a_glowing_back_is_dark_behind():
    dark, sheet = fixture("disk", (0.5, 0.5)), shaped(fixture("disk", (0.5, 0.5)), back_share=0.4)
    front, back = _emitted(sheet, _turned(np.array([20.0, 160])))
    assert back / front == pytest.approx(0.4, rel=1e-5)
    assert _emitted(dark, _turned(np.array([91.0, 160, 180]))).max() == 0


def test_a_spot_ends_at_a_ten_thousandth_of_its_axis():
    """Wider by its field than its beam would let it: the cut takes what is left there, on the device as in the field."""
    of = fixture("spot", (0.1, 0.1), beam=20, field=40)
    cut = np.degrees(spot_profile(of).cut_rad)
    assert 40 < cut < 50
    just = cut + np.array([-0.2, 0.2, 3.0])
    traced = _emitted(of, _turned(just)) * np.cos(np.radians(just)) / _emitted(of, _turned(np.zeros(1)))
    assert 1e-4 < traced[0] < 1.1e-4
    assert traced[1:].max() == 0
    assert np.tan(np.radians(cut)) == pytest.approx(field.widest_slope_of(of), rel=1e-6)
    slope = np.tan(np.radians(just))
    exact = field.luminance(of, *np.zeros((2, 3)), slope, 0 * slope) * np.cos(np.radians(just))
    assert exact[0] > 0
    assert exact[1:].max() == 0
