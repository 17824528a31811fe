"""From the inside of a bowl to the optics of its exit."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..optics import Optics, Source
from .tables import glow_picture

if TYPE_CHECKING:
    from ..interior import Interior


def open_bowl(interior: Interior, source: Source | None = None) -> Optics:
    """Optics of a bowl that one looks into: what leaves its mouth by place and direction.

    Parameters
    ----------
    interior : nothing lies across its exit.
    source : the mouth, where it lies behind the exit or is not round; None for a round exit.
    """
    from ..interior_mouth import mouth

    if source is None:
        efficiency, emission = mouth(interior, "disk", np.full(2, 2 * interior.exit_radius_m))
    else:
        efficiency, emission = mouth(interior, source.shape, source.size_m)
    return Optics(efficiency, emission=emission, source=source)


def covered_bowl(interior: Interior, shape: str, source: Source | None = None, back_share: float = 0.0) -> Optics:
    """Optics of a bowl whose exit a sheet closes: diffuse, with a glow drawn over the exit's true shape."""
    from ..interior import emergent

    out = emergent(interior)
    glow = glow_picture(out.radii, out.glow, shape)
    return Optics(out.efficiency, source=source, glow=glow, back_share=back_share)
