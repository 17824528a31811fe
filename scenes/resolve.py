"""From a photographer's words to places: aim points, the camera's frame, fixtures in the world."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from materials.errors import KeyfallError

from . import stage
from .aiming import angles_deg, elevation_for_height, look_frame, place_around
from .backdrop import Backdrop
from .findings import KeyPath, Problem
from .model import Background, Camera, Light, Piece, Room
from .names import listed, nearest
from .pieces import Sheet
from .placing import PlacedSitter

if TYPE_CHECKING:
    from .modifiers import Shaped

SPOT_DEPTH_M = 0.35
SHALLOWEST_BODY_M, DEEPEST_BODY_M = 0.1, 0.5


class Unresolved(KeyfallError):
    """Something that cannot be placed; `problem` says which key and why."""

    def __init__(self, problem: Problem) -> None:
        super().__init__(f"{problem.message} {problem.allowed} {problem.fix}".strip())
        self.problem = problem


def aim_places(sitter: PlacedSitter, background: Background | None, room: Room | None) -> dict[str, np.ndarray]:
    """Every place (3,) one may aim at by name: the sitter's landmarks, the floor, and the background if any."""
    places = {name: mark.position_m for name, mark in sitter.landmarks.items()}
    low, high = sitter.low, sitter.high
    places["floor"] = np.array([(low[0] + high[0]) / 2, 0.0, (low[2] + high[2]) / 2])
    wall = background_plane(background, room)
    if wall is not None:
        z, height = wall
        face = places["face"]
        places["background"] = np.array([face[0], min(face[1], 0.9 * height), z])
    return places


def background_plane(background: Background | None, room: Room | None) -> tuple[float, float] | None:
    """Place along z and height (m) of what is behind the sitter: the background, else the room's back wall."""
    if background is not None:
        return -background.distance_m, background.height_m
    if room is not None and "back" not in room.open:
        return room.back_z_m(), room.size_m[2]
    return None


def backdrop_of(background: Background | None, room: Room | None) -> Backdrop | None:
    """What is behind the sitter, as a plane; None where there is nothing."""
    plane = background_plane(background, room)
    if plane is None:
        return None
    wide = room.size_m[0] if room is not None else 0.0
    return Backdrop(plane[0], (wide if background is None else background.width_m) / 2, plane[1])


def aim_point(aim: str | list[float], places: Mapping[str, np.ndarray], key: KeyPath) -> np.ndarray:
    """Place (3,) that an aim names.

    Raises
    ------
    Unresolved
        When there is no such landmark on this set.
    """
    if not isinstance(aim, str):
        return np.array(aim, float)
    if aim in places:
        return np.array(places[aim], float)
    allowed = f"Allowed: {listed(places, 60)}, or a place [x, y, z]."
    if aim == "background":
        raise Unresolved(
            Problem(
                key,
                "there is no background to aim at",
                allowed,
                "Add a [background] table, or a room with a back wall.",
            )
        )
    close = nearest(aim, places)
    fix = f"Did you mean {close}?" if close else ""
    raise Unresolved(Problem(key, f"there is no landmark '{aim}' on this sitter", allowed, fix))


def resolve_camera(camera: Camera, places: Mapping[str, np.ndarray]) -> stage.Camera:
    """The camera in the world: the frame is the largest of its shape inside the sensor, turned as it is held.

    The picture angle is that of the lens focused far away.

    Raises
    ------
    Unresolved
        For an unknown landmark or an impossible place.
    """
    target = aim_point(camera.look_at, places, ("look_at",))
    origin = _place(camera, target, "the camera", "what it looks at")
    right, up, forward = _frame(origin, target, 0.0, "look_at", "the camera stands on the very point it looks at")
    sensor = sorted(camera.sensor_mm)
    if camera.lies():
        sensor.reverse()
    ratio = camera.frame_ratio()
    width_mm = min(sensor[0], sensor[1] * ratio)
    half_width, half_height = width_mm / 2 / camera.focal_length_mm, width_mm / ratio / 2 / camera.focal_length_mm
    long = camera.long_side_px
    short = max(1, round(long * min(ratio, 1 / ratio)))
    if ratio > 1:
        width_px, height_px, half_height = long, short, half_width * short / long
    else:
        width_px, height_px, half_width = short, long, half_height * short / long
    bearing = camera.azimuth_deg if camera.at_m is None else angles_deg(origin)[0]
    return stage.Camera(origin, right, up, forward, half_width, half_height, width_px, height_px, bearing)


