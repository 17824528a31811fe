"""A light: what it is, where it stands, and how strong it is."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field

from ..findings import Problem
from ..fixtures import NARROWEST_EDGE
from .base import (
    Aim,
    Angle,
    Coordinate,
    Flag,
    Kelvin,
    Length,
    Number,
    Place,
    Positive,
    Power,
    Shutter,
    Table,
    named,
)
from .camera import ISO

Role = Literal["key", "fill", "background", "hair", "rim", "ambient", "other"]
FLASH_STRENGTHS = ("energy_ws", "guide_number_m")
STEADY_STRENGTHS = ("lumens", "lux")
AMBIENT_STRENGTHS = ("lux", "ev")
STRENGTHS = ("energy_ws", "guide_number_m", "meters", "lumens", "lux", "ev")
PLACING = ("azimuth_deg", "elevation_deg", "height_m", "distance_m")
TUNABLE_SOURCES = ("flash", "daylight", "blackbody", "tungsten")
_BODY_KEYS = (*PLACING, "at_m", "aim", "size_m", "depth_m", "roll_deg", "visible")
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
        description="Spectrum: a stock source, or a CSV file of wavelengths and powers relative to the scene file.",
    )
    cct_k: Kelvin | None = Field(
        None, description="Correlated colour temperature, kelvin, for flash, daylight, blackbody and tungsten."
    )
    shape: Literal["disk", "rectangle", "octagon", "sphere", "spot", "ambient"] = Field(
        description="Shape of the area the light leaves from; ambient comes from all around."
    )
    size_m: Length | Annotated[list[Length], Field(min_length=2, max_length=2)] | None = Field(
        None,
        description="Metres: diameter (octagon: across flats; spot: of its lens), or [width, height] of a rectangle.",
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
        40.0, description="Flash: light out of the front of the modifier per joule, lm s/J; about 15 to 50."
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
        description="Continuous light: lux on its axis at lux_distance_m and full power. Ambient: lux at the face.",
    )
    lux_distance_m: Length | None = Field(None, description="Distance at which lux was measured, metres.")
    ev: Annotated[Number, Field(ge=-10, le=20)] | None = Field(
        None, description="Ambient: exposure value at ISO 100 that a dome meter shows at the face."
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

    def is_flash(self) -> bool:
        """Whether the light is a flash: by its source or, for a measured spectrum, by how its strength is given."""
        if self.measured():
            by_meter = self.meters is not None and self.meters.shutter_s is None
            return by_meter or any(getattr(self, k) is not None for k in FLASH_STRENGTHS)
        return self.source == "flash" and self.shape != "ambient"

    def size_pair(self) -> tuple[float, float]:
        """Width and height, or the diameter twice, metres."""
        size = self.size_m if self.size_m is not None else 0.0
        return (size[0], size[1]) if isinstance(size, list) else (size, size)

    def problems(self) -> Iterator[Problem]:
        """Cross-checks between the keys of this table."""
        yield from _strength_problems(self)
        yield from _shape_problems(self)
        if self.shape != "ambient":
            yield from _place_problems(self)
        if self.cct_k is not None and self.source not in TUNABLE_SOURCES:
            yield Problem(
                ("cct_k",),
                f'the source "{self.source}" has a spectrum of its own, so it takes no colour temperature',
                f"Allowed with: {', '.join(TUNABLE_SOURCES)}.",
                "Remove cct_k.",
            )


def _strength_problems(light: Light) -> Iterator[Problem]:
    given = [k for k in STRENGTHS if getattr(light, k) is not None]
    ambient, flash = light.shape == "ambient", light.is_flash()
    allowed, what = _allowed_strengths(light, ambient, flash)
    usable = [k for k in given if k in allowed]
    choice = f"Allowed for {what}: exactly one of {', '.join(allowed)}."
    for wrong in given:
        if wrong not in allowed:
            yield Problem((wrong,), f"{wrong} does not give the strength of {what}", choice, _other_kind(light, wrong))
    if not given:
        yield Problem((), "this light has no strength", choice, "Add one.")
    elif len(usable) > 1:
        yield Problem(
            (usable[1],), f"the strength is given {len(usable)} times: {', '.join(usable)}", choice, "Keep one."
        )
    yield from _strength_details(light, flash, ambient)


def _allowed_strengths(light: Light, ambient: bool, flash: bool) -> tuple[tuple[str, ...], str]:
    if ambient:
        return AMBIENT_STRENGTHS, "ambient light"
    if light.measured():
        return (*FLASH_STRENGTHS, "meters", *STEADY_STRENGTHS), "a light with a measured spectrum"
    if flash:
        return (*FLASH_STRENGTHS, "meters"), "a flash"
    return (*STEADY_STRENGTHS, "meters"), f'a continuous light (source "{light.source}")'


def _other_kind(light: Light, wrong: str) -> str:
    if light.shape == "ambient":
        return f"Replace {wrong} by lux or ev."
    if wrong == "ev":
        return 'Use ev only with shape = "ambient".'
    if light.is_flash():
        return 'Or name a continuous source, e.g. source = "tungsten".'
    return 'Or make it a flash: source = "flash".'


def _strength_details(light: Light, flash: bool, ambient: bool) -> Iterator[Problem]:
    if light.power is not None and light.power_stops is not None:
        yield Problem(("power_stops",), "power and power_stops are both given", "Allowed: one of them.", "Remove one.")
    if ambient:
        for extra in light.given("power", "power_stops"):
            yield Problem((extra,), "ambient light has no power setting", fix="Remove it and change lux or ev instead.")
    if "efficacy_lm_s_per_j" in light.model_fields_set and light.energy_ws is None:
        yield Problem(
            ("efficacy_lm_s_per_j",),
            "an efficacy says nothing without energy_ws",
            fix="Add energy_ws, or remove efficacy_lm_s_per_j.",
        )
    if not ambient and (light.lux is None) != (light.lux_distance_m is None):
        missing, present = ("lux_distance_m", "lux") if light.lux is not None else ("lux", "lux_distance_m")
        yield Problem(
            (present,), f"{present} needs {missing} beside it", fix="E.g. lux = 1200 with lux_distance_m = 1."
        )
    if ambient and light.lux_distance_m is not None:
        yield Problem(("lux_distance_m",), "ambient light has no distance", fix="Remove lux_distance_m.")
    if light.meters is not None and not light.measured() and not ambient:
        if flash and light.meters.shutter_s is not None:
            yield Problem(
                ("meters", "shutter_s"), "a flash reading does not depend on the shutter", fix="Remove shutter_s."
            )
        if not flash and light.meters.shutter_s is None:
            yield Problem(
                ("meters",),
                "a reading of continuous light needs the shutter time set on the meter",
                fix='Add shutter_s, e.g. meters = { f_number = 4, shutter_s = "1/60", distance_m = 1 }.',
            )


def _shape_problems(light: Light) -> Iterator[Problem]:
    if light.shape == "ambient":
        for extra in light.given(*_BODY_KEYS):
            yield Problem((extra,), f"ambient light comes from all around and takes no {extra}", fix=f"Remove {extra}.")
    elif light.size_m is None:
        what = "[width, height]" if light.shape == "rectangle" else "its diameter"
        yield Problem((), f"this {light.shape} has no size", fix=f"Add size_m = {what} in metres.")
    elif isinstance(light.size_m, list) and light.shape != "rectangle":
        yield Problem(
            ("size_m",),
            f"shape {light.shape} has one size, its diameter; two are given",
            "Allowed: one number in metres.",
            'For [width, height] use shape = "rectangle".',
        )
    if light.shape != "spot":
        for extra in light.given("beam_deg", "field_deg"):
            yield Problem(
                (extra,),
                f'{extra} belongs to spots, not to shape = "{light.shape}"',
                fix=f'Remove {extra}, or use shape = "spot".',
            )
    elif light.beam_deg is None or light.field_deg is None:
        missing = "beam_deg" if light.beam_deg is None else "field_deg"
        yield Problem(
            (),
            f"this spot has no {missing}",
            fix="Add both: beam_deg (full angle at half intensity) and field_deg (at a tenth).",
        )
    elif light.field_deg < NARROWEST_EDGE * light.beam_deg:
        wider = "is wider than" if light.beam_deg > light.field_deg else "leaves no edge inside"
        yield Problem(
            ("beam_deg",),
            f"the beam of {light.beam_deg:g} degrees {wider} the field of {light.field_deg:g} degrees",
            f"Allowed: a field at least 2 % wider, {light.beam_deg * NARROWEST_EDGE:.4g} degrees or more.",
            "Exchange the two, or widen field_deg.",
        )


def _place_problems(light: Light) -> Iterator[Problem]:
    if light.at_m is None and light.distance_m is None:
        yield Problem(
            (), "this light has no place", fix="Give distance_m (with azimuth_deg and height_m), or at_m = [x, y, z]."
        )
    if light.at_m is not None:
        for extra in light.given(*PLACING):
            yield Problem((extra,), f"{extra} and at_m both place the light", fix=f"Keep one: remove {extra}, or at_m.")
    if light.elevation_deg is not None and light.height_m is not None:
        yield Problem(
            ("height_m",), "elevation_deg and height_m both say how high the light is", fix="Keep one of them."
        )
