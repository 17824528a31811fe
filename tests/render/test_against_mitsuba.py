"""The same set traced by Keyfall and by Mitsuba's own path integrators, clear and in haze, per light and per band.

Compared on the mean of the picture and on 8 x 8 pixel block means, with both variances estimated from independent
seeds (z-tests, Sidak-corrected over the blocks); a per-pixel test would have no power. The last tests prove that the
comparison rejects a bias of 1 %.
"""

from __future__ import annotations

import functools

import numpy as np
import pytest
from scipy.stats import norm

from materials import default_bands
from render.backend import init
from render.merge import merge
from render.tracer import Tracer
from tests.render.sets import box, camera, finish, fixture, light, mesh, stage

SEEDS, SIZE, ALPHA = 16, 64, 0.01
LOW, HIGH = (-2.0, 0.0, -2.0), (2.0, 3.0, 3.0)
LIGHTS = {
    "panel": fixture("rectangle", (0.8, 0.6), at=(1.2, 2.2, 1.0), toward=(-1.0, -0.8, -0.9), depth=1e-4, visible=True),
    "round": fixture("disk", (0.3, 0.3), at=(-1.2, 1.9, -1.0), toward=(1.0, -0.6, 0.9), depth=1e-4, visible=True),
}
VIEW = camera(at=(0.3, 1.5, 2.6), look=(0, 1.0, 0), half_angle_deg=28, size=(SIZE, SIZE))
CASES = [
    ("round", 1),
    *(
        pytest.param(name, band, marks=pytest.mark.slow)
        for name in LIGHTS
        for band in (1, 6, 11)
        if (name, band) not in (("round", 1), ("round", 6))
    ),
]
HAZE = {"sigma_t": 0.15, "albedo": 0.9, "g": 0.6}
ALPHA_EACH = 1 - (1 - ALPHA) ** (1 / len(CASES))


def _spectra() -> tuple[np.ndarray, np.ndarray]:
    wavelengths = np.linspace(380, 780, 401)
    wall = 0.35 + 0.3 / (1 + np.exp(-(wavelengths - 560) / 30))
    ball = 0.7 - 0.5 / (1 + np.exp(-(wavelengths - 500) / 25))
    return wall, ball


def _ball(of):
    import trimesh

    sphere = trimesh.creation.icosphere(subdivisions=2, radius=0.6)
    triangles = sphere.triangles.reshape(-1, 3) + np.array([0, 1.0, 0])
    normals = np.repeat(sphere.face_normals, 3, axis=0)
    return mesh(triangles, np.arange(len(triangles)).reshape(-1, 3), normals, of)


@functools.cache
def _ours(name: str, hazy: bool = False) -> np.ndarray:
    """(seeds, B, blocks, blocks)"""
    wall, ball = _spectra()
    lights = [light(LIGHTS[name], name)]
    built = stage([*box(LOW, HIGH, finish(wall)), _ball(finish(ball))], lights, VIEW)
    tracer = Tracer(built, merge(built), default_bands(), "auto", None)
    others = [other for key, other in LIGHTS.items() if key != name]
    if hazy:
        from render.kernel.haze import upload_haze

        tracer._device_set()
        bands = len(default_bands().nodes_nm)
        tracer._haze = upload_haze(
            np.full(bands, HAZE["sigma_t"]), np.full(bands, HAZE["albedo"]), (HAZE["g"], 0.0, 1.0), np.array(LOW), np.array(HIGH)
        )
    runs = [tracer.pass_runner(lights[0], others, seed)(0, 64).radiance / 64 for seed in range(SEEDS)]
    return _blocks(np.stack(runs))


@functools.cache
def _theirs(name: str, band: int, hazy: bool = False) -> np.ndarray:
    """(seeds, blocks, blocks)"""
    init("auto")
    import mitsuba as mi

    wall, ball = (default_bands().project(s)[band] for s in _spectra())
    method = "volpath" if hazy else "path"
    scene = {"type": "scene", "integrator": {"type": method, "max_depth": -1, "rr_depth": 8}}
    scene["sensor"] = {
        "type": "perspective", "fov": 56, "fov_axis": "x", "near_clip": 1e-3, "far_clip": 100.0,
        "to_world": mi.ScalarTransform4f().look_at(
            origin=[float(x) for x in VIEW.origin_m], target=[float(x) for x in VIEW.origin_m + VIEW.forward], up=[0, 1, 0]
        ),
        "film": {"type": "hdrfilm", "width": SIZE, "height": SIZE, "pixel_format": "luminance", "rfilter": {"type": "box"}},
        "sampler": {"type": "independent"},
    }  # fmt: skip
    for index, shape in enumerate([*box(LOW, HIGH, finish(0.0)), _ball(finish(0.0))]):
        built = mi.Mesh(
            f"shape{index}", len(shape.vertices), len(shape.faces), props=_diffuse(mi, ball if index == 6 else wall)
        )
        parameters = mi.traverse(built)
        parameters["vertex_positions"] = shape.vertices.ravel()
        parameters["faces"] = shape.faces.astype(np.uint32).ravel()
        parameters.update()
        scene[f"shape{index}"] = built
    for key, of in LIGHTS.items():
        scene[key] = _panel(mi, of, lit=key == name)
    if hazy:
        scene["haze"] = {
            "type": "homogeneous", "sigma_t": HAZE["sigma_t"], "albedo": HAZE["albedo"],
            "phase": {"type": "hg", "g": HAZE["g"]},
        }  # fmt: skip
        scene["sensor"]["medium"] = {"type": "ref", "id": "haze"}
        scene["sensor"]["near_clip"] = 1e-5  # it would skip the haze before
    loaded = mi.load_dict(scene)
    runs = [np.array(mi.render(loaded, spp=128, seed=seed))[..., 0] for seed in range(SEEDS)]
    return _blocks(np.stack(runs)[:, None])[:, 0]


