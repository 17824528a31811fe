"""Where a key style puts its lights on a set: the first place in the window that is free and draws the pattern."""

from __future__ import annotations

import copy
import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from .. import stage
from ..aiming import angles_deg, look_frame
from ..bodies import exit_outline, in_fixture, in_frame
from ..findings import Problem, SceneError
from ..model import Light, Scene
from ..model.scene import role_of
from ..open_set import OpenSet
from ..parts import Survey
from ..trial import tried
from .frame import FaceFrame, face_frame
from .pattern import light_from, pattern_of
from .relief import Relief, face_relief
from .style import (
    STRAIGHT_DEG,
    THREE_QUARTER_DEG,
    TURNED_DEG,
    UNDER_DEG,
    Style,
    StyledScene,
    spots,
)

SMALL_M = 0.1
"""A light smaller than this is taken for a point when its shadows are foretold, metres."""

_DISTANCES = (1.0, 0.9, 0.8, 0.7, 1.15, 1.3, 0.6, 0.5, 0.4)
_PLACING = ("azimuth_deg", "elevation_deg", "height_m", "distance_m", "at_m", "aim")
_BOARD = {"kind": "board", "finish": "white-board"}
_BOARD_SIZES_M = ([0.9, 0.6], [0.8, 0.5], [0.7, 0.4])
_BOARD_DISTANCES_M = (0.45, 0.5, 0.55, 0.6, 0.7, 0.8, 0.9, 1.0)
_FILLS = 5


@dataclass(frozen=True, slots=True)
class FaceOnSet:
    """A face on its set: its frame and front view, how far it is turned from the camera (degrees, positive to camera
    right), and everything else that stands there."""

    frame: FaceFrame
    relief: Relief
    turn_deg: float
    found: Survey


def styled(opened: OpenSet, style: Style, key: str, turn: bool = True) -> StyledScene:
    """The set with the light `key` in a style; see `scenes.styles.apply_style`."""
    scene = opened.scene
    tables = scene.model_dump(mode="json", exclude_unset=True)
    face = _face(opened.survey)
    fixture = _fixture(face.found, key)
    azimuth, _ = face.frame.angles_deg(fixture.centre_m)
    distance = round(float(np.linalg.norm(fixture.centre_m - face.frame.origin_m)), 3)
    notes = []
    side = 1 if azimuth > -STRAIGHT_DEG else -1
    wanted = _turn_wanted(style, face.turn_deg, side)
    if wanted is not None and not turn:
        far = f"{abs(wanted):.0f} degrees from the camera"
        notes.append(f"The sitter stays turned as varied; {style.name} light wants the face {far}.")
    elif wanted is not None:
        notes.append(_turn(tables, scene, wanted - face.turn_deg, style, wanted))
        opened = opened.with_tables(tables)
        face = _face(opened.survey)
    if abs(face.turn_deg) < STRAIGHT_DEG:
        pass  # a face that looks at the camera has no far side: the key stays on its own
    elif style.name in ("short", "profile-rim"):
        side = 1 if face.turn_deg > 0 else -1
    elif style.name == "broad":
        side = -1 if face.turn_deg > 0 else 1
    table = tables["light"][key]
    if not scene.light[key].on:
        table["on"] = True
        notes.append(f"The light {key} was off and is on now.")
    if scene.light[key].aim != "face":
        notes.append(f"The light {key} is aimed at the face now.")
    for name in _PLACING:
        table.pop(name, None)
    notes += _place(tables, opened, ("light", key), _key_spots(style, side, distance, face, key))
    if style.name == "clamshell":
        notes += _under(tables, opened.with_tables(tables), key, face)
    return StyledScene(tables, key, tuple(notes))


def _face(found: Survey) -> FaceOnSet:
    assert found.sitter is not None
    assert found.camera is not None
    frame = face_frame({name: mark.position_m for name, mark in found.sitter.landmarks.items()})
    skin = [(p.vertices, p.faces, p.normals) for p in found.sitter.parts if p.region == "face"]
    return FaceOnSet(frame, face_relief(frame, skin), frame.turn_from_deg(found.camera.origin_m), found)


def _fixture(found: Survey, name: str) -> stage.Fixture:
    fixture = found.fixtures[name]
    assert fixture is not None, "far light is refused before"
    return fixture


def _refused(problems: Iterable[Problem], title: str) -> SceneError:
    name = title or "the scene"
    return SceneError(problem.at(name) for problem in problems)


