"""Sun and sky of a scene: where the sun stands, and how its light comes in."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from materials.atmosphere import AIRS, CLEAR_AIR, Daylight, sun_through_air

from . import stage
from .aiming import direction
from .daylight import (
    FIRST_YEAR,
    LAST_YEAR,
    hides_sun,
    own_air,
    sky_daylight,
    sky_kind,
    sky_luminance,
    sun_direction,
    sun_place,
    turns_with_sun,
)
from .findings import Problem
from .model import Light
from .model.light import CLOUD_CCT_K
from .model.light_checks import CLOCK_KEYS
from .resolve import Unresolved
from .stock import check_name

SUN_SPREAD_DEG = 0.53
"""Full angle of the sun's disk, degrees; it varies between 0.524 and 0.542 over the year."""

_SAME_SUN_DEG = 1.0
_PLACE_KEYS = ("time", *CLOCK_KEYS, "azimuth_deg", "elevation_deg")
_SUN_PLACE = (
    "Give elevation_deg (with azimuth_deg), or time with latitude_deg, longitude_deg and front_bearing_deg; "
    "or put the sun on the set."
)


@dataclass(frozen=True, slots=True)
class Far:
    """Sun or sky of a light, and what the height of the sun makes of it; None where nothing says that height, or where
    the scene names strength and colour itself."""

    distant: stage.Distant
    daylight: Daylight | None


def resolve_far(lights: Mapping[str, Light]) -> tuple[dict[str, Far], list[Problem]]:
    """Every sun and sky of a set by name, and what is wrong with them; paths begin at "light".

    A sky that says nothing of its own about the sun's place takes it from the sun on the set, and each takes the air of
    the other.
    """
    found: dict[str, Far] = {}
    problems: list[Problem] = []
    suns: dict[str, np.ndarray] = {}
    for name, light in lights.items():
        if light.shape == "sun":
            try:
                suns[name] = _toward_sun(light)
            except Unresolved as stuck:
                problems.append(stuck.problem.within("light", name))
    clear = _clear_sky(lights)
    for name, toward in suns.items():
        air = _first(_air(lights[name]), clear, CLEAR_AIR)
        daylight = sun_through_air(_elevation_deg(toward), air)
        found[name] = Far(stage.Distant("sun", toward, SUN_SPREAD_DEG, None), daylight)
    lit = [name for name in suns if lights[name].on] or list(suns)
    failed = {tuple(lights[name].model_dump(include=set(_PLACE_KEYS)).items())
              for name in lights if lights[name].shape == "sun" and name not in suns}  # fmt: skip
    for name, light in lights.items():
        if light.shape != "sky" or (failed and _same_place(light, failed)):
            continue
        try:
            found[name] = _sky(light, [(lights[sun], suns[sun]) for sun in lit])
        except Unresolved as stuck:
            problems.append(stuck.problem.within("light", name))
    problems += [p.within("light", name) for name, light in lights.items() for p in _idle_air(light)]
    problems += [p.within("light", name) for name in suns for p in _hidden(lights, name)]
    return found, problems


def _same_place(sky: Light, failed: set[tuple[tuple[str, object], ...]]) -> bool:
    """Whether a sky hangs on a sun whose place is already known to be wrong."""
    own = tuple(sky.model_dump(include=set(_PLACE_KEYS)).items())
    return own in failed or not sky.given("time", "elevation_deg")


def _elevation_deg(toward: np.ndarray) -> float:
    return math.degrees(math.asin(min(1.0, float(toward[1]))))


def _clear_sky(lights: Mapping[str, Light]) -> str | float | None:
    """Air of the set's cloudless sky."""
    for light in lights.values():
        kind = _kind(light)
        air = own_air(kind) if kind is not None else None
        if air is not None:
            return _first(_air(light), air)
    return None


def _air(light: Light) -> str | float | None:
    """Air that a light names; None also for a name that does not exist, of which its table tells."""
    return None if isinstance(light.air, str) and light.air not in AIRS else light.air


def _first(*airs: str | float | None) -> str | float:
    return next(air for air in airs if air is not None)


def _kind(light: Light) -> int | None:
    """Number of a sky; None for other lights, and for a sky that does not exist."""
    if light.shape != "sky" or light.sky is None or list(_unknown_sky(light)):
        return None
    return sky_kind(light.sky)


def _unknown_sky(light: Light) -> Iterator[Problem]:
    if isinstance(light.sky, str):
        yield from check_name("sky", light.sky, ("sky",))


