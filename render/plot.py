"""Exposure maps as pictures: false colour, a contour with its label at each stop, and a legend in stops."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

import numpy as np

from scenes.meters import format_stops

from .maps import DARKEST_STOPS, ExposureMap, MapNumbers
from .palette import FROM_STOPS, TO_STOPS, colours
from .sheet.page import sheet_style
from .sheet.type import Type, shortened, text_width
from .sheet.type_files import font_files

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

INK, PAPER, QUIET = "#1d1f24", "#f4f2ee", "#6b6f78"
_UNITS = {"incident": "stops from set aperture", "haze-against": "stops from behind"}
_LEGEND_PX = 128
_CAPTION_PX, _LINE_PX = 84, 16
_SHORTEST_PX, _LABELLED_PX = 36, 110
_CONTOUR_BLUR_PX, _DIFFUSED = 2.5, 0.2
_LABEL_ROOM_PX = 18
_SHOWN_PX = 640
_FACE_MARGIN = 0.12
_HEADING = Type(12.5)
_PX_PER_MM = 100 / 25.4


def write_map(path: Path | BinaryIO, exposure_map: ExposureMap, numbers: MapNumbers, scene_title: str) -> None:
    """Draw one map to a PNG.

    The picture keeps its pixels one to one (the face is cropped and enlarged); legend and caption stand beside and
    under it. Pixels outside the map's mask are shown in pale grey; pixels without detail are hatched.
    """
    if exposure_map.name == "face":
        exposure_map = _cropped(exposure_map)
    height, width = exposure_map.stops.shape
    scale = max(1.0, _SHOWN_PX / max(height, width))
    size_px = (width * scale + _LEGEND_PX, height * scale + _under_px(exposure_map))
    with new_figure(*size_px) as figure:
        _draw(figure, exposure_map, numbers, scene_title, size_px)
        figure.savefig(path, format="png", facecolor=PAPER, pil_kwargs={"compress_level": 3})


def write_maps(path: Path, maps: list[tuple[ExposureMap, MapNumbers]], scene_title: str) -> None:
    """Draw maps side by side into one PNG."""
    import io

    from PIL import Image

    pictures = []
    for exposure_map, numbers in maps:
        buffer = io.BytesIO()
        write_map(buffer, exposure_map, numbers, scene_title)
        pictures.append(Image.open(buffer).convert("RGB"))
    sheet = Image.new("RGB", (sum(p.width for p in pictures), max(p.height for p in pictures)), PAPER)
    x = 0
    for picture in pictures:
        sheet.paste(picture, (x, 0))
        x += picture.width
    sheet.save(path, format="PNG", compress_level=3)


@contextmanager
def new_figure(width_px: float, height_px: float) -> Iterator[Figure]:
    """A figure of this size at 100 dots an inch, in Keyfall's type and colours; draw and save it inside the block."""
    import matplotlib
    from matplotlib.figure import Figure

    style: Any = {
        "font.size": 10,
        "text.color": INK,
        "hatch.linewidth": 0.6,
        "axes.edgecolor": QUIET,
        "axes.labelcolor": INK,
    }
    font_files()
    with sheet_style(), matplotlib.rc_context(style):
        yield Figure(figsize=(width_px / 100, height_px / 100), dpi=100, facecolor=PAPER)


def _cropped(exposure_map: ExposureMap) -> ExposureMap:
    """The map around its mask, with a margin; the whole of it when the mask is empty."""
    rows, columns = np.nonzero(exposure_map.mask)
    if not len(rows):
        return exposure_map
    height, width = exposure_map.mask.shape
    margin = int(_FACE_MARGIN * max(np.ptp(rows), np.ptp(columns))) + 4
    area = (
        slice(max(rows.min() - margin, 0), min(rows.max() + margin + 1, height)),
        slice(max(columns.min() - margin, 0), min(columns.max() + margin + 1, width)),
    )
    lost, edges = (None if m is None else m[area] for m in (exposure_map.no_detail, exposure_map.edges))
    return replace(
        exposure_map, stops=exposure_map.stops[area], mask=exposure_map.mask[area], no_detail=lost, edges=edges
    )


