"""Pages: type that is measured, wraps and stays type in every file; pictures that stay where they were put."""

from __future__ import annotations

import io
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from PIL import Image
from pypdf import PdfReader

from render.sheet import BODY, DARK, HEADING, SMALL, THEMES, TITLE, Column, Page, Table, Type, text_width, wrapped
from render.sheet.save import save_pdf, save_png, save_svg
from render.sheet.type import shortened

pytestmark = pytest.mark.quick

LONG = "a-name-of-forty-characters-for-one-light"
WORDS = f"Key at 1.2 m, 45° to camera right; ΔE 12.3, −0.3 stop, Ω, Привет; {LONG} and then some more words."


def plane(colour, size=(20, 30)):
    return np.full((*size, 3), colour, np.uint8)


@pytest.mark.parametrize("kind", [TITLE, HEADING, BODY, SMALL, Type(10, "italic")])
def test_width_is_that_of_the_drawn_text(kind):
    """Against matplotlib's own layout of the same font, within 1.5 % (it may round to its grid of dots)."""
    page = Page(400, 100, dots_per_inch=600)
    page.text(10, 10, "Hold the meter at the face 1.25", kind)
    drawn = page.canvas.texts[0].get_window_extent(FigureCanvasAgg(page.figure).get_renderer())
    assert drawn.width / 600 * 25.4 == pytest.approx(text_width("Hold the meter at the face 1.25", kind), rel=0.015)


@pytest.mark.parametrize("width", [12, 30, 60, 200])
def test_wrapped_lines_fit_and_lose_nothing(width):
    lines = wrapped(WORDS, BODY, width)
    assert all(text_width(line, BODY) <= width for line in lines)
    assert "".join(lines).replace(" ", "") == WORDS.replace(" ", "")


def test_too_many_lines_end_in_an_ellipsis_that_fits():
    lines = wrapped(WORDS, BODY, 40, most_lines=2)
    assert len(lines) == 2
    assert lines[1].endswith("…")
    assert text_width(lines[1], BODY) <= 40
    assert wrapped("short", BODY, 40, most_lines=1) == ["short"]
    assert shortened("short", BODY, 40) == "short"
    assert wrapped("", BODY, 40) == [""]
    assert wrapped("one\n\ntwo", BODY, 40) == ["one", "", "two"]


def test_words_break_only_where_one_alone_is_too_long():
    assert wrapped("standard-reflector + grid-20", BODY, 20) == ["standard-", "reflector +", "grid-20"]
    assert all(text_width(line, BODY) <= 10 for line in wrapped("x" * 40, BODY, 10))


def test_faults_finds_type_that_overlaps_or_leaves_the_paper():
    page = Page(100, 50)
    page.text(10, 10, "one", BODY)
    page.text(40, 10, "two", BODY)
    assert page.faults() == []
    page.text(11, 11, "three", BODY)
    page.text(95, 30, "beyond the edge", BODY)
    assert page.faults() == ["'one' meets 'three'", "'beyond the edge' leaves the paper"]


@pytest.mark.parametrize("width", [70, 110, 180])
def test_tables_wrap_into_their_width(width):
    rows = [[str(n), LONG, "standard-reflector, grid-20, half-cto", "400 Ws at 1/8 (−3.0)", "2.10 m"] for n in range(8)]
    heads = [Column("No", "right"), Column("Light"), Column("Modifiers"), Column("Power"), Column("Height", "right")]
    table = Table(heads, rows, width)
    page = Page(width + 20, table.height_mm + 20)
    bottom = table.draw(page, 10, 10)
    assert bottom == pytest.approx(10 + table.height_mm)
    assert page.faults() == []
    assert max(w.right_mm for w in page.words) <= 10 + width + 0.5


@pytest.fixture(scope="module")
def pages():
    made = []
    for number, theme in enumerate(THEMES.values()):
        page = Page(120, 80, theme)
        page.text(10, 10, f"Page {number} — Ключ, Ωμέγα, ΔE", TITLE)
        page.runs(10, 30, [("f/8", HEADING, None), (" at the face", SMALL, theme.quiet)])
        page.picture(10, 40, 30, 20, plane((200, 30 + 100 * number, 10)))
        page.picture(50, 40, 30, 20, plane((10, 30 + 100 * number, 200)), layer=1)
        made.append(page)
    return made