def _sky(light: Light, suns: list[tuple[Light, np.ndarray]]) -> Far:
    """A sky, with the sun where it says itself or where the set's sun stands.

    Raises
    ------
    Unresolved
        When there is no such sky, or the sun's place is missing, below the horizon, or not that of the set's sun.
    """
    for problem in _unknown_sky(light):
        raise Unresolved(problem)
    assert light.sky is not None
    kind = sky_kind(light.sky)
    own = light.given("time", "elevation_deg")
    toward: np.ndarray | None = None
    if own:
        toward = _toward_sun(light)
        _agree(light, toward, suns, own[0])
    elif suns:
        toward = suns[0][1]
    elif turns_with_sun(kind):
        message = f"the look of this sky ({light.sky}) turns with the sun, and nothing says where the sun stands"
        raise Unresolved(Problem(("sky",), message, fix=_SUN_PLACE))
    if toward is None and light.lux is None and light.ev is None:
        message = "nothing says how bright this sky is"
        raise Unresolved(Problem((), message, "Allowed: lux, ev, or the height of the sun.", _SUN_PLACE))
    up = np.array([0.0, 1.0, 0.0]) if toward is None else toward
    distant = stage.Distant("sky", up, 0.0, sky_luminance(kind, up))
    if toward is None:
        return Far(distant, None)
    air = _first(_air(light), *(_air(sun) for sun, _ in suns), own_air(kind), CLEAR_AIR)
    for sun, _ in suns:
        if None not in (_air(light), _air(sun)) and light.air != sun.air:
            message = f"the air of this sky ({light.air}) is not that of the sun ({sun.air})"
            raise Unresolved(Problem(("air",), message, fix="Remove one of the two; each takes that of the other."))
    return Far(distant, sky_daylight(kind, _elevation_deg(toward), air, CLOUD_CCT_K))


def _agree(light: Light, toward: np.ndarray, suns: list[tuple[Light, np.ndarray]], key: str) -> None:
    """Raise `Unresolved` unless one of the set's suns, if any, stands where this sky has it."""
    apart = [math.degrees(math.acos(min(1.0, float(toward @ sun)))) for _, sun in suns]
    if apart and min(apart) > _SAME_SUN_DEG:
        message = f"this sky has the sun {min(apart):.0f} degrees away from where the sun of this set stands"
        fix = f"Remove {', '.join(light.given(*_PLACE_KEYS))}: without them the sky follows the sun."
        raise Unresolved(Problem((key,), message, fix=fix))


def _idle_air(light: Light) -> Iterator[Problem]:
    if light.air is None:
        return
    kind = _kind(light)
    if kind is not None and own_air(kind) is None:
        message = f"air says nothing of this sky ({light.sky}), which is cloudy"
        yield Problem(("air",), message, "Allowed with the sun and with cloudless skies.", "Remove air.")
        return
    if (light.lux is not None or light.ev is not None) and not light.natural():
        message = "air changes nothing here: strength and colour are both given"
        yield Problem(("air",), message, fix="Remove air, or what it is to decide.", severity="warning")


def _hidden(lights: Mapping[str, Light], name: str) -> Iterator[Problem]:
    """The sun of a set whose sky is overcast."""
    sun = lights[name]
    if not sun.on or sun.lux is not None or sun.ev is not None:
        return
    for other, sky in lights.items():
        kind = _kind(sky)
        if sky.on and kind is not None and hides_sun(kind):
            yield Problem(
                (), f"the sky '{other}' is overcast and hides the sun, which shines here as through clear air",
                fix="Choose a broken or cloudless sky, or give the sun's lux.", severity="warning",
            )  # fmt: skip


def _toward_sun(light: Light) -> np.ndarray:
    """Unit vector (3,) from the set toward the sun, by the clock or by angles."""
    if light.time is not None:
        assert light.latitude_deg is not None
        assert light.longitude_deg is not None
        assert light.front_bearing_deg is not None
        if not FIRST_YEAR <= light.time.year <= LAST_YEAR:
            message = f"the year {light.time.year} is outside those for which the sun is placed"
            raise Unresolved(Problem(("time",), message, f"Allowed: {FIRST_YEAR} to {LAST_YEAR}.", "Correct the year."))
        bearing, elevation = sun_place(light.time, light.latitude_deg, light.longitude_deg)
        if elevation <= 0:
            message = f"at this time and place the sun stands {-elevation:.1f} degrees below the horizon"
            fix = "Correct the time, its offset from UTC, or the place."
            raise Unresolved(Problem(("time",), message, "Allowed: a time between sunrise and sunset.", fix))
        return sun_direction(bearing, elevation, light.front_bearing_deg)
    assert light.elevation_deg is not None
    return direction(light.azimuth_deg, light.elevation_deg)
