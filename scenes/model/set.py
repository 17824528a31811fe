"""The place: a room or open ground, and what hangs behind the sitter."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

from pydantic import Field

from ..findings import Problem
from .base import Finish, Flag, Length, Number, Side, Table


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
    """The ground of an open location."""

    finish: Finish = Field("concrete", description="Finish of the ground.")


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
