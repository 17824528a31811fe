"""Cloth modifiers: softboxes and umbrellas."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import numpy as np
from pydantic import Field

from ..appearance import Appearance
from ..findings import Problem
from ..fixtures import area_m2
from ..model.base import Flag, Length, Number
from ..optics import Source
from .base import Bulb, Shaped, Shaper, Unfit, pair, seat, size_pair
from .bowls import SEAT_M, bowl, bowl_radius
from .insides import covered_bowl, open_bowl
from .linings import Lining, passes, sheet, wall

if TYPE_CHECKING:
    from ..interior import Interior, Wall

Size = Length | Annotated[list[Length], Field(min_length=2, max_length=2)]

REAR_M = 0.15
"""Diameter of the ring that holds a box to the head (common practice, no source)."""

BAFFLE_AT = 0.5
"""Place of the inner cloth, as a share of the way from the head to the front (common practice, no source)."""

BAFFLE_SHARE = 0.65
"""Width of the inner cloth relative to the box there; light passes around it (common practice, no source)."""

COWL_M = 0.14
"""Diameter of the short reflector that turns the head's light into an umbrella (common practice, no source)."""


SHAFT = 0.4
"""How far behind a shoot-through canopy's rim the head stands, in diameters (common practice, no source)."""


class Softbox(Shaper):
    """A lined box of cloth around the head; open in front, or closed by diffusion."""

    kind: Literal["softbox"] = Field(description="Kind of modifier.")
    form: Literal["rectangle", "octagon", "disk"] = Field(
        "rectangle", description="Shape of the front; a strip is a narrow rectangle."
    )
    size_m: Size = Field(description="Metres: [width, height] of a rectangle, or the diameter (across flats).")
    depth_m: Annotated[Number, Field(gt=0, le=2)] = Field(description="Depth from the front cloth to the head, metres.")
    inner: Flag = Field(True, description="Whether an inner cloth hangs halfway.")
    front: Flag = Field(True, description="Whether a front cloth closes it.")
    recess_m: Annotated[Number, Field(ge=0, le=0.5)] = Field(
        0.05, description="How far the front cloth lies behind the edge, metres; 0 for none."
    )
    curve: Literal["straight", "parabolic"] = Field(
        "straight", description="Whether its sides run straight, or bend as in deep boxes."
    )
    walls: Lining = Field("silver", description="What it is lined with.")

    def problems(self) -> Iterator[Problem]:
        """A rectangle has two sizes, the others one; an open box has no face to recess."""
        if isinstance(self.size_m, list) and self.form != "rectangle":
            message = f"the form {self.form} has one size, its diameter; two are given"
            yield Problem(("size_m",), message, "Allowed: one number in metres.", 'Or use form = "rectangle".')
        if not self.front:
            for extra in self.given("recess_m"):
                yield Problem((extra,), "without a front cloth nothing is recessed", fix="Remove recess_m.")
        width, height = size_pair(self.size_m)
        if min(width, height) <= REAR_M:
            message = f"a front of {min(width, height):g} m is no wider than the ring of {REAR_M:g} m on the head"
            yield Problem(("size_m",), message, f"Allowed: above {REAR_M:g}.", "Correct size_m.")

    def appearance(self) -> Appearance:
        """How it looks, on the set and on paper."""
        return Appearance("octabox" if self.form == "octagon" else "box", "box")

    def shape(self, bulb: Bulb, folder: Path) -> Shaped:
        """A diffuse front; without front cloth the inside seen through the opening."""
        inside, size = self.interior(bulb), size_pair(self.size_m)
        takes = ("fabric-grid", "frame")
        if not self.front:
            optics = open_bowl(inside, Source(self.form, size, 0.0))
            return Shaped(self.form, size, self.depth_m, optics=optics, takes=takes)
        source = Source(self.form, size, self.recess_m) if self.recess_m else None
        optics = covered_bowl(inside, self.form, source)
        return Shaped(self.form, size, self.depth_m + self.recess_m, optics=optics, takes=takes)

    def interior(self, bulb: Bulb) -> Interior:
        """The round box with a front of the same area; raises `Unfit` when the lamp does not find room in it."""
        from ..interior import Interior, Lamp

        seat(bulb, REAR_M, "the ring on the head")
        radius = math.sqrt(area_m2(self.form, size_pair(self.size_m)) / math.pi)
        share = BAFFLE_AT if self.inner else 1.0
        needed = (bulb.diameter_m + SEAT_M) / share
        if self.depth_m < needed:
            raise Unfit(
                f"the lamp of {bulb.diameter_m:g} m across does not find room in a box {self.depth_m:g} m deep",
                f"Allowed: a depth of {needed:g} m or more.",
                "Deepen it, or correct the head's bulb_diameter_m.",
            )
        lamp = Lamp(-self.depth_m + SEAT_M + bulb.radius_m, bulb.radius_m)
        sheets = []
        if self.inner:
            there = bowl_radius(REAR_M, 2 * radius, np.array(BAFFLE_AT), self.curve)
            sheets.append(sheet("thin", -self.depth_m * (1 - BAFFLE_AT), BAFFLE_SHARE * float(there)))
        if self.front:
            sheets.append(sheet("thick", 0.0, radius))
        return Interior(bowl(self.walls, REAR_M, 2 * radius, self.depth_m, self.curve), tuple(sheets), lamp, radius)


