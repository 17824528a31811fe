"""The mood board: its colours against colour-science, its words against their numbers, its pages and its HTML."""

from __future__ import annotations

import itertools
import math
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from pypdf import PdfReader

from materials import KeyfallError, make_gel, make_source, skin_reflectance
from materials.gels import Gel
from render import Cache, all_readings, develop, relight, trace
from render.board.colour import (
    PAPER_LIGHTNESS,
    SITTER_LIGHTNESS,
    colour_difference,
    light_colour,
    seen_reflectance,
    subject_of,
)
from render.board.facts import seen_light
from render.board.kit import kit_of
from render.board.layout import FOOT_MM, Sheet, pages_of, plan
from render.board.make import Board, BoardReport, BoardSettings, Look, draw_pages, make_board, prepare
from render.board.record import ContrastReport, LightFacts, SwatchReport
from render.board.swatches import Swatch, contrast
from render.board.words import place_words, quality_words, stops_in_words
from render.outputs import OutputFolder
from render.report import build_report
from scenes import build_stage, load_scene
from scenes.stage import Exposure, Light, Output, Stage

from . import sets
from .cli_scene import write_scene

LAB_ERROR = 0.02
"""The observer's table has ten digits and both sums run over the same nanometres; only rounding is left."""

RIM = {
    "shape": "rectangle", "size_m": [0.3, 1.0], "azimuth_deg": -140, "elevation_deg": 20, "distance_m": 1.4,
    "energy_ws": 400, "power": "1/4", "gels": ["teal"],
}  # fmt: skip
EXPOSURE = Exposure(100, 8, 1 / 125, "flash")
SHAPES_PX = ((96, 77), (64, 96), (96, 96), (96, 64), (54, 96), (96, 77))
LONG = "Ember, tide and what the harbour lamps do to wet stone after the last ferry has gone: a long name " * 3

# Sharma, Wu and Dalal 2005, The CIEDE2000 color-difference formula, Color Research and Application 30(1), table 1;
# written from memory, and every pair checked against the value printed beside it.
SHARMA = """
50 2.6772 -79.7751 50 0 -82.7485 2.0425
50 3.1571 -77.2803 50 0 -82.7485 2.8615
50 2.8361 -74.0200 50 0 -82.7485 3.4412
50 -1.3802 -84.2814 50 0 -82.7485 1.0000
50 -1.1848 -84.8006 50 0 -82.7485 1.0000
50 -0.9009 -85.5211 50 0 -82.7485 1.0000
50 0 0 50 -1 2 2.3669
50 -1 2 50 0 0 2.3669
50 2.4900 -0.0010 50 -2.4900 0.0009 7.1792
50 2.4900 -0.0010 50 -2.4900 0.0010 7.1792
50 2.4900 -0.0010 50 -2.4900 0.0011 7.2195
50 2.4900 -0.0010 50 -2.4900 0.0012 7.2195
50 -0.0010 2.4900 50 0.0009 -2.4900 4.8045
50 -0.0010 2.4900 50 0.0010 -2.4900 4.8045
50 -0.0010 2.4900 50 0.0011 -2.4900 4.7461
50 2.5 0 50 0 -2.5 4.3065
50 2.5 0 73 25 -18 27.1492
50 2.5 0 61 -5 29 22.8977
50 2.5 0 56 -27 -3 31.9030
50 2.5 0 58 24 15 19.4535
50 2.5 0 50 3.1736 0.5854 1.0000
50 2.5 0 50 3.2972 0 1.0000
50 2.5 0 50 1.8634 0.5757 1.0000
50 2.5 0 50 3.2592 0.3350 1.0000
60.2574 -34.0099 36.2677 60.4626 -34.1751 39.4387 1.2644
63.0109 -31.0961 -5.8663 62.8187 -29.7946 -4.0864 1.2630
61.2901 3.7196 -5.3901 61.4292 2.2480 -4.9620 1.8731
35.0831 -44.1164 3.7933 35.0232 -40.0716 1.5901 1.8645
22.7233 20.0904 -46.6940 23.0331 14.9730 -42.5619 2.0373
36.4612 47.8580 18.3852 36.2715 50.5065 21.2231 1.4146
90.8027 -2.0831 1.4410 91.1528 -1.6435 0.0447 1.4441
90.9257 -0.5406 -0.9208 88.6381 -0.8985 -0.7239 1.5381
6.7747 -0.2908 -2.4247 5.8714 -0.0985 -2.2286 0.6377
2.0776 0.0795 -1.1350 0.9033 -0.0636 -0.5514 0.9082
"""


