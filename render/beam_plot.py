"""The sheet of `keyfall beam`: each setup's beam on a wall with a person for scale, and how it falls off."""

from __future__ import annotations

import math
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from scenes.beams import BEAM_SHARE, FIELD_SHARE, wall
from scenes.field import axial_illuminance_per_lumen
from scenes.meters import aperture_words

from .beam import DARKEST_STOPS, REFERENCE, BeamAt, BeamReport, Setup, SetupReport
from .develop import encode_srgb
from .plot import INK, PAPER, QUIET, new_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LINES = ("#2f5d8c", "#b8702a", "#3f7d5a", "#8c3f63", "#6f6a2e", "#4a4f94", "#a04438", "#4c7f86")
_DASHES: Any = (
    "-",
    (0, (6, 2)),
    (0, (2, 1.5)),
    (0, (8, 2, 2, 2)),
    (0, (4, 1)),
    (0, (1, 1)),
    (0, (10, 3)),
    (0, (3, 1, 1, 1)),
)
_FIGURE = "kofi"
_WALL_PX, _TEXT_PX, _GAP_PX, _HEAD_PX, _CHART_PX = 290, 290, 14, 84, 300
_NEAR_M = 1.0
_NEAR_VIEW_M, _FAR_VIEW_M = 1.3, 2.6
_FACE_AT = 0.66  # of the view's height
_RASTER = 108
_RASTER_BLUR = 0.9
_WALL_TONE = 0.36
_DARK_AXIS = 0.05
"""Share of the brightest place under which the axis is behind a bar, and the picture is made for the brightest."""
_BEAM_INK, _FIELD_INK = "#c8741e", "#2f6fae"


def write_beam_sheet(path: Path, setups: list[Setup], report: BeamReport) -> None:
    """Draw the sheet to a PNG: a row a setup, a column a distance, and two charts under them."""
    distances = [at.distance_m for at in report.setups[0].at]
    width = 2 * _GAP_PX + _TEXT_PX + len(distances) * (_WALL_PX + _GAP_PX)
    width = max(width, 900)
    height = _HEAD_PX + len(setups) * (_WALL_PX + _GAP_PX) + _CHART_PX + 2 * _GAP_PX
    with new_figure(width, height) as figure:
        _heading(figure, report, width, height)
        for row, (setup, numbers) in enumerate(zip(setups, report.setups, strict=True)):
            top = height - _HEAD_PX - row * (_WALL_PX + _GAP_PX)
            _row_text(figure, numbers, row, top, width, height)
            for column, at in enumerate(numbers.at):
                left = _GAP_PX + _TEXT_PX + column * (_WALL_PX + _GAP_PX)
                box = (left / width, (top - _WALL_PX) / height, _WALL_PX / width, _WALL_PX / height)
                _wall(figure.add_axes(box), setup, at, row == 0)
        _charts(figure, report, width, height)
        figure.savefig(path, format="png", facecolor=PAPER, pil_kwargs={"compress_level": 6})


def _heading(figure: Figure, report: BeamReport, width: int, height: int) -> None:
    what = "continuous, 1/60 s" if report.continuous else "flash"
    title = f"On the head {report.head} ({what}), full power, ISO {report.iso:g}"
    figure.text(_GAP_PX / width, 1 - 26 / height, "Beams on a wall", fontsize=16.8, va="center", weight="bold")
    figure.text(_GAP_PX / width, 1 - 54 / height, title, fontsize=10.6, va="center", color=QUIET)
    key = "lines: stops under the axis   loss: on the axis, same distance from the front"
    figure.text(1 - _GAP_PX / width, 1 - 54 / height, key, fontsize=10.1, va="center", ha="right", color=QUIET)
    figure.text(
        1 - _GAP_PX / width, 1 - 26 / height, "field 10 %", fontsize=10.6, va="center", ha="right", color=_FIELD_INK
    )
    figure.text(1 - 86 / width, 1 - 26 / height, "beam 50 %", fontsize=10.6, va="center", ha="right", color=_BEAM_INK)


