"""Whether the sun gets to where it is wanted: through windows and open sides, past what stands beyond the ground."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from . import stage
from .confines import wall_name
from .findings import Problem
from .model import Ground, Light, Room
from .surroundings import STEP_DOWN_M, hides
from .window_place import WindowPlace
from .windows import places_of

_FAR_M = 1e4


def sun_problems(
    distant: stage.Distant, face: np.ndarray, room: Room | None, ground: Ground | None, camera: stage.Camera | None
) -> Iterator[Problem]:
    """What keeps the sun from the room or from the face; paths begin at the light's table."""
    if distant.kind != "sun":
        return
    if room is not None and not (room.open or room.window):
        return  # told elsewhere: nothing from outside gets into a closed room
    if ground is not None and camera is not None:
        level = 0.0 if room is None else -(ground.below_m or STEP_DOWN_M)
        if hides(ground, (float(camera.origin_m[0]), float(camera.origin_m[2])), face, distant.toward, level):
            message = f"the sun stands behind the {ground.beyond}, so none of it reaches the face directly"
            fix = "Raise the sun, or lower or move away what is beyond: beyond_height_m, beyond_m under [ground]."
            yield Problem((), message, fix=fix, severity="warning")
            return
    if room is None:
        return
    side = shut_out(distant, face, room)
    if not side:
        return
    places = places_of(room)
    entering = {name: place for name, place in places.items() if sun_enters(place, distant.toward)}
    if any(place.passes(face, face + _FAR_M * distant.toward) for place in places.values()):
        return
    if entering:
        name, place = next(iter(entering.items()))
        where = patch_words(place, distant.toward, room)
        yield Problem(
            (), f"the sun comes in by the window '{name}' but not onto the face: {where}",
            fix="Move the window or the sun, if it is meant for the face.", severity="warning",
        )  # fmt: skip
    elif places and not any(_comes_in(open_side, distant.toward) for open_side in room.open):
        yield Problem(
            (), "the sun never enters the room: no window lies toward it",
            fix=f"It stands {wall_name(side)}: put a window in that wall, or move the sun.", severity="warning",
        )  # fmt: skip
    else:
        yield Problem(
            (), f"the sun stands {wall_name(side)}, so none of it reaches the face directly",
            fix=f'Move the sun, or let it in with a window there or open = ["{side}"] under [room].',
            severity="warning",
        )  # fmt: skip


def dark_windows(room: Room, lights: Mapping[str, Light]) -> Iterator[Problem]:
    """Windows outside which there is no light."""
    outside = any(light.shape in ("sun", "sky", "ambient") and light.on for light in lights.values())
    placed = any(light.at_m is not None and not light.far() for light in lights.values())
    if room.window and not outside and not placed:
        name = next(iter(room.window))
        yield Problem(
            ("room", "window", name), "nothing shines outside this window, so it is black",
            fix='Add a sky, e.g. [light.sky] with shape = "sky", sky = "overcast" and lux = 8000.', severity="warning",
        )  # fmt: skip


def _comes_in(side: str, toward: np.ndarray) -> bool:
    axis, sign = {"right": (0, 1), "left": (0, -1), "ceiling": (1, 1), "floor": (1, -1), "front": (2, 1),
                  "back": (2, -1)}[side]  # fmt: skip
    return bool(toward[axis] * sign > 1e-9)


def sun_enters(place: WindowPlace, toward: np.ndarray) -> bool:
    """Whether any of the sun gets past the outer and the inner edge of a window."""
    slope = float(toward @ place.out)
    if slope <= 1e-9:
        return False
    shift = np.array([float(toward @ place.along), float(toward[1])]) / slope * place.wall_m
    return bool((np.abs(shift) < place.size_m).all())


def patch_of(place: WindowPlace, toward: np.ndarray, room: Room) -> tuple[str, np.ndarray]:
    """Where the middle of the sunlight through a window falls: the side of the room, and the place (3,)."""
    start, step = place.centre_m, -toward
    low = np.array([-room.size_m[0] / 2, 0.0, room.back_z_m()])
    high = np.array([room.size_m[0] / 2, room.size_m[2], room.front_z_m()])
    names = (("left", "right"), ("floor", "ceiling"), ("back", "front"))
    reach: dict[str, float] = {}
    for axis, (minus, plus) in enumerate(names):
        if abs(step[axis]) > 1e-9:
            run = ((high if step[axis] > 0 else low)[axis] - start[axis]) / step[axis]
            if run > 1e-6:
                reach[plus if step[axis] > 0 else minus] = float(run)
    side = min(reach, key=lambda name: reach[name])
    return side, start + reach[side] * step


def patch_words(place: WindowPlace, toward: np.ndarray, room: Room) -> str:
    """Where the sunlight through a window falls, in words."""
    side, at = patch_of(place, toward, room)
    if side == "floor":
        return f"it falls on the floor around x = {at[0]:.1f}, z = {at[2]:.1f} m"
    along = f"z = {at[2]:.1f}" if side in ("left", "right") else f"x = {at[0]:.1f}"
    return f"it falls on the {side} wall around {along} m, {at[1]:.1f} m high"


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
