"""Light transport against closed forms, through the real tracing path (meters and pictures), never a copied formula.

Sources: Howell and Menguc, A catalog of radiation heat transfer configuration factors (disk, rectangle, sphere);
CIE 171:2006 case 5.8 geometry (4 m cube; the mean follows from flux balance); IES Lighting Handbook (five-times
rule); white furnace: Kajiya's test in its usual form.

Tolerances: 4 standard errors of independent seeds, and the standard error itself at most 0.3 %, so that a 1.5 % bias
cannot pass.
"""

from __future__ import annotations

import numpy as np
import pytest

from materials import default_bands
from render.merge import merge
from render.tracer import Tracer
from tests.render.sets import box, camera, far_speck, finish, fixture, light, quad, stage

SEEDS = 16


def readings(set_shapes, of, positions, normals, domes=None, samples=8192, seeds=SEEDS) -> np.ndarray:
    """(seeds, M) illuminance per unit output, mean over bands (all sets here are grey)."""
    the_light = light(of)
    built = stage(set_shapes, [the_light])
    tracer = Tracer(built, merge(built), default_bands(), "auto", None)
    positions, normals = np.atleast_2d(np.asarray(positions, float)), np.atleast_2d(np.asarray(normals, float))
    domes = np.zeros(len(positions), bool) if domes is None else np.asarray(domes)
    runs = [tracer.meters((the_light,), (positions, normals, domes), samples, seed)[0] for seed in range(seeds)]
    return np.mean(runs, axis=1)


def agree(
    samples: np.ndarray, truth: np.ndarray | float, most_relative_error: float = 0.003, rounding: float = 1e-5
) -> None:
    """Means of independent runs (axis 0) equal the truth within 4 standard errors, and the test has power; `rounding`
    is the relative error of the printed truth and of float32 arithmetic."""
    error = samples.std(axis=0, ddof=1) / np.sqrt(len(samples))
    assert np.all(error <= most_relative_error * np.abs(truth)), f"no power: {error / truth}"
    floor = rounding * np.abs(truth)
    assert np.all(np.abs(samples.mean(axis=0) - truth) <= 4 * error + floor), samples.mean(axis=0) / truth


@pytest.mark.slow
@pytest.mark.parametrize(
    ("radius", "height", "offset", "factor"),
    [(0.5, 1, 0, 0.2), (0.5, 1, 0.5, 0.1464466), (0.5, 1, 1, 0.0658784), (0.5, 2, 1, 0.0391823),
     (0.25, 1, 0.3, 0.0504057), (1, 1, 2, 0.0527864)],
)  # fmt: skip
def test_disk_over_parallel_receiver(radius, height, offset, factor):
    of = fixture("disk", (2 * radius, 2 * radius), at=(0, height, 0))
    got = readings([far_speck()], of, [offset, 0, 0], [0, 1, 0])
    agree(got, factor / (np.pi * radius**2))


@pytest.mark.parametrize(
    ("radius", "height", "offset", "factor"),
    [(0.5, 1, 0.6, 0.0646904), (0.5, 1, 1, 0.0581563), (0.5, 2, 1, 0.0186496)],
)
def test_disk_and_perpendicular_receiver(radius, height, offset, factor):
    of = fixture("disk", (2 * radius, 2 * radius), at=(0, height, 0))
    got = readings([far_speck()], of, [offset, 0, 0], [-1, 0, 0])
    agree(got, factor / (np.pi * radius**2))


@pytest.mark.parametrize(
    ("width", "height", "distance", "factor"),
    [(1, 1, 0.5, 0.5541264), (1, 1, 1, 0.2394565), (1, 1, 2, 0.0734776), (1, 1, 5, 0.0125650),
     (0.6, 0.9, 1.2, 0.1052735), (1.2, 0.3, 1, 0.0924722)],
)  # fmt: skip
def test_softbox_near_field(width, height, distance, factor):
    of = fixture("rectangle", (width, height), at=(0, distance, 0))
    got = readings([far_speck()], of, [0, 0, 0], [0, 1, 0])
    agree(got, factor / (width * height))


@pytest.mark.slow
@pytest.mark.parametrize(
    ("azimuth", "elevation", "distance", "size", "to_camera", "to_light", "dome"),
    [(45, 35, 1.3, (0.6, 0.9), 0.052872, 0.091280, 0.07330),
     (30, 30, 1.0, (0.6, 0.6), 0.076779, 0.102372, 0.09101),
     (0, 45, 0.8, (0.6, 0.6), 0.106747, 0.150963, 0.13206)],
)  # fmt: skip
def test_tilted_softbox_on_the_face(azimuth, elevation, distance, size, to_camera, to_light, dome):
    """Lambert's polygon formula (1760), evaluated independently; receiver at the face."""
    a, e = np.radians([azimuth, elevation])
    at = distance * np.array([np.sin(a) * np.cos(e), np.sin(e), np.cos(a) * np.cos(e)])
    of = fixture("rectangle", size, at=at, toward=-at)
    normals = [[0, 0, 1], at / distance, [0, 0, 1]]
    got = readings([far_speck()], of, np.zeros((3, 3)), normals, [False, False, True])
    agree(got, np.array([to_camera, to_light, dome]) / (size[0] * size[1]), rounding=1e-4)