def _row_text(figure: Figure, numbers: SetupReport, row: int, top: float, width: int, height: int) -> None:
    left = _GAP_PX / width
    name = numbers.name.replace("+", "\n+ ")
    figure.text(
        left, (top - 2) / height, name, fontsize=12.9, va="top", weight="bold", color=LINES[row], linespacing=1.3
    )
    lines = []
    for at in numbers.at:
        reads = "dark on the axis" if at.f_number is None else aperture_words(at.f_number)
        lines.append(f"at {at.distance_m:g} m   {reads}")
        lines.append(f"   {_loss(numbers, at)}")
        lines.append(f"   beam {_size(at.beam_m)}, field {_size(at.field_m)}")
    text = "\n".join(lines)
    down = 2 + 22 * (name.count("\n") + 1)
    figure.text(left, (top - down) / height, text, fontsize=9.6, va="top", linespacing=1.42, color=INK)


def _loss(numbers: SetupReport, at: BeamAt) -> str:
    if numbers.modifiers == [REFERENCE]:
        return "the reference for loss"
    if at.loss_stops is None:
        return "loss: none told, the axis is dark"
    loss = f"loss {at.loss_stops:.1f} stop" if at.loss_stops >= -0.05 else f"gain {-at.loss_stops:.1f} stop"
    if at.attachment_loss_stops is None:
        return loss
    front = " and ".join(numbers.modifiers[1:])
    return f"{loss}, of it {at.attachment_loss_stops:.1f} by {front}"


def _size(size: tuple[float | None, float | None]) -> str:
    wide, high = ("over all" if s is None else f"{s:.2f}" for s in size)
    return f"{wide} m" if wide == high else f"{wide} x {high} m"


def _wall(axes: Axes, setup: Setup, at: BeamAt, first: bool) -> None:
    """A grey wall lit by the setup, the axis rendered light grey, with its stops and a person at the same distance."""
    from scipy.ndimage import gaussian_filter

    view = _NEAR_VIEW_M if at.distance_m <= _NEAR_M else _FAR_VIEW_M
    top, low = (1 - _FACE_AT) * view, -_FACE_AT * view
    side = np.linspace(-view / 2, view / 2, _RASTER)
    lux = wall(setup.fixture, at.distance_m, side, np.linspace(top, low, _RASTER))
    axis = axial_illuminance_per_lumen(setup.fixture, at.distance_m)
    lux = gaussian_filter(lux, _RASTER_BLUR)
    peak = float(lux.max())
    relative = lux / max(axis if axis > _DARK_AXIS * peak else peak, 1e-12)
    picture = encode_srgb(np.clip(relative * _WALL_TONE, 0, 1))
    extent = (-view / 2, view / 2, low, top)
    axes.imshow(picture, extent=extent, cmap="gray", vmin=0, vmax=1, interpolation="bicubic")
    stops = np.log2(np.maximum(relative, 2.0**DARKEST_STOPS))[::-1]
    x, y = side, np.linspace(low, top, _RASTER)
    levels = np.arange(-6.0, 0.0)
    thin = axes.contour(x, y, stops, levels=levels, colors="#8d949e", linewidths=0.5, linestyles="solid")
    axes.clabel(thin, fontsize=7.3, fmt=lambda v: f"\u2212{abs(v):.0f}", inline_spacing=2)
    top_stops = np.log2(max(relative.max(), 1e-9))
    axes.contour(x, y, stops, levels=[top_stops + np.log2(BEAM_SHARE)], colors=_BEAM_INK, linewidths=1.3)
    axes.contour(x, y, stops, levels=[top_stops + np.log2(FIELD_SHARE)], colors=_FIELD_INK, linewidths=1.1)
    for line in _outline():
        axes.plot(*line.T, color="#f4f2ee", linewidth=2.2, alpha=0.55)
        axes.plot(*line.T, color="#20242c", linewidth=0.8, alpha=0.9)
    axes.set_xlim(*extent[:2])
    axes.set_ylim(*extent[2:])
    axes.set_axis_off()
    if first:
        axes.set_title(f"{at.distance_m:g} m away, {view:g} m wide", fontsize=10.6, pad=5)


