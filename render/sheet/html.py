"""A sheet as one file of HTML for a phone: pictures and fonts inside, no scripts, one column from 320 px wide up."""

from __future__ import annotations

import base64
import io
from collections.abc import Iterable, Sequence
from html import escape

import numpy as np

from .page import Page
from .save import CSS_FAMILY, font_faces, save_png
from .theme import LIGHT

_LONGEST_PX, _JPEG_QUALITY = 1100, 88
_RULES = """
*{box-sizing:border-box}
html{-webkit-text-size-adjust:100%}
body{margin:0 auto;padding:1.6rem 1.1rem 3rem;max-width:40rem;background:PAPER;color:INK;font:400 1.0625rem/1.45 FAMILY;
overflow-wrap:anywhere}
h1,h2,h3,p,ul,ol,dl,dd,figure{margin:0;padding:0}
h1{font-weight:700;font-size:1.9rem;line-height:1.1;text-wrap:balance}
h2{font-weight:600;font-size:1.3rem;line-height:1.25;margin-top:2.6rem;padding-top:.9rem;border-top:1px solid LINE}
h3{font-weight:600;font-size:1.0625rem;margin-top:1.3rem}
p{margin-top:.5rem}
.quiet{color:QUIET;font-size:.9375rem}
img{display:block;width:100%;height:auto}
figure{margin-top:1rem}
figcaption{color:QUIET;font-size:.9375rem;margin-top:.3rem}
.wide{overflow-x:auto}
.wide img{width:auto;max-width:none;height:30rem}
dl{display:grid;grid-template-columns:minmax(6.5rem,auto) 1fr;gap:.15rem 1rem;margin-top:.6rem}
dt{color:QUIET}
dd{font-weight:600}
ul,ol{padding-left:1.2rem;margin-top:.5rem}
li{margin-bottom:.5rem}
.met,.missed{padding-left:.6rem;border-left:.25rem solid GOOD}
.missed{border-color:DOUBT}
"""


def html_page(title: str, body: Sequence[str]) -> str:
    """The whole page as text; `body` holds pieces made by the functions below, in their order."""
    theme, inside = LIGHT, "\n".join(body)
    rules = _RULES.replace("FAMILY", CSS_FAMILY).replace("\n", "")
    for word in ("paper", "ink", "quiet", "line", "good", "doubt"):
        rules = rules.replace(word.upper(), getattr(theme, word))
    letters = "".join(sorted({*inside, *title}))
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>{font_faces(letters)}{rules}</style>\n</head>\n"
        f"<body>\n<h1>{escape(title)}</h1>\n{inside}\n</body>\n</html>\n"
    )


def heading(text: str, level: int = 2) -> str:
    """A heading of level 2 or 3."""
    return f"<h{level}>{escape(text)}</h{level}>"


def paragraph(text: str, look: str = "") -> str:
    """A paragraph; `look` is "", "quiet", "met" or "missed"."""
    return f'<p class="{look}">{escape(text)}</p>' if look else f"<p>{escape(text)}</p>"


def picture(pixels: np.ndarray, words: str, caption: str = "", *, wide: bool = False) -> str:
    """A picture (h, w, 3) uint8 sRGB with words for those who do not see it; a `wide` one scrolls to the side."""
    height, width = pixels.shape[:2]
    under = f"<figcaption>{escape(caption)}</figcaption>" if caption else ""
    image = f'<img src="{picture_uri(pixels, _LONGEST_PX)}" width="{width}" height="{height}" alt="{escape(words)}">'
    return f'<figure class="wide">{image}{under}</figure>' if wide else f"<figure>{image}{under}</figure>"


def facts(pairs: Iterable[tuple[str, str]]) -> str:
    """Names and what they are, one under the other; those without a value are left out."""
    rows = "".join(f"<dt>{escape(name)}</dt><dd>{escape(value)}</dd>" for name, value in pairs if value)
    return f"<dl>{rows}</dl>" if rows else ""


def items(texts: Iterable[str], *, numbered: bool = False) -> str:
    """A list; nothing for none."""
    rows = "".join(f"<li>{escape(text)}</li>" for text in texts)
    tag = "ol" if numbered else "ul"
    return f"<{tag}>{rows}</{tag}>" if rows else ""


def picture_uri(pixels: np.ndarray, longest_px: int) -> str:
    """A picture as a JPEG data URI, no side longer than `longest_px`."""
    from PIL import Image

    image = Image.fromarray(np.ascontiguousarray(pixels))
    if max(image.size) > longest_px:
        image.thumbnail((longest_px, longest_px), Image.Resampling.LANCZOS)
    buffer = io.BytesIO()
    image.save(buffer, "JPEG", quality=_JPEG_QUALITY, subsampling=0, optimize=True)
    return f"data:image/jpeg;base64,{base64.b64encode(buffer.getvalue()).decode('ascii')}"


def page_pixels(page: Page) -> np.ndarray:
    """A drawn page as pixels (h, w, 3) uint8."""
    from PIL import Image

    buffer = io.BytesIO()
    save_png(buffer, page)
    buffer.seek(0)
    return np.asarray(Image.open(buffer).convert("RGB"))
