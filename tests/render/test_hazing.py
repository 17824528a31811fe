"""Whether haze shows, in numbers, words, maps and cautions, through a whole preview."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from materials import make_medium
from render import Cache, TraceSettings, preview, trace
from render.haze_cautions import DAY_MG_M3, PEAK_MG_M3, haze_cautions
from render.hazing import VISIBLE_CONTRAST, haze_light, haze_report
from scenes import build_stage, load_scene
from scenes.stage import Haze

from .sets import finish, fixture, light, quad, stage

SCENE = """format = 1
title = "Shaft"
[camera]
focal_length_mm = 50
distance_m = 3.4
height_m = 1.5
long_side_px = 80
[exposure]
iso = 200
f_number = 5.6
[sitter]
figure = "marta"
[room]
size_m = [6, 8, 3.6]
back_wall_m = 3
walls = "black-paint"
floor = "black-floor"
ceiling = "black-paint"
[haze]
visibility_m = {visibility}
{more}
[light.front]
head = "flash-400"
modifiers = ["standard-reflector", "grid-20"]
azimuth_deg = 20
elevation_deg = 15
distance_m = 2.5
power = "1/16"
[light.back]
head = "flash-400"
modifiers = ["standard-reflector", "grid-20"]
at_m = [1.4, 2.8, -2.2]
aim = "crown"
power = "1/16"
"""


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    folder = tmp_path_factory.mktemp("haze")
    scene = folder / "scene.toml"
    scene.write_text(SCENE.format(visibility=100, more=""), encoding="utf-8")
    store = Cache(folder / "cache")
    report = preview(scene, folder / "out", TraceSettings("preview", 16), cache=store)
    stage_ = build_stage(load_scene(scene))
    return folder, report, stage_, trace(stage_, quality="preview", samples=16, cache=store)


def test_the_light_from_behind_carries_the_haze(run):
    _, report, _, _ = run
    beams = {beam.light: beam for beam in report.haze.beams}
    assert report.haze.carried_by == "back"
    assert beams["back"].peak_stops > 3 * (beams["front"].peak_stops or 0)
    assert "The beam of back reads" in report.haze.words
    assert report.haze.visibility_m == pytest.approx(100)


def test_the_parts_add_up(run):
    """Haze and surfaces are the picture; turning a light down turns its haze down."""
    _, report, stage_, olat = run
    split = haze_light(olat, stage_)
    assert split.each.shape == (2, 80, olat.radiance.shape[3])
    assert (olat.haze <= olat.radiance * 1.002 + 1e-3 * olat.radiance.max()).all()
    dimmed = replace(
        stage_, lights=(stage_.lights[0], replace(stage_.lights[1], output=replace(
            stage_.lights[1].output, lumens=stage_.lights[1].output.lumens / 4))))  # fmt: skip
    assert haze_light(olat, dimmed).each[1] == pytest.approx(split.each[1] / 4, rel=1e-4)
    assert haze_report(olat, dimmed).beams[1].peak_stops < report.haze.beams[1].peak_stops


def test_files_and_numbers(run):
    folder, report, _, _ = run
    stored = json.loads((folder / "out" / "report.json").read_text())
    assert stored["haze"]["carried_by"] == "back"
    assert (folder / "out" / "map-haze.png").stat().st_size > 5000
    assert {"haze", "haze-against"} <= set(stored["maps"])
    assert 0 < report.haze.face.contrast_lost < 1
    assert report.haze.face.stops > 0
    assert any("mg/m3 of glycol" in text for text in report.cautions)
    assert not any("is safe" in text or "are safe" in text for text in report.cautions)


def test_a_clear_set_says_nothing_of_haze(tmp_path):
    scene = tmp_path / "scene.toml"
    text = SCENE.format(visibility=100, more="").replace("[haze]\nvisibility_m = 100\n", "")
    scene.write_text(text.replace("long_side_px = 80", "long_side_px = 24"), encoding="utf-8")
    report = preview(scene, tmp_path / "out", TraceSettings("draft", 2), cache=Cache(tmp_path / "cache"))
    assert report.haze is None
    assert not (tmp_path / "out" / "map-haze.png").exists()
    assert not any("Haze" in text for text in report.cautions)


@pytest.mark.parametrize(
    "more", ['form = "layered"\nthins_m = 0.6', 'form = "plume"\nfrom_m = [-1, 0.6, -1]\ncells = 128']
)
def test_uneven_haze_is_traced(tmp_path, more):
    scene = tmp_path / "scene.toml"
    scene.write_text(
        SCENE.format(visibility=30, more=more).replace("long_side_px = 80", "long_side_px = 40"), encoding="utf-8"
    )
    report = preview(scene, tmp_path / "out", TraceSettings("draft", 4), cache=Cache(tmp_path / "cache"))
    assert report.haze.form == more.split('"')[1]
    assert report.haze.carried_by is not None


def _with(fluid: str, mass: float):
    medium = make_medium(fluid, concentration_mg_m3=mass)
    set_ = stage([quad([0, 0, 0], [1, 0, 0], [0, 1, 0], finish())], [light(fixture("disk"))])
    return replace(set_, haze=Haze(medium, np.zeros(3), np.ones(3), None))


@pytest.mark.parametrize("fluid", ["glycol", "oil"])
def test_cautions_follow_the_published_values(fluid):
    day, peak = DAY_MG_M3[fluid], PEAK_MG_M3[fluid]
    texts = {mass: " ".join(haze_cautions(_with(fluid, mass))) for mass in (day / 10, day / 2, day, peak)}
    under, perhaps, over_day, over_peak = texts.values()
    assert "does not make it safe" in under
    assert "With coarser droplets it could lie over" in perhaps
    assert "over the day's value" in over_day
    assert "over the peak" in over_peak
    for text in texts.values():
        assert all(word in text for word in ("asthma", "ventilate", "Smoke detectors", "slippery", "5 times"))
    assert ("Oil haze" in under) == (fluid == "oil")


def test_dry_ice_has_cautions_of_its_own():
    text = " ".join(haze_cautions(_with("dry-ice", 100)))
    assert "carbon dioxide" in text
    assert "pits" in text


def test_the_threshold_is_koschmieders():
    assert pytest.approx(0.02) == VISIBLE_CONTRAST
