"""The camera's place and lens, and its exposure settings."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field

from ..findings import Problem
from .base import Aim, Angle, Coordinate, Kelvin, Length, Number, Place, Positive, Shutter, Table, Whole, named


class Camera(Table):
    """Where the camera stands, what it looks at, and the picture it takes."""

    focal_length_mm: Annotated[Number, Field(ge=4, le=2000)] = Field(
        85.0, description="Focal length of the lens, millimetres."
    )
    sensor_mm: Annotated[list[Annotated[Number, Field(gt=0, le=300)]], Field(min_length=2, max_length=2)] = Field(
        [36.0, 24.0], description="Width and height of the sensor, millimetres."
    )
    distance_m: Length | None = Field(
        None, description="Straight-line distance from the look-at point to the lens, metres."
    )
    height_m: Coordinate | None = Field(
        None, description="Height of the lens above the floor, metres; level with the look-at point if left out."
    )
    azimuth_deg: Angle = Field(
        0.0, description="Direction of the camera around the look-at point, degrees; 0 is the front of the set."
    )
    at_m: Place | None = Field(
        None,
        description="Place of the lens [x, y, z], metres, instead of distance, height and azimuth: "
        "x to camera right, y up, z toward the front of the set, from the floor under the sitter.",
    )
    look_at: Aim = Field(
        "face", description="What the camera is pointed at: a landmark, or a place [x, y, z] in metres."
    )
    long_side_px: Annotated[Whole, Field(ge=16, le=16384)] = Field(
        640, description="Pixels along the long side of the picture."
    )
    aspect: Annotated[str, Field(pattern=r"^[0-9]+(\.[0-9]+)?:[0-9]+(\.[0-9]+)?$")] | None = Field(
        None, description='Width to height of the picture, e.g. "4:5" or "3:2"; the sensor\'s own sides if left out.'
    )
    orientation: Literal["portrait", "landscape"] | None = Field(
        None,
        description="Whether the long side of the picture stands or lies; as aspect says if left out, standing "
        "without aspect.",
    )

    def problems(self) -> Iterator[Problem]:
        """Cross-checks between the keys of this table."""
        if self.at_m is None and self.distance_m is None:
            yield Problem(
                (),
                "the camera has no place",
                fix="Give distance_m (metres from what it looks at), or at_m = [x, y, z].",
            )
        if self.at_m is not None:
            for extra in self.given("distance_m", "height_m", "azimuth_deg"):
                yield Problem(
                    (extra,),
                    f"{extra} and at_m both place the camera",
                    fix=f"Keep one of them: remove {extra}, or at_m.",
                )
        if self.aspect is not None:
            sides = [float(side) for side in self.aspect.split(":")]
            if not 0 < min(sides) <= max(sides) <= 20 * min(sides) < math.inf:
                yield Problem(
                    ("aspect",),
                    f"a picture of {self.aspect} has no usable shape",
                    'Allowed: sides up to 20:1, e.g. "4:5".',
                )

    def doubts(self) -> Iterator[Problem]:
        """What is worth a look in this table."""
        if self.orientation is None and self.lies():
            wide, high = str(self.aspect).split(":")
            yield Problem(
                ("aspect",),
                f'aspect is width to height, so this picture lies: {wide} wide, {high} high',
                fix=f'Write orientation = "landscape" if that is meant, or aspect = "{high}:{wide}" to stand it up.',
                severity="warning",
            )

    def lies(self) -> bool:
        """Whether the picture is held across."""
        if self.orientation is not None:
            return self.orientation == "landscape"
        if self.aspect is None:
            return False
        wide, high = (float(side) for side in self.aspect.split(":"))
        return wide > high

    def frame_ratio(self) -> float:
        """Width over height of the picture."""
        sides = self.sensor_mm if self.aspect is None else [float(s) for s in self.aspect.split(":")]
        long, short = max(sides), min(sides)
        return long / short if self.lies() else short / long


class WhiteBalance(Table):
    """What the camera takes as white, other than flash or a plain temperature: kelvin, light, source or card."""

    kelvin: Kelvin | None = Field(None, description="Colour temperature, kelvin (1000 to 25000).")
    duv: Annotated[Number, Field(ge=-0.05, le=0.05)] | None = Field(
        None,
        description="Tint beside kelvin: distance of the white from the black body in CIE 1960 u, v, positive toward "
        "green; the picture turns the other way.",
    )
    light: Annotated[str, Field(min_length=1)] | None = Field(
        None, description="Name of a light of this scene: its light, after its gels, is white."
    )
    source: Annotated[str, named("source")] | None = Field(
        None, description="A source by name, or a CSV file of a measured one: its light is white."
    )
    cct_k: Kelvin | None = Field(None, description="Colour temperature of a source that takes one, kelvin.")
    card: Annotated[str, Field(min_length=1)] | Place | None = Field(
        None,
        description="Where a grey card is held: a meter point, a piece, or a place [x, y, z] in metres, where it looks "
        "at the camera. The light that falls on it is white.",
    )

    def problems(self) -> Iterator[Problem]:
        """Cross-checks between the keys of this table."""
        ways = self.given("kelvin", "light", "source", "card")
        if len(ways) != 1:
            what = f"{' and '.join(ways)} all set the white balance" if ways else "the white balance names no white"
            yield Problem((), what, "Allowed: one of kelvin, light, source and card.", "Keep one of them.")
        if self.duv is not None and "kelvin" not in ways:
            yield Problem(("duv",), "duv is a tint beside kelvin", fix="Give kelvin, or remove duv.")
        if self.cct_k is not None and "source" not in ways:
            yield Problem(("cct_k",), "cct_k belongs to a source", fix="Give source, or set kelvin instead of cct_k.")


class Exposure(Table):
    """Camera settings."""

    iso: Annotated[Number, Field(ge=1, le=1_000_000)] = Field(100.0, description="ISO speed.")
    f_number: Annotated[Number, Field(ge=0.5, le=128)] = Field(
        8.0, description="Aperture as engraved: 8 for f/8, 5.6 for f/5.6."
    )
    shutter_s: Shutter = Field(0.008, description='Shutter time in seconds: a number, or a text such as "1/125".')
    white_balance: Kelvin | Annotated[str, Field(min_length=1)] | WhiteBalance = Field(
        "flash",
        description='White balance: "flash", a colour temperature in kelvin (1000 to 25000), the name of a light, or a '
        "table with kelvin and duv, light, source or card.",
    )


ISO = Annotated[Positive, Field(ge=1, le=1_000_000)]
