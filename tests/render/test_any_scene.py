"""No valid scene, however odd or dark, lets a number that is none reach an output."""

from __future__ import annotations

import json
import math
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import OpenEXR
import pytest
import tifffile
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from PIL import Image

from materials import KeyfallError
from render import Cache, PictureSettings, Report, TraceSettings, all_readings, develop, exposure_maps, preview, trace
from render.terminal import meter_table, report_to_console
from scenes import build_stage, check_scene, load_scene
from scenes.dump import dump_tables
from tests.scenes.examples import changed
from tests.scenes.strategies import scene_tables

DRAFT = TraceSettings("draft", 2)
EVERYTHING = PictureSettings("shoulder", "p3", 16, True, True)
BOX = Path(__file__).parents[1] / "scenes" / "broken" / "tall-box.obj"


def _refuse(constant: str) -> float:
    raise AssertionError(f"{constant} in the report")


def render(tables: dict[str, Any], folder: Path) -> Report:
    """Preview a scene with everything on, and look into every output for numbers that are none."""
    path = folder / "scene.toml"
    path.write_text(dump_tables(tables), encoding="utf-8")
    assert not [f for f in check_scene(path) if f.severity == "error"]
    cache = Cache(folder / "cache")
    report = preview(path, folder / "out", DRAFT, EVERYTHING, cache=cache)
    stage = build_stage(load_scene(path))
    olat = trace(stage, quality="draft", samples=2, cache=cache)
    hazy = [] if olat.haze is None else [olat.haze]
    for array in (olat.radiance, olat.irradiance, olat.meters.transport, olat.guides.albedo, olat.guides.normal, *hazy):
        assert np.isfinite(array).all()
        assert array.min() >= -1  # normals reach -1; the rest is checked next
    for array in (olat.radiance, olat.irradiance, olat.meters.transport, olat.guides.albedo):
        assert array.min() >= 0
    for exposure_map in exposure_maps(olat, stage, develop(olat, stage)):
        assert np.isfinite(exposure_map.stops).all()
    _look_at_files(folder / "out", report)
    _look_at_terminal(report, stage, all_readings(olat.meters, stage))
    return report


def _look_at_files(out: Path, report: Report) -> None:
    tree = json.loads((out / "report.json").read_text(encoding="utf-8"), parse_constant=_refuse)
    assert Report.model_validate(tree) == report
    size = report.picture.width_px, report.picture.height_px
    for name in ("preview.png", "preview-noisy.png"):
        with Image.open(out / name) as picture:
            assert picture.size == size
            picture.load()
    for name in set(report.maps) - {"haze-against"}:  # drawn beside the haze alone
        with Image.open(out / f"map-{name}.png") as picture:
            picture.load()
    assert tifffile.imread(out / "preview.tif").shape == (size[1], size[0], 3)
    with OpenEXR.File(str(out / "preview.exr"), separate_channels=True) as file:
        for name, channel in file.channels().items():
            assert np.isfinite(channel.pixels).all(), name


def _look_at_terminal(report: Report, stage: Any, readings: list[Any]) -> None:
    from rich.console import Console

    console = Console(width=80, record=True, quiet=False, file=_Nowhere())
    report_to_console(console, report, Path("out"))
    meter_table(console, stage, readings, report.ratio)
    text = console.export_text()
    assert "nan" not in text.split()
    assert "inf" not in text.split()


class _Nowhere:
    def write(self, text: str) -> int:
        return len(text)

    def flush(self) -> None:
        pass


@st.composite
def small_scenes(draw: st.DrawFn) -> dict[str, Any]:
    """Valid scenes of at most 24 pixels, three lights and an ambient one."""
    tables = draw(scene_tables(most_lights=3))
    tables["camera"]["long_side_px"] = draw(st.integers(16, 24))
    return tables


def _any_scene(tables: dict[str, Any], folder: Path) -> None:
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    try:
        report = render(tables, folder)
    except KeyfallError as error:  # the one thing only tracing can tell
        assert "none of it gets there" in str(error)  # noqa: PT017
        return
    if any(light.on for light in report.lights) and all(light.at_face.stops is None for light in report.lights):
        assert report.ratio.key_to_fill is None
    for reading in report.readings:
        assert reading.exposure_lx_s >= 0
        assert (reading.stops is None) == (reading.f_number == 0)