def resolve_fixture(
    light: Light, places: Mapping[str, np.ndarray], shaped: Shaped | None = None
) -> stage.Fixture | None:
    """A light's exit area in the world; None for ambient light, sun and sky.

    Parameters
    ----------
    shaped : what its modifiers make of the light; None for a light of a plain shape.

    Raises
    ------
    Unresolved
        For an unknown landmark or an impossible place.
    """
    if light.far():
        return None
    target = aim_point(light.aim, places, ("aim",))
    centre = _place(light, target, "the light", "its aim")
    right, up, forward = _frame(
        centre, target, light.roll_deg, "aim", "the light stands on the very point it is aimed at"
    )
    if shaped is not None:
        return stage.Fixture(
            shaped.shape, shaped.size_m, centre, right, up, forward, shaped.beam_deg, shaped.field_deg, light.visible,
            shaped.body_depth_m, shaped.hole_m, shaped.optics,
        )  # fmt: skip
    size = np.array(light.size_pair(), float)
    return stage.Fixture(
        str(light.shape),
        size,
        centre,
        right,
        up,
        forward,
        light.beam_deg,
        light.field_deg,
        light.visible,
        _depth(light, size),
    )


def resolve_piece(piece: Piece, places: Mapping[str, np.ndarray]) -> Sheet:
    """A set piece in the world.

    Raises
    ------
    Unresolved
        For an unknown landmark or an impossible place.
    """
    target = aim_point(piece.aim, places, ("aim",))
    centre = _place(piece, target, f"the {piece.kind}", "its aim")
    stuck = f"the {piece.kind} stands on the very point it is aimed at"
    right, up, forward = _frame(centre, target, piece.roll_deg, "aim", stuck)
    return Sheet(centre, right, up, forward, np.array(piece.size_pair(), float), piece.round)


def _depth(light: Light, size: np.ndarray) -> float:
    """Depth of the housing: half the shorter side of a panel, 0.1 to 0.5 m; a spot's barrel; else none."""
    if light.shape in ("sphere", "tube"):
        return 0.0
    if light.depth_m is not None:
        return light.depth_m
    if light.shape == "spot":
        return SPOT_DEPTH_M
    return float(min(max(size.min() / 2, SHALLOWEST_BODY_M), DEEPEST_BODY_M))


def _place(thing: Camera | Light | Piece, target: np.ndarray, what: str, aim: str) -> np.ndarray:
    if thing.at_m is not None:
        return np.array(thing.at_m, float)
    if thing.distance_m is None:
        raise Unresolved(Problem((), f"{what} has no place", fix="Give distance_m or at_m."))
    elevation = 0.0 if isinstance(thing, Camera) else thing.elevation_deg or 0.0
    if thing.height_m is not None:
        try:
            elevation = elevation_for_height(float(target[1]), thing.height_m, thing.distance_m)
        except ValueError:
            raise _too_high(thing.height_m, float(target[1]), thing.distance_m, what, aim) from None
    return place_around(target, thing.azimuth_deg, elevation, thing.distance_m)


def _too_high(height_m: float, aim_m: float, distance_m: float, what: str, aim: str) -> Unresolved:
    rise = height_m - aim_m
    message = (
        f"at {height_m:g} m {what} is {abs(rise):.2f} m {'above' if rise > 0 else 'below'} {aim}, "
        f"farther than its distance_m of {distance_m:g} m"
    )
    allowed = f"Allowed with this distance: a height from {aim_m - distance_m:.2f} to {aim_m + distance_m:.2f} m."
    return Unresolved(
        Problem(
            ("height_m",), message, allowed, "Change height_m, or make distance_m longer (it is the straight line)."
        )
    )


def _frame(
    origin: np.ndarray, target: np.ndarray, roll_deg: float, key: str, message: str
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    try:
        return look_frame(origin, target, roll_deg)
    except ValueError:
        raise Unresolved(Problem((key,), message, fix="Move one of the two.")) from None