@lru_cache(maxsize=1)
def _outline() -> tuple[np.ndarray, ...]:
    """Outlines (n, 2) of a standing person seen from the front, the middle of the face at the origin, metres."""
    import contourpy
    from scipy.ndimage import binary_closing, binary_fill_holes, gaussian_filter

    from scenes.placing import stock_figure

    figure = stock_figure(_FIGURE)
    points = np.concatenate([part.vertices for part in figure.parts])[:, :2] - figure.landmarks["face"].position_m[:2]
    cell = 0.012
    x, y = np.arange(-0.6, 0.6, cell), np.arange(-1.75, 0.35, cell)
    filled = np.histogram2d(points[:, 1], points[:, 0], bins=[y, x])[0] > 0
    solid = binary_fill_holes(binary_closing(filled, iterations=3))
    soft = gaussian_filter(solid.astype(float), 1.0)
    lines = contourpy.contour_generator(x[:-1] + cell / 2, y[:-1] + cell / 2, soft).lines(0.5)
    return tuple(np.asarray(line, float) for line in lines if len(line) > 40)


def _charts(figure: Figure, report: BeamReport, width: int, height: int) -> None:
    """Fall-off down the wall at each distance, and along the axis."""
    distances = [at.distance_m for at in report.setups[0].at]
    count = len(distances) + 1
    bottom, tall = 54, _CHART_PX - 92
    left, room = 62, (width - 62 - _GAP_PX) / count
    for column in range(count):
        box = ((left + column * room) / width, bottom / height, (room - 58) / width, tall / height)
        axes = figure.add_axes(box)
        if column < len(distances):
            _down_chart(axes, report, column)
        else:
            _axis_chart(axes, report)
        axes.grid(True, linewidth=0.4, color="#cfcac0")
        axes.set_facecolor(PAPER)
        axes.tick_params(labelsize=9.0, length=3, colors=INK)
        for side in ("top", "right"):
            axes.spines[side].set_visible(False)


def _down_chart(axes: Axes, report: BeamReport, column: int) -> None:
    for number, setup in enumerate(report.setups):
        stops = setup.at[column].under_axis_stops
        if stops is None:
            continue
        axes.plot(stops, report.across_m, color=LINES[number], linestyle=_DASHES[number], linewidth=1.5)
    axes.set_xlim(-8, 0.5)
    axes.set_ylim(-1.75, 1.0)
    axes.set_title(f"down the wall at {report.setups[0].at[column].distance_m:g} m", fontsize=10.6, loc="left")
    axes.set_xlabel("stops under the axis", fontsize=9.5)
    axes.set_ylabel("metres from the face", fontsize=9.5)


def _axis_chart(axes: Axes, report: BeamReport) -> None:
    for number, setup in enumerate(report.setups):
        marks = [math.nan if n is None else n for n in setup.axis_f_number]
        axes.plot(report.axis_m, marks, color=LINES[number], linestyle=_DASHES[number], linewidth=1.5)
    last = report.setups[0].axis_f_number[-1]
    if last is not None:
        far = last * report.axis_m[-1] / np.asarray(report.axis_m)
        axes.plot(report.axis_m, far, color=INK, linewidth=0.9, linestyle=":", label="inverse square of the first")
        axes.legend(fontsize=7.8, frameon=False, loc="lower left", handlelength=2.6)
    axes.set_xscale("log", base=2)
    axes.set_yscale("log", base=2)
    axes.set_xticks([0.3, 0.6, 1, 2, 4, 6], ["0.3", "0.6", "1", "2", "4", "6"])
    marks = [1.4, 2, 2.8, 4, 5.6, 8, 11, 16, 22, 32, 45, 64, 90, 128]
    axes.minorticks_off()
    axes.set_yticks([2 ** (k / 2) for k in range(1, 15)], [f"f/{m:g}" for m in marks])
    values = [n for setup in report.setups for n in setup.axis_f_number if n]
    axes.set_ylim(min(values, default=1.4) * 0.9, max(values, default=128) * 1.1)
    axes.set_title("along the axis", fontsize=10.6, loc="left")
    axes.set_xlabel("metres from the front", fontsize=9.5)
