"""Modifiers that need no tracing inside: the bare bulb, rings, LED panels and tubes, and the fresnel lens."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Literal

import numpy as np
from pydantic import Field

from ..appearance import Appearance
from ..findings import Problem
from ..fixtures import NARROWEST_EDGE
from ..model.base import Length, Number
from ..optics import Optics
from .base import Bulb, Shaped, Shaper, pair, size_pair
from .tables import profile

Share = Annotated[Number, Field(gt=0, le=1)]
BeamAngle = Annotated[Number, Field(gt=0, le=150)]
Size = Length | Annotated[list[Length], Field(min_length=2, max_length=2)]

GATHERING_MIRROR = 0.8
"""Light that the mirror behind a fresnel's lamp sends through the lens, relative to the lamp's own (from memory)."""

LENS_LOSS = 0.1
"""Light that a lens reflects and absorbs (two uncoated faces and the glass, from memory)."""


class BareBulb(Shaper):
    """The lamp of the head without anything around it."""

    kind: Literal["bulb"] = Field(description="Kind of modifier.")

    def appearance(self) -> Appearance:
        """How it looks, on the set and on paper."""
        return Appearance("bulb", "bulb")

    def shape(self, bulb: Bulb, folder: Path) -> Shaped:
        """A diffuse ball."""
        return Shaped("sphere", pair(bulb.diameter_m), takes=("frame",))


class Ring(Shaper):
    """A ring light: a luminous ring that the lens looks through."""

    kind: Literal["ring"] = Field(description="Kind of modifier.")
    outer_m: Length = Field(description="Diameter of the luminous ring, metres.")
    hole_m: Length = Field(description="Diameter of the opening, metres.")
    depth_m: Annotated[Number, Field(gt=0, le=1)] = Field(0.06, description="Depth of its housing, metres.")
    efficiency: Share = Field(0.7, description="Light out of its front for one lumen of its lamp, 0 to 1.")

    def problems(self) -> Iterator[Problem]:
        """The hole must leave a ring."""
        if not self.hole_m < self.outer_m:
            message = f"a hole of {self.hole_m:g} m leaves nothing of a ring of {self.outer_m:g} m"
            yield Problem(("hole_m",), message, f"Allowed: below {self.outer_m:g}.", "Make hole_m smaller.")

    def appearance(self) -> Appearance:
        """How it looks, on the set and on paper."""
        return Appearance("ring", "ring")

    def shape(self, bulb: Bulb, folder: Path) -> Shaped:
        """A diffuse disk with a hole."""
        optics = Optics(efficiency=self.efficiency)
        return Shaped("disk", pair(self.outer_m), self.depth_m, self.hole_m, optics=optics, takes=("grid", "frame"))


class Panel(Shaper):
    """An LED panel: the head is its array of diodes."""

    kind: Literal["panel"] = Field(description="Kind of modifier.")
    size_m: Size = Field(description="Metres: [width, height] of the luminous area, or its diameter if round.")
    beam_deg: Annotated[Number, Field(ge=10, le=150)] = Field(
        120.0, description="Full angle at half of the intensity on the axis, degrees; 120 is a fully diffuse front."
    )
    depth_m: Annotated[Number, Field(gt=0, le=1)] = Field(0.05, description="Depth of its housing, metres.")

    def appearance(self) -> Appearance:
        """How it looks, on the set and on paper."""
        return Appearance("panel", "panel")

    def shape(self, bulb: Bulb, folder: Path) -> Shaped:
        """A flat exit whose intensity falls as a power of the cosine."""
        form = "rectangle" if isinstance(self.size_m, list) else "disk"
        power = math.log(0.5) / math.log(math.cos(math.radians(self.beam_deg / 2)))
        angles = np.linspace(0, math.pi / 2, 181)
        spread = None if abs(power - 1) < 1e-9 else profile(np.cos(angles).clip(0) ** power, math.pi / 2, "intensity")
        takes = ("sock", "grid", "fabric-grid", "doors", "frame")
        return Shaped(form, size_pair(self.size_m), self.depth_m, optics=Optics(angular=spread), takes=takes)


class Tube(Shaper):
    """A luminous tube, such as a row of diodes in a diffusing sleeve: the head is the tube."""

    kind: Literal["tube"] = Field(description="Kind of modifier.")
    length_m: Length = Field(description="Length of the luminous part, metres; it lies along the fixture's right.")
    diameter_m: Annotated[Number, Field(gt=0, le=1)] = Field(description="Diameter, metres.")

    def problems(self) -> Iterator[Problem]:
        """A tube is longer than wide."""
        if not self.diameter_m < self.length_m:
            message = f"a tube of {self.length_m:g} m is no longer than its diameter of {self.diameter_m:g} m"
            yield Problem(("length_m",), message, f"Allowed: above {self.diameter_m:g}.", "Exchange the two.")

    def appearance(self) -> Appearance:
        """How it looks, on the set and on paper."""
        return Appearance("tube", "rod")

    def shape(self, bulb: Bulb, folder: Path) -> Shaped:
        """A diffuse tube."""
        return Shaped("tube", pair(self.length_m, self.diameter_m), takes=("frame",))


class Fresnel(Shaper):
    """A lens in front of a lamp that slides toward it for a wider beam."""

    kind: Literal["fresnel"] = Field(description="Kind of modifier.")
    lens_diameter_m: Length = Field(description="Diameter of the lens, metres.")
    beam_deg: BeamAngle = Field(description="Full angle at half of the intensity on the axis, degrees.")
    field_deg: BeamAngle = Field(description="Full angle at a tenth of the intensity on the axis, degrees.")
    focal_m: Length | None = Field(None, description="Focal length of the lens, metres; its diameter if left out.")
    depth_m: Length = Field(0.3, description="Depth of the housing behind the lens, metres.")

    def problems(self) -> Iterator[Problem]:
        """The beam lies inside the field."""
        if self.field_deg < NARROWEST_EDGE * self.beam_deg:
            yield Problem(
                ("beam_deg",),
                f"the beam of {self.beam_deg:g} degrees leaves no edge inside the field of {self.field_deg:g} degrees",
                f"Allowed: a field of {self.beam_deg * NARROWEST_EDGE:.4g} degrees or more.",
                "Exchange the two, or widen field_deg.",
            )

    def appearance(self) -> Appearance:
        """How it looks, on the set and on paper."""
        return Appearance("lens", "barrel")

    def shape(self, bulb: Bulb, folder: Path) -> Shaped:
        """A spot of its beam and field angles."""
        optics = Optics(efficiency=self.collected())
        return Shaped(
            "spot",
            pair(self.lens_diameter_m),
            self.depth_m,
            beam_deg=self.beam_deg,
            field_deg=self.field_deg,
            optics=optics,
            takes=("doors", "frame"),
        )

    def collected(self) -> float:
        """Lumens through the lens for one of the lamp.

        A ray through the rim leaves the lens at the field's edge: with the lamp at s behind a thin lens of radius a
        and focal length f, tan(edge) = a / s - a / f. The lamp, and its image in the mirror behind it, send the
        share (1 - cos(atan(a / s))) / 2 of their light into that cone.
        """
        radius, focal = self.lens_diameter_m / 2, self.focal_m or self.lens_diameter_m
        slope = math.tan(math.radians(self.field_deg / 2)) + radius / focal
        share = (1 - 1 / math.hypot(1, slope)) / 2
        return (1 + GATHERING_MIRROR) * (1 - LENS_LOSS) * share