def _turn_wanted(style: Style, turn_deg: float, side: int) -> float | None:
    """Turn from the camera that a style needs, where the face does not have it; its side kept, else toward the key's
    (for broad light away from it)."""
    if style.name == "profile-rim":
        way = side if abs(turn_deg) < STRAIGHT_DEG else math.copysign(1, turn_deg)
        return None if abs(abs(turn_deg) - 90) < STRAIGHT_DEG else 90.0 * way
    if style.name not in ("short", "broad") or abs(turn_deg) >= TURNED_DEG:
        return None
    toward = side if style.name == "short" else -side
    way = toward if abs(turn_deg) < STRAIGHT_DEG else math.copysign(1, turn_deg)
    return THREE_QUARTER_DEG * way


def _turn(tables: dict[str, Any], scene: Scene, by_deg: float, style: Style, to_deg: float) -> str:
    """Turn the sitter; returns the note."""
    turned = scene.sitter.turn_deg + by_deg
    tables["sitter"]["turn_deg"] = round(math.degrees(math.remainder(math.radians(turned), 2 * math.pi)), 1)
    where = f"{abs(to_deg):.0f} degrees to camera {'right' if to_deg > 0 else 'left'}"
    profile = style.name == "profile-rim"
    why = "profile light wants the face in profile" if profile else f"{style.name} light wants it so"
    return f"The sitter is turned, face {where} of the camera: {why}."


@dataclass(frozen=True, slots=True)
class Spot:
    """A place for a light or piece: world azimuth and elevation around the face, distance, and how well it serves:
    0 when it draws the pattern and stands out of the picture. `keys` are further keys of its table."""

    azimuth_deg: float
    elevation_deg: float
    distance_m: float
    faults: int
    keys: dict[str, Any]

    def table(self) -> dict[str, Any]:
        """The keys of the scene file that place it."""
        return {
            **self.keys, "azimuth_deg": self.azimuth_deg, "elevation_deg": self.elevation_deg,
            "distance_m": self.distance_m,
        }  # fmt: skip


_DRAWS, _HIDDEN = 1, 2


def _key_spots(style: Style, side: int, distance_m: float, face: FaceOnSet, key: str) -> Iterator[Spot]:
    fixture = _fixture(face.found, key)
    drawn: dict[tuple[float, float], bool] = {}
    for share in _DISTANCES:
        reach = round(share * distance_m, 3)
        for azimuth, elevation in spots(style, side):
            at, way = _around(face.frame, azimuth, elevation, reach)
            faults = _HIDDEN * _in_the_way(_moved(fixture, at, face.frame.origin_m), face.found, key)
            if not faults and (azimuth, elevation) not in drawn:
                drawn[azimuth, elevation] = _draws(style, face, _moved(fixture, at, face.frame.origin_m))
            yield Spot(*way, reach, faults + _DRAWS * (not drawn.get((azimuth, elevation), True)), {})


def _around(frame: FaceFrame, azimuth: float, elevation: float, reach: float) -> tuple[np.ndarray, tuple[float, float]]:
    """World place (3,), and its world azimuth and elevation as a scene file says them."""
    toward = frame.direction(azimuth, elevation)
    world = angles_deg(toward)
    return frame.origin_m + reach * toward, (round(world[0], 1), round(world[1], 1))


def _draws(style: Style, face: FaceOnSet, fixture: stage.Fixture) -> bool:
    """Whether the light there would draw the style's pattern on this face."""
    if style.shadow_deg is None:
        return True
    exit_m = face.frame.local(exit_points(fixture))
    pattern = pattern_of(face.relief, light_from(face.relief, exit_m))
    if pattern.shadow_deg is None or (pattern.triangle_m2 > 0) != style.triangle:
        return False
    away = pattern.shadow_deg if style.azimuth_deg[1] == 0 or exit_m[0, 0] < 0 else -pattern.shadow_deg
    return style.shadow_deg[0] <= away <= style.shadow_deg[1]


def exit_points(fixture: stage.Fixture) -> np.ndarray:
    """A few places (n, 3) that stand for the exit of a fixture, its centre first."""
    rim = exit_outline(fixture) - fixture.centre_m
    if np.max(fixture.size_m) < SMALL_M:
        return fixture.centre_m[None]
    return fixture.centre_m + np.concatenate([np.zeros((1, 3)), 0.4 * rim[1::2], 0.85 * rim[::2]])


def _moved(fixture: stage.Fixture, at_m: np.ndarray, face_m: np.ndarray) -> stage.Fixture:
    right, up, forward = look_frame(at_m, face_m)
    return replace(fixture, centre_m=at_m, right=right, up=up, forward=forward)


