"""A set lit by narrow lines: traced in bands that meet them, told in the report, and retraced for no gel."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from materials import WAVELENGTHS_NM, Source, default_bands, make_gel, xyz
from render import Cache, relight, trace
from render.develop import scene_rgb
from render.job import same_transport
from render.look import xyz_weights
from scenes import build_stage, check_scene, load_scene
from tests.materials.test_bands import judged
from tests.materials.test_narrow import SODIUM
from tests.render import sets

from .cli_scene import write_scene


def _source(spd: np.ndarray) -> Source:
    return Source("lines", "narrow lines", spd / xyz(spd)[1])


def _stage(reflectance, spd: np.ndarray):
    panel = sets.quad([-1, -1, 0], [2, 0, 0], [0, 2, 0], sets.finish(reflectance))
    lamp = sets.light(sets.fixture(size=(0.2, 0.2), at=(0, 0, 2), toward=(0, 0, -1)))
    view = sets.camera(at=(0.5, 0, 5), half_angle_deg=4, size=(8, 8))
    return sets.stage([panel], [replace(lamp, source=_source(spd))], view, [sets.probe(normal=(0, 0, 1))])


@pytest.mark.slow  # compiles the tracing loop for another number of bands
def test_a_patch_under_lines_has_the_colour_of_every_nanometre(tmp_path):
    """Against a flat grey in the same place, whose noise is the same, the ratio of XYZ is that of 1 nm integration; the
    usual bands would be off by over 3 %."""
    skin = max(
        judged()[0],
        key=lambda r: abs(default_bands().project(r) @ default_bands().xyz_weights(SODIUM) / xyz(r * SODIUM) - 1)[1],
    )
    mean = []
    for reflectance in (skin, np.full(401, 0.5)):
        stage = _stage(reflectance, SODIUM)
        olat = trace(stage, samples=4, cache=Cache(tmp_path))
        weights = xyz_weights(olat.meters, stage)
        mean.append(np.einsum("lbc,lb->c", weights, olat.noisy().radiance.mean(axis=(2, 3))))
    exact = xyz(skin * SODIUM) / xyz(0.5 * SODIUM)
    carried = default_bands().project(skin) @ default_bands().xyz_weights(SODIUM) / xyz(0.5 * SODIUM)
    np.testing.assert_allclose(mean[0] / mean[1], exact, rtol=6e-3)
    assert np.abs(carried / exact - 1).max() > 0.03


@pytest.mark.slow
def test_a_gel_keeps_the_bands_and_a_source_does_not(tmp_path):
    stage = _stage(0.4, SODIUM)
    olat = trace(stage, samples=2, cache=Cache(tmp_path))
    assert olat.radiance.shape[1] == len(olat.meters.bands.nodes_nm) == 17
    gelled = relight(stage, "key", gel=make_gel("amber"))
    assert same_transport(stage, gelled)
    np.testing.assert_array_equal(
        scene_rgb(trace(gelled, samples=2, cache=Cache(tmp_path)), gelled), scene_rgb(olat, gelled)
    )
    assert not same_transport(stage, _stage(0.4, np.ones(401)))


def test_check_says_what_narrow_lines_do(tmp_path):
    (tmp_path / "street.csv").write_text(
        "\n".join(f"{nm:g},{p:g}" for nm, p in zip(WAVELENGTHS_NM, SODIUM, strict=True))
    )
    slit = np.exp(-(((WAVELENGTHS_NM - 402) / 2) ** 2))
    (tmp_path / "slit.csv").write_text("\n".join(f"{nm:g},{t:.6f}" for nm, t in zip(WAVELENGTHS_NM, slit, strict=True)))
    street = {
        "shape": "sphere", "size_m": 0.2, "azimuth_deg": 90, "elevation_deg": 30, "distance_m": 1.5, "lumens": 900,
        "source": "street.csv",
    }  # fmt: skip
    scene = write_scene(tmp_path / "s.toml", light__street=street, light__key__gels=["slit.csv"])
    told = {f.where: f for f in check_scene(scene) if "narrow" in f.message}
    assert told["light.street"].severity == "note"
    assert "traced in 17 bands instead of 16" in told["light.street"].message
    assert told["light.key"].severity == "warning"
    assert "through its gels may be up to" in told["light.key"].message
    stage = build_stage(load_scene(scene))
    assert any("narrow lines" in note for note in stage.notes)
    assert any("may be up to" in warning for warning in stage.warnings)