def test_pdf_keeps_type_as_type_with_fonts_embedded_and_pictures_in_place(tmp_path, pages):
    save_pdf(tmp_path / "a.pdf", pages, "A title")
    read = PdfReader(tmp_path / "a.pdf")
    assert read.metadata.title == "A title"
    assert "/CreationDate" not in read.metadata
    for number, leaf in enumerate(read.pages):
        text = leaf.extract_text()
        assert f"Page {number} — Ключ, Ωμέγα, ΔE" in text
        assert "f/8 at the face" in text.replace("\n", " ")
        for font in leaf["/Resources"]["/Font"].values():
            inner = font.get_object()
            inner = inner["/DescendantFonts"][0].get_object() if "/DescendantFonts" in inner else inner
            assert "/FontFile2" in inner["/FontDescriptor"].get_object()
            assert "SourceSansPro" in inner["/BaseFont"]
    shown = {image.name: np.asarray(image.image.convert("RGB")).mean(axis=(0, 1)) for image in read.pages[0].images}
    assert len(shown) == 4  # one table for the whole file
    colours = sorted(tuple(np.round(colour / 10) * 10) for colour in shown.values())
    assert colours == [(10, 30, 200), (10, 130, 200), (200, 30, 10), (200, 130, 10)]


def test_pdf_pictures_are_drawn_where_they_were_put(tmp_path, pages):
    """The page as another program draws it: the left picture red, the right one blue."""
    pdfium = pytest.importorskip("pypdfium2")
    save_pdf(tmp_path / "a.pdf", pages, "A title")
    drawn = np.asarray(pdfium.PdfDocument(tmp_path / "a.pdf")[1].render(scale=2).to_pil().convert("RGB"), float)
    dots = 2 * 72 / 25.4
    left, right = (drawn[int(50 * dots), int(x * dots)] for x in (25, 65))
    np.testing.assert_allclose(left, (200, 130, 10), atol=6)
    np.testing.assert_allclose(right, (10, 130, 200), atol=6)


def test_pdf_pictures_stand_upright(tmp_path):
    """As another program draws them: red above, blue below, in the PDF as in the PNG."""
    pdfium = pytest.importorskip("pypdfium2")
    page = Page(80, 60)
    pixels = np.concatenate([plane((200, 20, 20), (30, 40)), plane((20, 20, 200), (30, 40))])
    page.picture(10, 10, 20, 40, pixels)
    page.picture(40, 10, 20, 40, pixels[::-1])
    save_pdf(tmp_path / "a.pdf", [page], "A title")
    save_png(tmp_path / "a.png", page, 72)
    drawn = np.asarray(pdfium.PdfDocument(tmp_path / "a.pdf")[0].render(scale=1).to_pil().convert("RGB"), float)
    with Image.open(tmp_path / "a.png") as png:
        shown = np.asarray(png.convert("RGB"), float)
    dots = 72 / 25.4
    for x, above, below in ((20, (200, 20, 20), (20, 20, 200)), (50, (20, 20, 200), (200, 20, 20))):
        for seen in (drawn, shown):
            np.testing.assert_allclose(seen[int(18 * dots), int(x * dots)], above, atol=8)
            np.testing.assert_allclose(seen[int(42 * dots), int(x * dots)], below, atol=8)


