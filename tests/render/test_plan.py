"""The lighting plan: what it prints is what the stage and the report say, on paper where nothing meets or leaves."""

from __future__ import annotations

import copy
import math
import re
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from pypdf import PdfReader

from materials import white_point
from render import all_readings, develop, trace
from render.cache import Cache
from render.light_table import light_rows
from render.maps import exposure_maps
from render.outputs import OutputFolder
from render.plan.flow import MARGIN_MM
from render.plan.forms import FORM_WORDS, FRONT_WORDS, Form, form_of
from render.plan.labels import Label, Placer
from render.plan.make import PlanSettings, make_plan, plan_report
from render.plan.outline import outlines, sitter_outline
from render.plan.pages import draw_pages
from render.plan.record import PlanReport
from render.plan.set import PlanSet, plan_set
from render.plan.symbols import Body, symbol_parts
from render.plan.tint import tint_of
from render.plan.view import SCALES, SIDE, TOP, Frame, View, cut_line, cut_polygon, scale_for
from render.report import Report, build_report
from render.rigged.housing import housing_parts
from render.rigged.view import SetViewError, draw_set_view
from render.sheet import PAPERS_MM, Page
from scenes import build_stage, load_scene
from scenes.appearance import Appearance
from scenes.dump import dump_tables
from scenes.kit import stock_kit
from scenes.meters import aperture_words
from scenes.modifiers import Bulb
from scenes.stage import Stage

from . import sets
from .cli_scene import SMALL

DEMO = Path(__file__).parents[2] / "demo" / "scenes"
MINUS = "\u2212"


@dataclass(frozen=True)
class Look:
    """A traced look, small."""

    stage: Stage
    picture: np.ndarray
    report: Report


def look_of(path: Path, folder: Path) -> Look:
    """Trace a scene with a long side of 96 pixels and two samples."""
    text, count = re.subn(r"long_side_px = \d+", "long_side_px = 96", path.read_text(encoding="utf-8"))
    assert count == 1
    for kit in path.parent.glob("*kit.toml"):
        (folder / kit.name).write_text(kit.read_text(encoding="utf-8"), encoding="utf-8")
    small = folder / path.name
    small.write_text(text, encoding="utf-8")
    return looked_at(build_stage(load_scene(small)), folder)


def looked_at(stage: Stage, folder: Path) -> Look:
    olat = trace(stage, quality="draft", samples=2, cache=Cache(folder / "cache"))
    picture = develop(olat, stage)
    maps = exposure_maps(olat, stage, picture)
    report = build_report(
        stage, olat, picture, maps, all_readings(olat.meters, stage), quality="draft", device="cpu", scene_hash="test"
    )
    return Look(stage, picture.to_8_bit(), report)


EIGHT = (
    ("key", ["octabox-90", "fabric-grid-40"], 40, 30, 1.2, ["half-cto"]),
    ("fill", ["umbrella-white-100"], -30, 15, 2.1, []),
    ("hair", ["strip-30x120"], 180, 75, 1.2, []),
    ("rim", ["standard-reflector", "grid-20"], 215, 20, 1.6, ["teal"]),
    ("rim", ["snoot"], 145, 20, 1.6, ["rose"]),
    ("background", ["wide-reflector"], 170, -30, 1.3, ["violet"]),
    ("background", ["fresnel-flood", "doors"], 172, -32, 1.3, ["amber", "half-ctb"]),
    ("other", ["led-panel"], 95, -20, 1.2, []),
)


