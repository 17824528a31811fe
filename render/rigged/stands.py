"""What holds lights, set pieces and the camera up: stands, booms, a camera on its tripod."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from scenes import rigging
from scenes.rigging import Foot
from scenes.stage import Light, Stage

from .housing import look_of, rear_m
from .parts import CHARCOAL, STEEL, SetPart
from .shapes import axes_along, box, joined, lathe, lifted, placed, rod

if TYPE_CHECKING:
    import trimesh

COUNTER_M = rigging.stands.COUNTER_M


def support_of(light: Light, stage: Stage) -> Foot | None:
    """Where the stand of a light goes; see `scenes.rigging.support_of`."""
    assert light.fixture is not None
    return rigging.support_of(light.fixture, look_of(light), place_of(stage))


def place_of(stage: Stage) -> rigging.Place:
    """What stands find on a stage, as the checks of its scene found it."""
    low, high = standing_box(stage)
    shapes = {shape.name: shape.vertices.astype(float) for shape in stage.shapes if shape.name.startswith("set.")}
    floors = [shapes[name] for name in ("set.floor", "set.ground") if name in shapes]
    floor_low = floor_high = paper = behind = None
    if floors and "set.floor" in shapes:
        floor_low, floor_high = floors[0].min(axis=0), floors[0].max(axis=0)
        tops = [points[:, 1].max() for name, points in shapes.items() if name not in ("set.floor", "set.background")]
        floor_high = floor_high * [1, 0, 1] + [0, max(tops, default=np.inf), 0]
    if "set.background" in shapes:
        points = shapes["set.background"]
        paper = rigging.Paper(float(points[:, 0].max()), points[points[:, 0] < 0][:, 1:])
        behind = paper.z_m
    elif "set.back" in shapes:
        behind = float(shapes["set.back"][:, 2].min())
    return rigging.Place(stage.camera, stage.landmarks["face"], low, high, floor_low, floor_high, paper, behind)


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
    turn = rigging.stands.legs_at(foot, _body(stage))[0]
    meshes = [_tripod(foot.floor_m, foot.top_m, turn)]
    if foot.boom:
        along = (foot.top_m - held) / np.linalg.norm(foot.top_m - held)
        end = foot.top_m + COUNTER_M * along
        meshes += [rod(held, end, 0.014), _weight(end, along)]
    return [SetPart(name, "stand", light.name, joined(meshes), STEEL)]


def _body(stage: Stage) -> np.ndarray:
    """Points (n, 3) of the sitter's body, clothes and seat."""
    solid = [s.vertices for s in stage.shapes if s.name.startswith("sitter.") and s.region != "hair"]
    return np.concatenate(solid).astype(float) if solid else np.zeros((0, 3))


def _weight(end: np.ndarray, along: np.ndarray) -> trimesh.Trimesh:
    return placed(lathe([(-0.07, 0), (-0.07, 0.06), (0.07, 0.06), (0.07, 0)]), end, axes_along(along))


def _tripod(floor: np.ndarray, top: np.ndarray, first_leg_rad: float) -> trimesh.Trimesh:
    """Three legs and a column in two sections, up to `top`."""
    height = float(top[1])
    crotch, spread = rigging.stands.legs_of(top)
    meshes = []
    for k in range(3):
        turn = first_leg_rad + 2 * math.pi * k / 3
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
