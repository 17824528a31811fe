"""Memory: known before tracing, kept to, and refused with the number where it cannot be had."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from materials import KeyfallError, default_bands
from render import olat as olat_module
from render import trace
from render.cache import Cache
from render.develop import scene_rgb, scene_rgb_each
from render.half import Half
from render.loading import load
from render.maps import incident_stops, luminance_stops
from render.memory import largest_side, limit_bytes, memory_fault, need_of
from render.meterset import MeterSet
from render.olat import Guides, LightTransport, OlatSet, assemble
from scenes.stage import Stage

from .cli_scene import keyfall, write_scene

MEASURED = """
import sys
from pathlib import Path
from render.preview import preview
from render.trace import TraceSettings
preview(Path(sys.argv[1]), Path(sys.argv[2]), TraceSettings(samples=2))
status = Path("/proc/self/status").read_text()
print(1024 * int(status.split("VmHWM:")[1].split()[0]))
"""


def sized(stage: Stage, width: int, height: int, lights: int) -> Stage:
    return replace(
        stage, camera=replace(stage.camera, width_px=width, height_px=height), lights=(stage.lights * lights)[:lights]
    )


@pytest.fixture(scope="module")
def small(tmp_path_factory) -> Stage:
    return load(write_scene(tmp_path_factory.mktemp("scene") / "look.toml")).stage


def test_a_large_print_with_four_lights_fits_into_six_gigabytes(small, tmp_path):
    """5.8 million pixels, whose four lights are 1.5 GB in single precision, three kinds of picture each."""
    big = sized(small, 2160, 2700, 4)
    assert 3e9 < need_of(big, Cache(tmp_path)).peak_bytes < 6e9
    without_disk = need_of(big, Cache(tmp_path, limit_bytes=0)).peak_bytes
    assert without_disk > need_of(big, Cache(tmp_path)).peak_bytes + 3 * 0.5e9


def test_more_of_anything_takes_more(small, tmp_path):
    cache = Cache(tmp_path, limit_bytes=0)
    sizes = [(400, 500, 1), (400, 500, 4), (800, 1000, 4), (1600, 2000, 4), (1600, 2000, 8), (3200, 4000, 8)]
    needs = [need_of(sized(small, *size), cache).peak_bytes for size in sizes]
    assert needs == sorted(needs)
    assert len(set(needs)) == len(needs)


def test_what_cannot_fit_is_refused_with_numbers_and_the_cure_fits(small, tmp_path, monkeypatch):
    monkeypatch.setenv("KEYFALL_MEMORY_GB", "2")
    cache, big = Cache(tmp_path), sized(small, 2160, 2700, 4)
    side = largest_side(big, cache, limit_bytes())
    assert side is not None
    with pytest.raises(
        KeyfallError, match=rf"2160 x 2700 pixels, 4 lights, about \d\.\d GB.* 2\.0 GB .* {side} or less"
    ):
        trace(big, samples=2, cache=cache)
    fitting, next_up = (sized(small, round(s * 0.8), s, 4) for s in (side, side + 8))
    assert memory_fault(fitting, cache) is None
    assert memory_fault(next_up, cache) is not None
    assert list(tmp_path.iterdir()) == []


@pytest.mark.slow
def test_what_the_cache_holds_is_developed_where_tracing_would_not_fit(small, tmp_path, monkeypatch):
    stage, cache = sized(small, 40, 50, 2), Cache(tmp_path)
    trace(stage, samples=2, cache=cache)
    enough, too_little = need_of(stage, cache, traced=False).peak_bytes, need_of(stage, cache).peak_bytes
    assert enough < 0.8 * too_little
    monkeypatch.setenv("KEYFALL_MEMORY_GB", str((enough + too_little) / 2e9))
    trace(stage, samples=2, cache=cache)
    with pytest.raises(KeyfallError, match="does not fit into memory"):
        trace(stage, samples=4, cache=cache)
    monkeypatch.setenv("KEYFALL_MEMORY_GB", str(0.9 * enough / 1e9))
    with pytest.raises(KeyfallError, match="does not fit into memory"):
        trace(stage, samples=2, cache=cache)


def test_check_says_what_does_not_fit(tmp_path):
    path = write_scene(tmp_path / "big.toml", camera__long_side_px=4000)
    result = keyfall("check", path, env={"KEYFALL_MEMORY_GB": "1", "COLUMNS": "400"})
    assert result.exit_code == 1
    assert "camera.long_side_px: the picture does not fit into memory: 3200 x 4000 pixels" in result.stdout
    assert "ready" not in result.stdout
    assert "KEYFALL_MEMORY_GB is 'lots'" in keyfall("check", path, env={"KEYFALL_MEMORY_GB": "lots"}).stderr


def test_a_set_too_large_for_memory_gives_the_same_pictures(small, monkeypatch):
    """Lights developed one by one in blocks of rows: the same to rounding as all of them in one product."""
    stage = sized(small, 40, 50, 2)
    whole = any_set(stage)
    monkeypatch.setattr(olat_module, "_STACK_BYTES", 0)
    monkeypatch.setattr(olat_module, "_BLOCK_PIXELS", 40 * 7)
    apart = any_set(stage)
    assert whole.stack is not None
    assert apart.stack is None
    for of in (scene_rgb, scene_rgb_each, luminance_stops, incident_stops):
        expected = of(whole, stage)
        np.testing.assert_allclose(of(apart, stage), expected, rtol=1e-4, atol=1e-5 * np.abs(expected).max())
    np.testing.assert_allclose(scene_rgb_each(apart, stage).sum(axis=0), scene_rgb(apart, stage), rtol=1e-3, atol=1e-5)


def any_set(stage: Stage) -> OlatSet:
    """A set of the stage's lights with pictures of noise."""
    rng = np.random.default_rng(1)
    bands, size = default_bands(), (stage.camera.height_px, stage.camera.width_px)

    def picture() -> Half:
        return Half.of(rng.random((len(bands.nodes_nm), *size), np.float32))

    normal = np.zeros((3, *size), np.float32)
    normal[2] = 1
    guides = Guides(picture().unpack(), normal, np.ones(size), np.zeros((3, *size)), np.zeros(size, np.uint8))
    names, size_read = tuple(light.name for light in stage.lights), (len(stage.lights), len(bands.nodes_nm))
    meters = MeterSet(bands, names, (), np.zeros((*size_read, 0)), np.zeros(size_read))
    lights = [LightTransport(light.name, picture(), picture(), picture(), 2, None) for light in stage.lights]
    return assemble(tuple(lights), guides, meters)


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="measures as Linux does")
def test_the_estimate_is_what_a_run_takes(tmp_path):
    """Peak of resident memory of whole previews, of two sizes, with nothing in the caches of Keyfall and of the library
    that compiles its kernels, and with all in them: never over the estimate, and more than half of it.

    The peak is that of the program's own pages (VmHWM): what getrusage tells counts those of the process it was forked
    from, too.
    """
    for side in (160, 640):
        path = write_scene(tmp_path / f"{side}.toml", camera__long_side_px=side)
        folders = {"KEYFALL_CACHE_DIR": str(tmp_path / f"cache-{side}"), "DRJIT_CACHE_DIR": str(tmp_path / "kernels")}
        env = {**os.environ, **folders, "PYTHONPATH": str(Path(__file__).parents[2])}
        stage = load(path).stage
        for traced in (True, False):
            command = [sys.executable, "-c", MEASURED, path, tmp_path / "out"]
            run = subprocess.run(command, env=env, capture_output=True, text=True, check=True)
            estimate = need_of(stage, Cache(tmp_path / f"cache-{side}"), traced).peak_bytes
            assert 0.5 * estimate < float(run.stdout) < estimate, (side, traced, float(run.stdout) / estimate)