def eight_lights() -> dict[str, Any]:
    """Eight lights with names of 40 characters and a title of 200."""
    tables = copy.deepcopy(SMALL)
    tables["title"] = "Ενα μακρύ όνομα, Вечер во дворе, and a long English one " * 3 + "x" * 32
    assert len(tables["title"]) == 200
    tables["room"]["size_m"] = [6, 7, 3.6]
    tables["room"]["window"] = {
        name * 20: {"wall": wall, "centre_m": 0.5, "size_m": [1.2, 1.4], "blind": "white-paint", "curtain_stops": 2}
        for name, wall in (("yd", "left"), ("st", "right"))
    }
    tables["light"] = {}
    for index, (role, modifiers, azimuth, elevation, distance, gels) in enumerate(EIGHT, start=1):
        name = f"{role}-{index}-".ljust(40, "w")
        tables["light"][name] = {
            "role": role, "head": "flash-400", "modifiers": modifiers, "azimuth_deg": azimuth,
            "elevation_deg": elevation, "distance_m": distance, "power": "1/16", "gels": gels, "on": index != 8,
        }  # fmt: skip
    tables["piece"] = {
        "p" * 40: {"kind": "net", "stops": 1, "size_m": [0.6, 0.9], "azimuth_deg": 60, "distance_m": 0.8}
    }
    return tables


class Looks:
    """Looks by name, each traced when it is first asked for, and their pages."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.found: dict[str, Look] = {}
        self.plans: dict[tuple[str, str], tuple[PlanSet, PlanReport, list[Page]]] = {}

    def __getitem__(self, name: str) -> Look:
        if name not in self.found:
            if name == "eight":
                path = self.folder / "eight-lights.toml"
                path.write_text(dump_tables(eight_lights()), encoding="utf-8")
                self.found[name] = looked_at(build_stage(load_scene(path)), self.folder)
            else:
                self.found[name] = look_of(DEMO / f"{name}.toml", self.folder)
        return self.found[name]

    def pages(self, name: str, paper: str = "a4") -> tuple[PlanSet, PlanReport, list[Page]]:
        """The plan's set, its numbers and its pages, without the picture of the set."""
        if (name, paper) not in self.plans:
            look = self[name]
            plan = plan_set(look.stage, look.report)
            told, front = plan_report(plan, paper, ["A note that tells of something."])
            self.plans[name, paper] = plan, told, draw_pages(plan, told, look.picture, None, front)
        return self.plans[name, paper]


@pytest.fixture(scope="module")
def looks(tmp_path_factory) -> Looks:
    return Looks(tmp_path_factory.mktemp("looks"))


def _no_gl(*_: object) -> None:
    raise SetViewError("There is no OpenGL here.")


@pytest.fixture(scope="module")
def made(tmp_path_factory, looks):
    """Plans by name, written on a machine without OpenGL."""
    found: dict[str, tuple[Path, PlanReport]] = {}

    def make(name: str) -> tuple[Path, PlanReport]:
        if name not in found:
            folder, look = tmp_path_factory.mktemp(name), looks[name]
            with pytest.MonkeyPatch.context() as patched, OutputFolder(folder) as output:
                patched.setattr("render.plan.make.draw_set_view", _no_gl)
                told = make_plan(look.stage, look.picture, look.report, PlanSettings("a4"), output)
            found[name] = (folder, told)
        return found[name]

    return make


_SLOW = [pytest.param(name, marks=pytest.mark.slow) for name in ("classic-loop", "full-length", "prompt-corner")]
WRITTEN = ("courtyard-evening", *_SLOW)
DRAWN = (*WRITTEN, pytest.param("eight", marks=pytest.mark.slow), pytest.param("haze-after-rehearsal", marks=pytest.mark.slow))
ON_LETTER = ("courtyard-evening", pytest.param("eight", marks=pytest.mark.slow))


def words_of_svg(path: Path) -> str:
    """Text elements of a page, in order."""
    found = re.findall(r"<text[^>]*>(.*?)</text>", path.read_text(encoding="utf-8"), flags=re.DOTALL)
    return " | ".join(re.sub(r"<[^>]*>", "", text) for text in found)


def words_of_pdf(path: Path) -> str:
    return re.sub(r"\s+", " ", " ".join(leaf.extract_text() for leaf in PdfReader(path).pages))


def minus(text: str) -> str:
    return text.replace("-", MINUS)


