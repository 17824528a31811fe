"""Windows and ground in a scene file: where they may be, what is said when they cannot, what becomes of them."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from scenes import build_stage, dump_scene
from scenes.check import check_data
from scenes.findings import dotted
from scenes.model import Ground
from scenes.surroundings import HORIZON_M, hides

from .examples import changed

SKY = {"shape": "sky", "sky": "overcast", "lux": 8000}
WINDOW = {"wall": "left", "centre_m": 0.5, "size_m": [1.2, 1.4], "panes": [2, 3], "curtain_stops": 1, "drawn": 0.5}


def told(**tables: Any) -> list[tuple[str, str, str]]:
    """Findings (path, severity, message) of the plain set with a closed room, and these tables."""
    found = check_data(changed(**{"room": {"size_m": [5, 6, 2.6]}, "light__sky": SKY, **tables}), Path("."))[1]
    return [(dotted(p.path), p.severity, p.message) for p in found]


@pytest.mark.parametrize(
    ("tables", "path", "severity", "words"),
    [
        ({"room__window": {"a": {**WINDOW, "centre_m": 2.6}}}, "room.window.a.centre_m", "error", "past the end"),
        ({"room__window": {"a": {**WINDOW, "size_m": [7, 1]}}}, "room.window.a.size_m", "error", "a wall of 6 m"),
        ({"room__window": {"a": {**WINDOW, "sill_m": 1.5}}}, "room.window.a.size_m", "error", "up to 2.9 m"),
        ({"room__window": {"a": WINDOW, "b": {**WINDOW, "centre_m": 1.4}}}, "room.window.b", "error", "'a' overlap"),
        ({"room__window": {"a": {**WINDOW, "wall": "back"}}}, "room.window.a", "warning", "hangs before this window"),
        ({"room__window": {"a": WINDOW}, "room__open": ["left"]}, "room.window.a.wall", "error", "side of this room is open"),
        ({"room__window": {"a": {**WINDOW, "bar_m": 0.4}}}, "room.window.a.panes", "error", "no glass"),
        ({"room__window": {"a": {**WINDOW, "slat_deg": 9}}}, "room.window.a.slat_deg", "error", "without a blind"),
        ({"room__window": {"a": {**WINDOW, "curtain": "lnien"}}}, "room.window.a.curtain_stops", "error", "both say"),
        ({"room__window": {"a": {**WINDOW, "frame": "oak-flor"}}}, "room.window.a.frame", "error", "no finish 'oak-flor'"),
        ({"room__window": WINDOW}, "room.window", "error", "names no window"),
        ({"room__window": {"a b": WINDOW}}, "room.window.a b", "error", "cannot be a window's name"),
        ({"room__window": {"a": WINDOW}, "light__sky": {**SKY, "on": False}}, "room.window.a", "warning", "nothing shines"),
        ({"room__window": {"a": WINDOW}, "light__sun": {"shape": "sun", "lux": 9000, "azimuth_deg": 90, "elevation_deg": 9}},
         "light.sun", "warning", "never enters"),
        ({"room__window": {"a": WINDOW}, "light__sun": {"shape": "sun", "lux": 9000, "azimuth_deg": -60, "elevation_deg": 50}},
         "light.sun", "warning", "but not onto the face: it falls on the floor around x = -1.3"),
        ({}, "light.sky", "error", "cannot get into a closed room"),
        ({"room": None, "ground": {"beyond_m": 9}}, "ground.beyond_m", "error", "says nothing of open ground"),
        ({"room": None, "ground": {"below_m": 2}}, "ground.below_m", "error", "no room"),
        ({"room": None, "ground": {"beyond": "hegde"}}, "ground.beyond", "error", "is not a choice"),
        ({"room": None, "ground": {"beyond": "hedge"}, "light__sun": {"shape": "sun", "lux": 9000, "elevation_deg": 3}},
         "light.sun", "warning", "stands behind the hedge"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_told_once(tables: dict[str, Any], path: str, severity: str, words: str) -> None:
    own = [f for f in told(**tables) if f[0] == path]
    assert [f[1] for f in own] == [severity], told(**tables)
    assert words in own[0][2]


def test_a_window_is_a_hole_with_a_reveal_bars_and_a_curtain() -> None:
    scene, found = check_data(
        changed(room={"size_m": [5, 6, 2.6], "window": {"street": WINDOW}}, light__sky=SKY, background=None), Path(".")
    )
    assert scene is not None, found
    assert check_data(tomllib.loads(dump_scene(scene)), Path("."))[0] == scene
    stage = build_stage(scene)
    shapes = {shape.name: shape for shape in stage.shapes}
    assert {"window.street.reveal", "window.street.bars", "window.street.curtain"} <= set(shapes)

    def area(name: str) -> float:
        corners = shapes[name].vertices.astype(float)[shapes[name].faces]
        return float(
            np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1).sum() / 2
        )

    assert area("set.left") == pytest.approx(6 * 2.6 - 1.2 * 1.4, rel=1e-5)
    assert area("window.street.reveal") == pytest.approx(2 * (1.2 + 1.4) * 0.2, rel=1e-5)
    assert [pane.transmittance for pane in stage.panes] == [0.78]
    assert stage.openings is not None
    (way,) = stage.openings.ways
    assert way.centre_m == pytest.approx([-2.7, 1.6, 0.5])
    ground = next(shape for shape in stage.surroundings if shape.name == "around.ground")
    assert ground.vertices[:, 1] == pytest.approx(-0.2)


def test_ground_and_sky_meet_at_the_horizon() -> None:
    """Seen from 1.5 m, the ground's edge lies under the level line by less than a pixel of a 640 px frame of 10 degrees."""
    scene, _ = check_data(changed(room=None, background=None, light__sky=SKY, ground={"beyond": "hills"}), Path("."))
    assert scene is not None
    stage = build_stage(scene)
    around = {shape.name: shape for shape in stage.surroundings}
    far = np.hypot(*around["around.ground"].vertices[:, [0, 2]].T)
    near = np.hypot(*next(s for s in stage.shapes if s.name == "set.ground").vertices[:, [0, 2]].T)
    assert far.min() == pytest.approx(near.max(), rel=1e-6)
    assert far.max() == pytest.approx(HORIZON_M, rel=1e-6)
    assert math.degrees(1.5 / HORIZON_M) < 10 / 640 * 1.2
    hills = np.concatenate([shape.vertices for name, shape in around.items() if name.startswith("around.hills")])
    assert hills[:, 1].min() == 0
    seen = hills[:, 1] / np.hypot(hills[:, 0], hills[:, 2]) * 3000  # as high as they look, 3 km away
    assert 0.9 * 170 < seen.max() <= 170


