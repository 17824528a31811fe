"""The false-colour scale on a sheet: a ramp in stops with its ends said."""

from __future__ import annotations

import numpy as np

from .palette import FROM_STOPS, TO_STOPS, colours
from .sheet import Page, Type, true_minus

RAMP_MM = 3.2


def draw_stops_scale(page: Page, x_mm: float, top_mm: float, width_mm: float, kind: Type) -> float:
    """Draw the scale across, mid-grey marked; returns the bottom."""
    pixels = colours(np.linspace(FROM_STOPS, TO_STOPS, 480)[None].repeat(8, axis=0))
    page.picture(x_mm, top_mm, width_mm, RAMP_MM, pixels)
    y = top_mm + RAMP_MM
    for stop in range(int(np.ceil(FROM_STOPS)), int(TO_STOPS) + 1):
        x = x_mm + (stop - FROM_STOPS) / (TO_STOPS - FROM_STOPS) * width_mm
        page.line([(x, y), (x, y + 1.0)], colour=page.theme.quiet, width_pt=0.5)
        if stop % 2 == 0 or width_mm > 100:
            word = "0" if stop == 0 else true_minus(f"{stop:+d}")
            page.text(x, y + 1.0, word, kind, colour=page.theme.quiet, align="middle")
    return y + 1.0 + kind.line_mm
