"""Set pieces: what stands between or beside the lights and blocks, dims, spreads or bounces."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field

from ..findings import Problem
from .base import Aim, Angle, Coordinate, Finish, Flag, Length, Number, Place, Table
from .light_checks import PLACING

CLEAREST_SILK_STOPS = 0.25
DENSEST_STOPS = 6.0
_STOPPED = {"net": "0.5 for a single net, 1 for a double one", "silk": "0.5, 1 or 1.5"}
_ONLY = {"stops": ("net", "silk"), "finish": ("board",), "back": ("board",)}


class Piece(Table):
    """A flat piece on a stand. The name of its table, as in [piece.flag], is its name."""

    kind: Literal["flag", "net", "silk", "board"] = Field(
        description="What it is: a flag blocks, a net dims, a silk dims and scatters, a board bounces."
    )
    size_m: Length | Annotated[list[Length], Field(min_length=2, max_length=2)] = Field(
        description="Metres: [width, height], or one number for a square; the diameter when round."
    )
    round: Flag = Field(False, description="Whether it is a disk instead of a rectangle.")
    finish: Finish | None = Field(
        None, description="Board only: finish of the face that looks at the aim; white-board if left out."
    )
    back: Finish | None = Field(None, description="Board only: finish of the far side; that of its face if left out.")
    stops: Annotated[Number, Field(gt=0, le=DENSEST_STOPS)] | None = Field(
        None, description="Net and silk: light it stops, in stops; 1 lets half of it through."
    )
    azimuth_deg: Angle = Field(
        0.0, description="Direction around the aim point, degrees: 0 the front of the set, 90 camera right, 180 behind."
    )
    elevation_deg: Annotated[Number, Field(ge=-90, le=90)] | None = Field(
        None, description="Angle above the aim point, degrees; use this or height_m. Level if both are left out."
    )
    height_m: Coordinate | None = Field(None, description="Height of the piece's centre above the floor, metres.")
    distance_m: Length | None = Field(
        None, description="Straight-line distance from the aim point to the piece's centre, metres."
    )
    at_m: Place | None = Field(
        None, description="Place [x, y, z], metres, instead of azimuth, elevation or height, and distance."
    )
    aim: Aim = Field("face", description='What its face looks at: a landmark, "background", or a place [x, y, z].')
    roll_deg: Angle = Field(
        0.0, description="Turn about its own axis, degrees; clockwise as seen from behind the piece."
    )
    visible: Flag = Field(
        False, description="Whether it may show in the picture; where it does and this is false, a warning says so."
    )

    def size_pair(self) -> tuple[float, float]:
        """Width and height, or the diameter twice, metres."""
        return (self.size_m[0], self.size_m[1]) if isinstance(self.size_m, list) else (self.size_m, self.size_m)

    def problems(self) -> Iterator[Problem]:
        """Cross-checks between the keys of this table."""
        if self.round and isinstance(self.size_m, list):
            yield Problem(
                ("size_m",),
                "a round piece has one size, its diameter; two are given",
                "Allowed: one number in metres.",
                "Write one number, or remove round.",
            )
        for key, kinds in _ONLY.items():
            if self.kind not in kinds and getattr(self, key) is not None:
                yield Problem((key,), f"a {self.kind} takes no {key}", f"Allowed with: {', '.join(kinds)}.", _way(key))
        yield from self._stops_problems()
        yield from self._place_problems()

    def _stops_problems(self) -> Iterator[Problem]:
        if self.kind in _STOPPED and self.stops is None:
            fix = f"Add stops, e.g. {_STOPPED[self.kind]}."
            yield Problem((), f"nothing says how much light this {self.kind} stops", fix=fix)
        elif self.kind == "silk" and self.stops is not None and self.stops < CLEAREST_SILK_STOPS:
            yield Problem(
                ("stops",),
                f"cloth that stops only {self.stops:g} stops scatters little and is no silk",
                f"Allowed: {CLEAREST_SILK_STOPS:g} to {DENSEST_STOPS:g}.",
                "Raise it, or leave the silk out.",
            )

    def _place_problems(self) -> Iterator[Problem]:
        if self.at_m is None and self.distance_m is None:
            yield Problem(
                (), f"this {self.kind} has no place", fix="Give distance_m (with azimuth_deg and height_m), or at_m."
            )
        if self.at_m is not None:
            for extra in self.given(*PLACING):
                yield Problem(
                    (extra,), f"{extra} and at_m both place the {self.kind}", fix=f"Keep one: remove {extra}, or at_m."
                )
        if self.elevation_deg is not None and self.height_m is not None:
            message = f"elevation_deg and height_m both say how high the {self.kind} is"
            yield Problem(("height_m",), message, fix="Keep one of them.")


def _way(key: str) -> str:
    return "Remove it, or use a net or a silk." if key == "stops" else 'Remove it, or use kind = "board".'