@pytest.mark.parametrize(("radius", "distance", "tilt_deg"), [(0.1, 1, 0), (0.1, 1, 60), (0.5, 1, 60)])
def test_sphere_light(radius, distance, tilt_deg):
    """(R / d)^2 cos(tilt) while the whole sphere is above the receiver's horizon."""
    of = fixture("sphere", (2 * radius, 2 * radius), at=(0, distance, 0), depth=0.0)
    tilt = np.radians(tilt_deg)
    got = readings([far_speck()], of, [0, 0, 0], [np.sin(tilt), np.cos(tilt), 0])
    agree(got, (radius / distance) ** 2 * np.cos(tilt) / (4 * np.pi * radius**2))


def test_five_times_rule():
    """At five diameters a disk is 1.00 % weaker than inverse square says: the error is (a / h)^2."""
    of = fixture("disk", (0.4, 0.4), at=(0, 2.0, 0))
    got = readings([far_speck()], of, [0, 0, 0], [0, 1, 0], samples=65536)
    inverse_square = 1 / np.pi / 2.0**2
    agree(inverse_square / got - 1, 0.01, 0.02)


def test_octagon_lies_between_inscribed_and_circumscribed_disks():
    of = fixture("octagon", (1.0, 1.0), at=(0, 1, 0))
    got = readings([far_speck()], of, [0, 0, 0], [0, 1, 0]).mean()
    inner, outer = (r**2 / (r**2 + 1) / (np.pi * r**2) for r in (0.5, 0.5 / np.cos(np.pi / 8)))
    assert outer < got < inner


@pytest.mark.slow
@pytest.mark.parametrize(("beam", "field"), [(20, 40), (40, 50), (60, 110)])
def test_spot_gives_half_at_the_beam_and_a_tenth_at_the_field_angle(beam, field):
    """CIE S 017 / IES definitions of beam (50 %) and field (10 %) angle."""
    distance = 10.0
    of = fixture("spot", (0.02, 0.02), at=(0, distance, 0), beam=beam, field=field)
    angles = np.radians([0, beam / 2, field / 2])
    positions = distance * np.stack([np.sin(angles), 1 - np.cos(angles), 0 * angles], axis=1)
    normals = np.stack([-np.sin(angles), np.cos(angles), 0 * angles], axis=1)
    got = readings([far_speck()], of, positions, normals).mean(axis=0)
    assert got[1:] / got[0] == pytest.approx([0.5, 0.1], rel=0.01)  # the lens is small but not a point


@pytest.mark.slow
def test_spot_flux_closes():
    """Everything a spot emits lands on a sphere of meters around it: 1 lm."""
    of = fixture("spot", (0.02, 0.02), at=(0, 0, 0), toward=(0, 1, 0), beam=50, field=80)
    nodes, weights = np.polynomial.legendre.leggauss(64)
    cosines, weights = (nodes + 1) / 2, weights / 2
    sines = np.sqrt(1 - cosines**2)
    directions = np.stack([sines, cosines, 0 * sines], axis=1)
    got = readings([far_speck()], of, 20 * directions, -directions).mean(axis=0)
    assert 2 * np.pi * 400 * np.sum(weights * got) == pytest.approx(1, rel=0.003)


@pytest.mark.slow
@pytest.mark.parametrize("reflectance", [0.05, 0.5, 0.8, pytest.param(0.95, marks=pytest.mark.slow)])
def test_cube_room_interreflection(reflectance):
    """4 m cube, isotropic source in the centre: mean indirect illuminance is F rho / (96 m2 (1 - rho))."""
    of = fixture("sphere", (0.02, 0.02), at=(2, 2, 2), depth=0.0)
    nodes, weights = np.polynomial.legendre.leggauss(12)  # one wall stands for all six, by symmetry
    x, z = (2 + 2 * a.ravel() for a in np.meshgrid(nodes, nodes))
    weights = np.outer(weights, weights).ravel() / 4
    points, normals = np.stack([x, 0 * x + 1e-4, z], axis=1), np.tile([0.0, 1.0, 0.0], (len(x), 1))
    total = readings(box((0, 0, 0), (4, 4, 4), finish(reflectance)), of, points, normals, samples=1024)
    direct = readings(box((0, 0, 0), (4, 4, 4), finish(0.0)), of, points, normals, samples=1024, seeds=4)
    indirect = (total - direct.mean(axis=0)) @ weights
    agree(indirect, reflectance / (96 * (1 - reflectance)), rounding=1e-3)  # quadrature over the wall


