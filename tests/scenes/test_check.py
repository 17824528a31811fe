"""Checking: no input makes it raise, and each cross-check says what it should."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from scenes import check_scene, dump_scene, load_scene
from scenes.check import check_data
from scenes.dump import dump_tables
from scenes.kit import check_kit

from .examples import PLAIN, changed, problems
from .strategies import Tables, scene_tables

TEXT = dump_tables(PLAIN)
shared = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


def test_the_plain_scene_is_clean() -> None:
    assert problems() == []


@pytest.mark.slow
@settings(max_examples=30, deadline=None)
@given(scene_tables(figure="marta"))
def test_generated_scenes_have_no_error(tables: Tables) -> None:
    scene, found = check_data(tables, Path("."))
    assert [p for p in found if p.severity == "error"] == []
    assert scene is not None


@pytest.mark.slow
@shared
@given(scene_tables(figure="marta"))
def test_scenes_go_round(tmp_path: Path, tables: Tables) -> None:
    first = tmp_path / "first.toml"
    first.write_bytes(dump_tables(tables).encode())
    scene = load_scene(first)
    second = tmp_path / "second.toml"
    second.write_bytes(dump_scene(scene).encode())
    assert load_scene(second) == scene


@shared
@given(st.binary(max_size=200))
def test_no_bytes_make_it_raise(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "scene.toml"
    path.write_bytes(data)
    findings = check_scene(path)
    assert findings
    assert all(f.format() for f in findings)


@shared
@given(
    st.integers(0, len(TEXT)),
    st.integers(0, 30),
    st.sampled_from(["", "[", "]", '"', "=", ",", "nan", "{", "\n", "-", "é", "[["]),
)
def test_no_slip_of_the_pen_makes_it_raise(tmp_path: Path, at: int, cut: int, put: str) -> None:
    path = tmp_path / "scene.toml"
    path.write_text(TEXT[:at] + put + TEXT[at + cut :], "utf-8")
    for finding in check_scene(path):
        assert 1 <= (finding.line or 1) <= path.read_text("utf-8").count("\n") + 1


values = st.one_of(
    st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=5), st.lists(st.floats(), max_size=4),
    st.dictionaries(st.text(max_size=5), st.integers(), max_size=2),
)  # fmt: skip


@pytest.mark.slow
@settings(max_examples=80, deadline=None)
@given(st.sampled_from(["camera", "exposure", "sitter", "room", "background", "light", "key"]), st.data())
def test_no_value_makes_it_raise(table: str, data: st.DataObject) -> None:
    tables = changed()
    target = tables["light"]["key"] if table == "key" else tables[table]
    name = data.draw(st.one_of(st.sampled_from(sorted(target)), st.text(max_size=6)))
    target[name] = data.draw(values)
    check_data(tables, Path("."))


def test_windows_line_ends_and_a_byte_order_mark_are_read(tmp_path: Path) -> None:
    path = tmp_path / "scene.toml"
    path.write_bytes(b"\xef\xbb\xbf" + TEXT.replace("\n", "\r\n").replace("iso = 100", "iso = 0").encode())
    (finding,) = check_scene(path)
    assert TEXT.split("\n")[finding.line - 1] == "iso = 100"


@pytest.mark.parametrize(
    ("changes", "where", "words"),
    [
        ({"light__key__meters": {"f_number": 8, "distance_m": 2, "shutter_s": "1/60"}, "light__key__energy_ws": None},
         "light.key.meters.shutter_s", "does not depend on the shutter"),
        ({"light__key__lux": 500, "light__key__source": "A", "light__key__energy_ws": None},
         "light.key.lux", "lux_distance_m"),
        ({"light__key__power_stops": -1}, "light.key.power_stops", "both given"),
        ({"light__key__efficacy_lm_s_per_j": 30, "light__key__energy_ws": None, "light__key__guide_number_m": 30},
         "light.key.efficacy_lm_s_per_j", "says nothing"),
        ({"light__key__ev": 9, "light__key__energy_ws": None}, "light.key.ev", "strength of a flash"),
        ({"light__key__elevation_deg": 20}, "light.key.height_m", "how high"),
        ({"light__key__beam_deg": 20}, "light.key.beam_deg", "belongs to spots"),
        ({"light__key__size_m": None}, "light.key", "no size"),
        ({"light__key__source": "daylight", "light__key__energy_ws": None, "light__key__lumens": 900},
         "light.key.source", "needs cct_k"),
        ({"sitter__mesh": "x.obj"}, "sitter.mesh", "both given"),
        ({"sitter__figure": None}, "sitter", "no sitter"),
        ({"sitter__scale": 2}, "sitter.scale", "belongs to mesh"),
        ({"room__back_wall_m": 8}, "room.back_wall_m", "only 7 m deep"),
        ({"room__size_m": [6, 7, 1.5]}, "sitter", "wall or the ceiling"),
        ({"background__distance_m": 0.05}, "background.distance_m", "reaches through the background"),
        ({"background__floor_length_m": 2, "background__sweep": False}, "background.floor_length_m", "does not run"),
        ({"camera__distance_m": None}, "camera", "no place"),
        ({"camera__at_m": [0, 1, 2]}, "camera.distance_m", "both place"),
        ({"camera__aspect": "0:5"}, "camera.aspect", "no usable shape"),
        ({"camera__look_at": "knee"}, "camera.look_at", "no landmark 'knee'"),
        ({"light__key__on": False}, "light", "black"),
        ({"light__key__at_m": [0.6, 1.0, 4.5], "light__key__distance_m": None, "light__key__azimuth_deg": None,
          "light__key__height_m": None, "room__open": ["left"], "camera__distance_m": 3.0},
         "light.key.at_m", "behind the front wall"),
    ],
)  # fmt: skip
def test_cross_checks(changes: dict[str, Any], where: str, words: str) -> None:
    from scenes.findings import dotted

    assert any(dotted(p.path) == where and words in p.message for p in problems(**changes)), problems(**changes)


def test_a_lying_picture_is_told_until_it_is_confirmed() -> None:
    (found,) = problems(camera__aspect="3:2")
    assert (found.severity, found.path) == ("warning", ("camera", "aspect"))
    assert 'orientation = "landscape"' in found.fix
    assert 'aspect = "2:3"' in found.fix
    for quiet in ({"camera__aspect": "2:3"}, {"camera__aspect": "1:1"}):
        assert problems(**quiet) == []
    assert not [p for p in problems(camera__aspect="3:2", camera__orientation="landscape") if "lies" in p.message]


def test_one_mistake_hides_no_other() -> None:
    found = problems(
        exposure__iso=-1, light__key__gels=["tael"], light__key__size_m=-1, camera__look_at="noze", sitter__skin="tann"
    )
    assert len(found) == 5


def test_a_camera_inside_a_housing_is_told() -> None:
    housed = problems(
        light__key__at_m=[0.04, 1.52, 2.4], light__key__azimuth_deg=None, light__key__height_m=None,
        light__key__distance_m=None, light__key__size_m=0.5, light__key__depth_m=0.4,
    )  # fmt: skip
    assert any("inside this light's housing" in p.message for p in housed)


def test_checking_needs_neither_mitsuba_nor_llvm_nor_other_heavy_libraries() -> None:
    code = (
        "import scenes, sys\n"
        "assert not {'colour', 'trimesh', 'scipy', 'matplotlib'} & set(sys.modules), 'heavy import'\n"
        "from tests.scenes.examples import problems; assert problems() == []\n"
        "assert not {'mitsuba', 'drjit'} & set(sys.modules)\n"
    )
    subprocess.run([sys.executable, "-c", code], cwd=Path(__file__).parents[2], check=True)


def test_a_shape_and_a_number_written_in_other_ways_get_the_right_one():
    for written, fix in (("4x5", "4:5"), ("3 / 2", "3:2"), ("square", "1:1"), ("2.39 to 1", "2.39:1")):
        (found,) = (p for p in problems(camera__aspect=written) if p.severity == "error")
        assert (found.path, found.fix) == (("camera", "aspect"), f'Write aspect = "{fix}".')
    for written, fix in (("2m", "2"), ("0,6 m", "0.6"), ("1.5metres", "1.5")):
        found = next(p for p in problems(camera__distance_m=written) if p.severity == "error")
        assert found.fix == f"Write the number alone: {fix}."


def test_a_kit_given_for_a_scene_and_a_scene_for_a_kit_are_told(tmp_path):
    kit, scene = tmp_path / "kit.toml", tmp_path / "scene.toml"
    kit.write_text('format = 1\n[head.a]\nenergy_ws = 100\n')
    scene.write_text("format = 1\n[camera]\ndistance_m = 2\n")
    (found,) = check_scene(kit)
    assert "this is a kit file, not a scene file" in found.format()
    assert "keyfall kit" in found.fix
    (found,) = check_kit(scene)[1]
    assert "this is a scene file, not a kit file" in found.format()
