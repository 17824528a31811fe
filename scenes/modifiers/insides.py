"""From the inside of a bowl to the optics of its exit."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from ..optics import Angular, Optics, Source
from .tables import glow_picture, profile

if TYPE_CHECKING:
    from ..interior import Emergent, Interior

ANGLES = 181
"""Columns of a bowl's directional table: every half degree."""


def open_bowl(interior: Interior, source: Source | None = None, shape: str = "disk") -> Optics:
    """Optics of a bowl that one looks into: its intensity by angle, and its glow seen from the front."""
    from ..interior import emergent

    out = emergent(interior)
    return Optics(out.efficiency, spread(out), source, glow_picture(out.radii, out.glow, shape))


def covered_bowl(interior: Interior, shape: str, source: Source | None = None, back_share: float = 0.0) -> Optics:
    """Optics of a bowl whose exit a sheet closes: diffuse, with a glow drawn over the exit's true shape."""
    from ..interior import emergent

    out = emergent(interior)
    glow = glow_picture(out.radii, out.glow, shape)
    return Optics(out.efficiency, source=source, glow=glow, back_share=back_share)


def spread(out: Emergent) -> Angular:
    """The intensity of an exit as a table of one row, nothing along the exit's own plane."""
    values = np.array(out.even(ANGLES), float)
    values[-1] = 0.0
    return profile(values, math.pi / 2, "intensity")