@pytest.mark.slow
@pytest.mark.parametrize(
    ("reflectance", "f0", "roughness"),
    [
        (1.0, 0.0, 1.0),
        (0.5, 0.0, 1.0),
        (1.0, 0.04, 0.2),
        (1.0, 0.04, 0.6),
        (1.0, 0.2, 1.0),
        (0.0, 1.0, 0.3),
        (0.0, 1.0, 1.0),
    ],
)
def test_white_furnace(reflectance, f0, roughness):
    """In even light from everywhere a surface that absorbs nothing cannot be told from its surroundings."""
    tilted = [quad([-5, -3, 3], [10, 0, 0], [0, 6, -6], finish(reflectance, f0=f0, roughness=roughness))]
    sky = light(None)
    built = stage(tilted, [sky], camera(size=(64, 64), half_angle_deg=20))
    tracer = Tracer(built, merge(built), default_bands(), "auto", None)
    runs = []
    for seed in range(SEEDS):
        radiance = tracer.pass_runner(sky, [], seed)(0, 16).radiance
        runs.append(radiance.mean() / 16 * np.pi)
    expected = reflectance if f0 == 0 else 1.0
    error = np.std(runs, ddof=1) / np.sqrt(SEEDS)
    assert error < 0.002
    allowed = 0.005 if f0 > 0 else 1e-5  # bilinear albedo table; float32 arithmetic
    assert abs(np.mean(runs) - expected) <= 4 * error + allowed


def test_panel_luminance_does_not_change_with_distance():
    """Luminance invariance: a visible panel looks as bright from near as from far."""
    seen = []
    for distance in (1.0, 6.0):
        of = fixture("rectangle", (4, 4), at=(0, 0, -distance), toward=(0, 0, 1), visible=True)
        panel = light(of)
        built = stage([far_speck()], [panel], camera(at=(0, 0, 0), look=(0, 0, -1), half_angle_deg=5))
        tracer = Tracer(built, merge(built), default_bands(), "auto", None)
        radiance = tracer.pass_runner(panel, [], 1)(0, 4).radiance
        seen.append(radiance.mean() / 4)
    assert seen == pytest.approx([1 / (np.pi * 16)] * 2, rel=1e-5)


@pytest.mark.slow
def test_flux_closes_in_every_band():
    """Closed cube of coloured walls: what the walls absorb, (1 - rho) E A, is all the light emitted, in each band."""
    wavelengths = np.linspace(380, 780, 401)
    reflectance = 0.2 + 0.6 / (1 + np.exp(-(wavelengths - 570) / 30))
    of = fixture("sphere", (0.02, 0.02), at=(2, 2, 2), depth=0.0)
    built = stage(box((0, 0, 0), (4, 4, 4), finish(reflectance)), [light(of)])
    bands = default_bands()
    tracer = Tracer(built, merge(built), bands, "auto", None)
    nodes, weights = np.polynomial.legendre.leggauss(12)
    x, z = (2 + 2 * a.ravel() for a in np.meshgrid(nodes, nodes))
    weights = np.outer(weights, weights).ravel() / 4
    placement = (np.stack([x, 0 * x + 1e-4, z], 1), np.tile([0.0, 1.0, 0.0], (len(x), 1)), np.zeros(len(x), bool))
    runs = np.stack([tracer.meters(built.lights, placement, 512, seed)[0] @ weights for seed in range(SEEDS)])
    absorbed = 96 * (1 - bands.project(reflectance)) * runs
    agree(absorbed, np.ones(len(bands.nodes_nm)), rounding=2e-3)  # quadrature over the wall, the source's own body


def test_a_fixture_body_casts_its_shadow():
    """A box between light and meter takes all direct light; beside the way it takes none."""
    key = light(fixture("disk", (0.1, 0.1), at=(0, 3, 0)), "key")
    read = []
    for offset in (0.0, 1.0):
        blocking = light(fixture("rectangle", (0.6, 0.6), at=(offset, 1.5, 0.15), toward=(0, 0, 1), depth=0.3), "fill")
        built = stage([far_speck()], [key, blocking])
        tracer = Tracer(built, merge(built), default_bands(), "auto", None)
        placement = (np.zeros((1, 3)), np.array([[0.0, 1.0, 0.0]]), np.zeros(1, bool))
        read.append(tracer.meters(built.lights, placement)[0].mean())
    free = 0.05**2 / (0.05**2 + 9) / (np.pi * 0.05**2)
    assert read[0] == 0
    assert read[1] == pytest.approx(free, rel=1e-3)
