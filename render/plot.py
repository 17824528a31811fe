"""Exposure maps as pictures: false colour, a contour with its label at each stop, and a legend in stops."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np

from .maps import DARKEST_STOPS, ExposureMap, MapNumbers
from .palette import FROM_STOPS, TO_STOPS, colours

_INK, _PAPER, _QUIET = "#1d1f24", "#f4f2ee", "#6b6f78"
_LEGEND_PX = 128
_CAPTION_PX = 84
_HEADING_CHARACTER_PX = 11.0


def write_map(path: Path, exposure_map: ExposureMap, numbers: MapNumbers, scene_title: str) -> None:
    """Draw one map to a PNG.

    The picture keeps its pixels one to one; legend and caption stand beside and under it. Pixels outside the map's
    mask are shown in pale grey; pixels without detail are hatched.
    """
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot as plt

    height, width = exposure_map.stops.shape
    scale = max(1.0, 640 / max(height, width))
    size = ((width * scale + _LEGEND_PX) / 100, (height * scale + _CAPTION_PX) / 100)
    with plt.rc_context({"font.size": 9, "font.family": "DejaVu Sans", "text.color": _INK, "hatch.linewidth": 0.6}):
        figure = plt.figure(figsize=size, dpi=100, facecolor=_PAPER)
        try:
            with warnings.catch_warnings():  # a title in a script the font lacks shows as boxes
                warnings.filterwarnings("ignore", message="Glyph .* missing from font")
                _draw(figure, exposure_map, numbers, scene_title, size)
                figure.savefig(path, format="png", facecolor=_PAPER)
        finally:
            plt.close(figure)


def _draw(figure, exposure_map: ExposureMap, numbers: MapNumbers, scene_title: str, size: tuple[float, float]) -> None:
    total_width, total_height = size[0] * 100, size[1] * 100
    picture_width, picture_height = total_width - _LEGEND_PX, total_height - _CAPTION_PX
    picture = figure.add_axes(
        (0, _CAPTION_PX / total_height, picture_width / total_width, picture_height / total_height)
    )
    _draw_picture(picture, exposure_map)
    legend = figure.add_axes(
        (
            (picture_width + 22) / total_width,
            (_CAPTION_PX + 24) / total_height,
            20 / total_width,
            (picture_height - 72) / total_height,
        )
    )
    _draw_legend(legend, exposure_map)
    unit = "stops from set aperture" if exposure_map.name == "incident" else "stops from mid-grey"
    figure.text(
        (picture_width + 22) / total_width, 1 - 14 / total_height, unit.replace(" from ", "\nfrom "), va="top", fontsize=8
    )
    figure.text(
        14 / total_width, 62 / total_height, _heading(scene_title, exposure_map.title, total_width - 28),
        fontsize=11, va="center", parse_math=False,
    )  # fmt: skip
    figure.text(14 / total_width, 28 / total_height, _caption(exposure_map, numbers), fontsize=9, color=_QUIET, va="center")


def _draw_picture(axes, exposure_map: ExposureMap) -> None:
    stops, mask = exposure_map.stops, exposure_map.mask
    height, width = stops.shape
    rgb = colours(stops).astype(np.float32)
    rgb[~mask] = 0.82 * 255 + 0.12 * (rgb[~mask].mean(axis=1, keepdims=True) - 128)
    axes.imshow(rgb.astype(np.uint8), extent=(0, width, height, 0), interpolation="nearest", aspect="auto")
    axes.set_axis_off()
    axes.set_xlim(0, width)
    axes.set_ylim(height, 0)
    smooth = _smooth(stops, mask)
    levels = np.arange(np.ceil(FROM_STOPS), TO_STOPS + 0.5)
    present = [level for level in levels if np.nanmin(smooth, initial=99) < level < np.nanmax(smooth, initial=-99)]
    x, y = np.arange(width) + 0.5, np.arange(height) + 0.5
    if present:
        lines = axes.contour(
            x, y, smooth, levels=present, linewidths=[1.3 if level == 0 else 0.6 for level in present],
            colors=[_line_colour(level) for level in present], linestyles="solid",
        )  # fmt: skip
        axes.clabel(lines, fmt=lambda level: _signed(level), fontsize=7, inline_spacing=2)
    clipped = np.where(mask, stops, DARKEST_STOPS) > exposure_map.clipped_above
    if exposure_map.name != "incident" and clipped.any():
        axes.contourf(x, y, clipped.astype(float), levels=[0.5, 1.5], colors="none", hatches=["////"])
    axes.set_rasterized(True)


def _line_colour(level: float) -> str:
    return "#ffffffb0" if level < -1 else "#1d1f24c0"


def _smooth(stops: np.ndarray, mask: np.ndarray) -> np.ndarray:
    """Stops blurred by two pixels inside the mask, so that contours follow tones and not grain; NaN outside."""
    from scipy.ndimage import gaussian_filter

    weight = gaussian_filter(mask.astype(np.float32), 2.0)
    blurred = gaussian_filter(np.where(mask, stops, 0).astype(np.float32), 2.0) / np.maximum(weight, 1e-6)
    return np.where(mask, blurred, np.nan)


def _draw_legend(axes, exposure_map: ExposureMap) -> None:
    ramp = np.linspace(TO_STOPS, FROM_STOPS, 256)[:, None]
    axes.imshow(colours(ramp), extent=(0, 1, FROM_STOPS, TO_STOPS), aspect="auto")
    ticks = np.arange(np.ceil(FROM_STOPS), TO_STOPS + 0.5)
    labels = [_signed(t) + ("  mid-grey" if t == 0 and exposure_map.name != "incident" else "") for t in ticks]
    axes.set_yticks(ticks, labels)
    axes.yaxis.tick_right()
    axes.set_xticks([])
    axes.tick_params(length=3, labelsize=8, colors=_INK)
    if exposure_map.name != "incident":
        axes.axhspan(exposure_map.clipped_above, TO_STOPS, facecolor="none", edgecolor=_INK, hatch="////", linewidth=0)
    for spine in axes.spines.values():
        spine.set_visible(False)


def _signed(level: float) -> str:
    return "0" if round(level) == 0 else f"{level:+.0f}".replace("-", "\u2212")


def _heading(scene_title: str, map_title: str, room_px: float) -> str:
    """Scene and map on one line, the scene's title cut where it would not fit."""
    printable = "".join(c if c.isprintable() else " " for c in scene_title)
    title = " ".join(printable.split())
    most = max(int(room_px / _HEADING_CHARACTER_PX) - len(map_title) - 2, 8)
    if len(title) > most:
        title = title[: most - 1].rstrip() + "\u2026"
    return f"{title}: {map_title}" if title else map_title


def _caption(exposure_map: ExposureMap, numbers: MapNumbers) -> str:
    if numbers.median is None:
        return "nothing of it is in the picture"
    spread = " \u00b7 ".join(
        f"{word} {value:+.1f}".replace("-", "\u2212")
        for word, value in (("darkest", numbers.minimum), ("median", numbers.median), ("brightest", numbers.maximum))
    )
    if exposure_map.name == "incident":
        return f"{spread} stops"
    return f"{spread} stops\nno detail (hatched) {100 * numbers.share_clipped:.1f} % \u00b7 under \u22125 stops {100 * numbers.share_dark:.1f} %"
