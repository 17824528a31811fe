"""Pages to files: PDF with type as type, SVG that carries its fonts, PNG."""

from __future__ import annotations

import base64
import io
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, cast

import numpy as np

from .page import Page, sheet_style
from .type_files import FALLBACK, FAMILY, font_files

if TYPE_CHECKING:
    from matplotlib.image import AxesImage
    from pypdf import PdfReader, PdfWriter
    from pypdf.generic import DictionaryObject, StreamObject

_JPEG_QUALITY = 92
_MAKER = "Keyfall"
_CSS_WEIGHTS = {"regular": ("400", "normal"), "semibold": ("600", "normal"), "bold": ("700", "normal"),
                "italic": ("400", "italic")}  # fmt: skip


def save_png(path: Path | io.BytesIO, page: Page, dots_per_inch: float | None = None) -> None:
    """A page as an sRGB PNG."""
    with sheet_style():
        page.figure.savefig(
            path, format="png", dpi=dots_per_inch or page.dots_per_inch, facecolor=page.theme.paper,
            pil_kwargs={"compress_level": 2}, metadata={"Software": _MAKER},
        )  # fmt: skip


def save_pdf(path: Path, pages: Sequence[Page], title: str) -> None:
    """Pages as one PDF: fonts embedded, pictures as JPEG.

    matplotlib writes pictures without loss, many times larger; it is given a black pixel over a white one for each, for
    which the picture is put in afterwards, its rows in the order in which matplotlib stored those two.
    """
    from matplotlib.backends.backend_pdf import PdfPages
    from pypdf import PdfReader, PdfWriter

    buffer = io.BytesIO()
    with sheet_style(), _two_pixels_each(pages), PdfPages(buffer, metadata={"CreationDate": None}) as book:
        for page in pages:
            book.savefig(page.figure, facecolor=page.theme.paper, dpi=page.dots_per_inch)
    reader = PdfReader(buffer)
    writer = PdfWriter(clone_from=reader)
    rows = 1 if _stored_from_the_top(reader) else -1
    _put_pictures(writer, [np.asarray(image.get_array(), np.uint8)[::rows] for page in pages for image in _drawn(page)])
    writer.add_metadata({"/Title": title, "/Creator": _MAKER, "/Producer": _MAKER})
    writer.write(path)


def _drawn(page: Page) -> list[AxesImage]:
    """Pictures of a page in the order in which they are drawn."""
    return sorted(page.pictures, key=lambda image: image.get_zorder())


@contextmanager
def _two_pixels_each(pages: Sequence[Page]) -> Iterator[None]:
    images = [image for page in pages for image in page.pictures]
    pixels = [image.get_array() for image in images]
    for image in images:
        image.set_data(np.array([[[0, 0, 0]], [[255, 255, 255]]], np.uint8))
    try:
        yield
    finally:
        for image, values in zip(images, pixels, strict=True):
            image.set_data(values)


def _stored_from_the_top(reader: PdfReader) -> bool:
    """Whether matplotlib, which turns pictures over or not by version, stored the black pixel first."""
    for leaf in reader.pages:
        for stored in leaf.images:
            if stored.image is not None:
                return bool(np.asarray(stored.image.convert("L"))[0, 0] < 128)
    return True


def _put_pictures(writer: PdfWriter, images: list[np.ndarray]) -> None:
    """Give every picture, which matplotlib numbers as it draws them, its JPEG."""
    from pypdf.generic import NameObject

    resources = [cast("DictionaryObject", leaf["/Resources"].get_object()) for leaf in writer.pages]
    tables = [cast("DictionaryObject", r["/XObject"].get_object()) for r in resources if "/XObject" in r]
    names = {name for table in tables for name in table if re.fullmatch(r"/I\d+", name)}
    order = sorted(names, key=lambda name: int(name[2:]))
    put = {
        name: writer._add_object(_jpeg_stream(np.ascontiguousarray(image)))
        for name, image in zip(order, images, strict=True)
    }
    for table in tables:
        for name in put.keys() & table.keys():
            table[NameObject(name)] = put[name]


def _jpeg_stream(pixels: np.ndarray) -> StreamObject:
    from PIL import Image
    from pypdf.generic import NameObject, NumberObject, StreamObject

    buffer = io.BytesIO()
    Image.fromarray(pixels).save(buffer, format="JPEG", quality=_JPEG_QUALITY, subsampling=0)
    stream = StreamObject()
    stream.set_data(buffer.getvalue())
    names = {
        "/Type": "/XObject", "/Subtype": "/Image", "/ColorSpace": "/DeviceRGB", "/Filter": "/DCTDecode",
    }  # fmt: skip
    numbers = {"/Width": pixels.shape[1], "/Height": pixels.shape[0], "/BitsPerComponent": 8}
    stream.update({NameObject(key): NameObject(value) for key, value in names.items()})
    stream.update({NameObject(key): NumberObject(value) for key, value in numbers.items()})
    return stream


def save_svg(path: Path, page: Page, title: str, pages: Sequence[Page] = ()) -> None:
    """A page as SVG: text as text, with the characters it uses embedded as fonts.

    `pages` : the document it belongs to, whose pages then share one set of fonts, which is made once.
    """
    buffer = io.StringIO()
    with sheet_style():
        page.figure.savefig(
            buffer, format="svg", facecolor=page.theme.paper, dpi=page.dots_per_inch,
            metadata={"Title": title, "Creator": _MAKER, "Date": None},
        )  # fmt: skip
    used = {letter for of in (page, *pages) for words in of.words for letter in words.text}
    style = f"<style>{font_faces(''.join(sorted(used)))}</style>"
    text = re.sub(r"(<svg [^>]*>)", lambda opening: opening.group(1) + style, buffer.getvalue(), count=1)
    path.write_text(text, encoding="utf-8")


def font_faces(characters: str) -> str:
    """CSS that embeds the type family, cut down to some characters."""
    return "".join(
        f"@font-face{{font-family:'{FAMILY}';font-weight:{weight};font-style:{style};"
        f"src:url(data:font/woff;base64,{_subset(file, characters)}) format('woff')}}"
        for file, (weight, style) in ((font_files()[cut], css) for cut, css in _CSS_WEIGHTS.items())
    )


@lru_cache(maxsize=16)
def _subset(file: Path, characters: str) -> str:
    from fontTools import subset

    options = subset.Options(flavor="woff", layout_features=["kern", "liga"], notdef_outline=True)
    with subset.load_font(str(file), options) as font:
        cutter = subset.Subsetter(options)
        cutter.populate(text=characters + " ")
        cutter.subset(font)
        buffer = io.BytesIO()
        subset.save_font(font, buffer, options)
    return base64.b64encode(buffer.getvalue()).decode("ascii")


CSS_FAMILY = f"'{FAMILY}', '{FALLBACK}', sans-serif"
"""What a page of HTML asks for."""