@pytest.fixture(scope="module")
def traced(tmp_path_factory):
    """A small portrait: a key with half an orange gel, a fill of daylight, a teal rim; and its set."""
    folder = tmp_path_factory.mktemp("board")
    path = write_scene(folder / "scene.toml", camera__long_side_px=96, light__rim=RIM)
    stage = build_stage(load_scene(path))
    return stage, trace(stage, quality="draft", samples=4, cache=Cache(folder / "cache"))


def _look(traced, title="Two lamps and a gel", size_px=None, caption=None, **changes) -> Look:
    stage, olat = traced
    for name, gel in changes.items():
        stage = relight(stage, name, gel=None if gel is None else make_gel(gel))
    picture = develop(olat, stage)
    report = build_report(
        stage, olat, picture, [], all_readings(olat.meters, stage), quality="draft", device="cpu", scene_hash="none"
    )
    pixels = picture.to_8_bit()
    if size_px is not None:
        pixels = np.asarray(Image.fromarray(pixels).resize(size_px))
    return Look(title, stage, pixels, report, seen_light(olat, stage), caption)


@pytest.fixture(scope="module")
def look(traced) -> Look:
    return _look(traced)


@pytest.fixture(scope="module")
def board(look) -> BoardReport:
    return prepare([look], BoardSettings("Harbour"))[1]


def _light(gel: str | Gel | None, source="flash", cct_k=None) -> Light:
    sheet = make_gel(gel) if isinstance(gel, str) else gel
    return Light("a", "key", None, make_source(source, cct_k), sheet, Output(None, 1.0), True, True)


def _swatch(gel: str | None) -> Swatch:
    light, skin = _light(gel), skin_reflectance(0.024, 0.0107)
    paper, sitter = light_colour(light, EXPOSURE), light_colour(light, EXPOSURE, skin)
    assert paper is not None
    assert sitter is not None
    return Swatch((_facts(0, 0),), paper, sitter)


@pytest.mark.parametrize("row", SHARMA.strip().splitlines())
def test_colour_differences_are_the_published_ones(row):
    *pair, printed = map(float, row.split())
    assert colour_difference(np.array(pair[:3]), np.array(pair[3:])) == pytest.approx(printed, abs=1e-4)


