"""Beams on the drawing: where a light goes from its front to its aim, to half of its peak."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..rigged.beams import far_rim, front_rim
from .labels import SOFT
from .view import cut_line, sides_of_hull

if TYPE_CHECKING:
    from .canvas import Drawing
    from .set import PlanLight

FACE_ON = 0.3
"""Length of a unit vector on paper under which a light is seen from behind or in front."""

_LEAST_MM = 0.3


def draw_beam(drawing: Drawing, light: PlanLight) -> None:
    """The beam to half of its peak, from the front to where it is aimed: cut lengthwise, or its pool where the view
    looks along it."""
    fixture, view, page = light.light.fixture, drawing.view, drawing.page
    if fixture is None or light.beam_sides_m is None or light.row.distance_to_aim_m is None or not light.light.on:
        return
    rim = view.at(far_rim(fixture, light.row.distance_to_aim_m, light.beam_sides_m, _LEAST_MM / view.mm_per_m))
    within, alpha = drawing.inside(), 0.26 if light.tint.neutral else 0.42
    if float(np.hypot(*view.flat(fixture.forward))) < FACE_ON:
        pool = drawing.area(rim, within, fill=light.tint.wash, alpha=alpha, layer=1.6)
        if len(pool) > 2:
            page.line(np.concatenate([pool, pool[:1]]), colour=light.tint.ink, width_pt=0.4, layer=1.7)
        return
    outline, sides = sides_of_hull(view.at(front_rim(fixture)), rim)
    left = drawing.area(outline, within, fill=light.tint.wash, alpha=alpha, layer=1.6)
    if len(left) > 2:
        drawing.placer.cover(left, 0.6)
    for start, end in sides:
        piece = cut_line(start, end, within)
        if piece is not None:
            page.line(piece, colour=light.tint.ink, width_pt=0.4, layer=1.7)
            drawing.placer.path(piece[0], piece[1], SOFT / 2)
