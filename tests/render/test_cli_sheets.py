"""board, plan and export from the command line: what they write, and how they fail."""

from __future__ import annotations

import csv
import json

import numpy as np
import pytest
from PIL import Image
from pypdf import PdfReader

from materials import KeyfallError
from render import Cache, trace
from render.develop import scene_rgb
from render.looks import read_looks
from scenes import SceneError, build_stage, load_scene

from .cli_scene import keyfall, write_scene

QUICK = ("-q", "draft", "--samples", 2)


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    folder = tmp_path_factory.mktemp("sheets")
    return folder, write_scene(folder / "scene.toml"), {"KEYFALL_CACHE_DIR": str(folder / "cache")}


def test_a_board_of_a_scene_and_of_the_same_with_other_gels(place, tmp_path):
    _, scene, env = place
    other = f"{scene}@light.key.gels=violet@title=Colder"
    ran = keyfall(
        "board", scene, other, "--title", "Two evenings", "--caption", "", "--caption", "My own words.", *QUICK,
        "-o", tmp_path / "o", env=env,
    )  # fmt: skip
    assert ran.exit_code == 0, ran.output
    told = json.loads((tmp_path / "o" / "board.json").read_text(), parse_constant=pytest.fail)
    assert [look["title"] for look in told["looks"]] == ["Two lamps and a gel", "Colder"]
    assert told["looks"][1]["caption"] == "My own words."
    assert told["looks"][0]["caption"] == ""
    text = "".join(page.extract_text() for page in PdfReader(tmp_path / "o" / "board.pdf").pages)
    assert "Two evenings" in text
    assert "violet" in text
    assert "<title>Two evenings</title>" in (tmp_path / "o" / "board.html").read_text()


@pytest.mark.slow
def test_a_plan_in_letter_without_the_view(place, tmp_path):
    _, scene, env = place
    ran = keyfall("plan", scene, "--no-view", "--paper", "letter", *QUICK, "-o", tmp_path / "o", env=env)
    assert ran.exit_code == 0, ran.output
    read = PdfReader(tmp_path / "o" / "plan.pdf")
    box = read.pages[0].mediabox
    assert sorted((round(float(box.width)), round(float(box.height)))) == [612, 792]
    pages = len(read.pages)
    assert len(list((tmp_path / "o").glob("plan-*.svg"))) == len(list((tmp_path / "o").glob("plan-*.png"))) == pages
    json.loads((tmp_path / "o" / "plan.json").read_text(), parse_constant=pytest.fail)


def test_export_writes_set_layers_and_table(place, tmp_path):
    _, scene, env = place
    ran = keyfall("export", scene, *QUICK, "-o", tmp_path / "o", env=env)
    assert ran.exit_code == 0, ran.output
    assert {p.name for p in (tmp_path / "o").iterdir()} == {"set.glb", "lights.exr", "lights.csv", "export.json"}
    with (tmp_path / "o" / "lights.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [row["name"] for row in rows] == ["key", "fill"]


def test_exr_layers_sum_to_the_picture(place, tmp_path):
    """The layers add up to the linear picture that is developed, to half a percent of mid-grey."""
    import OpenEXR

    folder, scene, env = place
    assert keyfall("export", scene, "--exr", *QUICK, "-o", tmp_path / "o", env=env).exit_code == 0
    stage = build_stage(load_scene(scene))
    olat = trace(stage, quality="draft", samples=2, cache=Cache(folder / "cache"))
    whole = scene_rgb(olat, stage)
    channels = OpenEXR.File(str(tmp_path / "o" / "lights.exr"), separate_channels=True).channels()
    for letter, plane in zip("RGB", whole, strict=True):
        layers = sum(np.asarray(channels[f"{name}.{letter}"].pixels, float) for name in ("key", "fill"))
        np.testing.assert_allclose(layers, plane, atol=0.0009)
        np.testing.assert_allclose(np.asarray(channels[letter].pixels), plane, atol=0.0009)


def test_gltf_alone_traces_nothing(place, tmp_path):
    _, scene, _ = place
    env = {"KEYFALL_CACHE_DIR": str(tmp_path / "cache")}
    assert keyfall("export", scene, "--gltf", "-o", tmp_path / "o", env=env).exit_code == 0
    assert sorted(p.name for p in (tmp_path / "o").iterdir()) == ["export.json", "set.glb"]
    assert not (tmp_path / "cache").exists()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("board", "{}@light.kye.gels=rose"), "Did you mean key?"),
        (("board", "{}@light.key.gels"), "has no value for"),
        (("board", "{}@light.key.gels=rose,teal"), "gives key gels 2 values"),
        (("board", "{}@light.key.gels=tael"), "Did you mean teal?"),
        (("board", "nowhere.toml"), "there is no such file"),
        (("board", "{}", "--caption", "a", "--caption", "b"), "2 captions are given for 1 looks"),
        (("board", *["{}"] * 13), "12"),
        (("board", "{}", "--title", "x" * 201), "200"),
        (("plan", "nowhere.toml"), "there is no such file"),
        (("plan", "{}", "--paper", "a3"), "a3"),
        (("export", "{}", "--samples", "3"), "even number"),
        (("compare", "{}"), "nothing to compare"),
        (("compare", "{}", "--styles", "lopp"), "Did you mean loop?"),
        (("compare", "{}", "--styles", "loop", "--key", "kye"), "Did you mean key?"),
        (("build-up", "{}", "-q", "best"), "best"),
    ],
)
def test_wrong_words_give_one_clear_error_and_no_files(place, tmp_path, words, said):
    _, scene, env = place
    given = [word.format(scene) for word in words]
    ran = keyfall(*given, "-o", tmp_path / "o", env=env)
    assert ran.exit_code in (1, 2)
    assert said in " ".join(ran.output.split())
    assert not (tmp_path / "o").exists()


def test_all_looks_are_checked_before_any_is_traced(place):
    _, scene, _ = place
    with pytest.raises(SceneError) as caught:
        read_looks([f"{scene}@light.key.gels=tael", f"{scene}@light.fill.lumens=-1", str(scene)])
    assert len(caught.value.findings) == 2
    with pytest.raises(KeyfallError, match="where a key should stand"):
        read_looks([f"{scene}@=1"])


def test_pictures_of_a_comparison_are_tagged(place, tmp_path):
    _, scene, env = place
    words = ("compare", scene, "--vary", "light.key.on=true,false", "--pictures", *QUICK, "-o", tmp_path / "o")
    assert keyfall(*words, env=env).exit_code == 0
    with Image.open(tmp_path / "o" / "compare-1-2.png") as picture:
        assert picture.info["icc_profile"]
