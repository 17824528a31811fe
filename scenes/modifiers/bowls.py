"""Metal bowls on the head: reflector, dish with a deflector, and snoot."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import numpy as np
from pydantic import Field

from ..appearance import Appearance
from ..findings import Problem
from ..model.base import Length, Number
from ..optics import Source
from .base import Bulb, Shaped, Shaper, Unfit, pair, seat
from .insides import open_bowl
from .linings import Lining, wall

if TYPE_CHECKING:
    from ..interior import Interior, Wall

Depth = Annotated[Number, Field(gt=0, le=2)]

SEAT_M = 0.01
"""Gap between the lamp and the plate it stands on (common practice, no source)."""


def bowl(
    lining: str, rear_m: float, mouth_m: float, depth_m: float, curve: str = "parabolic", front_m: float = 0.0
) -> tuple[Wall, ...]:
    """A paraboloid or a straight cone from a rear to a mouth at `front_m` (both diameters), closed by a plate."""
    back, rear, mouth = front_m - depth_m, rear_m / 2, mouth_m / 2
    bulge = ((mouth - rear) / depth_m) ** 2 if curve == "parabolic" else 0.0
    return (wall(lining, back, 0.0, back, rear), wall(lining, back, rear, front_m, mouth, bulge))


def bowl_radius(rear_m: float, mouth_m: float, share: np.ndarray, curve: str) -> np.ndarray:
    """Radius of such a bowl at a share (0 to 1) of the way from rear to mouth."""
    power = 2 if curve == "parabolic" else 1
    rear, mouth = (rear_m / 2) ** power, (mouth_m / 2) ** power
    return np.asarray((rear + share * (mouth - rear)) ** (1 / power), float)


def seated(bulb: Bulb, depth_m: float) -> float:
    """Place z of the lamp's middle when it stands on the plate of a bowl.

    Raises
    ------
    Unfit
        When the lamp sticks out of the bowl.
    """
    needed = bulb.diameter_m + SEAT_M
    if depth_m < needed:
        raise Unfit(
            f"the lamp of {bulb.diameter_m:g} m across sticks out of a depth of {depth_m:g} m",
            f"Allowed: a depth of {needed:g} m or more.",
            "Deepen it, or correct the head's bulb_diameter_m.",
        )
    return -depth_m + SEAT_M + bulb.radius_m


CUP_PLATE = 1.1
"""Width of the plate under the lamp in a snoot's cup, in lamp diameters (common practice, no source)."""


class Reflector(Shaper):
    """A metal bowl around the lamp."""

    kind: Literal["reflector"] = Field(description="Kind of modifier.")
    diameter_m: Length = Field(description="Diameter of the mouth, metres.")
    depth_m: Depth = Field(description="Depth from the mouth to the head, metres.")
    rear_diameter_m: Length = Field(0.1, description="Diameter where it sits on the head, metres.")
    walls: Lining = Field("silver", description="What it is lined with.")

    def problems(self) -> Iterator[Problem]:
        """A bowl does not narrow."""
        yield from _widens(self.rear_diameter_m, self.diameter_m)

    def appearance(self) -> Appearance:
        """How it looks, on the set and on paper."""
        return Appearance("reflector", "bowl")

    def shape(self, bulb: Bulb, folder: Path) -> Shaped:
        """The lamp and the bowl's inside, seen through the mouth."""
        inside = self.interior(bulb)
        takes = ("sock", "grid", "doors", "frame")
        optics = open_bowl(inside)
        return Shaped("disk", pair(self.diameter_m), self.depth_m, optics=optics, takes=takes, inside=inside)

    def interior(self, bulb: Bulb) -> Interior:
        """Its inside; raises `Unfit` when the lamp is too large for it."""
        from ..interior import Interior, Lamp

        seat(bulb, self.rear_diameter_m, "a rear opening")
        lamp = Lamp(seated(bulb, self.depth_m), bulb.radius_m)
        walls = bowl(self.walls, self.rear_diameter_m, self.diameter_m, self.depth_m)
        return Interior(walls, (), lamp, self.diameter_m / 2)