class Umbrella(Shaper):
    """An umbrella: the head shines into it and back, or through it."""

    kind: Literal["umbrella"] = Field(description="Kind of modifier.")
    diameter_m: Length = Field(description="Diameter of the open canopy, metres.")
    depth_m: Annotated[Number, Field(gt=0, le=2)] = Field(description="Depth of the canopy, metres.")
    cloth: Literal["white", "silver", "shoot-through"] = Field("white", description="What the canopy is made of.")

    def problems(self) -> Iterator[Problem]:
        """A canopy is no deeper than a half ball."""
        if self.depth_m > self.diameter_m / 2:
            message = f"a canopy of {self.diameter_m:g} m is no deeper than {self.diameter_m / 2:g} m"
            yield Problem(("depth_m",), message, f"Allowed: up to {self.diameter_m / 2:g}.", "Make depth_m smaller.")

    def appearance(self) -> Appearance:
        """How it looks, on the set and on paper."""
        return Appearance("shoot-through" if self.cloth == "shoot-through" else "umbrella", "umbrella")

    def shape(self, bulb: Bulb, folder: Path) -> Shaped:
        """A canopy seen from inside with the head in front of it, or a sheet that glows to both sides."""
        size = pair(self.diameter_m)
        if self.cloth == "shoot-through":
            transmittance, reflectance = passes("canopy")
            optics = covered_bowl(self.through(bulb), "disk", back_share=reflectance / transmittance)
            return Shaped("disk", size, optics=optics, takes=("frame",))
        optics = open_bowl(self.into(bulb))
        return Shaped("disk", size, self.depth_m, optics=optics, takes=("frame",))

    def into(self, bulb: Bulb) -> Interior:
        """The lined canopy, and in its opening the head, which shines away from the exit."""
        from ..interior import Interior, Lamp

        seat(bulb, COWL_M - 2 * SEAT_M, "the head's reflector")
        needed = bulb.diameter_m + 3 * SEAT_M
        if self.depth_m < needed:
            raise Unfit(
                f"the head does not find room in a canopy {self.depth_m:g} m deep",
                f"Allowed: a depth of {needed:g} m or more.",
                "Deepen it, or correct the head's bulb_diameter_m.",
            )
        radius = self.diameter_m / 2
        ball = (radius / self.depth_m) ** 2 + 1
        canopy = wall(f"canopy-{self.cloth}", -self.depth_m, 0.0, 0.0, radius, ball)
        front = -SEAT_M
        lamp = Lamp(front - SEAT_M - bulb.radius_m, bulb.radius_m)
        return Interior((canopy, *_cowl(front, -1.0, bulb)), (), lamp, radius)

    def through(self, bulb: Bulb) -> Interior:
        """The canopy as a flat cloth across its rim, and the head at the shaft's end behind it."""
        from ..interior import Interior, Lamp

        seat(bulb, COWL_M - 2 * SEAT_M, "the head's reflector")
        radius, back = self.diameter_m / 2, -SHAFT * self.diameter_m
        needed = (bulb.diameter_m + SEAT_M) / SHAFT
        if self.diameter_m < needed:
            raise Unfit(
                f"the head does not find room behind a canopy of {self.diameter_m:g} m",
                f"Allowed: a diameter of {needed:g} m or more.",
                "Widen it, or correct the head's bulb_diameter_m.",
            )
        lamp = Lamp(back + SEAT_M + bulb.radius_m, bulb.radius_m)
        return Interior(_cowl(back, 1.0, bulb), (sheet("canopy", 0.0, radius),), lamp, radius)


def _cowl(back_m: float, toward: float, bulb: Bulb) -> tuple[Wall, ...]:
    """The head's short silver reflector, open toward +z or -z: a plate at `back_m` and a widening rim."""
    rim = back_m + toward * (bulb.diameter_m + SEAT_M)
    return (
        wall("silver", back_m, 0.0, back_m, COWL_M / 2 - SEAT_M),
        wall("silver", back_m, COWL_M / 2 - SEAT_M, rim, COWL_M / 2),
    )