def test_a_character_is_set_in_a_font_of_the_machine_that_has_it_and_told_where_none_has(tmp_path, monkeypatch):
    """A font made here has one Chinese character, a full square; no font has the next one."""
    from fontTools.fontBuilder import FontBuilder
    from fontTools.pens.ttGlyphPen import TTGlyphPen
    from matplotlib import font_manager

    from render.sheet import glyphs, unprintable

    pen = TTGlyphPen(None)
    for step, at in ((pen.moveTo, (0, 0)), (pen.lineTo, (0, 700)), (pen.lineTo, (700, 700)), (pen.lineTo, (700, 0))):
        step(at)
    pen.closePath()
    font = FontBuilder(1000, isTTF=True)
    font.setupGlyphOrder([".notdef", "square"])
    font.setupCharacterMap({0x6F22: "square"})
    font.setupGlyf({".notdef": TTGlyphPen(None).glyph(), "square": pen.glyph()})
    font.setupHorizontalMetrics({".notdef": (1000, 0), "square": (1000, 0)})
    font.setupHorizontalHeader(ascent=800, descent=-200)
    font.setupNameTable({"familyName": "Square Test", "styleName": "Regular"})
    font.setupOS2(sTypoAscender=800, usWinAscent=800, usWinDescent=200)
    font.setupPost()
    font.save(tmp_path / "square.ttf")
    made = font_manager.fontManager
    monkeypatch.setattr(made, "ttflist", list(made.ttflist))
    for kept in (glyphs._others, glyphs.font_with, glyphs.printable, glyphs.families):
        kept.cache_clear()
    assert glyphs.printable("a漢字") == "a\ufffd\ufffd"
    made.addfont(tmp_path / "square.ttf")
    for kept in (glyphs._others, glyphs.font_with, glyphs.printable, glyphs.families):
        kept.cache_clear()
    assert glyphs.printable("a漢字\u200d") == "a漢\ufffd"
    assert "字 (U+5B57)" in (unprintable("a漢字") or "")
    assert "漢" not in (unprintable("a漢字") or "")
    assert unprintable("f/8 + 0.3, Привет ✓") is None
    page = Page(60, 20)
    page.text(5, 5, "漢", Type(20))
    save_png(tmp_path / "a.png", page, 200)
    with Image.open(tmp_path / "a.png") as png:
        ink = np.asarray(png.convert("L")) < 100
    side = 0.7 * 20 / 72 * 200
    assert ink.sum() == pytest.approx(side**2, rel=0.06)
    for kept in (glyphs._others, glyphs.font_with, glyphs.printable, glyphs.families):
        kept.cache_clear()


def test_a_page_for_a_phone_escapes_what_it_is_told():
    from render.sheet import html

    odd = '<script>alert("1")</script> & \' so'
    page = html.html_page(odd, [
        html.heading(odd), html.paragraph(odd, "quiet"), html.facts([(odd, odd), ("none", "")]), html.items([odd]),
        html.picture(plane((1, 2, 3)), odd, odd),
    ])  # fmt: skip
    assert "<script" not in page
    assert page.count("&lt;script&gt;") == 9
    assert 'alt="&lt;script&gt;alert(&quot;1&quot;)' in page
    assert "none" not in page.split("</style>")[1]
    assert 'content="width=device-width' in page


def test_saving_a_pdf_leaves_the_page_as_it_was_and_gives_the_same_bytes(tmp_path, pages):
    save_pdf(tmp_path / "a.pdf", pages, "A title")
    save_pdf(tmp_path / "b.pdf", pages, "A title")
    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()
    assert pages[0].pictures[0].get_array().shape == (157, 236, 3)


def test_svg_keeps_type_as_type_and_carries_its_fonts(tmp_path, pages):
    save_svg(tmp_path / "a.svg", pages[0], "A title")
    tree = ET.parse(tmp_path / "a.svg")
    texts = ["".join(node.itertext()) for node in tree.iter("{http://www.w3.org/2000/svg}text")]
    assert "Page 0 — Ключ, Ωμέγα, ΔE" in texts
    style = next(node.text for node in tree.iter("{http://www.w3.org/2000/svg}style") if "@font-face" in (node.text or ""))
    assert style.count("@font-face") == 4
    assert "data:font/woff;base64," in style
    again = tmp_path / "b.svg"
    save_svg(again, pages[0], "A title")
    assert again.read_bytes() == (tmp_path / "a.svg").read_bytes()


def test_embedded_fonts_hold_the_characters_used():
    import base64
    import re

    from fontTools.ttLib import TTFont

    from render.sheet.save import font_faces

    faces = re.findall(r"base64,([^)]*)\)", font_faces("Ωabc−"))
    for face in faces[:3]:  # the italic has no Greek
        assert set(map(ord, "Ωabc−")) <= set(TTFont(io.BytesIO(base64.b64decode(face))).getBestCmap())


def test_png_has_the_size_of_the_page_and_the_colour_of_its_paper(tmp_path):
    from PIL import Image

    save_png(tmp_path / "a.png", Page(100, 50, DARK, dots_per_inch=254))
    image = Image.open(tmp_path / "a.png").convert("RGB")
    assert image.size == (1000, 500)
    assert "#{:02x}{:02x}{:02x}".format(*image.getpixel((5, 5))) == DARK.paper
