"""What holds lights, set pieces and the camera up: stands, booms, a camera on its tripod."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from scenes.bodies import in_frame
from scenes.stage import Light, Stage

from .housing import look_of, rear_m
from .parts import CHARCOAL, STEEL, SetPart
from .shapes import axes_along, box, joined, lathe, lifted, placed, rod

if TYPE_CHECKING:
    import trimesh

CLEAR_OF_SITTER_M = 0.3
BOOM_REACHES_M = (0.9, 1.2, 1.6, 2.0)
"""Lengths of arm that are tried, metres (common practice, no source)."""

SHORTEST_BOOM_M = 1.2
"""Below this height a light stands on its own foot, metres."""

COUNTER_M = 0.45
_TURNS = 24


@dataclass(frozen=True, slots=True)
class Foot:
    """Where a support stands: the place (3,) on the floor, and the top (3,) of its column."""

    floor_m: np.ndarray
    top_m: np.ndarray
    boom: bool


def support_of(light: Light, stage: Stage) -> Foot | None:
    """Where the stand of a light goes; None for a window, and for a ring light on the camera.

    It stands straight under the light, unless it would be in the picture or in the sitter there: then a boom arm
    reaches in from the nearest place that is clear of both and of the background.
    """
    fixture = light.fixture
    assert fixture is not None
    if look_of(light) == "window" or float(np.linalg.norm(fixture.centre_m - stage.camera.origin_m)) < 0.4:
        return None
    top = fixture.centre_m - rear_m(light) * fixture.forward
    below = Foot(top * [1, 0, 1], top, False)
    if top[1] < SHORTEST_BOOM_M or _clear(below, stage):
        return below
    tried = [_arm(top, turn, reach) for reach in BOOM_REACHES_M for turn in _turns(top, stage)]
    return next((foot for foot in tried if _clear(foot, stage)), below)


def _turns(top: np.ndarray, stage: Stage) -> list[float]:
    """Bearings to try, the one away from the sitter first."""
    away = top - stage.landmarks["face"]
    first = math.atan2(away[0], away[2])
    steps = sorted(range(_TURNS), key=lambda k: (min(k, _TURNS - k), k))
    return [first + 2 * math.pi * k / _TURNS for k in steps]


def _arm(top: np.ndarray, turn: float, reach_m: float) -> Foot:
    pivot = top + reach_m * np.array([math.sin(turn), -0.12, math.cos(turn)])
    return Foot(pivot * [1, 0, 1], pivot, True)


def _clear(foot: Foot, stage: Stage) -> bool:
    column = foot.floor_m + np.linspace(0, 1, 25)[:, None] * (foot.top_m - foot.floor_m)
    if foot.boom:
        column = column[:-1]
    if in_frame(stage.camera, column).any():
        return False
    low, high = standing_box(stage)
    x, z = foot.floor_m[0], foot.floor_m[2]
    gap = math.hypot(max(low[0] - x, 0, x - high[0]), max(low[2] - z, 0, z - high[2]))
    return gap > CLEAR_OF_SITTER_M and _in_room(foot.floor_m, stage) and not _through_paper(foot, stage)


def _in_room(place: np.ndarray, stage: Stage) -> bool:
    floors = [shape.vertices for shape in stage.shapes if shape.region == "floor"]
    if not floors:
        return True
    corners = np.concatenate(floors)
    low, high = corners.min(axis=0) + 0.1, corners.max(axis=0) - 0.1
    return bool(low[0] < place[0] < high[0] and low[2] < place[2] < high[2])


def _through_paper(foot: Foot, stage: Stage) -> bool:
    """Whether the foot stands on the other side of an upright background than the camera."""
    sheets = [shape.vertices for shape in stage.shapes if shape.region == "background"]
    return bool(sheets) and float(foot.floor_m[2]) < min(float(s[:, 2].min()) for s in sheets)


def standing_box(stage: Stage) -> tuple[np.ndarray, np.ndarray]:
    """Corners (3,) of the box around the sitter."""
    points = [shape.vertices for shape in stage.shapes if shape.name.startswith("sitter.")]
    if not points:
        face = stage.landmarks["face"]
        return face - 0.25, face + 0.25
    corners = np.concatenate(points)
    return corners.min(axis=0).astype(float), corners.max(axis=0).astype(float)


def stand_parts(light: Light, stage: Stage) -> list[SetPart]:
    """The stand of a light, with its boom where it needs one."""
    foot = support_of(light, stage)
    if foot is None:
        return []
    name = f"light.{light.name}.stand"
    assert light.fixture is not None
    held = light.fixture.centre_m - rear_m(light) * light.fixture.forward
    meshes = [_tripod(foot.floor_m, foot.top_m)]
    if foot.boom:
        along = (foot.top_m - held) / np.linalg.norm(foot.top_m - held)
        end = foot.top_m + COUNTER_M * along
        meshes += [rod(held, end, 0.014), _weight(end, along)]
    return [SetPart(name, "stand", light.name, joined(meshes), STEEL)]


def _weight(end: np.ndarray, along: np.ndarray) -> trimesh.Trimesh:
    return placed(lathe([(-0.07, 0), (-0.07, 0.06), (0.07, 0.06), (0.07, 0)]), end, axes_along(along))


def _tripod(floor: np.ndarray, top: np.ndarray) -> trimesh.Trimesh:
    """Three legs and a column in two sections, up to `top`."""
    height = float(top[1])
    crotch = min(0.75, 0.55 * height)
    spread = min(0.46, 0.75 * height)
    meshes = []
    for k in range(3):
        turn = math.pi / 6 + 2 * math.pi * k / 3
        toe = floor + spread * np.array([math.sin(turn), 0, math.cos(turn)]) + [0, 0.012, 0]
        meshes.append(rod(toe, lifted(floor, crotch), 0.011, 8))
    low = min(0.12, 0.3 * height)
    middle = max(0.6 * height, low + 0.01)
    meshes.append(rod(lifted(floor, low), lifted(floor, middle), 0.016))
    meshes.append(rod(lifted(floor, middle), top, 0.011))
    meshes.append(rod(lifted(floor, middle - 0.03), lifted(floor, middle + 0.03), 0.022))
    return joined(meshes)


def camera_parts(stage: Stage) -> list[SetPart]:
    """A camera at the stage's, looking where it looks, on a tripod."""
    camera = stage.camera
    axes = np.stack([camera.right, camera.up, -camera.forward], axis=1)
    body = joined([box([-0.075, -0.05, 0.02], [0.075, 0.05, 0.085]), box([-0.03, 0.05, 0.03], [0.03, 0.08, 0.08])])
    lens = lathe([(-0.09, 0.026), (-0.09, 0.04), (-0.03, 0.04), (-0.03, 0.034), (0.02, 0.034)])
    glass = lathe([(-0.085, 0), (-0.085, 0.03)])
    at = camera.origin_m
    parts = [
        SetPart("camera.body", "camera", "camera", placed(joined([body, lens]), at, axes), CHARCOAL),
        SetPart("camera.glass", "camera", "camera", placed(glass, at, axes), (0.1, 0.14, 0.19)),
    ]
    top = at - 0.06 * camera.up - 0.05 * camera.forward
    if top[1] > 0.15:
        legs = _camera_legs(top)
        parts.append(SetPart("camera.tripod", "camera", "camera", legs, STEEL))
    return parts


def _camera_legs(top: np.ndarray) -> trimesh.Trimesh:
    floor = top * [1, 0, 1]
    crotch = top - [0, min(0.2, top[1] / 3), 0]
    spread = min(0.5, 0.5 * float(top[1]))
    legs = []
    for k in range(3):
        turn = math.pi / 3 + 2 * math.pi * k / 3
        toe = floor + spread * np.array([math.sin(turn), 0, math.cos(turn)]) + [0, 0.012, 0]
        knee = toe + 0.45 * (crotch - toe)
        legs += [rod(toe, knee, 0.011, 8), rod(knee, crotch, 0.016, 8)]
    return joined([*legs, rod(crotch, top, 0.018)])