def _diffuse(mi, reflectance: float):
    properties = mi.Properties()
    properties["bsdf"] = mi.load_dict(
        {
            "type": "twosided",
            "bsdf": {"type": "diffuse", "reflectance": {"type": "uniform", "value": float(reflectance)}},
        }
    )
    return properties


def _panel(mi, of, lit: bool) -> dict:
    width, height = (float(s) / 2 for s in of.size_m)
    target = [float(x) for x in of.centre_m + of.forward]
    transform = mi.ScalarTransform4f().look_at(
        origin=[float(x) for x in of.centre_m], target=target, up=[float(x) for x in of.up]
    )
    area = 4 * width * height if of.shape == "rectangle" else np.pi * width**2
    panel = {
        "type": of.shape, "to_world": transform @ mi.ScalarTransform4f().scale([width, height, 1.0]),
        "bsdf": {"type": "diffuse", "reflectance": {"type": "uniform", "value": 0.0}},
    }  # fmt: skip
    if lit:
        panel["emitter"] = {"type": "area", "radiance": {"type": "uniform", "value": float(1 / (np.pi * area))}}
    return panel


def _blocks(pictures: np.ndarray) -> np.ndarray:
    *head, height, width = pictures.shape
    return pictures.reshape(*head, height // 8, 8, width // 8, 8).mean(axis=(-3, -1))


def p_values(ours: np.ndarray, theirs: np.ndarray) -> np.ndarray:
    """Two-sided p of equal means, from independent runs along axis 0 (Welch's z; 16 runs are few, so t is used)."""
    from scipy.stats import ttest_ind

    return ttest_ind(ours, theirs, axis=0, equal_var=False).pvalue


@pytest.mark.slow
@pytest.mark.parametrize(("name", "band"), CASES)
def test_picture_mean_agrees(name, band):
    ours, theirs = _ours(name)[:, band].mean(axis=(1, 2)), _theirs(name, band).mean(axis=(1, 2))
    assert p_values(ours, theirs) > ALPHA_EACH
    assert ours.mean() == pytest.approx(theirs.mean(), rel=0.005)


@pytest.mark.slow
@pytest.mark.parametrize(("name", "band"), CASES)
def test_block_means_agree(name, band):
    p = p_values(_ours(name)[:, band], _theirs(name, band))
    assert p.min() > 1 - (1 - ALPHA_EACH) ** (1 / p.size)


@pytest.mark.slow
@pytest.mark.parametrize(("name", "band"), CASES)
def test_a_bias_of_one_per_cent_is_caught(name, band):
    ours, theirs = _ours(name)[:, band].mean(axis=(1, 2)), _theirs(name, band).mean(axis=(1, 2))
    assert p_values(ours * 1.01, theirs) < ALPHA_EACH


HAZE_CASES = [("panel", 6), ("round", 1)]


@pytest.mark.slow
@pytest.mark.parametrize(("name", "band"), HAZE_CASES)
def test_haze_agrees_with_volpath(name, band):
    """Even haze, all orders of scattering, against Mitsuba's `volpath`: picture mean and block means."""
    ours, theirs = _ours(name, True)[:, band], _theirs(name, band, True)
    limit = 1 - (1 - ALPHA) ** (1 / len(HAZE_CASES))
    means = ours.mean(axis=(1, 2)), theirs.mean(axis=(1, 2))
    assert means[0].mean() == pytest.approx(means[1].mean(), rel=0.01)
    assert p_values(*means) > limit
    p = p_values(ours, theirs)
    assert p.min() > 1 - (1 - limit) ** (1 / p.size)
    clear = _ours(name)[:, band].mean()
    assert abs(means[0].mean() / clear - 1) > 0.05  # the haze matters


def test_the_statistic_rejects_a_true_null_as_often_as_it_says():
    rng = np.random.default_rng(1)
    p = p_values(rng.normal(1, 0.1, (SEEDS, 20000)), rng.normal(1, 0.02, (SEEDS, 20000)))
    expected, spread = 0.05, norm.ppf(0.9999) * np.sqrt(0.05 * 0.95 / 20000)
    assert abs(np.mean(p < 0.05) - expected) < spread + 0.004
