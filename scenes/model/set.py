"""The place: a room or open ground, and what hangs behind the sitter."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field

from ..findings import Problem
from .base import Coordinate, Finish, Flag, Length, Name, Number, Side, Table, Whole

Share = Annotated[Number, Field(ge=0, le=1)]
Beyond = Literal["open", "hedge", "wall", "trees", "hills"]
BEYOND: dict[str, tuple[float, float, str]] = {
    "hedge": (9.0, 2.2, "hedge-leaves"),
    "wall": (9.0, 2.6, "plaster"),
    "trees": (120.0, 12.0, "far-trees"),
    "hills": (3000.0, 170.0, "far-hills"),
}
"""What may stand at the far side of the ground: its distance and height in metres, and its finish, where left out."""


class Window(Table):
    """A window: a hole in a wall of the room, through which sun and sky come in."""

    wall: Literal["front", "back", "left", "right"] = Field(description="The wall it is in, as the camera sees them.")
    centre_m: Coordinate = Field(
        description="Place of its middle along the wall, metres: x of the front and back walls (positive to the "
        "right), z of the left and right walls (positive to the front); 0 is level with the origin, under the sitter."
    )
    size_m: Annotated[list[Length], Field(min_length=2, max_length=2)] = Field(
        description="[width, height] of the opening, metres."
    )
    sill_m: Annotated[Number, Field(ge=0, le=100)] = Field(
        0.9, description="Height of its lower edge above the floor, metres."
    )
    panes: Annotated[list[Annotated[Whole, Field(ge=1, le=20)]], Field(min_length=2, max_length=2)] = Field(
        [1, 1], description="[columns, rows] of panes, parted by glazing bars."
    )
    bar_m: Annotated[Number, Field(gt=0, le=0.5)] = Field(
        0.04, description="Width of frame and glazing bars, metres; without glass there are none."
    )
    frame: Finish = Field("white-paint", description="Finish of frame and glazing bars.")
    glass: Literal["double", "single", "frosted", "none"] = Field(
        "double", description="Clear double or single glass, frosted glass, which scatters all light, or an open hole."
    )
    curtain: Finish | None = Field(
        None, description="Finish of a curtain before it; cloth that lets light through glows. Not with curtain_stops."
    )
    curtain_stops: Annotated[Number, Field(ge=0.4, le=6)] | None = Field(
        None, description="A white curtain that lets so many stops less through, and scatters it."
    )
    drawn: Share = Field(1.0, description="How far the curtain is drawn, from both sides to the middle: 0 to 1.")
    blind: Finish | None = Field(None, description="Finish of a blind of level slats.")
    slat_m: Annotated[Number, Field(ge=0.01, le=0.3)] = Field(0.05, description="Width of its slats, metres.")
    slat_deg: Annotated[Number, Field(ge=-90, le=90)] = Field(
        30.0,
        description="Tilt of its slats, degrees: 0 level, positive with the inner edge up, which shuts out the sky.",
    )
    lowered: Share = Field(1.0, description="How far the blind is let down: 0 to 1.")

    def problems(self) -> Iterator[Problem]:
        """Cross-checks between the keys of this table."""
        if self.curtain is not None and self.curtain_stops is not None:
            yield Problem(("curtain_stops",), "curtain and curtain_stops both say what the curtain is", fix="Keep one.")
        if self.curtain is None and self.curtain_stops is None:
            for extra in self.given("drawn"):
                yield Problem((extra,), f"{extra} says nothing without a curtain", fix="Add curtain_stops = 1.")
        if self.blind is None:
            for extra in self.given("slat_m", "slat_deg", "lowered"):
                fix = 'Add blind = "white-paint", or remove it.'
                yield Problem((extra,), f"{extra} says nothing without a blind", fix=fix)
        if self.glass == "none":
            for extra in self.given("panes", "bar_m", "frame"):
                fix = f"Remove {extra}, or glass."
                yield Problem((extra,), f"{extra} says nothing of a hole without glass", fix=fix)
        for count, size in zip(self.panes, self.size_m, strict=True):
            if self.glass != "none" and (count + 1) * self.bar_m >= size:
                message = f"{count + 1} bars of {self.bar_m:g} m leave no glass in {size:g} m"
                yield Problem(("panes",), message, fix="Take fewer panes or a smaller bar_m.")
                return


class Room(Table):
    """A room around the set. Leave it out for an open location."""

    size_m: Annotated[list[Annotated[Number, Field(ge=1, le=100)]], Field(min_length=3, max_length=3)] = Field(
        description="Width (left to right), depth (front to back) and height, metres."
    )
    back_wall_m: Length | None = Field(
        None,
        description="Distance from the origin, under the sitter, to the back wall, metres; half the depth if left out.",
    )
    walls: Finish = Field("white-paint", description="Finish of the walls.")
    floor: Finish = Field("concrete", description="Finish of the floor.")
    ceiling: Finish = Field("white-paint", description="Finish of the ceiling.")
    open: list[Side] = Field([], description="Sides with no surface; light that goes there is gone.")
    window: dict[Name, Window] = Field({}, description="Windows, each a table [room.window.NAME].")
    wall_m: Annotated[Number, Field(gt=0, le=2)] = Field(
        0.2, description="Thickness of the walls, metres, which windows show."
    )

    def problems(self) -> Iterator[Problem]:
        """Cross-checks between the keys of this table."""
        if self.back_wall_m is not None and self.back_wall_m >= self.size_m[1]:
            yield Problem(
                ("back_wall_m",),
                f"the back wall is {self.back_wall_m:g} m behind the sitter in a room only {self.size_m[1]:g} m deep",
                f"Allowed: less than {self.size_m[1]:g} m.",
                "Make the room deeper or bring the wall nearer.",
            )
        for index, side in enumerate(self.open):
            if side in self.open[:index]:
                yield Problem(("open", index), f'"{side}" is named twice', fix="Remove one.")

    def back_z_m(self) -> float:
        """Place of the back wall along z (negative), metres."""
        return -(self.back_wall_m if self.back_wall_m is not None else self.size_m[1] / 2)

    def front_z_m(self) -> float:
        """Place of the front wall along z, metres."""
        return self.back_z_m() + self.size_m[1]


class Ground(Table):
    """The ground of an open location, or outside a room; it runs on to the horizon."""

    finish: Finish = Field("concrete", description="Finish of the ground.")
    beyond: Beyond = Field(
        "open", description="What stands around the set at a distance, before the sky; open ground if left out."
    )
    beyond_m: Annotated[Number, Field(ge=3, le=4000)] | None = Field(
        None,
        description="Its distance behind and beside the sitter, metres: 9 for hedge and wall, 120 for trees, 3000 for "
        "hills if left out.",
    )
    beyond_height_m: Annotated[Number, Field(gt=0, le=400)] | None = Field(
        None,
        description="Its height, metres: 2.2 for a hedge, 2.6 for a wall, 12 for trees, 170 for hills if left out.",
    )
    beyond_finish: Finish | None = Field(None, description="Its finish; one of its own kind if left out.")
    visibility_m: Annotated[Number, Field(ge=500, le=300_000)] | None = Field(
        None,
        description="How far one sees, metres: what is far away pales toward the sky. By the air of sun and sky if "
        "left out, from 13 km in hazy to 80 km in clean air.",
    )
    below_m: Annotated[Number, Field(gt=0, le=100)] | None = Field(
        None, description="With a room: how far the ground outside lies under its floor, metres; 0.2 if left out."
    )

    def far_side(self) -> tuple[float, float, str] | None:
        """Distance and height in metres, and finish, of what stands beyond; None for open ground."""
        if self.beyond == "open":
            return None
        distance, height, finish = BEYOND[self.beyond]
        return self.beyond_m or distance, self.beyond_height_m or height, self.beyond_finish or finish

    def problems(self) -> Iterator[Problem]:
        """Cross-checks between the keys of this table."""
        if self.beyond == "open":
            for extra in self.given("beyond_m", "beyond_height_m", "beyond_finish"):
                fix = f'Add beyond = "hedge" (or {", ".join(k for k in BEYOND if k != "hedge")}), or remove {extra}.'
                yield Problem((extra,), f"{extra} says nothing of open ground", fix=fix)


class Background(Table):
    """A paper or a panel across the set behind the sitter."""

    distance_m: Length = Field(description="Distance behind the origin, under the sitter, metres.")
    width_m: Length = Field(2.7, description="Width, metres.")
    height_m: Length = Field(2.6, description="Height of its top above the floor, metres.")
    finish: Finish = Field("grey-paper", description="Finish of the side toward the camera.")
    sweep: Flag | None = Field(
        None, description="Whether it curves onto the floor and runs on under the sitter; papers do if left out."
    )
    floor_length_m: Length | None = Field(
        None,
        description="How far a sweep runs forward on the floor from the foot of the background, metres; "
        "to 0.6 m in front of the sitter if left out.",
    )

    def sweeps(self) -> bool:
        """Whether it runs onto the floor."""
        return self.sweep if self.sweep is not None else "paper" in self.finish

    def problems(self) -> Iterator[Problem]:
        """Cross-checks between the keys of this table."""
        if self.floor_length_m is not None and not self.sweeps():
            yield Problem(
                ("floor_length_m",),
                "this background does not run onto the floor",
                fix="Add sweep = true, or remove floor_length_m.",
            )