def _draw(
    figure: Figure, exposure_map: ExposureMap, numbers: MapNumbers, scene_title: str, size_px: tuple[float, float]
) -> None:
    total_width, total_height = size_px
    under = _under_px(exposure_map)
    picture_width, picture_height = total_width - _LEGEND_PX, total_height - under
    picture = figure.add_axes((0, under / total_height, picture_width / total_width, picture_height / total_height))
    _draw_picture(picture, exposure_map)
    legend = figure.add_axes(
        (
            (picture_width + 22) / total_width,
            (under + 24) / total_height,
            20 / total_width,
            (picture_height - 72) / total_height,
        )
    )
    _draw_legend(legend, exposure_map)
    unit = _UNITS.get(exposure_map.name, "stops from mid-grey")
    figure.text(
        (picture_width + 22) / total_width,
        1 - 14 / total_height,
        unit.replace(" from ", "\nfrom "),
        va="top",
        fontsize=9,
    )
    figure.text(
        14 / total_width, (under - 22) / total_height, _heading(scene_title, exposure_map.title, total_width - 28),
        fontsize=_HEADING.size_pt, va="center", parse_math=False,
    )  # fmt: skip
    figure.text(
        14 / total_width, (under - 28) / 2 / total_height, _caption(exposure_map, numbers, total_width - 28),
        fontsize=10.5, color=QUIET, va="center", parse_math=False,
    )  # fmt: skip


def _under_px(exposure_map: ExposureMap) -> int:
    """Height of the caption: a line more where something is left out of the map."""
    return _CAPTION_PX + (_LINE_PX if exposure_map.left_out else 0)


def _draw_picture(axes: Axes, exposure_map: ExposureMap) -> None:
    stops, mask = exposure_map.stops, exposure_map.mask
    height, width = stops.shape
    rgb = colours(stops).astype(np.float32)
    rgb[~mask] = 0.82 * 255 + 0.12 * (rgb[~mask].mean(axis=1, keepdims=True) - 128)
    axes.imshow(rgb.astype(np.uint8), extent=(0, width, height, 0), interpolation="nearest", aspect="auto")
    axes.set_axis_off()
    axes.set_xlim(0, width)
    axes.set_ylim(height, 0)
    inner = mask if exposure_map.edges is None else mask & ~exposure_map.edges
    _draw_contours(axes, smooth_inside(stops, inner))
    x, y = np.arange(width) + 0.5, np.arange(height) + 0.5
    if exposure_map.no_detail is not None and (lost := exposure_map.no_detail & mask).any():
        axes.contourf(x, y, lost.astype(float), levels=[0.5, 1.5], colors="none", hatches=["////"])
    axes.set_rasterized(True)


def _draw_contours(axes: Axes, smooth: np.ndarray) -> None:
    """A line at every whole stop, mid-grey's the boldest; each long one carries its stop, the shortest are left out."""
    import contourpy
    from matplotlib.patheffects import withStroke

    height, width = smooth.shape
    finer = min(max(height, width) / _SHOWN_PX, 1.0)  # pixels of the map to one as shown
    placed: list[np.ndarray] = []
    grid = contourpy.contour_generator(np.arange(width) + 0.5, np.arange(height) + 0.5, np.ma.masked_invalid(smooth))
    for level in np.arange(np.ceil(FROM_STOPS), TO_STOPS + 0.5):
        ink, halo = ("#f4f2ee", "#0d1526") if level < -1 else ("#1d1f24", "#e9dcc4")
        for found in grid.lines(level):
            line = np.asarray(found, float)
            steps = np.linalg.norm(np.diff(line, axis=0), axis=1)
            if steps.sum() < _SHORTEST_PX * finer:
                continue
            axes.plot(*line.T, color=ink, alpha=0.8, linewidth=1.4 if level == 0 else 0.6, solid_capstyle="round")
            if steps.sum() > _LABELLED_PX * finer:
                spot = _free_spot(line, placed, np.array([width, height]), finer)
                if spot is not None:
                    placed.append(spot)
                    axes.text(
                        float(spot[0]), float(spot[1]), _signed(level), color=ink, fontsize=9, ha="center", va="center",
                        path_effects=[withStroke(linewidth=2.2, foreground=halo)],
                    )  # fmt: skip