SETTINGS = {
    "deadline": None,
    "phases": [Phase.explicit, Phase.generate],  # a failure would take minutes to shrink
    "derandomize": True,
    "database": None,
    "suppress_health_check": [HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.function_scoped_fixture],
}


@pytest.mark.slow
@settings(max_examples=3, **SETTINGS)
@given(tables=small_scenes())
def test_every_output_of_any_scene_is_finite(tables, tmp_path):
    _any_scene(tables, tmp_path / "scene")


@pytest.mark.slow
@settings(max_examples=24, **SETTINGS)
@given(tables=small_scenes())
def test_every_output_of_many_scenes_is_finite(tables, tmp_path):
    _any_scene(tables, tmp_path / "scene")


SMALL = {"camera__long_side_px": 20}
BEHIND_WALL = {
    "shape": "disk", "size_m": 0.3, "at_m": [0.0, 1.5, -2.9], "aim": [0, 1.4, -3.4], "energy_ws": 500,
}  # fmt: skip
AMBIENT = {"shape": "ambient", "source": "daylight", "cct_k": 6000, "lux": 500}
FAINT = {"source": "D65", "lumens": 1e-6, "energy_ws": None, "power": None}
STRONG = {"energy_ws": 1e5, "power": 1}

ODD_TITLE = "$x^ [/b] {0} \\ \u65e5\u672c \U0001f4a1 \u00e9" + "w" * 120

CASES: dict[str, dict[str, Any]] = {
    "every light off": {"light__key__on": False},
    "light behind the paper": {"light": {"key": BEHIND_WALL}},
    "ambient light alone": {"light": {"day": AMBIENT}},
    "ambient light alone, off": {"light": {"day": {**AMBIENT, "on": False}}},
    "open ground, no background": {"room": None, "background": None},
    "a lens that sees no sitter": {"camera__look_at": [2.4, 2.6, -1.0], "camera__focal_length_mm": 200},
    "hardly any light": {f"light__key__{key}": value for key, value in FAINT.items()},
    "far too much light": {f"light__key__{key}": value for key, value in STRONG.items()},
    "black all over": {"room__walls": "black-paint", "room__floor": "black-floor", "room__ceiling": "black-paint",
                       "background__finish": "black-paper"},
    "the light in the picture": {"light__key__visible": True, "light__key__azimuth_deg": 175},
    "few pixels, odd title": {"camera__long_side_px": 16, "camera__aspect": "16:9", "title": ODD_TITLE},
}  # fmt: skip


SLOW = {"open ground, no background", "hardly any light", "ambient light alone", "every light off",
        "ambient light alone, off", "a lens that sees no sitter", "far too much light", "black all over",
        "the light in the picture"}  # fmt: skip


@pytest.mark.parametrize("case", [pytest.param(c, marks=[pytest.mark.slow] if c in SLOW else []) for c in CASES])
def test_dark_and_odd_scenes_give_finite_outputs(tmp_path, case):
    report = render(changed(**{**SMALL, **CASES[case]}), tmp_path)
    exposure = report.maps["exposure"]
    if case in ("every light off", "ambient light alone, off"):
        assert (exposure.minimum, exposure.maximum) == (exposure.floor_stops, exposure.floor_stops)
        assert all(reading.stops is None for reading in report.readings)
        assert report.cautions == []
    elif case == "a lens that sees no sitter":
        assert report.maps["face"].median is None
    elif case == "hardly any light":
        assert exposure.share_under_minus_5_stops == 1
    elif case == "far too much light":
        assert report.picture.share_no_detail > 0.9
    else:
        assert exposure.maximum is not None
        assert math.isfinite(exposure.maximum)


@pytest.mark.slow
@pytest.mark.parametrize("finish", ["plaster", pytest.param("gloss-black-paper", marks=pytest.mark.slow)])
def test_a_mesh_of_the_users_own_gives_finite_outputs(tmp_path, finish):
    (tmp_path / "box.obj").write_bytes(BOX.read_bytes())
    sitter = {"mesh": "box.obj", "scale": 0.001, "finish": finish}
    report = render(changed(**SMALL, sitter=sitter), tmp_path)
    assert report.maps["exposure"].median is not None
    assert any(reading.probe == "face" for reading in report.readings)