def test_what_a_hedge_hides() -> None:
    hedge, point = Ground(beyond="hedge", beyond_m=9, beyond_height_m=2.2), np.array([0, 1.5, 0])
    edge = math.degrees(math.atan2(0.7, 9))
    for elevation, hidden in ((edge - 0.1, True), (edge + 0.1, False)):
        toward = np.array([0, math.sin(math.radians(elevation)), -math.cos(math.radians(elevation))])
        assert hides(hedge, (0, 3), point, toward, 0.0) == hidden
    assert not hides(Ground(), (0, 3), point, np.array([0, 0.01, -1.0]), 0.0)


def test_two_windows_in_one_wall_and_what_passes_a_thick_one() -> None:
    from scenes.model import Room
    from scenes.studio import holed, room_surfaces
    from scenes.windows import places_of

    plain = {"wall": "left", "size_m": [1, 1], "sill_m": 1}
    room = Room.model_validate(
        {"size_m": [4, 6, 3], "wall_m": 0.5,
         "window": {"a": {**plain, "centre_m": -1.5}, "b": {**plain, "centre_m": 1.5, "size_m": [1, 0.5]}}}
    )  # fmt: skip
    places = places_of(room)
    holes = [(p.at(-x, -y, 0.0), p.at(x, y, 0.0)) for p in places.values() for x, y in [p.size_m / 2]]
    wall = holed(room_surfaces(room)["left"], holes)
    corners = wall.vertices.astype(float)[wall.faces]
    areas = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1) / 2
    assert areas.sum() == pytest.approx(6 * 3 - 1 - 0.5, rel=1e-5)
    inside = np.array([0, 1.5, -1.5])
    assert places["a"].passes(inside, np.array([-9, 1.5, -1.5]))
    # through the inner edge, but on to the reveal: 0.45 m off the middle there, 0.56 m half a metre farther out
    assert not places["a"].passes(inside, inside + 4 * np.array([-2, 0, 0.45]))