@pytest.mark.parametrize("name", WRITTEN)
def test_every_file_is_written_and_of_its_size(name, made):
    folder, told = made(name)
    assert {file.name for file in folder.iterdir()} == set(told.files)
    leaves = PdfReader(folder / "plan.pdf").pages
    assert len(told.files) == 2 + 2 * len(leaves)  # PDF and phone page, a drawing and a picture of each leaf
    for index, leaf in enumerate(leaves, start=1):
        assert float(leaf.mediabox.width) == pytest.approx(210 / 25.4 * 72, abs=0.5)
        assert float(leaf.mediabox.height) == pytest.approx(297 / 25.4 * 72, abs=0.5)
        with Image.open(folder / f"plan-{index}.png") as picture:
            assert picture.size == pytest.approx((210 / 25.4 * 200, 297 / 25.4 * 200), abs=1)
        words = re.findall(r"[^ |]+", words_of_svg(folder / f"plan-{index}.svg").lower())
        assert not {"nan", "inf", "-inf"} & set(words)


@pytest.mark.parametrize("name", WRITTEN)
def test_places_on_the_first_page_are_the_stages(name, made, looks):
    """Heights of the fronts, distances to the aim, places of stands and camera, read back from the SVG's words."""
    folder, told = made(name)
    words, stage = words_of_svg(folder / "plan-1.svg"), looks[name].stage
    lights = {light.name: light for light in stage.lights}
    for row in light_rows(stage, looks[name].report):
        fixture = lights[row.name].fixture
        if fixture is None:
            continue
        assert f"{fixture.centre_m[1]:.2f} m high" in words
        aim = next((p for n, p in stage.landmarks.items() if n == row.aim), None)
        if aim is not None:
            assert f"{np.linalg.norm(aim - fixture.centre_m):.2f} m" in words
        told_light = next(li for li in told.lights if li.name == row.name)
        foot = told_light.support.foot_m
        assert foot is not None
        assert minus(f"x {foot[0]:.2f}  z {foot[2]:.2f}") in words
        assert told_light.front_m == pytest.approx(tuple(fixture.centre_m))
    x, y, z = stage.camera.origin_m
    assert minus(f"x {x:.2f}").replace(f"{MINUS}0.00", "0.00") in words
    assert f"{y:.2f} m high" in words
    assert f"z {z:.2f}" in words
    assert f"{np.linalg.norm(stage.camera.origin_m - stage.landmarks['face']):.2f} m to the face" in words


@pytest.mark.parametrize("name", WRITTEN)
def test_readings_in_the_pdf_are_the_reports(name, made, looks):
    folder, _ = made(name)
    words, report = words_of_pdf(folder / "plan.pdf"), looks[name].report
    dome = next(r for r in report.readings if (r.probe, r.light, r.aim) == ("face", "all", "dome"))
    assert aperture_words(dome.f_number) in words
    for light in report.lights:
        assert light.name in words
        if light.power_setting is not None:
            assert minus(light.power_setting.split("at ")[1]).split(" (")[0] in words
        if light.gel is not None:
            assert light.gel.name in words
    for row in light_rows(looks[name].stage, report):
        if row.reading_f_number and row.reading_f_number > 0.7:
            assert aperture_words(row.reading_f_number) in words
    for caution in report.cautions:
        assert caution in words
    assert f"ISO {report.settings.iso:g}" in words


@pytest.mark.parametrize("name", WRITTEN)
def test_steps_name_every_light_once_in_order(name, made, looks):
    _, told = made(name)
    numbers = [step.light for step in told.steps if step.light is not None]
    assert numbers == [row.number for row in light_rows(looks[name].stage, looks[name].report)]
    for step in told.steps:
        if step.light is not None:
            light = told.lights[step.light - 1]
            assert f"Light {light.number}, {light.name}" in step.do
            if light.distance_to_aim_m is not None:
                assert f"{light.distance_to_aim_m:.2f} m from" in step.do
            if light.f_number and light.f_number > 0.7:
                assert aperture_words(light.f_number) in step.check
    assert told.steps[0].light is None
    assert looks[name].report.ambient.words.replace("-", MINUS) in told.steps[0].do.replace("-", MINUS)


@pytest.mark.slow
@pytest.mark.parametrize("name", DRAWN)
def test_words_keep_clear_of_each_other_and_on_the_paper(name, looks):
    _check_pages(looks.pages(name)[2], "a4")


