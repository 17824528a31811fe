"""What lights, stands and booms run into: each case built so that the answer is known from its numbers."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from scenes.check import check_data
from scenes.rigging import Paper, Solid, solids_of
from scenes.stage import Fixture

from .examples import changed

# a post 0.4 m wide, 0.24 m deep and 1.7 m high stands for the sitter
POST = [(x, y, z) for x in (-0.2, 0.2) for y in (0, 1.7) for z in (-0.12, 0.12)]
QUADS = ((1, 2, 4, 3), (5, 7, 8, 6), (1, 5, 6, 2), (3, 4, 8, 7), (1, 3, 7, 5), (2, 6, 8, 4))
SPOT = {"shape": "spot", "size_m": 0.1, "beam_deg": 20, "field_deg": 40, "energy_ws": 100, "depth_m": 0.3}
BASE = {"light__key": None, "room__size_m": [6, 7, 3], "room__open": [], "background__distance_m": 1.8}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("post")
    lines = ["v {} {} {}".format(*p) for p in POST] + ["f {} {} {} {}".format(*q) for q in QUADS]
    (place / "post.obj").write_text("\n".join(lines))
    return place


def told(folder: Path, **changes: Any) -> list[str]:
    """The warnings on lights, as "NAME: message | fix"."""
    _, found = check_data(changed(**{**BASE, "sitter": {"mesh": "post.obj"}, **changes}), folder)
    assert not [p for p in found if p.severity == "error"], found
    return [f"{p.path[1]}: {p.message} | {p.fix}" for p in found if p.path[0] == "light"]


def spot(*at_m: float, **more: Any) -> dict[str, Any]:
    return {**SPOT, "at_m": list(at_m), **more}


def test_lights_that_are_in_nobodys_way_are_quiet(folder: Path) -> None:
    lights = {
        "light__a": spot(1.2, 2.0, 1.2), "light__b": spot(-1.5, 2.2, -0.8), "light__c": spot(1.6, 1.2, -0.7, aim=[0, 1.3, -1.8])
    }  # fmt: skip
    assert told(folder, **lights) == []


def test_each_collision_is_told_with_its_depth_and_a_fix(folder: Path) -> None:
    level = {"azimuth_deg": 90, "aim": [0, 1.5, 0]}
    for lights, words in (
        # a spot looking down from 2.85 m with a barrel of 0.3 m, its radius 0.075: 0.15 m and a little through 3 m
        ({"light__a": spot(0.9, 2.85, 0.9, aim=[0.9, 0, 0.91])}, ["a: the housing of this light reaches 0.15 m through the ceiling"]),
        ({"light__a": spot(2.9, 1.5, 0, aim=[0, 1.5, 0])}, ["reaches 0.20 m through the right wall"]),
        # the fix of a light placed by angles is one that clears it
        ({"light__a": {**SPOT, **level, "distance_m": 2.9}}, ["through the right wall | Write distance_m = 2.7"]),
        ({"light__a": spot(1.0, 1.0, -1.7, aim=[1.0, 1.0, 3])}, ["would stand 0.08 m behind the background"]),
        ({"light__a": spot(0.0, 0.9, -0.36, aim=[0, 0.9, -1.8])}, ["reaches 0.06 m into the sitter", "the legs of its stand would reach 0.39 m into"]),
        ({"light__a": spot(0.28, 0.9, 0.1, aim=[3, 0.9, 0.1], depth_m=0.05)}, ["its stand"]),
        ({"light__a": spot(1.2, 1.8, 1.2), "light__b": spot(1.25, 1.8, 1.2)}, ["b: this light and 'a' stand in each other, 0.0"]),
        ({"light__a": spot(0.0, 1.45, 1.2, aim=[0, 1.45, 0])}, ["a: this light stands between camera and sitter and would hide"]),
        ({"light__a": spot(0.6, 1.5, 0.1, aim=[2, 1.5, 0.1]), "camera__focal_length_mm": 50}, ["would show in the picture, over"]),
    ):  # fmt: skip
        found = told(folder, **lights)
        assert all(any(word in text for text in found) for word in words), (words, found)


def test_a_visible_fixture_may_show_but_not_stand_before_the_sitter(folder: Path) -> None:
    beside = told(folder, light__a=spot(0.6, 1.5, 0.1, aim=[2, 1.5, 0.1], visible=True), camera__focal_length_mm=50)
    assert not any("show in the picture" in text for text in beside)
    before = told(folder, light__a=spot(0.0, 1.45, 1.2, aim=[0, 1.45, 0], visible=True))
    assert any("would hide" in text and "never show" not in text for text in before)


def test_a_light_in_another_ones_way_is_told_until_it_is_switched_off(folder: Path) -> None:
    far, near = spot(1.5, 1.5, 1.5, aim=[0, 1.5, 0]), spot(1.0, 1.5, 1.0, aim=[0, 1.5, 0])
    found = told(folder, light__far=far, light__near=near)
    assert any(text.startswith("far: the light 'near' stands in this one's way: it takes 100 %") for text in found), found
    assert not any("in this one's way" in t for t in told(folder, light__far=far, light__near={**near, "on": False}))
    aside = spot(1.0, 1.5, 1.4, aim=[0, 1.5, 0])
    assert not any("in this one's way" in t for t in told(folder, light__far=far, light__near=aside))


def test_an_open_side_and_a_window_are_no_collision(folder: Path) -> None:
    high = spot(0.9, 2.85, 0.9, aim=[0.9, 0, 0.91])
    assert not any("ceiling" in text for text in told(folder, light__a=high, room__open=["ceiling"]))
    pane = {"shape": "rectangle", "size_m": [0.9, 1.4], "at_m": [-2.95, 1.5, 0.5], "aim": [0, 1.5, 0.5],
            "source": "daylight", "cct_k": 6500, "lumens": 9000, "visible": True}  # fmt: skip
    assert told(folder, light__pane=pane) == []


def test_depths_and_ways_through_a_cone_follow_from_its_sizes() -> None:
    cone = Solid(np.zeros(3), np.eye(3), np.array([0.0, 1.0]), np.array([[1.0, 1.0], [0.0, 0.0]]))
    np.testing.assert_allclose(cone.depth_in(np.array([[0, 0, 0.1], [0.5, 0, 0.25], [0.9, 0, 0.25]])), [0.1, 0.25, -0.15])
    ends = np.array([[2.0, 0, 0.5], [2.0, 0, 1.5], [0, 0, -1.0]])
    assert cone.stops(np.array([-2.0, 0, 0.5]), ends).tolist() == [True, False, False]
    assert cone.stops(np.array([0, 0, -1.0]), np.array([[0, 0, 0.0001 - 1e-3], [0, 0, 2.0]])).tolist() == [False, True]
    ring = Solid(np.zeros(3), np.eye(3), np.array([0.0, 0.1]), np.array([[0.3, 0.3], [0.3, 0.3]]), hole_m=0.2)
    assert ring.stops(np.array([0, 0, -1.0]), np.array([[0, 0, 1.0], [0.0, 0.5, 1.0]])).tolist() == [False, True]


def sweep(z_m: float = -1.0, radius_m: float = 0.5, to_z_m: float = 0.5) -> Paper:
    turn = np.linspace(0, np.pi / 2, 17)
    curve = np.stack([radius_m * (1 - np.sin(turn)), z_m + radius_m * (1 - np.cos(turn))], axis=1)
    return Paper(1.35, np.concatenate([[[2.6, z_m]], curve, [[0.0, to_z_m]]]))


def test_paper_is_crossed_only_where_it_hangs_or_curves() -> None:
    paper = sweep()
    line = np.linspace([0, 1.5, 0], [0, 1.5, -2], 25)
    assert paper.crossed(line) == pytest.approx(1.0)
    assert not paper.crossed(line + np.array([0, 1.2, 0]))
    assert not paper.crossed(line + np.array([1.4, 0, 0]))
    assert paper.behind(np.array([0, 1, -1.5])) == pytest.approx(0.5)
    assert paper.carries(np.array([1.0, 0, 0.4]))
    assert not paper.carries(np.array([1.0, 0, 0.6]))
    # a circle of 0.5 m: 0.3 m up, the paper stands 0.5 - sqrt(0.25 - 0.04) m before where it hangs
    curve = 0.5 - np.sqrt(0.25 - 0.04)
    assert paper.behind(np.array([0, 0.2, -0.98])) == pytest.approx(0.5 - np.sqrt(0.25 - 0.09) - 0.02, abs=2e-3)
    assert paper.behind(np.array([0, 0.3, -1.0 + curve + 0.01])) == 0
    column = np.linspace([0.3, 0, -0.8], [0.3, 2, -0.8], 25)
    assert paper.crossed(column) == pytest.approx(0.3)
    assert not paper.crossed(column + np.array([0, 0, 0.31]))
    assert not Paper(1.35, np.array([[2.6, -1.0], [0.0, -1.0]])).crossed(column)


def test_no_stand_goes_through_the_curve_of_a_sweep(folder: Path) -> None:
    """The paper hangs at 1.8 m and curves from 1.3 m on; the foot of a boom finds a place where it does not."""
    low = spot(0.9, 0.8, -1.5, aim=[0.9, 0.8, 3])
    found = told(folder, light__a=low, background__finish="white-paper")
    words = "its stand would go through the background where it curves onto the floor, 0.38 m into the curve"  # its tail is 0.18 m behind its front
    assert any(words in text and "Move the light 0.38 m toward the camera" in text for text in found), found
    assert not any("curves" in text for text in told(folder, light__a=low, background__sweep=False))
    high = spot(0.9, 1.9, -1.5, aim=[0.9, 1.9, 3])
    assert not any("curves" in t for t in told(folder, light__a=high, background__finish="white-paper", background__width_m=2.2))
    buried = spot(0.9, 0.1, -1.6, aim=[0.9, 0.1, 3], depth_m=0.05)
    found = told(folder, light__a=buried, background__finish="white-paper")
    assert any("the housing of this light reaches" in text and "through the background" in text for text in found), found


def test_the_whole_housing_is_in_its_bodies() -> None:
    """A body of 0.3 m depth and a head of 0.2 m behind it, whatever shapes the light."""
    for shape, size, look, rear in (
        ("octagon", 0.9, "box", 0.5), ("rectangle", 0.6, "box", 0.5), ("disk", 0.18, "bowl", 0.5),
        ("disk", 0.55, "dish", 0.5), ("disk", 0.15, "snoot", 0.5), ("rectangle", 0.5, "panel", 0.3), ("spot", 0.2, "barrel", 0.3),
    ):  # fmt: skip
        fixture = Fixture(shape, np.array([size, size]), np.zeros(3), *np.eye(3), None, None, False, 0.3)
        points = np.concatenate([solid.surface for solid in solids_of(fixture, look)])
        assert -points[:, 2].min() == pytest.approx(rear), look  # light travels along +z
        assert points[:, 2].max() == pytest.approx(0, abs=1e-9), look
        assert float(np.ptp(points[:, 0])) == pytest.approx(size, abs=0.065), look