def _free_spot(line: np.ndarray, placed: list[np.ndarray], size: np.ndarray, finer: float) -> np.ndarray | None:
    """A point of a contour (n, 2) clear of the labels `placed` so far, nearest its middle; None when there is none."""
    line = np.clip(line, 12 * finer, size - 12 * finer)
    middle = len(line) // 2
    for index in sorted(range(0, len(line), 4), key=lambda i: abs(i - middle)):
        if all(np.abs(line[index] - other).max() > _LABEL_ROOM_PX * finer for other in placed):
            return line[index]
    return None


def smooth_inside(stops: np.ndarray, inside: np.ndarray) -> np.ndarray:
    """Stops blurred a little, so that contours follow tones and not grain; NaN where `inside` (H, W) is false.

    By steps of diffusion between neighbours that are both inside (sigma squared is twice their sum), so nothing comes
    over from another surface.
    """
    values = np.where(inside, stops, 0.0).astype(np.float32)
    across, down = inside[:, 1:] & inside[:, :-1], inside[1:] & inside[:-1]
    for _ in range(round(_CONTOUR_BLUR_PX**2 / 2 / _DIFFUSED)):
        right, lower = across * np.diff(values, axis=1), down * np.diff(values, axis=0)
        values[:, :-1] += _DIFFUSED * right
        values[:, 1:] -= _DIFFUSED * right
        values[:-1] += _DIFFUSED * lower
        values[1:] -= _DIFFUSED * lower
    return np.where(inside, values, np.nan)


def _draw_legend(axes: Axes, exposure_map: ExposureMap) -> None:
    ramp = np.linspace(TO_STOPS, FROM_STOPS, 256)[:, None]
    axes.imshow(colours(ramp), extent=(0, 1, FROM_STOPS, TO_STOPS), aspect="auto")
    ticks = np.arange(np.ceil(FROM_STOPS), TO_STOPS + 0.5)
    labels = [_signed(t) + ("  mid-grey" if t == 0 and exposure_map.name not in _UNITS else "") for t in ticks]
    axes.set_yticks(ticks, labels)
    axes.yaxis.tick_right()
    axes.set_xticks([])
    axes.tick_params(length=3, labelsize=9, colors=INK)
    for spine in axes.spines.values():
        spine.set_visible(False)


def _signed(level: float) -> str:
    return "0" if round(level) == 0 else f"{level:+.0f}".replace("-", "\u2212")


def _heading(scene_title: str, map_title: str, room_px: float) -> str:
    """Scene and map on one line, the scene's title cut where it would not fit."""
    printable = "".join(c if c.isprintable() else " " for c in scene_title)
    title = " ".join(printable.split())
    if not title:
        return map_title
    rest = f": {map_title}"
    return shortened(title, _HEADING, room_px / _PX_PER_MM - text_width(rest, _HEADING)) + rest


def _stops_words(value: float | None) -> str:
    """Stops as a caption says them; what a map counts as its darkest may be darker still."""
    assert value is not None
    under = "under " if value <= DARKEST_STOPS else ""
    return under + format_stops(value).replace("-", "\u2212")


def _caption(exposure_map: ExposureMap, numbers: MapNumbers, room_px: float) -> str:
    if numbers.median is None:
        return "nothing of it is in the picture"
    spread = " \u00b7 ".join(
        f"{word} {_stops_words(value)}"
        for word, value in (("darkest", numbers.minimum), ("median", numbers.median), ("brightest", numbers.maximum))
    )
    lines = [f"{spread} stops"]
    if numbers.share_no_detail is not None:
        lost, dark = 100 * numbers.share_no_detail, 100 * (numbers.share_dark or 0.0)
        lines.append(f"no detail (hatched) {lost:.1f} % \u00b7 under \u22125 stops {dark:.1f} %")
    if exposure_map.left_out:
        kind = Type(10.5)
        lines.append(shortened(f"left out: {exposure_map.left_out}", kind, room_px / _PX_PER_MM))
    return "\n".join(lines)