@pytest.mark.parametrize("name", ON_LETTER)
def test_words_keep_clear_on_the_other_paper(name, looks):
    _check_pages(looks.pages(name, "letter")[2], "letter")


def _check_pages(pages: list[Page], paper: str) -> None:
    assert [page.faults() for page in pages] == [[]] * len(pages)
    width, height = PAPERS_MM[paper]
    for words in (w for page in pages for w in page.words):
        assert MARGIN_MM - 0.1 <= words.left_mm < words.right_mm <= width - MARGIN_MM + 0.1, words
    rules = [line.get_ydata()[0] for line in pages[-1].canvas.lines]
    told = [words.bottom_mm for words in pages[-1].words]
    assert max(y for y in (*rules, *told) if y < height - 20) > 0.6 * height  # what is left of it is ruled to be written on
    for page in pages:
        for points in _drawn_points(page):
            assert np.isfinite(points).all()
            assert points.min() > 0
            assert (points < [width, height]).all()
        assert min(text.get_fontsize() for text in page.canvas.texts) >= 8
    printed = " ".join(word.text for page in pages for word in page.words)
    assert "nan" not in printed.lower().split()
    assert "inf" not in printed.lower().split()


def _drawn_points(page) -> list[np.ndarray]:
    lines = [np.column_stack(line.get_data()).astype(float) for line in page.canvas.lines]
    return lines + [patch.get_xy() for patch in page.canvas.patches]


def test_a_fault_of_the_labels_would_show(looks):
    """The test above has something to find: two labels at one place are a fault."""
    page = looks.pages("courtyard-evening", "letter")[2][0]
    assert not page.faults()
    page.text(MARGIN_MM + 30, 150, "key")
    page.text(MARGIN_MM + 30, 151, "fill")
    assert page.faults()


@pytest.mark.slow
@pytest.mark.parametrize("name", DRAWN)
def test_drawings_are_to_scale(name, looks):
    """The metres along the lower edge lie as far apart as the stated scale says."""
    _, told, (page, *_) = looks.pages(name)
    per_m = 1000 / told.scale
    ticks = [w for w in page.words if re.fullmatch(rf"{MINUS}?\d+", w.text)]
    low = max(w.bottom_mm for w in ticks if w.bottom_mm < page.height_mm * 0.95)
    row = sorted((w for w in ticks if abs(w.bottom_mm - low) < 0.01), key=lambda w: w.left_mm)
    middles = [(w.left_mm + w.right_mm) / 2 for w in row]
    values = [int(w.text.replace(MINUS, "-")) for w in row]
    steps = np.diff(middles) / np.diff(values)
    assert np.abs(steps) == pytest.approx(per_m, abs=1e-6)


def test_symbols_stand_where_the_stage_has_the_lights(looks):
    """The line that shines: its middle is the front's place to scale, its length the octabox across its corners."""
    stage = looks["courtyard-evening"].stage
    _, told, (page, *_) = looks.pages("courtyard-evening")
    mark = next(patch for patch in page.canvas.patches if patch.get_linewidth() == 0.9 and patch.get_zorder() == 4.6)
    origin = mark.get_xy()[:-1].mean(axis=0)
    key = next(light for light in stage.lights if light.name == "key")
    assert key.fixture is not None
    expected = origin + np.array(key.fixture.centre_m)[[0, 2]] * 1000 / told.scale
    glows = [np.column_stack(line.get_data()) for line in page.canvas.lines if line.get_linewidth() == 1.9]
    nearest = min(glows, key=lambda points: float(np.hypot(*(points.mean(axis=0) - expected))))
    assert nearest.mean(axis=0) == pytest.approx(expected, abs=0.01)
    width = 0.9 * 1000 / told.scale
    assert width - 0.01 <= np.hypot(*(nearest[-1] - nearest[0])) <= width / np.cos(np.pi / 8) + 0.01


@pytest.mark.slow
def test_the_beam_on_paper_is_as_wide_as_the_report_says(looks):
    plan = looks.pages("full-length")[0]
    report = next(light for light in looks["full-length"].report.lights if light.name == "key")
    assert report.spread_at_face is not None
    assert plan.lights[0].beam_m == pytest.approx(report.spread_at_face.beam_m)


