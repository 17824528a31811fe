"""Sun and sky of a scene: where the sun stands, and how its light comes in."""

from __future__ import annotations

import numpy as np

from . import stage
from .aiming import direction
from .daylight import FIRST_YEAR, LAST_YEAR, sky_kind, sky_luminance, sun_direction, sun_place, turns_with_sun
from .findings import Problem
from .model import Light, Room
from .resolve import Unresolved
from .stock import check_name

SUN_SPREAD_DEG = 0.53
"""Full angle of the sun's disk, degrees; it varies between 0.524 and 0.542 over the year."""


def resolve_distant(light: Light) -> stage.Distant | None:
    """Sun or sky of a light; None for every other.

    Raises
    ------
    Unresolved
        When the sun is below the horizon, or there is no such sky.
    """
    if light.shape not in ("sun", "sky"):
        return None
    if isinstance(light.sky, str):
        for problem in check_name("sky", light.sky, ("sky",)):
            raise Unresolved(problem)
    toward = _toward_sun(light)
    if light.shape == "sun":
        return stage.Distant("sun", toward, SUN_SPREAD_DEG, None)
    assert light.sky is not None
    return stage.Distant("sky", toward, 0.0, sky_luminance(sky_kind(light.sky), toward))


def shut_out(distant: stage.Distant, point: np.ndarray, room: Room | None) -> str:
    """The closed side of the room through which the sun would have to shine on a point; empty when it can get in."""
    if distant.kind != "sun" or room is None:
        return ""
    width, _, top = room.size_m
    ways = {
        ("right", "left"): (0, width / 2, -width / 2),
        ("ceiling", "floor"): (1, top, 0.0),
        ("front", "back"): (2, room.front_z_m(), room.back_z_m()),
    }
    reach: dict[str, float] = {}
    for (plus, minus), (axis, high, low) in ways.items():
        step = float(distant.toward[axis])
        if abs(step) > 1e-9:
            reach[plus if step > 0 else minus] = ((high if step > 0 else low) - float(point[axis])) / step
    side = min(reach, key=lambda name: reach[name])
    return "" if side in room.open else side


def _toward_sun(light: Light) -> np.ndarray:
    """Unit vector (3,) from the set toward the sun; the zenith where a sky does not need to know."""
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
    if light.elevation_deg is not None:
        return direction(light.azimuth_deg, light.elevation_deg)
    if light.sky is not None and turns_with_sun(sky_kind(light.sky)):
        message = f"the look of this sky ({light.sky}) turns with the sun, and nothing says where the sun stands"
        fix = "Give elevation_deg (with azimuth_deg), or time with latitude_deg, longitude_deg and front_bearing_deg."
        raise Unresolved(Problem(("sky",), message, fix=fix))
    return np.array([0.0, 1.0, 0.0])
