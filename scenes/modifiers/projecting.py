"""The projector: a lens that throws the picture of an iris, a slot or a pattern."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Literal

import numpy as np
from pydantic import Field

from ..appearance import Appearance
from ..findings import Problem
from ..model.base import Length, Number
from ..names import nearest
from ..optics import Optics, Slide
from .base import Bulb, Shaped, Shaper, pair
from .patterns import PATTERNS, iris, read_pattern, slot
from .plain import Share
from .tables import profile


class Projector(Shaper):
    """A focusing spot: condenser, gate and lens."""

    kind: Literal["projector"] = Field(description="Kind of modifier.")
    lens_diameter_m: Length = Field(description="Diameter of the front lens, metres.")
    field_deg: Annotated[Number, Field(gt=0, le=90)] = Field(
        description="Full angle of the picture of the open gate, degrees."
    )
    focus_m: Length = Field(3.0, description="Distance from the lens at which the picture is sharp, metres.")
    aperture: (
        Share | Annotated[list[Share], Field(min_length=2, max_length=2)] | Annotated[str, Field(min_length=1)]
    ) = Field(
        1.0,
        description="What is in the gate, as a share of its diameter: an iris, a slot [width, height], or a grey "
        "picture file that fills it (white passes).",
    )
    efficiency: Share = Field(0.3, description="Light through the open gate for one lumen of the lamp, 0 to 1.")
    depth_m: Length = Field(0.4, description="Depth of the housing behind the lens, metres.")

    def problems(self) -> Iterator[Problem]:
        """A pattern is one of ours or a PNG file."""
        given = self.aperture
        if isinstance(given, str) and given not in PATTERNS and not given.lower().endswith(".png"):
            close, names = nearest(given, PATTERNS), ", ".join(PATTERNS)
            yield Problem(
                ("aperture",),
                f"there is no pattern '{given}'",
                f"Allowed: {names}, the name of a PNG file, an iris from 0 to 1, or a slot [width, height].",
                f"Did you mean {close}?" if close else 'E.g. aperture = "blinds", or aperture = 0.5.',
            )

    def appearance(self) -> Appearance:
        """How it looks, on the set and on paper."""
        return Appearance("projector", "barrel")

    def shape(self, bulb: Bulb, folder: Path) -> Shaped:
        """A lens that glows evenly toward the gate's picture, and the picture."""
        radius, lens = self.focus_m * math.tan(math.radians(self.field_deg / 2)), self.lens_diameter_m / 2
        widest = math.atan((radius + lens) / self.focus_m)
        optics = Optics(
            efficiency=self.efficiency * math.sin(widest) ** 2 / _disk_factor(lens, radius, self.focus_m),
            angular=profile(np.ones(2), widest, "luminance"),
            slide=Slide(self.gate(folder), pair(radius), self.focus_m),
        )
        return Shaped("disk", pair(self.lens_diameter_m), self.depth_m, optics=optics, takes=("frame",))

    def gate(self, folder: Path) -> np.ndarray:
        """What the gate lets through, (256, 256) float32."""
        if isinstance(self.aperture, list):
            return slot(*self.aperture) * iris(1.0)
        if not isinstance(self.aperture, str):
            return iris(self.aperture)
        if self.aperture in PATTERNS:
            return PATTERNS[self.aperture]() * iris(1.0)
        return read_pattern(folder / self.aperture) * iris(1.0)


def _disk_factor(r1_m: float, r2_m: float, distance_m: float) -> float:
    """View factor from a disk to a coaxial parallel disk (Howell and Menguc, catalogue C-41)."""
    a, b = r1_m / distance_m, r2_m / distance_m
    x = 1 + (1 + b * b) / (a * a)
    return 2 * (b / a) ** 2 / (x + math.sqrt(x * x - 4 * (b / a) ** 2))