@pytest.mark.slow
def test_the_kit_counts_everything_once(looks):
    told = looks.pages("eight")[1]
    counts = {item.what: item.count for item in told.kit}
    assert counts["flash-400"] == 7  # the eighth is off
    assert counts["standard-reflector"] == 1
    assert counts["half-ctb, sheet"] == 1
    assert sum(item.count for item in told.kit if item.group == "Gels") == 6
    assert any("net" in item.what for item in told.kit if item.group == "Set")
    booms = sum(light.support.kind == "boom" for light in told.lights if light.on)
    held = sum(item.count for item in told.kit if item.group == "Supports" and "sandbag" not in item.what)
    assert booms >= 1
    assert held == 7 + 1


@pytest.mark.slow
def test_without_gl_the_plan_is_made_and_says_why(made):
    folder, told = made("full-length")
    assert any("There is no OpenGL here." in note for note in told.notes)
    assert "There is no OpenGL here." in words_of_pdf(folder / "plan.pdf")
    assert PlanReport.model_validate_json(told.model_dump_json()) == told


@pytest.mark.slow
def test_the_picture_of_the_set_carries_every_number(looks):
    look = looks["classic-loop"]
    try:
        view = draw_set_view(look.stage, (400, 320))
    except SetViewError as reason:
        pytest.skip(str(reason))
    plan = plan_set(look.stage, look.report)
    told, front = plan_report(plan, "a4", [])
    page = draw_pages(plan, told, look.picture, view, front)[1]
    assert page.faults() == []
    numbers = [word.text for word in page.words if word.text in ("1", "2", "3", "4")]
    for number in ("1", "2", "3", "4"):
        assert numbers.count(number) >= 2  # at the light from the side, and in the picture


@pytest.mark.slow
def test_the_same_look_gives_the_same_files(looks, tmp_path):
    look, files = looks["full-length"], []
    for k in range(2):
        with OutputFolder(tmp_path / str(k)) as output:
            make_plan(look.stage, look.picture, look.report, PlanSettings("a4", False), output)
        files.append({file.name: file.read_bytes() for file in (tmp_path / str(k)).iterdir()})
    assert files[0] == files[1]  # no time stamps


@pytest.mark.slow
def test_a_report_of_other_lights_is_refused(looks, tmp_path):
    with OutputFolder(tmp_path) as output, pytest.raises(ValueError, match="not of this stage"):
        make_plan(
            looks["full-length"].stage,
            looks["eight"].picture,
            looks["eight"].report,
            PlanSettings("a4", False),
            output,
        )
    assert not list(tmp_path.iterdir())


def test_every_form_has_a_symbol_of_its_own_size():
    for form in FORM_WORDS:
        if Form(form).far:
            continue
        points = np.concatenate([part.points for part in symbol_parts(Form(form), Body(0.3, 0.2))])
        assert np.isfinite(points).all()
        assert np.abs(points[:, 0]).max() >= 0.3


@pytest.mark.slow
def test_forms_follow_the_kinds_of_modifiers(looks):
    lights = {light.role: light for light in looks["eight"].stage.lights}
    assert form_of(lights["key"]) == Form("octabox", ("fabric-grid",))
    assert form_of(lights["fill"]) == Form("umbrella")
    own = {"modifiers": ("the-thin-one",), "appearance": Appearance("snoot", "snoot")}  # an owner's own name
    assert form_of(replace(lights["rim"], **own)) == Form("snoot")
    far = {light.name: form_of(light).form for light in looks["courtyard-evening"].stage.lights}
    assert far == {"sun": "sun", "sky": "sky", "key": "octabox"}


@pytest.mark.parametrize("name", [n for n, m in stock_kit().modifiers.items() if m.kind not in FRONT_WORDS])
def test_every_stock_modifier_has_a_form_and_a_housing(name):
    kit = stock_kit()
    shaped = kit.shaped([name], Bulb(), Path()).at_origin()
    light = replace(
        sets.light(shaped), flash=True, modifiers=(name,), appearance=kit.modifiers[name].appearance()
    )
    assert form_of(light).form in FORM_WORDS
    parts = housing_parts(light, (0.9, 0.9, 0.9))
    assert parts
    assert all(np.isfinite(part.mesh.vertices).all() for part in parts)


