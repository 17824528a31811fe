"""The usual cautions a set touches, raised by rules. They certify nothing.

Sources: common practice of studios; photosensitivity band of 3 to 30 flashes a second as published by epilepsy
charities; work at height and overhead loads as in workplace guidance for entertainment.
"""

from __future__ import annotations

from scenes.stage import Light, Stage

from .haze_cautions import haze_cautions

_OVERHEAD_M = 2.0
_NEAR_EYES_M = 0.5
_HEAD_RADIUS_M = 1.0

CLOSING = (
    "These are usual cautions, not a safety check. Local codes, the venue's rules, the makers' instructions and "
    "licensed practice come first."
)


def cautions_for(stage: Stage) -> list[str]:
    """Cautions for the lights that are on and for haze, each once, ending with whom to defer to; empty without both."""
    lights = [light for light in stage.lights if light.on and light.fixture is not None]
    found = [text for rule in (_flash, _near, _overhead, _gels, _cables) if (text := rule(lights, stage))]
    found += haze_cautions(stage)
    return [*found, CLOSING] if found else []


def _flash(lights: list[Light], _: Stage) -> str | None:
    if not any(light.flash for light in lights):
        return None
    return (
        "Flash: tell everyone on set first and ask about photosensitivity; avoid repeating flashes at about 3 to 30 "
        "a second, and stop at any sign of distress."
    )


def _near(lights: list[Light], stage: Stage) -> str | None:
    near = [li.name for li in lights if li.fixture and _distance(li, stage) < _NEAR_EYES_M]
    if not near:
        return None
    return (
        f"Close light ({', '.join(near)}): keep bare sources away from eyes, and mind heat near skin, hair and cloth."
    )


def _overhead(lights: list[Light], stage: Stage) -> str | None:
    face = stage.landmarks["face"]
    above = [
        li.name
        for li in lights
        if li.fixture is not None
        and li.fixture.centre_m[1] > _OVERHEAD_M
        and abs(li.fixture.centre_m[0] - face[0]) < _HEAD_RADIUS_M
        and abs(li.fixture.centre_m[2] - face[2]) < _HEAD_RADIUS_M
    ]
    if not above:
        return None
    return (
        f"Over people ({', '.join(above)}): weight the stand or boom, fit a safety cable to everything that hangs, and "
        "keep people out from under it until it is secured."
    )


def _gels(lights: list[Light], _: Stage) -> str | None:
    hot = [light.name for light in lights if light.gel is not None]
    if not hot:
        return None
    return (
        f"Gels ({', '.join(hot)}): keep gel clear of hot lamps and glass, use heat-rated material with modelling "
        "lamps, and let heads cool before touching."
    )


def _cables(lights: list[Light], _: Stage) -> str | None:
    if not lights:
        return None
    return (
        "Power: tape down or route cables away from feet, keep earth connections intact, unplug and discharge packs "
        "before changing tubes, and do not open them."
    )


def _distance(light: Light, stage: Stage) -> float:
    assert light.fixture is not None
    return float(sum((light.fixture.centre_m - stage.landmarks["face"]) ** 2) ** 0.5)
