"""White furnaces: in even light from everywhere, a surface that absorbs nothing cannot be told from its surroundings.

Kajiya's test in its usual form, for everything a set is made of, seen at every angle and by shading normals that lean off
their facets; see also `tests/published/test_photometry.py`.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import drjit as dr
import numpy as np
import pytest
from scipy.stats import qmc

from materials import (
    FINISHES,
    HAIR_COLOURS,
    IRIS_COLOURS,
    SKIN_TONES,
    Finish,
    default_bands,
    eye_finish,
    ggx_albedo_table,
    hair_finish,
    make_finish,
    silk_finish,
    skin_finish,
    teeth_finish,
)  # fmt: skip
from materials.coat import base_share, coat_albedo
from render.backend import init
from render.merge import finish_tables, merge
from render.tracer import Tracer
from scenes import build_stage, load_scene
from scenes.stage import Stage

from .sets import camera, light

SCENE = Path(__file__).parents[2] / "demo" / "scenes" / "classic-loop.toml"
EVERY = [
    *(make_finish(name) for name in FINISHES),
    *(skin_finish(name) for name in SKIN_TONES),
    *(hair_finish(name) for name in HAIR_COLOURS),
    *(eye_finish(name) for name in IRIS_COLOURS),
    teeth_finish(), silk_finish(1.0),
]  # fmt: skip
ODD = [(1.0, 0.3, 0.3, 0.0), (0.2, 1.0, 1.0, 0.3), (0.04, 0.02, 0.02, 0.5), (0.04, 1.0, 0.1, 1.0)]
COSINES = (1.0, 0.7, 0.3, 0.1, 0.02)
GLOSS = 0.4
LEANS_DEG, TURNS_DEG = (0.0, 12.0, 40.0), (0.0, 120.0)
POINTS = 2**12
SITTER = ("face", "skin", "hair", "eye", "cloth")


@pytest.fixture(scope="module")
def furnace() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Parameters of all finishes (M, 4), and the shares of light that their coats and their white bases scatter, (M,
    cosines, leans, turns), NaN where the facet looks away from the viewer."""
    init("auto")
    import drjit as dr
    import mitsuba as mi

    from render.kernel.surface import evaluate, sample, surface_at, upload_palette
    from render.kernel.types import SurfacePoint

    _, stock = finish_tables(tuple(EVERY), default_bands())
    parameters = np.unique(np.concatenate([stock, ODD]), axis=0)
    palette = upload_palette(np.full((len(parameters), 4, 1), 0.6), parameters, np.stack(ggx_albedo_table(), -1))
    axes = (np.arange(len(parameters)), COSINES, np.radians(LEANS_DEG), np.radians(TURNS_DEG))
    material, cosine, lean, turn = (a.ravel() for a in np.meshgrid(*axes, indexing="ij"))
    facet = np.stack([np.sin(lean) * np.cos(turn), np.sin(lean) * np.sin(turn), np.cos(lean)])
    view = np.stack([np.sqrt(1 - cosine**2), 0 * cosine, cosine])
    cases = np.flatnonzero(np.sum(facet * view, axis=0) > 1e-3)

    lane = dr.arange(mi.UInt32, len(cases) * POINTS)
    case, point = lane // POINTS, lane % POINTS

    def own(values: np.ndarray) -> mi.Float:
        return dr.gather(mi.Float, mi.Float(values[cases].astype(np.float32)), case)

    outgoing = mi.Vector3f(*(own(v) for v in view))
    at = SurfacePoint(
        mi.Point3f(0), mi.Normal3f(*(own(v) for v in facet)), mi.Normal3f(0, 0, 1), mi.UInt32(own(material)), mi.UInt32(0),
        mi.Vector4f(1, 0, 0, 0), mi.Float(GLOSS), mi.Float(0),
    )  # fmt: skip
    random = qmc.Sobol(3, seed=5).random(POINTS).T.astype(np.float32)
    u = [dr.gather(mi.Float, mi.Float(np.minimum(column, 1 - 1e-6)), point) for column in random]
    surface = surface_at(palette, at, outgoing, mi.Bool(True))
    incoming = sample(surface, at, outgoing, *u)
    coat, base, pdf = evaluate(palette, surface, at, outgoing, incoming, mi.Bool(True))
    parts = [dr.select((pdf > 1e-8) & (part > 0), part / pdf, 0) for part in (coat, base)]
    dr.eval(parts)
    shares = []
    for part in parts:
        whole = np.full(len(material), np.nan)
        whole[cases] = np.array(part, float).reshape(len(cases), POINTS).mean(axis=1)
        shares.append(whole.reshape([len(a) for a in axes]))
    return parameters, shares[0], shares[1]