@pytest.mark.parametrize("gel", [None, "amber", "teal", "half-ctb", "magenta", "deep-blue"])
@pytest.mark.parametrize(("on_skin", "source", "cct_k", "white"), [
    (False, "flash", None, "flash"), (True, "flash", None, "flash"), (True, "tungsten", 3200, 4300.0),
    (False, "LED-B3", None, 5500.0),
])  # fmt: skip
def test_swatches_agree_with_colour_science(gel, on_skin, source, cct_k, white):
    """XYZ by integration at 1 nm (CIE 015), CAT16 adaptation and CIELAB as colour-science 0.4 computes them."""
    import colour

    light, exposure = _light(gel, source, cct_k), replace(EXPOSURE, white_balance=white)
    skin = skin_reflectance(0.024, 0.0107) if on_skin else np.ones(401)
    nm = np.arange(380, 781)
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(colour.SpectralShape(380, 780, 1))

    def integrated(spectrum):
        stimulus = colour.SpectralDistribution(dict(zip(nm, spectrum, strict=True)))
        return colour.sd_to_XYZ(stimulus, cmfs, k=1, method="Integration")

    seen = integrated(light.source.spd * (1 if light.gel is None else light.gel.transmittance) * skin)
    if white == "flash":
        camera = integrated(make_source("flash").spd)
    else:  # white_point's own definition: daylight from 5000 K up, a black body up to 4000 K, a mixture between
        from materials import white_point

        camera = white_point(white)
    d65 = np.array([0.3127, 0.3290])
    adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(
        camera / camera[1], colour.xy_to_XYZ(d65), transform="CAT16"
    )
    adapted = adapt @ seen
    lightness = SITTER_LIGHTNESS if on_skin else PAPER_LIGHTNESS
    expected = colour.XYZ_to_Lab(adapted / adapted[1] * colour.colorimetry.luminance_CIE1976(lightness) / 100, d65)
    made = light_colour(light, exposure, skin if on_skin else None)
    assert made is not None
    assert made.lab == pytest.approx(expected, abs=LAB_ERROR)
    if not made.mapped:  # what is shown is that colour, but for the rounding to 8 bits
        shown = colour.XYZ_to_Lab(colour.sRGB_to_XYZ(np.array(made.rgb) / 255), d65)
        assert shown == pytest.approx(expected, abs=0.6)


def test_a_colour_the_display_lacks_says_so_and_keeps_hue_and_lightness():
    """In Oklab (Ottosson 2020), where the mapping holds hue and lightness; colour-science converts."""
    import colour

    made = light_colour(_light("teal"), EXPOSURE)
    plain = light_colour(_light("quarter-cto"), EXPOSURE)
    assert made is not None
    assert plain is not None
    assert (made.mapped, plain.mapped) == (True, False)
    shown = colour.XYZ_to_Oklab(colour.sRGB_to_XYZ(np.array(made.rgb) / 255))
    real = colour.XYZ_to_Oklab(colour.Lab_to_XYZ(made.lab, np.array([0.3127, 0.3290])))
    assert shown[0] == pytest.approx(real[0], abs=0.004)
    assert math.atan2(shown[2], shown[1]) == pytest.approx(math.atan2(real[2], real[1]), abs=0.02)
    assert math.hypot(*shown[1:]) < 0.97 * math.hypot(*real[1:])


def test_a_light_has_no_contrast_with_itself():
    told = contrast(_swatch("amber"), _swatch("amber"))
    assert (told.paper_de00, told.sitter_de00, told.paper_hue_deg, told.sitter_hue_deg) == (0, 0, 0, 0)
    assert told.words == "alike, both amber"


def test_orange_and_blue_correction_are_warm_against_cool():
    told = contrast(_swatch("full-cto"), _swatch("full-ctb"))
    assert told.words in ("nearly opposite, warm against cool", "opposite, warm against cool")
    assert told.paper_hue_deg is not None
    assert told.paper_hue_deg > 150
    assert contrast(_swatch("full-ctb"), _swatch("full-cto")).words.endswith("cool against warm")


def test_white_light_has_no_hue_to_compare():
    told = contrast(_swatch(None), _swatch("teal"))
    assert told.paper_hue_deg is None
    assert told.words == "white beside sea-green"
    assert told.paper_de00 > 20


@pytest.mark.slow
def test_a_gel_that_passes_nothing_has_no_colour(look):
    lid = Gel("lid", "black", np.zeros(401))
    assert light_colour(_light(lid), EXPOSURE) is None
    report = prepare([replace(look, stage=relight(look.stage, "rim", gel=lid))], BoardSettings("Harbour"))[1]
    assert report.looks[0].dark_lights == ["rim"]
    assert [swatch.lights for swatch in report.looks[0].swatches] == [["key"], ["fill"]]


