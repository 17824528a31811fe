"""Comparisons: only what moves is traced again, pictures are those of a preview, and the sheet holds its words."""

from __future__ import annotations

import json

import numpy as np
import pytest
from PIL import Image
from pypdf import PdfReader

from materials import KeyfallError
from render import Cache, TraceSettings, all_readings, develop, trace
from render.compare import _cells, _report, compare
from render.compare_sheet import compare_page, compare_pages
from render.job import Job, same_transport
from render.readings import find
from render.sheet import PAPERS_MM
from render.variants import make_grid
from scenes import SceneError, build_stage, load_scene
from scenes.meters import difference_words
from scenes.variations import parse_variation

from .cli_scene import keyfall, write_scene

DRAFT = TraceSettings("draft", 2)
GELS = "light.key.gels=none,amber,teal,magenta,half-cto,full-cto,half-ctb,full-ctb,rose,violet,plus-green,quarter-cto"
LONG = "a-light-with-a-name-of-forty-characters-"


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    return Cache(tmp_path_factory.mktemp("cache"))


@pytest.fixture
def scene(tmp_path):
    return write_scene(tmp_path / "scene.toml")


@pytest.fixture
def traced(monkeypatch):
    """Names of the lights whose pictures are traced, as they are."""
    names: list[str] = []
    original = Job._picture

    def counted(self, light, *rest):
        names.append(light.name)
        return original(self, light, *rest)

    monkeypatch.setattr(Job, "_picture", counted)
    return names


def grid_of(scene, *texts, styles=None):
    return make_grid(scene, [parse_variation(text) for text in texts], styles)


def test_twelve_gels_cost_one_trace(scene, tmp_path, traced):
    report = compare(grid_of(scene, GELS), tmp_path / "out", DRAFT, cache=Cache(tmp_path / "cache"))
    assert sorted(traced) == ["fill", "key"]
    assert len(report.cells) == 12


def test_distances_trace_the_moved_light_alone(scene, tmp_path, traced):
    grid = grid_of(scene, "light.key.distance_m=1.2,1.3,1.5")
    compare(grid, tmp_path / "out", DRAFT, cache=Cache(tmp_path / "cache"))
    assert sorted(traced) == ["fill", "key", "key", "key"]


def test_each_picture_is_that_of_a_preview(scene, tmp_path, store):
    whole = TraceSettings("preview", 2)
    compare(grid_of(scene, "light.key.gels=amber,teal"), tmp_path / "out", whole, pictures=True, cache=store)
    stage = build_stage(load_scene(write_scene(tmp_path / "teal.toml", light__key__gels=["teal"])))
    alone = develop(trace(stage, samples=2, cache=store), stage).to_8_bit()
    np.testing.assert_array_equal(np.asarray(Image.open(tmp_path / "out" / "compare-1-2.png")), alone)


def test_numbers_are_the_meters(scene, tmp_path, store):
    report = compare(grid_of(scene, "light.key.power=1/32,1/16"), tmp_path / "out", DRAFT, cache=store)
    stage = build_stage(load_scene(write_scene(tmp_path / "b.toml", light__key__power="1/16")))
    readings = all_readings(trace(stage, quality="draft", samples=2, cache=store).meters, stage)
    face = find(readings, "face", "all", "dome")
    sides = [find(readings, f"cheek_{side}", "all", "flat:surface").exposure_lx_s for side in "LR"]
    behind = find(readings, "background_centre", "all", "flat:surface")  # clear of the sitter and of her shadow
    numbers = report.cells[1].numbers
    assert numbers.face_stops == pytest.approx(face.stops)
    assert numbers.cheeks_ratio == pytest.approx(max(sides) / min(sides))
    assert numbers.background_light_stops == pytest.approx(behind.stops - face.stops, abs=0.5)
    grey = behind.stops  # grey paper under that light, against a card lit as the meter asks
    assert numbers.background_seen_stops == pytest.approx(grey, abs=0.9)
    json.loads((tmp_path / "out" / "compare.json").read_text(), parse_constant=pytest.fail)


@pytest.mark.slow
def test_even_sets_the_varied_light_to_read_as_in_the_scene(scene, tmp_path, store):
    grid = grid_of(scene, "light.key.distance_m=1.3,1.5")
    report = compare(grid, tmp_path / "out", DRAFT, even=True, cache=store)
    same, farther = report.cells
    assert same.power_change_stops == {}  # 1.3 m is the scene's own
    readings = []
    for stage in (grid.base, grid.variants[1].stage):
        olat = trace(stage, quality="draft", samples=2, cache=store)
        readings.append(find(all_readings(olat.meters, stage), "face", "key", "flat:key").stops)
    assert farther.power_change_stops == {"key": pytest.approx(readings[0] - readings[1])}
    assert farther.power_change_stops["key"] == pytest.approx(0.41, abs=0.12)  # 2 log2(1.5 / 1.3), a small lamp
    assert compare(grid, tmp_path / "out", DRAFT, cache=store).cells[1].power_change_stops == {}


@pytest.mark.slow
def test_even_sets_the_key_of_a_style_beside_a_varied_light(scene, tmp_path, store):
    grid = grid_of(scene, "light.fill.lumens=10000", styles=["rembrandt"])
    report = compare(grid, tmp_path / "out", DRAFT, even=True, cache=store)
    assert report.cells[0].power_change_stops["fill"] == pytest.approx(1, abs=0.02)  # it gave 20000
    assert "key" in report.cells[0].power_change_stops