@pytest.mark.slow
def test_gels_tint_and_white_light_does_not(looks):
    eight = looks["eight"].report
    tints = {light.role + str(light.gel is None): tint_of(light, white_point(5500)) for light in eight.lights}
    assert tints["fillTrue"].neutral
    assert not tints["rimFalse"].neutral
    for tint in tints.values():
        red, green, blue = (int(tint.ink[k : k + 2], 16) / 255 for k in (1, 3, 5))
        assert 0.2126 * red**2.2 + 0.7152 * green**2.2 + 0.0722 * blue**2.2 < 0.32  # reads on white


@pytest.mark.slow
def test_the_sitter_is_drawn_as_wide_as_the_mesh(looks):
    stage = looks["full-length"].stage
    outline = sitter_outline(stage)
    assert outline is not None
    points = np.concatenate([s.vertices for s in stage.shapes if s.name.startswith("sitter.")])
    drawn = np.concatenate(outline.whole)
    assert drawn.min(axis=0) == pytest.approx(points[:, [0, 2]].min(axis=0), abs=0.02)
    assert drawn.max(axis=0) == pytest.approx(points[:, [0, 2]].max(axis=0), abs=0.02)
    assert outline.facing is not None
    assert math.degrees(math.atan2(*outline.facing)) == pytest.approx(15, abs=4)  # turn_deg of the scene


def test_an_outline_encloses_the_area_of_a_disk():
    turn = np.random.default_rng(1).uniform(0, 2 * np.pi, 40_000)
    radius = 0.3 * np.sqrt(np.random.default_rng(2).uniform(size=40_000))
    shape = outlines(np.stack([radius * np.cos(turn), radius * np.sin(turn)], axis=1))
    x, y = shape[0].T
    area = abs(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1))) / 2
    assert len(shape) == 1
    assert area == pytest.approx(np.pi * 0.09, rel=0.04)


def test_labels_take_free_places_and_point_back():
    placer = Placer(Frame(0, 0, 120, 80))
    anchors = [np.array([[60.0 + k % 3, 40.0 + k // 3]]) for k in range(8)]
    spots = placer.place_all([Label(30, 9, anchor) for anchor in anchors])
    for i, a in enumerate(spots):
        assert placer.frame.holds(np.array([a.box.left, a.box.top]))
        assert placer.frame.holds(np.array([a.box.right, a.box.bottom]))
        for b in spots[i + 1 :]:
            apart_x = a.box.right <= b.box.left or b.box.right <= a.box.left
            assert apart_x or a.box.bottom <= b.box.top or b.box.bottom <= a.box.top
    assert any(spot.leader is not None for spot in spots)


def test_views_put_camera_right_at_the_right_and_the_camera_below_or_left():
    frame = Frame(0, 0, 100, 100)
    top, side = (View(kind, np.array([50.0, 50.0]), 10.0, frame) for kind in (TOP, SIDE))
    assert top.at(np.array([1.0, 5.0, 2.0])) == pytest.approx([60, 70])
    assert side.at(np.array([1.0, 5.0, 2.0])) == pytest.approx([30, 0])


def test_scales_are_round_and_large_enough():
    assert scale_for(np.array([4.0, 5.0]), np.array([100.0, 130.0])) == 40
    assert scale_for(np.array([4.0, 5.0]), np.array([99.0, 130.0])) == 50
    assert list(SCALES) == sorted(SCALES)


def test_shapes_are_cut_at_the_frame():
    frame = Frame(0, 0, 10, 10)
    square = cut_polygon(np.array([[-5, -5], [5, -5], [5, 5], [-5, 5]]), frame)
    assert square.min() == 0
    assert square.max() == 5
    assert cut_line(np.array([-5.0, 5.0]), np.array([15.0, 5.0]), frame) == pytest.approx(np.array([[0, 5], [10, 5]]))
    assert cut_line(np.array([-5.0, 15.0]), np.array([15.0, 15.0]), frame) is None