@pytest.mark.slow
def test_skin_is_measured_with_its_surface_and_meshes_by_their_finish(look):
    subject = subject_of(look.stage)
    assert subject.finish.name.endswith(" skin")
    body = subject.finish.reflectance[0]
    assert seen_reflectance(subject.finish) == pytest.approx(0.0278 + (1 - 0.0278) * body)
    bust = sets.quad((0, 0, 0), (1, 0, 0), (0, 1, 0), sets.finish(0.3))
    assert subject_of(sets.stage([bust], [])).finish.name == "test"


def test_swatches_belong_to_the_lights_that_are_on(traced):
    stage, olat = traced
    look = _look((relight(stage, "fill", on=False), olat))
    told = prepare([look], BoardSettings("Harbour"))[1].looks[0]
    assert [swatch.lights for swatch in told.swatches] == [["key"], ["rim"]]
    assert {light.name for light in told.lights} == {"key", "rim"}
    assert [(c.first, c.second) for c in told.contrasts] == [("key", "rim")]


def test_lights_of_one_colour_share_a_swatch(traced):
    told = prepare([_look(traced, rim="half-cto")], BoardSettings("Harbour"))[1].looks[0]
    assert [swatch.lights for swatch in told.swatches] == [["key", "rim"], ["fill"]]


def _facts(azimuth, elevation, angle=30.0, kind="flash") -> LightFacts:
    return LightFacts(
        name="a", role="key", kind=kind, source="flash 5500 K", gel=None, azimuth_deg=azimuth, elevation_deg=elevation,
        toward_right_up=(0.5, 0.5), distance_m=1.0, seen_angle_deg=angle, face_stops=0.0, wall_under_face_stops=None,
        aims_behind=False, share_led=0.5, shapes=True,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("azimuth", "elevation", "angle", "place", "quality"),
    [
        (40, 30, 35, "from camera right", "raised and soft"), (-50, 5, 3, "from camera left", "hard"),
        (-140, 50, 8, "from behind on the left", "high and fairly hard"), (175, 20, 20, "from behind", "raised and fairly soft"),
        (5, 0, 60, "from the front", "very soft"), (90, -20, 30, "from the side, camera right", "low and soft"),
        (30, 80, 30, "from overhead", "soft"), (None, None, 180, "from all around", ""),
    ],
)  # fmt: skip
def test_places_and_hardness_follow_from_angles(azimuth, elevation, angle, place, quality):
    light = _facts(azimuth, elevation, angle)
    assert (place_words(light), quality_words(light)) == (place, quality)


@pytest.mark.parametrize(
    ("stops", "words"),
    [(0.1, "less than half a stop"), (0.5, "half a stop"), (1.1, "a stop"), (1.6, "a stop and a half"),
     (2.4, "two and a half stops"), (3.0, "three stops"), (8.1, "eight stops"), (9.0, "more than eight stops")],
)  # fmt: skip
def test_stops_are_said_to_the_nearest_half(stops, words):
    assert stops_in_words(stops) == words


def test_the_caption_says_what_the_numbers_say(board, look):
    told = board.looks[0]
    key = next(light for light in told.lights if light.name == "key")
    assert key.azimuth_deg == pytest.approx(40, abs=3)  # set around the face, seen from the camera before it
    assert key.seen_angle_deg == pytest.approx(2 * math.degrees(math.atan(0.1 / key.distance_m)))
    assert told.caption.startswith("Warm key from camera right, raised and fairly hard; ")
    assert "sea-green from behind on the left" in told.caption
    stops = {r.probe: r.stops for r in look.report.readings if (r.light, r.aim) == ("all", "flat:surface")}
    assert told.facts.cheeks_apart_stops == pytest.approx(abs(stops["cheek_L"] - stops["cheek_R"]))
    assert stops_in_words(told.facts.cheeks_apart_stops) in told.caption
    assert told.caption_by == "light"


