"""Setting up from black, step by step, each with its check by the meter (the order is common practice, no source)."""

from __future__ import annotations

from scenes.meters import (
    aperture_words,
    format_ratio,
    from_aperture_words,
    power_mark,
    reading_words,
    stops_under_full,
)

from ..readings import ALL_LIGHTS
from ..report import Report
from ..settings_words import settings_line
from .facts import BACKGROUND_CHECK, find_reading
from .kit import head_words
from .record import PlanBackground, PlanLightReport, PlanStep
from .set import PlanLight, PlanSet
from .words import (
    STEEP_DEG,
    aim_words,
    metres,
    place_words,
    rise_words,
    spoken_side,
    tilt_words,
)

FAINTEST_F_NUMBER = 2 ** (-1 / 40)
"""Under this no meter's or lens's scale reaches, f/1 to the nearest tenth of a stop."""


def set_up_steps(
    plan: PlanSet, lights: list[PlanLightReport], background: PlanBackground | None
) -> list[PlanStep]:  # fmt: skip
    """Every step, from the black frame to all lights together."""
    report = plan.report
    steps: list[tuple[int | None, tuple[str, str]]] = [(None, _black(report))]
    steps += [(li.number, _light(light, li)) for light, li in zip(plan.lights, lights, strict=True) if li.on]
    after = [_together(report), _ratio(report), _background(report, background)]
    after += [_haze()] if report.haze is not None else []
    steps += [(None, words) for words in after if words is not None]
    return [PlanStep(number=k + 1, light=n, do=do, check=check) for k, (n, (do, check)) in enumerate(steps)]


def _black(report: Report) -> tuple[str, str]:
    ambient = report.ambient
    if ambient.flash:
        begin = "All heads off. Take a frame: this is what the place itself gives."
    else:
        begin = "Take a frame: this is the light of the place and of lamps that burn."
    words = f"Camera on its mark: {settings_line(report.settings)}. {begin} {ambient.words}"
    if ambient.stops is None:
        return words, "frame is black"
    off = from_aperture_words(ambient.stops, report.settings.f_number)
    if not ambient.flash:
        return words, f"dome at the face {off}"
    wish = "frame is black" if ambient.black else "frame shows the ambient light alone"
    return words, f"dome at the face {off}, {wish}"


def _light(light: PlanLight, facts: PlanLightReport) -> tuple[str, str]:
    if light.form.form == "window":
        words = f"Light {facts.number}, {_called(facts)}: {_where(facts)}. It cannot be set; meter it first."
    elif light.light.fixture is None:
        words = f"Light {facts.number}, {_called(facts)}: {_far_words(light, facts)}. It cannot be set; meter it first."
    else:
        words = f"Light {facts.number}, {_called(facts)}: {_equipment(light)}. {_where(facts)}. {_stands(facts)}"
        words += _setting(facts)
    return " ".join([words, _reads(facts), *facts.silks]), reading_words(facts.f_number or 0.0, facts.stops)


def _reads(facts: PlanLightReport) -> str:
    """What a light reads alone, and why that is less than one would set it by."""
    said = aperture_words(facts.f_number or 0.0)
    if facts.blocked_by:
        block = " and ".join(facts.blocked_by)
        stand = "stands" if len(facts.blocked_by) == 1 else "stand"
        return f"{block[:1].upper()}{block[1:]} {stand} in its way: alone it reads {said} {facts.where}."
    if not facts.f_number:
        return "It gets to no meter point: hold the meter where its light falls, flat toward it."
    if facts.f_number < FAINTEST_F_NUMBER:
        return f"Alone it reads {said} {facts.where}, under the scale of meters and lenses: judge it by eye."
    return f"Alone it reads {said} {facts.where}."


def _called(facts: PlanLightReport) -> str:
    return facts.name if facts.role in (facts.name, "other") else f"{facts.name} ({facts.role})"


def _equipment(light: PlanLight) -> str:
    words = head_words(light)
    if light.light.modifiers:
        words = f"{' + '.join(light.light.modifiers)} on {words}"
    if light.gels:
        words += f", gel {' + '.join(light.gels)}"
    return words


def _where(facts: PlanLightReport) -> str:
    parts = []
    if facts.distance_to_aim_m is not None:
        aim = aim_words(facts.aim, facts.aim_m)
        parts.append(f"Front {metres(facts.distance_to_aim_m)} from {aim if facts.aim is None else f'the {aim}'}")
    if facts.front_m is not None:
        parts.append(f"{metres(facts.front_m[1])} high")
    if facts.azimuth_deg is not None:
        steep = facts.elevation_deg is not None and facts.elevation_deg > STEEP_DEG
        parts.append("overhead" if steep else spoken_side(facts.azimuth_deg))
    if facts.tilt_deg is not None:
        parts.append(f"tilted {tilt_words(facts.tilt_deg)}" if abs(facts.tilt_deg) >= 0.5 else "level")
    words = ", ".join(parts)
    return words[:1].upper() + words[1:]


def _stands(facts: PlanLightReport) -> str:
    support = facts.support
    if support.foot_m is None:
        return ""
    at = place_words(support.foot_m[0], support.foot_m[2])
    words = f"Stand at {at}"
    if support.kind == "boom":
        words = f"Boom from a stand at {at}, arm {metres(support.reach_m)}"
    return f"{words}; some of it would be in the picture. " if support.in_picture else f"{words}. "


def _setting(facts: PlanLightReport) -> str:
    if facts.power is None:
        return "Switch it on."
    energy = "" if facts.energy_ws is None else f"{facts.energy_ws:g} Ws to "
    under = stops_under_full(facts.power)
    return f"Set {energy}{power_mark(facts.power)}" + (f" ({under})." if under else ".")


def _far_words(light: PlanLight, facts: PlanLightReport) -> str:
    if facts.azimuth_deg is not None and facts.elevation_deg is not None and light.form.form == "sun":
        return f"the sun, {spoken_side(facts.azimuth_deg)}, {rise_words(facts.elevation_deg).replace('above', 'high')}"
    return {"sun": "the sun", "sky": "the sky"}.get(light.form.form, "light from all around")


def _together(report: Report) -> tuple[str, str]:
    reading = find_reading(report, "face", "dome", ALL_LIGHTS)
    words = "All lights on. Dome at the face, toward the camera."
    if reading is None:
        return words, ""
    return words, reading_words(reading.f_number, reading.stops)


def _ratio(report: Report) -> tuple[str, str] | None:
    ratio = report.ratio
    if ratio.key_to_fill is None or ratio.lit_to_shadow is None:
        return None
    words = "Ratio: key alone, then fill alone, flat toward each at the face; the fill lights both sides of the face."
    return words, f"key to fill {format_ratio(ratio.key_to_fill)}, lit to shadow {format_ratio(ratio.lit_to_shadow)}"


def _background(report: Report, background: PlanBackground | None) -> tuple[str, str] | None:
    reading = find_reading(report, *BACKGROUND_CHECK)
    if background is None or reading is None:
        return None
    words = f"Background: all lights on, flat on the {background.what} at one point, clear of the sitter."
    return words, reading_words(reading.f_number, reading.stops)


def _haze() -> tuple[str, str]:
    return (
        "Haze last: let it spread evenly before the first frame, and meter again when it has settled.",
        "dome at the face unchanged",
    )