def test_no_finish_makes_or_loses_light_at_any_angle_on_any_facet(furnace) -> None:
    """One within 0.5 %: 0.35 % for 4,096 points, 0.15 % for what lies between the nodes of the tables."""
    parameters, coat, base = furnace
    assert (parameters[:, 3] > 0).sum() >= 8
    assert np.isfinite(coat).mean() > 0.75
    assert np.nanmax(np.abs(coat + base - 1)) < 0.005


def test_a_coat_reflects_what_its_table_says(furnace) -> None:
    """The tracer's coat on flat facets, sampled, against the quadrature of `materials.coat`."""
    parameters, coat, _ = furnace
    f0, roughness = parameters[:, :1], (1 - GLOSS) * parameters[:, 1:2] + GLOSS * parameters[:, 2:3]
    np.testing.assert_allclose(coat[:, :, 0, 0], coat_albedo(f0, roughness, np.array(COSINES)), atol=0.005)


def test_a_bare_leaning_plane_sees_what_the_view_factor_says() -> None:
    lean = np.arccos(1 - np.linspace(0, 1, 33) ** 2)
    np.testing.assert_allclose(base_share(np.zeros(1), np.ones(1))[0], (1 + np.cos(lean)) / 2, atol=2e-4)


def _lossless_sitter() -> Stage:
    """The dressed sitter of a demo scene alone in even light, every finish cleared of what it absorbs."""
    stage = build_stage(load_scene(SCENE))
    clear: dict[int, Finish] = {}
    shapes = []
    for shape in stage.shapes:
        if shape.region in SITTER:
            white = replace(shape.finish, reflectance=np.ones((4, 401)))
            shapes.append(replace(shape, finish=clear.setdefault(id(shape.finish), white)))
    view = camera(stage.camera.origin_m, stage.landmarks["face"], half_angle_deg=7, size=(48, 72))
    return replace(stage, shapes=tuple(shapes), camera=view, lights=(light(None),), haze=None)


def _close_paths_after(bounces: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let paths that meet a surface once more bring the even light itself. What absorbs nothing never ends a path between
    shirt and skin, and the spread of such a path's weight grows with every bounce; a loss shows in the first ones."""
    from render.kernel import paths

    next_event, scatter = paths._next_event, paths._scatter

    def closing_event(scene, path, point, surface, on_surface, u, v, seed):
        closed = on_surface & (path.depth >= bounces)
        paths._add(path, path.throughput * dr.inv_pi, closed)
        next_event(scene, path, point, surface, on_surface & ~closed, u, v, seed)

    def closing_scatter(scene, path, point, surface, on_surface, *numbers):
        return scatter(scene, path, point, surface, on_surface & (path.depth < bounces), *numbers)

    monkeypatch.setattr(paths, "_next_event", closing_event)
    monkeypatch.setattr(paths, "_scatter", closing_scatter)
    monkeypatch.setattr(paths, "_SURVIVAL_GAIN", 1.0)
    monkeypatch.setattr(paths, "_MAX_SURVIVAL", 1.0)


@pytest.mark.slow
@pytest.mark.parametrize("regions", [SITTER, ("hair",)])
def test_a_lossless_figure_vanishes_in_even_light(regions: tuple[str, ...], monkeypatch: pytest.MonkeyPatch) -> None:
    """A dressed figure, and its hair alone, through sixteen bounces: 1 within 0.5 %, noise included. Paths of weight one
    are not thinned out here, since what absorbs nothing would carry ever heavier paths."""
    init("auto")
    _close_paths_after(16, monkeypatch)
    built = _lossless_sitter()
    built = replace(built, shapes=tuple(s for s in built.shapes if s.region in regions))
    tracer = Tracer(built, merge(built), default_bands(), "auto", None)
    met = tracer.guides([]).region != 255
    runs = [
        tracer.pass_runner(built.lights[0], [], seed)(0, 32).radiance.mean(axis=0)[met].mean() / 32 * np.pi
        for seed in range(14)
    ]
    assert met.sum() > 150
    assert np.std(runs, ddof=1) / np.sqrt(14) < 0.0025
    assert np.mean(runs) == pytest.approx(1, abs=0.005)