def test_even_passes_over_a_light_that_a_variant_lacks(scene, tmp_path, store):
    report = compare(grid_of(scene, "light.fill=none"), tmp_path / "out", DRAFT, even=True, cache=store)
    assert report.cells[0].power_change_stops == {}


def test_same_transport_tells_gels_and_power_from_geometry(tmp_path):
    def stage(**changes):
        return build_stage(load_scene(write_scene(tmp_path / "s.toml", **changes)))

    plain = stage()
    assert same_transport(plain, stage(light__key__gels=["teal"], light__key__power="1/2", exposure__iso=400))
    assert same_transport(plain, stage(light__fill__on=False, title="another"))
    for moved in (
        {"light__key__distance_m": 1.4}, {"sitter__turn_deg": 5}, {"sitter__skin": "deep"}, {"camera__distance_m": 2.3},
        {"room__walls": "grey-paint"}, {"haze__visibility_m": 50, "haze__fluid": "glycol"}, {"light__fill": None},
    ):  # fmt: skip
        assert not same_transport(plain, stage(**moved)), moved


def faults_of(grid, store, even=False):
    """Of the wide sheet and of every page on both papers; each page is of its paper's size."""
    cells = _cells(grid, DRAFT, even, store, None)
    report = _report(grid, cells, DRAFT, even)
    pages = [compare_page(cells, report)]
    for paper, size in PAPERS_MM.items():
        made = compare_pages(cells, report, paper)
        assert all((page.width_mm, page.height_mm) == size for page in made)
        pages += made
    return [fault for page in pages for fault in page.faults()]


@pytest.mark.slow
@pytest.mark.parametrize(
    "texts",
    [
        (GELS,),
        ("light.key.power=1/32,1/16", "light.fill.on=true,false"),
        ("exposure.iso=100,200,400", f"light.{LONG}.gels=amber+half-cto+rose,purple+full-ctb+violet,none"),
    ],
)
def test_no_words_overlap_or_are_cut(tmp_path, store, texts):
    changes = {f"light__{LONG}": {"shape": "disk", "size_m": 0.2, "at_m": [1.5, 2, 1], "energy_ws": 200}}
    scene = write_scene(tmp_path / "s.toml", title="A title that is rather long " * 5, **changes)
    assert faults_of(grid_of(scene, *texts), store, even=True) == []


def test_the_sheet_holds_labels_numbers_and_settings(scene, tmp_path, store):
    folder = tmp_path / "out"
    report = compare(grid_of(scene, "light.key.power=1/32,1/8", "exposure.iso=50,100"), folder, DRAFT, cache=store)
    assert report.settings is None
    read = PdfReader(folder / "compare.pdf")
    assert {tuple(round(float(side) / 72 * 25.4) for side in page.mediabox[2:]) for page in read.pages} == {(210, 297)}
    text = " ".join(page.extract_text() for page in read.pages)
    for word in ("Two lamps and a gel", "1/32", "1/8", "50", "100", "Key power down, exposure iso across"):
        assert word in text
    for cell in report.cells:
        assert difference_words(cell.numbers.face_stops) in text
    phone = (folder / "compare.html").read_text(encoding="utf-8")
    assert phone.count("<img ") == 8
    assert "<h2>1/8</h2>" in phone
    assert (folder / "compare.png").stat().st_size > 1000


@pytest.mark.parametrize(
    ("texts", "styles", "said"),
    [
        ((), None, "nothing to compare"),
        (("exposure.iso=100", "light.key.power=1/2", "light.key.on=true"), None, "3 variations"),
        (("exposure.iso=100", "light.key.power=1/2"), ["loop"], "3 variations"),
        (("exposure.iso=100", "exposure.iso=200"), None, "exposure.iso is varied twice"),
        (("exposure.iso=1,2,3,4,5,6,7,8", "light.key.power=" + ",".join(["1/2"] * 7)), None, "56 pictures"),
        ((), ["lop"], "no key style 'lop'"),
        ((), ["loop", "loop"], "named twice"),
    ],
)
def test_what_cannot_be_compared_says_why(scene, texts, styles, said):
    with pytest.raises(KeyfallError, match=said):
        grid_of(scene, *texts, styles=styles)


def test_all_faulty_variants_are_told_at_once(scene):
    with pytest.raises(SceneError) as caught:
        grid_of(scene, "light.key.distance_m=0.01,1.3,much")
    text = str(caught.value)
    assert len(caught.value.findings) == len({(f.where, f.message) for f in caught.value.findings})
    assert "with key distance = 0.01 m: error" in text
    assert "with key distance = much m: error: light.key.distance_m" in text


@pytest.mark.slow
def test_from_the_command_line(scene, tmp_path):
    env = {"KEYFALL_CACHE_DIR": str(tmp_path / "cache")}
    words = ("compare", scene, "--vary", "light.key.gels=amber,teal", "-q", "draft", "--samples", 2, "-o", tmp_path / "o")
    assert keyfall(*words, env=env).exit_code == 0
    assert {p.name for p in (tmp_path / "o").iterdir()} == {
        "compare.png", "compare.pdf", "compare.html", "compare.json",
    }  # fmt: skip
    failed = keyfall("compare", scene, "--vary", "light.kye.gels=amber", "-o", tmp_path / "p", env=env)
    assert failed.exit_code == 1
    assert "Did you mean key?" in failed.output
    assert not (tmp_path / "p").exists()