def test_the_photographers_own_caption_stands(traced):
    told = prepare([_look(traced, caption="  As on the\nquay. ")], BoardSettings("Harbour"))[1].looks[0]
    assert (told.caption, told.caption_by) == ("As on the quay.", "photographer")
    none = prepare([_look(traced, caption=" ")], BoardSettings("Harbour"))[1].looks[0]
    assert (none.caption, none.caption_by) == ("", "photographer")


def test_the_kit_is_counted_by_the_most_a_look_needs(traced):
    stage, _ = traced
    plain = relight(relight(stage, "rim", gel=None), "key", gel=None)
    two_ambers = relight(relight(stage, "rim", gel=make_gel("amber")), "key", gel=make_gel("amber"))
    items = {item.name: item for item in kit_of([stage, plain, two_ambers])[0]}
    assert (items["amber"].at_once, items["amber"].looks) == (2, 1)
    assert (items["teal"].at_once, items["flash, 400 Ws"].at_once, items["flash, 400 Ws"].looks) == (1, 2, 3)
    sky = replace(stage.lights[0], name="sky", fixture=None, gel=None)
    assert kit_of([replace(stage, lights=(sky,))]) == ([], ["ambient light"])


@pytest.fixture(scope="module")
def worst(look) -> tuple[Look, list[SwatchReport], list[ContrastReport]]:
    """A look with the longest texts, and eight swatches of lights with the longest names."""
    told = prepare([look], BoardSettings("Harbour"))[1].looks[0]
    names = [f"{n}-" + "kicker_by_the_prompt_desk_on_a_boom_arm"[:38] for n in range(8)]
    swatches = [told.swatches[n % 3].model_copy(update={"lights": [name], "gel": "half-ctb + " * 4 + "amber"})
                for n, name in enumerate(names)]  # fmt: skip
    pairs = [told.contrasts[0].model_copy(update={"first": names[0], "second": name}) for name in names[1:]]
    return replace(look, title=LONG[:200], caption=LONG[:300] + " Ёж, Ωμέγα."), swatches, pairs


COUNTS = [1, 3, 6, 12, *(pytest.param(count, marks=pytest.mark.slow) for count in (2, 4, 5, 7, 8, 9, 10, 11))]


@pytest.mark.slow
@pytest.mark.parametrize("count", COUNTS)
def test_no_words_meet_or_leave_the_paper(worst, count):
    look, swatches, pairs = worst
    looks = [_reshaped(look, SHAPES_PX[(n + count) % len(SHAPES_PX)]) for n in range(count)]
    settings = BoardSettings(LONG[:200], LONG[:200], LONG[:290] * 2, "dark", "letter" if count % 2 else "a4")
    made, report = prepare(looks, settings)
    made.dots_per_inch = 30
    _stuff(made, swatches, pairs, count)
    pages = draw_pages(made, report)
    assert [page.faults() for page in pages] == [[]] * len(pages)
    words = " ".join(w.text for page in pages for w in page.words).replace("…", "")
    assert words.count("Ωμέγα") >= count  # every caption stands whole somewhere
    for page in pages:
        assert max(w.bottom_mm for w in page.words) < page.height_mm - 5


def _reshaped(look: Look, size_px: tuple[int, int]) -> Look:
    return replace(look, picture=np.zeros((size_px[1], size_px[0], 3), np.uint8))


def _stuff(made: Board, swatches: list[SwatchReport], pairs: list[ContrastReport], count: int) -> None:
    made.looks = [look.model_copy(update={"swatches": swatches[: 2 + (n + count) % 7], "contrasts": pairs})
                  for n, look in enumerate(made.looks)]  # fmt: skip