class Dish(Shaper):
    """A wide shallow bowl with a deflector that hides the lamp."""

    kind: Literal["dish"] = Field(description="Kind of modifier.")
    diameter_m: Length = Field(description="Diameter of the mouth, metres.")
    depth_m: Depth = Field(description="Depth from the mouth to the head, metres.")
    deflector_diameter_m: Length = Field(description="Diameter of the disk in front of the lamp, metres.")
    gap_m: Depth = Field(0.04, description="Gap between the lamp and that disk, metres.")
    rear_diameter_m: Length = Field(0.12, description="Diameter where it sits on the head, metres.")
    walls: Lining = Field("white", description="What bowl and deflector are lined with.")

    def problems(self) -> Iterator[Problem]:
        """The bowl widens, and leaves a ring around the deflector."""
        yield from _widens(self.rear_diameter_m, self.diameter_m)
        if not self.deflector_diameter_m < self.diameter_m:
            message = f"a deflector of {self.deflector_diameter_m:g} m closes a mouth of {self.diameter_m:g} m"
            allowed = f"Allowed: below {self.diameter_m:g}."
            yield Problem(("deflector_diameter_m",), message, allowed, "Make the deflector smaller.")

    def appearance(self) -> Appearance:
        """How it looks, on the set and on paper."""
        return Appearance("dish", "dish")

    def shape(self, bulb: Bulb, folder: Path) -> Shaped:
        """The bowl's inside and the deflector's back, seen through the mouth."""
        inside = self.interior(bulb)
        takes = ("sock", "grid", "frame")
        optics = open_bowl(inside)
        return Shaped("disk", pair(self.diameter_m), self.depth_m, optics=optics, takes=takes, inside=inside)

    def interior(self, bulb: Bulb) -> Interior:
        """Its inside; raises `Unfit` when lamp and deflector do not find room in it."""
        from ..interior import Interior, Lamp

        seat(bulb, self.rear_diameter_m, "a rear opening")
        lamp = Lamp(seated(bulb, self.depth_m), bulb.radius_m)
        disk = lamp.z_m + bulb.radius_m + self.gap_m
        if not disk < 0:
            needed = self.depth_m + disk
            raise Unfit(
                f"the deflector would stand {disk:g} m in front of the mouth",
                f"Allowed: a depth above {needed:g} m with this lamp and gap.",
                "Deepen the dish, or make gap_m smaller.",
            )
        walls = bowl(self.walls, self.rear_diameter_m, self.diameter_m, self.depth_m)
        deflector = wall(self.walls, disk, 0.0, disk, self.deflector_diameter_m / 2)
        return Interior((*walls, deflector), (), lamp, self.diameter_m / 2)


class Snoot(Shaper):
    """A narrowing tube in front of the lamp."""

    kind: Literal["snoot"] = Field(description="Kind of modifier.")
    length_m: Depth = Field(description="Length from the middle of the lamp to the mouth, metres.")
    mouth_diameter_m: Length = Field(description="Diameter of the mouth, metres.")
    rear_diameter_m: Length = Field(0.1, description="Diameter of the bright cup around the lamp, metres.")
    walls: Lining = Field("black", description="What the tube is lined with; the cup around the lamp is silver.")

    def problems(self) -> Iterator[Problem]:
        """A snoot does not widen."""
        if self.mouth_diameter_m > self.rear_diameter_m:
            message = f"the mouth of {self.mouth_diameter_m:g} m is wider than the rear of {self.rear_diameter_m:g} m"
            allowed = f"Allowed: up to {self.rear_diameter_m:g}."
            yield Problem(("mouth_diameter_m",), message, allowed, 'Exchange the two, or use kind = "reflector".')

    def appearance(self) -> Appearance:
        """How it looks, on the set and on paper."""
        return Appearance("snoot", "snoot")

    def shape(self, bulb: Bulb, folder: Path) -> Shaped:
        """Lamp and cup, seen through the mouth; with bright walls, the whole tube as a bowl."""
        if self.length_m < bulb.diameter_m:
            raise Unfit(
                f"the lamp of {bulb.diameter_m:g} m across reaches out of a snoot of {self.length_m:g} m",
                f"Allowed: a length of {bulb.diameter_m:g} m or more.",
                "Lengthen it, or correct the head's bulb_diameter_m.",
            )
        depth = self.length_m + bulb.radius_m + SEAT_M
        takes = ("grid", "frame")
        if self.walls != "black":
            inside = self.lined(bulb)
            return Shaped(
                "disk", pair(self.mouth_diameter_m), depth, optics=open_bowl(inside), takes=takes, inside=inside
            )
        source = Source("disk", pair(self.rear_diameter_m), self.length_m - bulb.radius_m)
        return Shaped("disk", pair(self.mouth_diameter_m), depth, optics=open_bowl(self.cup(bulb), source), takes=takes)

    def cup(self, bulb: Bulb) -> Interior:
        """The cup alone, open at the lamp's front."""
        from ..interior import Interior, Lamp

        depth = bulb.diameter_m + SEAT_M
        walls = self._cup_walls(bulb, 0.0)
        return Interior(walls, (), Lamp(seated(bulb, depth), bulb.radius_m), self.rear_diameter_m / 2)

    def lined(self, bulb: Bulb) -> Interior:
        """The cup and the whole tube in front of it, with the tube's own lining."""
        from ..interior import Interior, Lamp

        front = bulb.radius_m - self.length_m
        tube = wall(self.walls, front, self.rear_diameter_m / 2, 0.0, self.mouth_diameter_m / 2)
        lamp = Lamp(-self.length_m, bulb.radius_m)
        return Interior((*self._cup_walls(bulb, front), tube), (), lamp, self.mouth_diameter_m / 2)

    def _cup_walls(self, bulb: Bulb, front_m: float) -> tuple[Wall, ...]:
        """A silver paraboloid from just around the lamp's seat to the tube, its rim at `front_m`.

        Raises
        ------
        Unfit
            When the lamp does not go into the cup.
        """
        seat(bulb, self.rear_diameter_m, "a rear opening")
        plate = min(CUP_PLATE * bulb.diameter_m, self.rear_diameter_m)
        return bowl("silver", plate, self.rear_diameter_m, bulb.diameter_m + SEAT_M, front_m=front_m)


def _widens(rear_m: float, mouth_m: float) -> Iterator[Problem]:
    if rear_m > mouth_m:
        message = f"the rear of {rear_m:g} m is wider than the mouth of {mouth_m:g} m"
        yield Problem(("rear_diameter_m",), message, f"Allowed: up to {mouth_m:g}.", "Exchange the two.")