def _in_the_way(fixture: stage.Fixture, found: Survey, own: str) -> bool:
    """Whether a fixture shows in the picture or before the sitter, or shares room with another light."""
    rim = exit_outline(fixture)
    shares = np.linspace(0, 1, 5)[:, None, None]
    front = (fixture.centre_m + shares * (rim - fixture.centre_m)).reshape(-1, 3)
    points = np.concatenate([front, front - fixture.body_depth_m * fixture.forward])
    others = [f for name, f in found.fixtures.items() if name != own and f is not None]
    if any(in_fixture(other, points).any() for other in others):
        return True
    return found.camera is not None and bool(in_frame(found.camera, points).any())


def _place(
    tables: dict[str, Any], opened: OpenSet, where: tuple[str, str], candidates: Iterable[Spot]
) -> list[str]:
    """Write the best place into the table `where`; returns notes on what could not be had.

    Raises
    ------
    SceneError
        With the problems of the first place, when none is free.
    """
    kind, name = where
    best: tuple[tuple[int, int], Spot] | None = None
    first: list[Problem] = []
    bare = tables[kind][name]
    asked: float | None = None
    for spot in candidates:
        asked = spot.distance_m if asked is None else asked
        if best is not None and (spot.faults, 0) >= best[0]:
            continue
        problems = tried(opened.walk, kind, name, {**bare, **spot.table()})
        first = first or problems
        if any(p.severity == "error" for p in problems):
            continue
        warned = sum(p.path[:2] == where for p in problems)
        if best is None or (spot.faults, warned) < best[0]:
            best = (spot.faults, warned), spot
        if best[0] == (0, 0):
            break
    if best is None:
        raise _refused(first, str(tables.get("title", "")))
    (faults, warned), spot = best
    tables[kind][name] = {**bare, **spot.table()}
    return _shortfalls(name, faults, warned, spot, asked)


def _shortfalls(name: str, faults: int, warned: int, spot: Spot, asked: float | None) -> list[str]:
    notes = []
    if asked is not None and spot.distance_m != asked and not spot.keys:
        where = f"The light {name} stands {spot.distance_m:g} m from the face"
        notes.append(f"{where}; nothing in the window was free at {asked:g} m.")
    if faults & _HIDDEN:
        notes.append(f"The {name} stands in the picture or against another light; no place in the window is free.")
    if faults & _DRAWS:
        notes.append("On this face no place in the window draws the pattern in full; the nearest is taken.")
    if warned:
        notes.append(f"The check of the scene has a warning about {name}.")
    return notes


def _under(tables: dict[str, Any], opened: OpenSet, key: str, face: FaceOnSet) -> list[str]:
    """Put the fill, else a white board, under the face; returns the notes."""
    scene = opened.scene
    fills = [n for n, light in scene.light.items() if role_of(n, light) == "fill" and n != key and not light.far()]
    if fills:
        return _fill_under(tables, opened, fills[0], scene.light[fills[0]], face)
    name = "under-board"
    pieces = tables.setdefault("piece", {})
    while name in pieces:
        name += "-2"
    pieces[name] = dict(_BOARD)
    notes = _place(tables, opened, ("piece", name), _board_spots(face))
    return [f"A white board is added under the face as [piece.{name}].", *notes]


def _fill_under(
    tables: dict[str, Any], opened: OpenSet, name: str, light: Light, face: FaceOnSet
) -> list[str]:  # fmt: skip
    fixture = _fixture(face.found, name)
    asked = round(float(np.linalg.norm(fixture.centre_m - face.frame.origin_m)), 3)
    table = copy.deepcopy(tables["light"][name])
    for key in _PLACING:
        table.pop(key, None)
    notes = [f"The light {name} stands under the face now; meter it again."]
    if not light.on:
        table["on"] = True
        notes.append(f"The light {name} was off and is on now.")
    tables["light"][name] = table
    return [*notes, *_place(tables, opened, ("light", name), _fill_spots(asked, fixture, face, name))]


def _elevations_under() -> list[float]:
    low, high = UNDER_DEG
    return [float(e) for e in sorted(np.linspace(low, high, _FILLS), key=lambda e: abs(e - (low + high) / 2))]


def _fill_spots(asked: float, fixture: stage.Fixture, face: FaceOnSet, name: str) -> Iterator[Spot]:
    for share in _DISTANCES:
        reach = round(share * asked, 3)
        for elevation in _elevations_under():
            at, way = _around(face.frame, 0, elevation, reach)
            faults = _HIDDEN * _in_the_way(_moved(fixture, at, face.frame.origin_m), face.found, name)
            yield Spot(*way, reach, faults, {})


def _board_spots(face: FaceOnSet) -> Iterator[Spot]:
    for size in _BOARD_SIZES_M:
        for reach in _BOARD_DISTANCES_M:
            for elevation in _elevations_under():
                _, way = _around(face.frame, 0, elevation, reach)
                yield Spot(*way, reach, 0, {"size_m": size})
