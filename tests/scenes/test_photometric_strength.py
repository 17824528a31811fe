"""What a measured luminaire gives in a scene: the candelas of its file unless the scene states otherwise."""

from __future__ import annotations

import numpy as np
import pytest

from scenes import build_stage, load_scene
from scenes.check import check_scene
from scenes.field import illuminance
from tests.render.cli_scene import write_scene
from tests.scenes.photometric_files import ies


def _lamp(folder, content, **changes):
    (folder / "lamp.ies").write_text(content if isinstance(content, str) else "\r\n".join(content))
    light = {"modifiers": [{"kind": "photometric", "file": "lamp.ies"}], "source": "tungsten", "aim": "face",
             "azimuth_deg": 90, "distance_m": 2.0, **changes}  # fmt: skip
    return write_scene(folder / "s.toml", light__lamp=light)


def _axial_cd(path):
    """Candela on the axis from the light itself, far away."""
    light = next(li for li in build_stage(load_scene(path)).lights if li.name == "lamp")
    far = light.fixture.centre_m + 60 * light.fixture.forward
    return float(illuminance(light.fixture, far[None], -light.fixture.forward)[0]) * 3600 * light.output.lumens


@pytest.mark.parametrize("lamps", ["1 -1", "1 400"])
def test_the_files_own_candelas_count_where_nothing_is_stated(tmp_path, lamps):
    """Absolute, and rated by its lamps: 100 cd on the axis, as the file of the test has at gamma 0."""
    path = _lamp(tmp_path, ies(lamps=lamps))
    assert not [f for f in check_scene(path) if f.where.startswith("light.lamp") and "lm" in f.message]
    assert _axial_cd(path) == pytest.approx(100, rel=0.01)
    assert _axial_cd(_lamp(tmp_path, ies(lamps=lamps), power="1/4")) == pytest.approx(25, rel=0.01)


def test_what_the_scene_states_counts_and_a_contradiction_is_told(tmp_path):
    path = _lamp(tmp_path, ies(lamps="1 400"), lumens=800)
    assert _axial_cd(path) == pytest.approx(200, rel=0.01)
    told = next(f for f in check_scene(path) if f.where == "light.lamp.lumens")
    assert told.severity == "warning"
    assert "800 lm" in told.message
    assert "400 lm" in told.message
    assert "times 2" in told.message
    assert not [f for f in check_scene(_lamp(tmp_path, ies(lamps="1 400"), lumens=404)) if f.where == "light.lamp.lumens"]


def test_modifiers_without_a_file_still_need_a_strength(tmp_path):
    path = write_scene(
        tmp_path / "s.toml",
        light__lamp={"modifiers": ["standard-reflector"], "source": "tungsten", "azimuth_deg": 90, "distance_m": 2.0},
    )
    found = [f.message for f in check_scene(path) if f.severity == "error"]
    assert found == ["this light has no strength"]
    assert np.isfinite(_axial_cd(_lamp(tmp_path, ies())))
