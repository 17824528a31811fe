"""Cross-checks between the keys of a light, kind by kind: strength, shape, place."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from ..findings import Problem
from ..fixtures import NARROWEST_EDGE

if TYPE_CHECKING:
    from .light import Light

FLASH_STRENGTHS = ("energy_ws", "guide_number_m")
STEADY_STRENGTHS = ("lumens", "lux")
FAR_STRENGTHS = ("lux", "ev")
STRENGTHS = ("energy_ws", "guide_number_m", "meters", "lumens", "lux", "ev")
PLACING = ("azimuth_deg", "elevation_deg", "height_m", "distance_m")
FAR_WORDS = {"ambient": "ambient light", "sun": "sunlight", "sky": "skylight"}
"""Shapes without a fixture, and what they are called."""

CLOCK_KEYS = ("latitude_deg", "longitude_deg", "front_bearing_deg")
_FORM_KEYS = ("size_m", "beam_deg", "field_deg", "depth_m")
_BODY_KEYS = (*PLACING, "at_m", "aim", "size_m", "depth_m", "roll_deg", "visible")
_SKY_PLACING = ("azimuth_deg", "elevation_deg")


def strength_problems(light: Light) -> Iterator[Problem]:
    """Whether the strength is said once, in the terms of its kind."""
    if light.head is not None:
        yield from _strength_with_head(light)
        return
    given = light.set_keys(*STRENGTHS)
    far, flash = light.shape in FAR_WORDS, light.is_flash()
    allowed, what = _allowed_strengths(light, flash)
    usable = [k for k in given if k in allowed]
    choice = f"Allowed for {what}: exactly one of {', '.join(allowed)}."
    for wrong in given:
        if wrong not in allowed:
            yield Problem((wrong,), f"{wrong} does not give the strength of {what}", choice, _other_kind(light, wrong))
    if not given and light.shape not in ("sun", "sky") and not light.modifiers:
        yield Problem((), "this light has no strength", choice, "Add one.")
    elif len(usable) > 1:
        yield Problem(
            (usable[1],), f"the strength is given {len(usable)} times: {', '.join(usable)}", choice, "Keep one."
        )
    yield from _power_problems(light)
    if "efficacy_lm_s_per_j" in light.model_fields_set and light.energy_ws is None:
        yield Problem(
            ("efficacy_lm_s_per_j",),
            "an efficacy says nothing without energy_ws",
            fix="Add energy_ws, or remove efficacy_lm_s_per_j.",
        )
    if far and light.lux_distance_m is not None:
        what = FAR_WORDS[str(light.shape)]
        yield Problem(("lux_distance_m",), f"{what} has no distance", fix="Remove lux_distance_m.")
    if not far:
        yield from _measured_strength(light, flash)


def missing_strength(light: Light) -> Problem | None:
    """What a light of modifiers lacks that states no strength, where they bring none of their own."""
    if light.head is not None or light.set_keys(*STRENGTHS):
        return None
    allowed, what = _allowed_strengths(light, light.is_flash())
    choice = f"Allowed for {what}: exactly one of {', '.join(allowed)}."
    return Problem((), "this light has no strength", choice, "Add one.")


def _strength_with_head(light: Light) -> Iterator[Problem]:
    for extra in light.set_keys(*STRENGTHS, "lux_distance_m") + light.given("efficacy_lm_s_per_j"):
        yield Problem(
            (extra,),
            f"the strength comes from the head '{light.head}', so {extra} is one too many",
            "Allowed beside head: power or power_stops.",
            f"Remove {extra}; what a head gives, and readings of it, stand in the kit file.",
        )
    yield from _power_problems(light)


def _power_problems(light: Light) -> Iterator[Problem]:
    if light.power is not None and light.power_stops is not None:
        yield Problem(("power_stops",), "power and power_stops are both given", "Allowed: one of them.", "Remove one.")
    if light.shape in FAR_WORDS:
        what = FAR_WORDS[light.shape]
        for extra in light.given("power", "power_stops"):
            yield Problem((extra,), f"{what} has no power setting", fix="Remove it and change lux or ev instead.")


def _allowed_strengths(light: Light, flash: bool) -> tuple[tuple[str, ...], str]:
    if light.shape in FAR_WORDS:
        return FAR_STRENGTHS, FAR_WORDS[light.shape]
    if light.measured():
        return (*FLASH_STRENGTHS, "meters", *STEADY_STRENGTHS), "a light with a measured spectrum"
    if flash:
        return (*FLASH_STRENGTHS, "meters"), "a flash"
    return (*STEADY_STRENGTHS, "meters"), f'a continuous light (source "{light.source}")'


def _other_kind(light: Light, wrong: str) -> str:
    if light.shape in FAR_WORDS:
        return f"Replace {wrong} by lux or ev."
    if wrong == "ev":
        return 'Use ev only with shape = "ambient", "sun" or "sky".'
    if light.is_flash():
        return 'Or name a continuous source, e.g. source = "tungsten".'
    return 'Or make it a flash: source = "flash".'


def _measured_strength(light: Light, flash: bool) -> Iterator[Problem]:
    if (light.lux is None) != (light.lux_distance_m is None):
        missing, present = ("lux_distance_m", "lux") if light.lux is not None else ("lux", "lux_distance_m")
        yield Problem(
            (present,), f"{present} needs {missing} beside it", fix="E.g. lux = 1200 with lux_distance_m = 1."
        )
    if light.meters is None or light.measured():
        return
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


def shape_problems(light: Light) -> Iterator[Problem]:
    """Whether it is said once what the light leaves from, and in keys that go with it."""
    kit = [key for key in ("head", "modifiers") if getattr(light, key)]
    if light.shape is None and not kit:
        yield Problem(
            (),
            "nothing says what this light is",
            "Allowed: a shape with its size, or head and modifiers from the kit.",
            'E.g. shape = "octagon" with size_m = 0.9, or head = "flash-400" with modifiers = ["softbox-60x90"].',
        )
    elif light.shape is not None and kit:
        yield Problem(
            ("shape",),
            f"shape and {' and '.join(kit)} both say what this light is",
            "Allowed: either shape with size_m, or head and modifiers.",
            f"Remove shape (and size_m), or {' and '.join(kit)}.",
        )
    elif kit:
        for extra in light.given(*_FORM_KEYS):
            yield Problem(
                (extra,), f"{extra} comes from head and modifiers", fix=f"Remove {extra}, or change the modifiers."
            )
    else:
        yield from _plain_shape_problems(light)


def _plain_shape_problems(light: Light) -> Iterator[Problem]:
    if light.shape == "ambient":
        for extra in light.given(*_BODY_KEYS):
            yield Problem((extra,), f"ambient light comes from all around and takes no {extra}", fix=f"Remove {extra}.")
    elif light.shape in ("sun", "sky"):
        for extra in light.given(*(k for k in _BODY_KEYS if k not in _SKY_PLACING)):
            what = FAR_WORDS[light.shape]
            yield Problem((extra,), f"{what} comes from far away and takes no {extra}", fix=f"Remove {extra}.")
    else:
        yield from _size_problems(light)
    yield from _spot_problems(light)


def _size_problems(light: Light) -> Iterator[Problem]:
    pair = {"rectangle": "[width, height]", "tube": "[length, diameter]"}.get(str(light.shape))
    if light.size_m is None:
        yield Problem((), f"this {light.shape} has no size", fix=f"Add size_m = {pair or 'its diameter'} in metres.")
    elif isinstance(light.size_m, list) and pair is None:
        yield Problem(
            ("size_m",),
            f"shape {light.shape} has one size, its diameter; two are given",
            "Allowed: one number in metres.",
            'For [width, height] use shape = "rectangle".',
        )
    elif light.shape == "tube":
        if not isinstance(light.size_m, list):
            fix = f"E.g. size_m = [{light.size_m:g}, 0.04]."
            yield Problem(("size_m",), "a tube has two sizes; one is given", f"Allowed: {pair} in metres.", fix)
        elif light.size_m[1] >= light.size_m[0]:
            fix = "The length comes first; exchange the two."
            yield Problem(("size_m",), "this tube is thicker than long", f"Allowed: {pair} in metres.", fix)
        for extra in light.given("depth_m"):
            yield Problem((extra,), "a tube shines all round and has no housing", fix=f"Remove {extra}.")


def _spot_problems(light: Light) -> Iterator[Problem]:
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


def place_problems(light: Light) -> Iterator[Problem]:
    """Whether the place is said once and completely."""
    if light.shape in ("sun", "sky"):
        yield from _far_place_problems(light)
        return
    for extra in light.given("time", *CLOCK_KEYS, "sky", "air"):
        fix = f'Remove {extra}, or use shape = "{"sky" if extra == "sky" else "sun"}".'
        yield Problem((extra,), f"{extra} belongs to sun and sky", fix=fix)
    if light.shape == "ambient":
        return
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


def _far_place_problems(light: Light) -> Iterator[Problem]:
    """Place of the sun, by angles or by the clock; a sky needs it only where the sky's pattern turns with the sun."""
    if light.shape == "sun":
        for extra in light.given("sky"):
            yield Problem((extra,), "the sun has no kind of sky", fix='Remove sky, or use shape = "sky".')
    elif light.sky is None:
        yield Problem((), "this sky has no kind", fix='Add sky = "overcast", another name, or a number from 1 to 15.')
    clock = light.given(*CLOCK_KEYS)
    if light.time is None:
        for extra in clock:
            yield Problem((extra,), f"{extra} serves to find the sun from a time", fix=f"Add time, or remove {extra}.")
        if light.elevation_deg is None and not clock and (light.shape == "sun" or light.given("azimuth_deg")):
            fix = f"Give elevation_deg (with azimuth_deg), or time with {', '.join(CLOCK_KEYS)}."
            yield Problem((), "nothing says how high the sun stands", fix=fix)
        elif light.elevation_deg is not None and light.elevation_deg <= 0:
            allowed = "Allowed: an elevation_deg above 0 up to 90."
            yield Problem(("elevation_deg",), "the sun is not above the horizon", allowed, "Raise it.")
        return
    for missing in (k for k in CLOCK_KEYS if k not in clock):
        about = str(type(light).model_fields[missing].description).removeprefix("With time: ")
        fix = f"Add {missing}, the {about}"
        yield Problem(("time",), f"finding the sun from a time needs {missing}", fix=fix)
    for extra in light.given(*_SKY_PLACING):
        yield Problem((extra,), f"{extra} and time both place the sun", fix=f"Keep one: remove {extra}, or time.")
