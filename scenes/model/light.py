"""A light: what it is, where it stands, and how strong it is."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field

from ..findings import Problem
from ..modifiers import Modifier
from .base import (
    Aim,
    Angle,
    Coordinate,
    Flag,
    Kelvin,
    Length,
    Moment,
    Number,
    Place,
    Positive,
    Power,
    Shutter,
    Table,
    Whole,
    named,
)
from .camera import ISO
from .light_checks import FAR_WORDS, FLASH_STRENGTHS, place_problems, shape_problems, strength_problems

Role = Literal["key", "fill", "background", "hair", "rim", "ambient", "other"]
TUNABLE_SOURCES = ("flash", "daylight", "blackbody", "tungsten")
CLOUD_CCT_K = 6500.0
"""Colour temperature of a cloudy sky for which the file names no source, kelvin: the average daylight of D65."""

Strong = Annotated[Positive, Field(le=1e9)]


class MeterReading(Table):
    """A reading of a flat hand meter held on the light's axis, turned to the light."""

    f_number: Annotated[Number, Field(ge=0.5, le=128)] = Field(description="F-number the meter shows.")
    distance_m: Length = Field(description="Distance from the front of the light, metres.")
    iso: ISO = Field(100.0, description="ISO speed set on the meter.")
    shutter_s: Shutter | None = Field(
        None, description="Continuous light only: shutter time set on the meter, seconds."
    )
    power: Power = Field(
        1.0, description='Power setting when the reading was taken: a fraction such as "1/4"; full if left out.'
    )


