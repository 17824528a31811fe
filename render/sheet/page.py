"""A page: type, lines, areas and pictures placed in millimetres from its top left corner."""

from __future__ import annotations

import itertools
import logging
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from materials.plain import visible

from .glyphs import printable, unprintable
from .theme import LIGHT, Theme
from .type import BODY, Type, text_keys, text_width, wrapped
from .type_files import FALLBACK, FAMILY, font_files

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.image import AxesImage

_BASELINE = 0.76  # of the size, under the top of a line whose leading is 1
_ALIGNED = {"left": "left", "right": "right", "middle": "center"}
_ASCENT, _DESCENT = 0.7, 0.2  # of the size, what letters take above and under the baseline


@dataclass(frozen=True, slots=True)
class Words:
    """One line of type where it stands: its text and the edges of its letters, millimetres from the top left."""

    text: str
    left_mm: float
    top_mm: float
    right_mm: float
    bottom_mm: float

    def meets(self, other: Words) -> bool:
        """Whether two lines of type overlap."""
        beside = self.right_mm <= other.left_mm or other.right_mm <= self.left_mm
        return not (beside or self.bottom_mm <= other.top_mm or other.bottom_mm <= self.top_mm)


class Page:
    """One page of a sheet.

    Parameters
    ----------
    width_mm, height_mm : size of the paper.
    theme : its colours.
    dots_per_inch : to which pictures are resampled; also of the PNG.
    """

    def __init__(self, width_mm: float, height_mm: float, theme: Theme = LIGHT, dots_per_inch: float = 200) -> None:
        from matplotlib.figure import Figure

        font_files()
        self.width_mm, self.height_mm, self.theme, self.dots_per_inch = width_mm, height_mm, theme, dots_per_inch
        self.words: list[Words] = []
        self.texts: list[str] = []
        self.pictures: list[AxesImage] = []
        with sheet_style():
            self.figure: Figure = Figure((width_mm / 25.4, height_mm / 25.4), dpi=dots_per_inch, facecolor=theme.paper)
            self.canvas: Axes = self.figure.add_axes((0, 0, 1, 1))
        self.canvas.set_axis_off()
        self.canvas.set_autoscale_on(False)
        self.canvas.set_xlim(0, width_mm)
        self.canvas.set_ylim(height_mm, 0)

    def text(
        self, x_mm: float, top_mm: float, text: str, kind: Type = BODY, *, colour: str | None = None,
        align: str = "left", layer: float = 5,
    ) -> float:  # fmt: skip
        """One line, its line box beginning at `top_mm`; returns where the next line would begin."""
        text = visible(text)  # what no font draws, and no SVG may hold
        self.texts.append(text)
        text = printable(text)
        if text:
            baseline = top_mm + (kind.line_mm - kind.size_mm) / 2 + _BASELINE * kind.size_mm
            self.canvas.text(
                x_mm, baseline, text, color=colour or self.theme.ink, ha=_ALIGNED[align], va="baseline",
                zorder=layer, **text_keys(kind, text),
            )  # fmt: skip
            width = text_width(text, kind)
            left = x_mm - {"left": 0.0, "right": width, "middle": width / 2}[align]
            top, bottom = baseline - _ASCENT * kind.size_mm, baseline + _DESCENT * kind.size_mm
            self.words.append(Words(text, left, top, left + width, bottom))
        return top_mm + kind.line_mm

    def paragraph(
        self, x_mm: float, top_mm: float, width_mm: float, text: str, kind: Type = BODY, *, colour: str | None = None,
        most_lines: int | None = None, align: str = "left",
    ) -> float:  # fmt: skip
        """Text wrapped to a width; returns where the next line would begin."""
        at = x_mm if align == "left" else x_mm + width_mm if align == "right" else x_mm + width_mm / 2
        for line in wrapped(text, kind, width_mm, most_lines):
            top_mm = self.text(at, top_mm, line, kind, colour=colour, align=align)
        return top_mm

    def runs(
        self, x_mm: float, top_mm: float, runs: Sequence[tuple[str, Type, str | None]], *, align: str = "left"
    ) -> float:
        """One line of differently set runs (text, type, colour), on the baseline of the largest; returns its end, the
        right edge of the last run."""
        largest = max((kind for _, kind, _ in runs), key=lambda kind: kind.size_pt)
        total = sum(text_width(text, kind) for text, kind, _ in runs)
        x = x_mm - (total if align == "right" else total / 2 if align == "middle" else 0)
        for text, kind, colour in runs:
            down = (largest.line_mm - kind.line_mm) / 2 + (_BASELINE - 0.5) * (largest.size_mm - kind.size_mm)
            self.text(x, top_mm + down, text, kind, colour=colour)
            x += text_width(text, kind)
        return x

    def line(
        self, points_mm: Any, *, colour: str | None = None, width_pt: float = 0.5, dashes: Any = "-", layer: float = 3
    ) -> None:
        """A line through points (n, 2)."""
        x, y = np.asarray(points_mm, float).T
        self.canvas.plot(
            x, y, color=colour or self.theme.line, linewidth=width_pt, linestyle=dashes, zorder=layer,
            solid_capstyle="round", solid_joinstyle="round",
        )  # fmt: skip

    def rule(self, x_mm: float, y_mm: float, width_mm: float, *, colour: str | None = None, pt: float = 0.5) -> None:
        """A hairline across."""
        self.canvas.plot(
            [x_mm, x_mm + width_mm], [y_mm, y_mm], color=colour or self.theme.line, linewidth=pt, zorder=3,
            solid_capstyle="butt",
        )  # fmt: skip

    def area(
        self, points_mm: Any, *, fill: Any = None, edge: str | None = None, width_pt: float = 0.6, alpha: float = 1.0,
        dashes: Any = "-", layer: float = 2,
    ) -> None:  # fmt: skip
        """A polygon with corners (n, 2)."""
        from matplotlib.patches import Polygon

        self.canvas.add_patch(
            Polygon(
                np.asarray(points_mm, float), closed=True, facecolor=fill or "none", edgecolor=edge or "none",
                linewidth=width_pt if edge else 0, alpha=alpha, linestyle=dashes, zorder=layer, joinstyle="round",
            )
        )  # fmt: skip

    def box(self, x_mm: float, y_mm: float, width_mm: float, height_mm: float, **look: Any) -> None:
        """A rectangle; `look` as for `area`."""
        corners = [(0, 0), (width_mm, 0), (width_mm, height_mm), (0, height_mm)]
        self.area([(x_mm + x, y_mm + y) for x, y in corners], **look)

    def disc(self, x_mm: float, y_mm: float, radius_mm: float, **look: Any) -> None:
        """A circle; `look` as for `area`."""
        turn = np.linspace(0, 2 * np.pi, 49)[:-1]
        self.area(np.stack([x_mm + radius_mm * np.cos(turn), y_mm + radius_mm * np.sin(turn)], axis=1), **look)

    def picture(
        self, x_mm: float, y_mm: float, width_mm: float, height_mm: float, pixels: np.ndarray, layer: float = 2
    ) -> None:
        """A picture (h, w, 3) uint8 that fills the area; resampled once, to the page's dots."""
        from matplotlib.image import AxesImage
        from PIL import Image

        across, down = (max(1, round(mm / 25.4 * self.dots_per_inch)) for mm in (width_mm, height_mm))
        size = (across, down)
        image = Image.fromarray(np.ascontiguousarray(pixels))
        if image.size != size:
            image = image.resize(size, Image.Resampling.LANCZOS)
        shown = AxesImage(
            self.canvas, extent=(x_mm, x_mm + width_mm, y_mm + height_mm, y_mm), origin="upper", interpolation="none",
            zorder=layer,
        )  # fmt: skip
        shown.set_data(np.asarray(image))
        shown.set_clip_path(self.canvas.patch)
        self.canvas.add_image(shown)
        self.pictures.append(shown)

    def notes(self) -> list[str]:
        """What of this page's type could not be printed, in a sentence; empty where all was."""
        lost = unprintable(*self.texts)
        return [] if lost is None else [lost]

    def faults(self) -> list[str]:
        """What is wrong with the type of this page: lines that overlap, and lines that leave the paper."""
        found = [f"'{a.text}' meets '{b.text}'" for a, b in itertools.combinations(self.words, 2) if a.meets(b)]
        for w in self.words:
            if w.left_mm < 0 or w.top_mm < 0 or w.right_mm > self.width_mm or w.bottom_mm > self.height_mm:
                found.append(f"'{w.text}' leaves the paper")
        return found


@contextmanager
def sheet_style() -> Iterator[None]:
    """matplotlib settings under which sheets are made and saved: own type, kept as type."""
    import matplotlib

    style: Any = {
        "font.family": [FAMILY, FALLBACK], "pdf.fonttype": 42, "svg.fonttype": "none", "svg.hashsalt": "keyfall",
        "text.hinting": "none", "path.simplify": True, "lines.scale_dashes": True,
    }  # fmt: skip
    talk = logging.getLogger("matplotlib.font_manager")
    level = talk.level
    talk.setLevel(logging.ERROR)  # it tells of every cut that the fallback lacks
    try:
        with matplotlib.rc_context(style), warnings.catch_warnings():
            warnings.filterwarnings("ignore", message="Glyph .* missing from font")
            yield
    finally:
        talk.setLevel(level)
