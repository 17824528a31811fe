"""How far the inverse square may be trusted: its error by distance, for plain areas and for stock modifiers."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from render.beam import setup_of
from render.plot import INK, PAPER, QUIET, new_figure
from scenes.beams import near_field_error
from scenes.kit import load_kit
from scenes.stage import Fixture

SIZES = np.geomspace(0.5, 12, 60)
METRES = np.geomspace(0.4, 6, 50)
CHAINS = ("octabox-150", "softbox-60x90", "standard-reflector+grid-20", "snoot", "standard-reflector")
LINES = ("#2f5d8c", "#b8702a", "#3f7d5a", "#8c3f63", "#6f6a2e")
DASHES = ("-", (0, (6, 2)), (0, (2, 1.5)), (0, (8, 2, 2, 2)), (0, (4, 1)))


def _plain(shape: str) -> Fixture:
    return Fixture(shape, np.ones(2), np.zeros(3), *np.eye(3), None, None, False, 0.1)


def write_near_field(path: Path) -> None:
    """Draw both charts to a PNG."""
    with new_figure(1120, 440) as figure:
        left, right = figure.add_axes((0.07, 0.15, 0.40, 0.70)), figure.add_axes((0.56, 0.15, 0.42, 0.70))
        for shape, colour, name in (("disk", LINES[0], "disk"), ("rectangle", LINES[1], "square")):
            left.plot(SIZES, 100 * near_field_error(_plain(shape), SIZES), color=colour, label=name)
        left.axvline(5, color=QUIET, linewidth=0.8, linestyle=":")
        left.annotate("five widths", (5, 40), xytext=(5.3, 40), fontsize=9, color=QUIET)
        left.set_xlabel("distance in widths of the light")
        left.set_title("Evenly glowing areas", fontsize=11, loc="left")
        kit = load_kit(None)
        for chain, colour, dash in zip(CHAINS, LINES, DASHES, strict=True):
            error = near_field_error(setup_of(chain, kit, "flash-400").fixture, METRES)
            right.plot(METRES, 100 * error, color=colour, linestyle=dash, label=chain.replace("+", " + "))
        right.set_xlabel("metres from the front")
        right.set_title("Stock modifiers", fontsize=11, loc="left")
        for axes, ticks in ((left, (0.5, 1, 2, 3, 5, 10)), (right, (0.4, 0.6, 1, 1.5, 2.5, 4, 6))):
            axes.set_xscale("log")
            axes.set_yscale("log")
            axes.set_xticks(ticks, [f"{t:g}" for t in ticks])
            axes.minorticks_off()
            axes.set_yticks([0.3, 1, 3, 10, 30, 100], ["0.3", "1", "3", "10", "30", "100"])
            axes.set_ylim(0.2 if axes is left else 1, 150)
            axes.set_ylabel("inverse square overstates by, %")
            axes.grid(True, linewidth=0.4, color="#cfcac0")
            axes.set_facecolor(PAPER)
            axes.tick_params(colors=INK, labelsize=9)
            axes.legend(frameon=False, fontsize=9)
        figure.savefig(path, facecolor=PAPER)