class Light(Table):
    """One light. The name of its table, as in [light.key], is its name."""

    role: Role | None = Field(
        None, description="What it does in the set; taken from its name if that is one of these words, else other."
    )
    source: Annotated[str, named("source")] = Field(
        "flash",
        description="Spectrum: a stock source, or a CSV file of wavelengths and powers relative to the scene file. "
        "With a head, that of the head if left out.",
    )
    cct_k: Kelvin | None = Field(
        None,
        description="Correlated colour temperature, kelvin, for flash, daylight, blackbody and tungsten. Without it "
        "and a source, sun and clear sky have the colour that the sun's height and the air give them.",
    )
    shape: Literal["disk", "rectangle", "octagon", "sphere", "tube", "spot", "ambient", "sun", "sky"] | None = Field(
        None,
        description="Shape of the area the light leaves from, where head and modifiers do not say it; "
        "ambient comes evenly from all around, sky from above.",
    )
    head: Annotated[str, named("head")] | None = Field(
        None, description="Head from the kit: gives the source and, with power, the strength."
    )
    modifiers: list[Annotated[str, named("modifier")] | Modifier] = Field(
        [],
        description="What is on the head, from the head outward: names from the kit, or tables with a kind. "
        "A bare bulb if left out.",
    )
    size_m: Length | Annotated[list[Length], Field(min_length=2, max_length=2)] | None = Field(
        None,
        description="Metres: diameter (octagon: across flats; spot: of its lens), [width, height] of a rectangle, or "
        "[length, diameter] of a tube.",
    )
    beam_deg: Annotated[Number, Field(gt=0, le=150)] | None = Field(
        None, description="Spot only: full angle at half of the intensity on its axis, degrees."
    )
    field_deg: Annotated[Number, Field(gt=0, le=150)] | None = Field(
        None, description="Spot only: full angle at a tenth of the intensity on its axis, degrees; wider than the beam."
    )
    azimuth_deg: Angle = Field(
        0.0, description="Direction around the aim point, degrees: 0 the front of the set, 90 camera right, 180 behind."
    )
    elevation_deg: Annotated[Number, Field(ge=-90, le=90)] | None = Field(
        None, description="Angle above the aim point, degrees; use this or height_m. Level if both are left out."
    )
    height_m: Coordinate | None = Field(None, description="Height of the light's centre above the floor, metres.")
    distance_m: Length | None = Field(
        None, description="Straight-line distance from the aim point to the light's front, metres."
    )
    time: Moment | None = Field(
        None, description="Sun and sky: date and time with its offset from UTC, instead of azimuth and elevation."
    )
    latitude_deg: Annotated[Number, Field(ge=-90, le=90)] | None = Field(
        None, description="With time: latitude of the place, degrees; north is positive."
    )
    longitude_deg: Annotated[Number, Field(ge=-180, le=180)] | None = Field(
        None, description="With time: longitude of the place, degrees; east is positive."
    )
    front_bearing_deg: Annotated[Number, Field(ge=0, le=360)] | None = Field(
        None,
        description="With time: compass bearing from the sitter to the front of the set, degrees; north 0, east 90.",
    )
    sky: Annotated[str, named("sky")] | Annotated[Whole, Field(ge=1, le=15)] | None = Field(
        None, description="Kind of sky: a name, or the number of a CIE standard general sky."
    )
    air: Annotated[str, named("air")] | Annotated[Number, Field(ge=0, le=1)] | None = Field(
        None,
        description="Sun and clear sky: how clear the air is, by name or as aerosol optical depth at 500 nm. Where it "
        "is left out, the sun takes that of the set's clear sky; clear if there is none.",
    )
    at_m: Place | None = Field(
        None, description="Place [x, y, z], metres, instead of azimuth, elevation or height, and distance."
    )
    aim: Aim = Field(
        "face", description='What it is pointed at: a landmark, "background", or a place [x, y, z] in metres.'
    )
    roll_deg: Angle = Field(
        0.0, description="Turn about its own axis, degrees; clockwise as seen from behind the light."
    )
    depth_m: Annotated[Number, Field(gt=0, le=5)] | None = Field(
        None, description="Depth of the housing behind the exit, metres; from its shape and size if left out."
    )
    energy_ws: Strong | None = Field(None, description="Flash: stored energy at full power, watt-seconds (joules).")
    efficacy_lm_s_per_j: Annotated[Number, Field(gt=0, le=683)] = Field(
        40.0,
        description="Flash: light per joule, lm s/J; about 15 to 50. Of the bare lamp where modifiers are given, "
        "else of what leaves the shape.",
    )
    guide_number_m: Annotated[Number, Field(gt=0, le=10000)] | None = Field(
        None, description="Flash: guide number at ISO 100 and full power, metres."
    )
    meters: MeterReading | None = Field(
        None, description="Strength by one reading: { f_number = 8, distance_m = 2, iso = 100 }."
    )
    lumens: Strong | None = Field(None, description="Continuous light: luminous flux at full power, lumens.")
    lux: Strong | None = Field(
        None,
        description="Continuous light: lux on its axis at lux_distance_m and full power. Sun: lux on a surface that "
        "faces it. Sky: lux on level ground under the whole sky. Both follow from the sun's height if left out. "
        "Ambient: lux of a dome at the face, before pieces and lights stand there.",
    )
    lux_distance_m: Length | None = Field(None, description="Distance at which lux was measured, metres.")
    ev: Annotated[Number, Field(ge=-10, le=20)] | None = Field(
        None,
        description="Exposure value at ISO 100 instead of lux. Sun: of a flat meter turned to it. Sky: of a flat "
        "meter, level under the whole sky. Ambient: of a dome at the face, before pieces and lights stand there.",
    )
    power: Power | None = Field(None, description='Power setting as a fraction of full: 0.125 or "1/8".')
    power_stops: Annotated[Number, Field(ge=-12, le=0)] | None = Field(
        None, description="Power setting in stops under full: 0 to -12."
    )
    gels: list[Annotated[str, named("gel")]] = Field(
        [], description="Gels in front of the light: stock names, or CSV files relative to the scene file."
    )
    on: Flag = Field(True, description="Whether the light is on.")
    visible: Flag = Field(False, description="Whether the camera sees the fixture.")

    def power_fraction(self) -> float:
        """Power setting as a fraction of full power."""
        if self.power is not None:
            return self.power
        return float(2.0 ** (self.power_stops or 0.0))

    def measured(self) -> bool:
        """Whether the source is a CSV file."""
        return self.source.lower().endswith(".csv")

    def far(self) -> bool:
        """Whether it comes from no fixture: ambient light, sun and sky."""
        return self.shape in FAR_WORDS

    def from_kit(self) -> bool:
        """Whether head or modifiers say what it is."""
        return self.head is not None or bool(self.modifiers)

    def emission(self) -> tuple[str, float | None]:
        """Source and colour temperature in kelvin (None where the source has its own) of a light without a head."""
        if self.shape in ("sun", "sky") and "source" not in self.model_fields_set:
            return "daylight", self.cct_k if self.cct_k is not None else CLOUD_CCT_K
        return self.source, self.cct_k

    def natural(self) -> bool:
        """Whether sun or sky leaves its colour to the air."""
        return self.shape in ("sun", "sky") and "source" not in self.model_fields_set and self.cct_k is None

    def is_flash(self) -> bool:
        """Whether a light without a head is a flash: by its source or, if measured, by how its strength is given."""
        if self.measured():
            by_meter = self.meters is not None and self.meters.shutter_s is None
            return by_meter or any(getattr(self, k) is not None for k in FLASH_STRENGTHS)
        return self.source == "flash" and not self.far()

    def size_pair(self) -> tuple[float, float]:
        """Width and height, or the diameter twice, metres."""
        size = self.size_m if self.size_m is not None else 0.0
        return (size[0], size[1]) if isinstance(size, list) else (size, size)

    def set_keys(self, *keys: str) -> list[str]:
        """Those of `keys` that hold something."""
        return [key for key in keys if getattr(self, key) is not None]

    def problems(self) -> Iterator[Problem]:
        """Cross-checks between the keys of this table."""
        yield from strength_problems(self)
        yield from shape_problems(self)
        yield from place_problems(self)
        by_head = self.head is not None and "source" not in self.model_fields_set
        source = self.emission()[0]
        if self.cct_k is not None and not by_head and source not in TUNABLE_SOURCES:
            yield Problem(
                ("cct_k",),
                f'the source "{source}" has a spectrum of its own, so it takes no colour temperature',
                f"Allowed with: {', '.join(TUNABLE_SOURCES)}.",
                "Remove cct_k.",
            )
