"""Whether haze shows, in numbers, words, maps and cautions, through a whole preview."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from materials import default_bands, make_medium
from render import Cache, TraceSettings, preview, trace
from render.haze_cautions import DAY_MG_M3, PEAK_MG_M3, haze_cautions
from render.hazing import FAINTEST_STOPS, VISIBLE_CONTRAST, beams_in, haze_light, haze_report, veil
from render.merge import merge
from render.tracer import Tracer
from scenes import build_stage, load_scene
from scenes.meters import format_amount
from scenes.stage import Haze

from .sets import camera, finish, fixture, light, quad, stage

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


@pytest.mark.slow
def test_the_light_from_behind_carries_the_haze(run):
    _, report, _, _ = run
    beams = {beam.light: beam for beam in report.haze.beams}
    assert report.haze.carried_by == "back"
    assert beams["back"].brightest_stops > 3 * (beams["front"].brightest_stops or 0)
    assert "The beam of back is" in report.haze.words
    assert report.haze.visibility_m == pytest.approx(100)


@pytest.mark.slow
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
    assert haze_report(olat, dimmed).beams[1].brightest_stops < report.haze.beams[1].brightest_stops


@pytest.mark.slow
def test_files_and_numbers(run):
    folder, report, _, _ = run
    stored = json.loads((folder / "out" / "report.json").read_text())
    assert stored["haze"]["carried_by"] == "back"
    assert (folder / "out" / "map-haze.png").stat().st_size > 5000
    assert {"haze", "haze-against"} <= set(stored["maps"])
    assert 0 < report.haze.face.contrast_taken < 1
    assert report.haze.face.stops > 0
    assert any("mg/m3 of glycol" in text for text in report.cautions)
    assert not any("is safe" in text or "are safe" in text for text in report.cautions)


@pytest.mark.slow
def test_a_clear_set_says_nothing_of_haze(tmp_path):
    scene = tmp_path / "scene.toml"
    text = SCENE.format(visibility=100, more="").replace("[haze]\nvisibility_m = 100\n", "")
    scene.write_text(text.replace("long_side_px = 80", "long_side_px = 24"), encoding="utf-8")
    report = preview(scene, tmp_path / "out", TraceSettings("draft", 2), cache=Cache(tmp_path / "cache"))
    assert report.haze is None
    assert not (tmp_path / "out" / "map-haze.png").exists()
    assert not any("Haze" in text for text in report.cautions)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("visibility", "more"),
    [
        (30, 'form = "layered"\nthins_m = 0.6'),
        (1.5, 'form = "plume"\nfrom_m = [-1.4, 1.2, -1.2]\ntoward_deg = 80\ncells = 128'),
    ],
)
def test_uneven_haze_is_traced(tmp_path, visibility, more):
    scene = tmp_path / "scene.toml"
    scene.write_text(
        SCENE.format(visibility=visibility, more=more).replace("long_side_px = 80", "long_side_px = 40"), encoding="utf-8"
    )
    report = preview(scene, tmp_path / "out", TraceSettings("draft", 4), cache=Cache(tmp_path / "cache"))
    assert report.haze.form == more.split('"')[1]
    assert report.haze.carried_by is not None
    assert all(way.visibility_m is None or way.visibility_m > visibility for way in report.haze.ways)


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


def _dark_room(value: float, size=(40, 40)) -> tuple[np.ndarray, np.ndarray]:
    """One light whose haze is `value` all over a black picture."""
    return np.full((1, *size), value), np.zeros(size)


def test_what_is_seen_has_a_floor():
    """Haze 5.7 stops under mid-grey before black does not show, however far it is over nothing."""
    lights = [("front", True)]
    for stops, shows in ((-5.7, False), (FAINTEST_STOPS + 0.1, True)):
        (beam,) = beams_in(*_dark_room(0.18 * 2**stops), lights)
        assert (beam.brightest_stops is not None) == shows
        assert beam.share_shown == float(shows)
    assert beam.brightest_stops < 0.7
    assert beam.level_stops == pytest.approx(-4.9)
    haze, _ = _dark_room(0.18)
    (against_black,), (against_grey,), (against_white,) = (
        beams_in(haze, np.full(haze.shape[1:], behind), lights) for behind in (0.0, 0.18, 30.0)
    )
    assert against_black.brightest_stops == pytest.approx(np.log2(0.19 / 0.01))
    assert against_grey.brightest_stops == pytest.approx(np.log2(0.37 / 0.19))
    assert against_white.brightest_stops is None  # nothing shows before what is burnt out


def test_a_beam_counts_from_koschmieders_contrast():
    grey = np.full((40, 40), 0.3)
    for contrast, shows in ((VISIBLE_CONTRAST * 0.95, False), (VISIBLE_CONTRAST * 1.05, True)):
        (beam,) = beams_in(contrast * (grey[None] + 0.01), grey, [("back", True)])
        assert (beam.brightest_stops is not None) == shows


def test_any_light_that_is_not_negative_is_judged():
    """Nothing, single pixels, the very bright and the very faint, faces out of the picture: numbers or null, finite."""
    rng = np.random.default_rng(4)
    shape = (12, 9)
    for _ in range(300):
        each, surfaces = (
            10.0 ** rng.uniform(-45, 38, (*n, *shape)) * (rng.random((*n, *shape)) < rng.choice([0, 0.01, 0.5, 1]))
            for n in ((2,), ())
        )
        part = rng.random(shape) < rng.choice([0, 0.01, 0.5, 1])
        beams = beams_in(each, surfaces, [("a", True), ("b", bool(rng.integers(2)))])
        for record in (*beams, veil(each, surfaces, part)):  # records refuse what is not finite
            shares = [v for k, v in record.model_dump().items() if v is not None and ("share" in k or "contrast" in k)]
            assert all(0 <= share <= 1 for share in shares)


def test_more_haze_takes_more_contrast():
    """Airlight over a face of a lit and a shadowed half, by Koschmieder: what is left is known in closed form."""
    face = np.where(np.arange(40) < 20, 0.3, 0.05)[None].repeat(40, axis=0)
    everywhere = np.ones(face.shape, bool)
    left = []
    for through in (1.0, 0.8, 0.5, 0.2, 0.05, 0.001):
        told = veil(np.full((1, *face.shape), 0.2 * (1 - through)), face * through, everywhere)
        seen = through * 0.35 + 0.4 * (1 - through)
        assert told.contrast_left == pytest.approx(through * 0.25 / seen)
        assert told.contrast_taken == pytest.approx(1 - told.contrast_left / (0.25 / 0.35))
        left.append(told.contrast_left)
    assert left == sorted(left, reverse=True)


@pytest.mark.slow
def test_the_face_goes_with_density_in_a_traced_set():
    """A lit cheek and a shadowed one, a light behind: from clear air to five metres of visibility."""
    from tests.published.test_haze_traced import _haze

    cheeks = [quad([x, -0.2, 0], [0.2, 0, z], [0, 0.4, 0], finish(0.4), "face") for x, z in ((-0.2, 0.1), (0, -0.1))]
    lamps = [light(fixture("disk", (0.3, 0.3), at=(-2, 0.5, 0.3), toward=(2, -0.5, -0.3)))]
    lamps.append(light(fixture("disk", (0.1, 0.1), at=(0.5, 1, -1.5), toward=(-0.5, -1, 1.5)), "back"))
    built = stage(cheeks, lamps, camera(at=(0, 0, 3), half_angle_deg=3.5, size=(24, 24)))
    tracer = Tracer(built, merge(built), default_bands(), "auto", None)
    tracer._device_set()
    face = np.ones((24, 24), bool)
    taken, left = [], []
    for metres in (10_000, 200, 60, 15, 5):
        tracer._haze = _haze(np.log(50) / metres, 1.0, (0.75, -0.6, 0.97))
        sums = [tracer.pass_runner(lamp, [], 5)(0, 64) for lamp in lamps]
        haze, all_ = (np.stack([getattr(s, name).mean(axis=0) / 64 for s in sums]) for name in ("haze", "radiance"))
        told = veil(30 * haze, 30 * (all_.sum(axis=0) - haze.sum(axis=0)).clip(0), face)
        taken.append(told.contrast_taken)
        left.append(told.contrast_left)
    assert taken == sorted(taken)
    assert left == sorted(left, reverse=True)
    assert taken[0] < 0.02 < 0.9 < taken[-1]


def test_no_surface_shows_where_all_is_haze():
    """In haze of many mean free paths all that the camera sees was last scattered by haze: an even bath of light."""
    from tests.published.test_haze_traced import _haze

    built = stage([quad([-50, -50, -40], [100, 0, 0], [0, 100, 0], finish(0.0))], [light(None)], camera(half_angle_deg=5))
    tracer = Tracer(built, merge(built), default_bands(), "auto", None)
    tracer._device_set()
    tracer._haze = _haze(0.5, 0.9)
    sums = tracer.pass_runner(built.lights[0], [], 3)(0, 8)
    assert sums.haze.sum() == pytest.approx(sums.radiance.sum(), rel=1e-5)


def test_amounts_are_told_without_exponents():
    told = [format_amount(v, 2) for v in (2114.0, 10_000, 0.0213, 94.9, 99.9, 0.5, 12.0, 0)]
    assert told == ["2100", "10000", "0.021", "95", "100", "0.5", "12", "0"]


def test_the_threshold_is_koschmieders():
    assert pytest.approx(0.02) == VISIBLE_CONTRAST
