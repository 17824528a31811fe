"""From the tables of a scene to what the checks of its rigging look at."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from .. import stage
from ..findings import Problem
from ..model import Light, Room
from ..placing import PlacedSitter
from ..resolve import Unresolved, aim_point, resolve_fixture
from ..studio import background_profile
from .checks import Rigged, rigging_problems
from .housing import look_of
from .stands import Paper, Place

if TYPE_CHECKING:
    from ..kit import Equipment
    from ..parts import Parts, Survey


def problems_of_rigging(
    parts: Parts, found: Survey, sitter: PlacedSitter, only: str | None = None
) -> list[Problem]:
    """What lights and stands run into, or what the one light `only` has to do with; nothing where a light or the camera
    is not where it can be."""
    if found.camera is None:
        return []
    errors = [p.path for p in found.problems if p.severity == "error"]
    wrong = {path[1] for path in errors if path[:1] == ("light",) and len(path) > 1}
    rigged = [
        rigged_light(name, parts.lights[name], fixture, found.places, found.equipment.get(name), parts.room)
        for name, fixture in found.fixtures.items()
        if fixture is not None and name not in wrong
    ]
    place = place_of(parts, found.camera, found.places, sitter)
    return list(rigging_problems(rigged, place, sitter, parts.room, only))


def rigged_light(
    name: str, light: Light, fixture: stage.Fixture, places: Mapping[str, np.ndarray], kit: Equipment | None,
    room: Room | None,
) -> Rigged:  # fmt: skip
    """A light as the checks of the rigging want it."""

    def moved(changes: dict[str, float]) -> stage.Fixture | None:
        try:
            return resolve_fixture(light.model_copy(update=changes), places, kit.shaped if kit is not None else None)
        except Unresolved:
            return None

    look = look_of(fixture, kit.appearance if kit is not None else None)
    if _in_a_wall(fixture, room) and not (kit.flash if kit is not None and kit.flash is not None else light.is_flash()):
        look = "window"
    return Rigged(name, light, fixture, look, aim_point(light.aim, places, ("aim",)), moved)


def _in_a_wall(fixture: stage.Fixture, room: Room | None) -> bool:
    """Whether an upright rectangle shines straight out of a wall, as a window does."""
    if room is None or fixture.shape != "rectangle":
        return False
    width = room.size_m[0] / 2
    gaps = (
        (fixture.centre_m[0] + width, fixture.forward[0]), (width - fixture.centre_m[0], -fixture.forward[0]),
        (fixture.centre_m[2] - room.back_z_m(), fixture.forward[2]),
        (room.front_z_m() - fixture.centre_m[2], -fixture.forward[2]),
    )  # fmt: skip
    return any(0 <= gap < fixture.body_depth_m and inward > 0.9 for gap, inward in gaps)


def place_of(parts: Parts, camera: stage.Camera, places: Mapping[str, np.ndarray], sitter: PlacedSitter) -> Place:
    """What stands find on the set of a scene."""
    sheet, room = parts.background, parts.room
    paper = behind = None
    if sheet is not None:
        paper = Paper(sheet.width_m / 2, background_profile(sheet))
        behind = -sheet.distance_m
    elif room is not None and "back" not in room.open:
        behind = room.back_z_m()
    low = high = None
    if room is not None and "floor" not in room.open:
        half = room.size_m[0] / 2
        low, high = np.array([-half, 0.0, room.back_z_m()]), np.array([half, room.size_m[2], room.front_z_m()])
    return Place(camera, places["face"], sitter.low, sitter.high, low, high, paper, behind)