@pytest.mark.parametrize("count", [2, 3, 4, 5, 6])
@pytest.mark.parametrize("turn", range(2))
def test_pictures_are_whole_and_apart_and_the_lead_is_largest(count, turn):
    aspects = [
        SHAPES_PX[(n + turn) % len(SHAPES_PX)][0] / SHAPES_PX[(n + turn) % len(SHAPES_PX)][1] for n in range(count)
    ]

    def text_mm(look, width, level):
        return (1500 - 300 * level) / width

    made = plan(Sheet(297, 210, tuple(range(count)), aspects, text_mm, lambda width, level: 40.0, mirrored=turn == 1))
    boxes = []
    for cell in made.cells:
        at = cell.picture
        assert at.width_mm / at.height_mm == pytest.approx(aspects[cell.look])
        bottom = cell.text_y_mm + text_mm(cell.look, cell.text_width_mm, made.level)
        assert bottom <= 210 - FOOT_MM + 1e-6
        boxes.append((at.x_mm, at.y_mm, at.x_mm + at.width_mm, at.y_mm + at.height_mm))
        boxes.append((cell.text_x_mm, cell.text_y_mm, cell.text_x_mm + cell.text_width_mm, bottom))
    boxes.append((made.head.x_mm, made.head.y_mm, made.head.x_mm + made.head.width_mm, made.head.y_mm + 40))
    for a, b in itertools.combinations(boxes, 2):
        assert a[2] <= b[0] + 1e-6 or b[2] <= a[0] + 1e-6 or a[3] <= b[1] + 1e-6 or b[3] <= a[1] + 1e-6
    assert all(box[0] >= 0 and box[1] >= 0 and box[2] <= 297 + 1e-6 for box in boxes)
    areas = [cell.picture.width_mm * cell.picture.height_mm for cell in made.cells]
    assert made.cells[0].lead
    assert areas[0] > max(areas[1:])


def test_more_than_six_looks_take_two_pages():
    assert [len(pages_of(count)) for count in range(1, 13)] == [1] * 6 + [2] * 6
    for count in range(1, 13):
        assert [n for page in pages_of(count) for n in page] == list(range(count))


@pytest.fixture(scope="module")
def written(traced, tmp_path_factory) -> tuple[Path, BoardReport]:
    folder = tmp_path_factory.mktemp("out")
    looks = [
        _look(traced, "<script>alert(1)</script> & \"tide\""), _look(traced, "Ёлка и Ωμέγα", (96, 64), key="amber"),
        _look(traced, "Quay", (64, 64), key=None, rim="magenta"),
    ]  # fmt: skip
    settings = BoardSettings("Faces & <b>tides</b>", "For the theatre", "Three sittings, one day.")
    with OutputFolder(folder) as output:
        return folder, make_board(looks, settings, output)


def test_the_files_and_the_report_agree(written):
    folder, report = written
    names = {path.name for path in folder.iterdir()}
    assert names == {"board.pdf", "board.html", *(f"board-{n}.png" for n in range(1, report.pages + 1))}
    assert len(PdfReader(folder / "board.pdf").pages) == report.pages > 1
    assert BoardReport.model_validate_json(report.model_dump_json()) == report
    assert [look.lead for look in report.looks] == [True, False, False]
    with Image.open(folder / "board-1.png") as picture:
        assert picture.width > picture.height > 1000


def test_the_pdf_has_its_type_as_type(written):
    folder, report = written
    for page in (reader := PdfReader(folder / "board.pdf")).pages:
        fonts = [font.get_object() for font in page["/Resources"]["/Font"].values()]
        assert fonts
        for font in fonts:
            described = font["/DescendantFonts"][0].get_object() if "/DescendantFonts" in font else font
            assert "/FontFile2" in described["/FontDescriptor"].get_object()
    text = re.sub(r"\s+", " ", " ".join(page.extract_text() for page in reader.pages))
    for word in ["Faces & <b>tides</b>", "For the theatre", "Quay", "Ωμέγα", "magenta", "CIEDE2000"]:
        assert word in text
    assert reader.metadata is not None
    assert reader.metadata.title == report.title


VOID = {"meta", "img", "input", "br", "circle"}


