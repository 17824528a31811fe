"""The build-up: from black, in the order of setting up, every sum exactly that of its lights."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from pypdf import PdfReader

from render import Cache, TraceSettings, develop, trace
from render.build_up import build_up
from render.build_up_sheet import build_up_page, build_up_pages
from render.build_up_steps import BuildUpReport, alone_words, only, steps_of
from render.report import camera_settings
from render.sheet import PAPERS_MM
from render.where_read import held_words, place_words, where_read
from scenes import build_stage, load_scene
from scenes.meters import aperture_mark, aperture_words
from scenes.set_up import set_up_order

from .cli_scene import keyfall, write_scene

DRAFT = TraceSettings("draft", 2)
RIM = {"shape": "disk", "size_m": 0.2, "azimuth_deg": 205, "elevation_deg": 40, "distance_m": 1.4, "energy_ws": 200}
BEHIND = {"shape": "disk", "size_m": 0.2, "at_m": [1.2, 0.5, -0.8], "aim": "background", "energy_ws": 200}
AMBIENT = {"shape": "ambient", "ev": 4, "source": "daylight", "cct_k": 6000}


@pytest.fixture(scope="module")
def five(tmp_path_factory):
    folder = tmp_path_factory.mktemp("five")
    path = write_scene(
        folder / "s.toml", light__rim=RIM, light__background=BEHIND, light__ambient=AMBIENT,
        light__extra={**RIM, "azimuth_deg": 150, "on": False},
    )  # fmt: skip
    stage = build_stage(load_scene(path))
    return path, stage, trace(stage, quality="draft", samples=2, cache=Cache(folder / "cache"))


def test_ambient_light_comes_first_then_key_fill_background_rim(five):
    _, stage, olat = five
    assert [li.name for li in set_up_order(stage)] == ["ambient", "key", "fill", "background", "rim", "extra"]
    steps = steps_of(stage, olat)
    assert [s.report.light for s in steps] == ["ambient", "key", "fill", "background", "rim"]
    assert [s.report.number for s in steps] == [1, 2, 3, 4, 5]


def test_each_sum_is_the_picture_with_those_lights_on_and_the_last_the_whole(five):
    _, stage, olat = five
    steps = steps_of(stage, olat)
    whole = develop(olat, stage).to_8_bit()
    from render.preview import sized

    np.testing.assert_array_equal(steps[-1].so_far, sized(develop(olat, stage), stage).to_8_bit())
    assert whole.shape[0] * 2 == steps[-1].so_far.shape[0]
    np.testing.assert_array_equal(steps[0].alone, steps[0].so_far)
    for before, after in pairwise(steps):
        # light adds; only beside bright edges, where enlarging rings, does brightness fall
        more = (after.so_far.astype(int) - before.so_far) @ [54, 183, 19] / 256
        assert np.quantile(more, 0.02) >= -3
        assert after.so_far.mean() > before.so_far.mean()


def test_lights_are_read_where_they_fall(five):
    _, stage, olat = five
    from render import all_readings

    readings = all_readings(olat.meters, stage)
    at = {li.name: where_read(li, stage, readings) for li in stage.lights if li.on}
    assert (at["key"].probe, at["key"].aim) == ("face", "flat:key")
    assert (at["ambient"].probe, at["ambient"].aim) == ("face", "dome")
    assert (at["rim"].probe, at["rim"].aim) == ("crown", "flat:rim")
    assert (at["background"].probe, at["background"].aim) == ("background_centre", "flat:surface")
    middle = at["background"]
    unlit = [replace(r, stops=-9.0, exposure_lx_s=1e-6) if r == middle else r for r in readings]
    brightest = max(
        (r for r in unlit if r.light == "background" and r.aim == "flat:surface" and r.probe.startswith("background")),
        key=lambda r: r.exposure_lx_s,
    )
    light = next(li for li in stage.lights if li.name == "background")
    assert where_read(light, stage, unlit) == brightest != middle
    assert held_words(at["rim"]) == "over the crown, flat toward the light"


def test_every_meter_point_has_words(five):
    _, stage, _ = five
    words = {probe.name: place_words(probe.name) for probe in stage.probes}
    assert len(set(words.values())) == len(words)
    assert not [w for w in words.values() if "_" in w]


def _report(stage, steps):
    return BuildUpReport(
        title="A title of many words " * 6, settings=camera_settings(stage), before="No ambient light. " * 4,
        steps=[s.report for s in steps],
    )  # fmt: skip


@pytest.mark.slow
def test_no_words_overlap_or_are_cut_with_eight_lights_and_long_names(tmp_path):
    lights = {f"light__n{i}-a-light-with-a-name-of-40-characters": {**RIM, "azimuth_deg": 150 + 20 * i}
              for i in range(6)}  # fmt: skip
    stage = build_stage(load_scene(write_scene(tmp_path / "s.toml", **lights)))
    assert len(stage.lights) == 8
    steps = steps_of(stage, trace(stage, quality="draft", samples=2, cache=Cache(tmp_path / "cache")))
    for some in (steps, steps[:1]):
        assert build_up_page(some, _report(stage, some)).faults() == []
        for paper, (short, long) in PAPERS_MM.items():
            pages = build_up_pages(some, _report(stage, some), paper)
            assert {(page.width_mm, page.height_mm) for page in pages} == {(long, short)}
            assert [fault for page in pages for fault in page.faults()] == []


def test_pages_of_paper_are_filled_and_say_what_the_numbers_mean(five):
    """From two lights on, pictures and legend reach the right quarter of the page, and always its lowest."""
    _, stage, olat = five
    steps = steps_of(stage, olat)
    report = BuildUpReport(
        title="s", settings=camera_settings(stage), before="", silks=["A silk takes 2."], steps=[s.report for s in steps]
    )
    for count in range(1, 6):
        for page in build_up_pages(steps[:count], report):
            assert page.faults() == []
            right = max([w.right_mm for w in page.words] + [i.get_extent()[1] for i in page.pictures])
            lowest = max([w.bottom_mm for w in page.words] + [max(i.get_extent()[2:]) for i in page.pictures])
            assert right > (0.45 if count == 1 else 0.75) * page.width_mm
            assert 0.75 * page.height_mm < lowest < page.height_mm - 5
            text = " ".join(w.text for w in page.words)
            assert "medians over all of it" in text
            assert "A silk takes 2." in text
    flat = steps[1].report.alone
    mark = aperture_mark(stage.exposure.f_number)
    assert f"{aperture_words(flat.f_number)} (" in alone_words(flat)
    assert f"f/{mark})" in alone_words(flat)


def test_none_but_those_lights_are_on(five):
    _, stage, _ = five
    assert [li.name for li in only(stage, ["key", "extra"]).lights if li.on] == ["key"]


@pytest.mark.slow
def test_from_the_command_line(five, tmp_path):
    env = {"KEYFALL_CACHE_DIR": str(tmp_path / "cache")}
    ran = keyfall("build-up", five[0], "-q", "draft", "--samples", 2, "-o", tmp_path / "o", "--json", env=env)
    assert ran.exit_code == 0
    report = BuildUpReport.model_validate_json(ran.stdout)
    text = " ".join(page.extract_text() for page in PdfReader(tmp_path / "o" / "build-up.pdf").pages)
    phone = (tmp_path / "o" / "build-up.html").read_text(encoding="utf-8")
    assert phone.count("<img ") == 2 * len(report.steps)
    assert all(step.light in text for step in report.steps)
    assert "Black" not in text  # there is ambient light


def test_a_scene_with_every_light_off_says_so(tmp_path):
    path = write_scene(tmp_path / "s.toml", light__key__on=False, light__fill__on=False)
    failed = build_up_error(path, tmp_path)
    assert "Every light of this scene is off" in failed
    assert not (tmp_path / "o").exists()


def build_up_error(path, tmp_path):
    from materials import KeyfallError

    with pytest.raises(KeyfallError) as caught:
        build_up(path, tmp_path / "o", DRAFT, cache=Cache(tmp_path / "cache"))
    return str(caught.value)