class _Parsed(HTMLParser):
    """Tags, checked to nest; attributes; and the text."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words = ""
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        assert len(dict(attrs)) == len(attrs), "an attribute given twice"
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        assert tag in VOID

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if "style" not in self.open:
            self.words += data


def test_the_html_is_whole_and_stands_alone(written):
    folder, report = written
    source = (folder / "board.html").read_text(encoding="utf-8")
    page = _Parsed(source)
    assert source.startswith("<!DOCTYPE html>\n<html lang=")
    assert not [tag for tag, _ in page.tags if tag in ("script", "link", "iframe", "object", "base", "form")]
    for tag, has in page.tags:
        assert not [name for name in has if name.startswith("on")]
        assert "href" not in has
        if "src" in has:
            assert (has["src"] or "").startswith("data:image/jpeg;base64,")
        if tag == "img":
            assert has["alt"]
    assert all(found.startswith("data:font/woff;base64,") for found in re.findall(r"url\(([^)]*)\)", source))
    assert "@import" not in source
    assert not re.search(r"https?://", source)
    assert sum(tag == "img" for tag, _ in page.tags) == len(report.looks) == 3
    for look in report.looks:
        assert look.title in page.words
        assert look.caption in page.words
        assert all(" + ".join(swatch.lights) in page.words for swatch in look.swatches)
    assert report.title in page.words
    assert all(item.name in page.words for item in report.kit)
    assert len({has["id"] for _, has in page.tags if "id" in has}) == sum("id" in has for _, has in page.tags)


def test_one_look_takes_one_page(look, tmp_path):
    with OutputFolder(tmp_path / "out") as output:
        report = make_board([look], BoardSettings("Harbour", theme="dark", paper="letter"), output)
    assert report.pages == 1
    assert {path.name for path in (tmp_path / "out").iterdir()} == {"board.pdf", "board.png", "board.html"}


@pytest.mark.parametrize("count", [0, 13])
def test_too_few_or_too_many_looks_are_one_clear_error(look, count, tmp_path):
    with (
        pytest.raises(KeyfallError, match=f"1 to 12 looks, not {count}") as error,
        OutputFolder(tmp_path / "o") as output,
    ):
        make_board([look] * count, BoardSettings("  "), output)
    assert "needs a title" in str(error.value)
    assert not (tmp_path / "o").exists()


def test_all_faults_come_at_once(look):
    broken = replace(look, title="t" * 201, picture=np.zeros((4, 4), np.uint8))
    with pytest.raises(KeyfallError) as error:
        prepare([look, broken], BoardSettings("A", note="n" * 601, theme="sepia", paper="a3"))  # type: ignore[arg-type]
    text = str(error.value)
    for part in ("title of look 2 has 201", "note has 601", "theme 'sepia'", "paper 'a3'", "picture of look 2"):
        assert part in text


def test_a_stage_with_no_light_on_still_has_words(traced):
    stage, olat = traced
    dark: Stage = stage
    for light in stage.lights:
        dark = relight(dark, light.name, on=False)
    report = prepare([_look((dark, olat))], BoardSettings("Harbour"))[1]
    assert report.looks[0].caption.startswith("No light reaches the picture.")
    assert report.kit == report.looks[0].swatches == []


@pytest.mark.slow
@pytest.mark.parametrize(("aspect", "count"), [(1 / 20, 6), (20.0, 3)])
def test_the_longest_and_the_tallest_pictures_find_a_place(worst, aspect, count):
    look, swatches, pairs = worst
    size_px = (10, 200) if aspect < 1 else (200, 10)
    made, report = prepare([_reshaped(look, size_px)] * count, BoardSettings(LONG[:200], LONG[:200], LONG[:290] * 2))
    made.dots_per_inch = 30
    _stuff(made, swatches, pairs, count)
    assert [fault for page in draw_pages(made, report) for fault in page.faults()] == []
