"""Set pieces: where they stand, what they are made of, and what is said of a bad place."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from materials import FINISHES
from scenes import build_stage, dump_scene, scene_json_schema
from scenes.check import check_data
from scenes.findings import Problem, dotted
from scenes.pieces import BOARD_FINISH, FLAG_FINISH, Sheet
from scenes.stage import Shape, Stage

from .examples import changed, problems, scene

BESIDE = {"kind": "flag", "size_m": [0.6, 0.9], "azimuth_deg": 90, "distance_m": 1.0}


def piece(**keys: Any) -> dict[str, Any]:
    """A flag beside the sitter with keys changed; None removes one."""
    return {k: v for k, v in {**BESIDE, **keys}.items() if v is not None}


def staged(**pieces: dict[str, Any]) -> Stage:
    return build_stage(scene(piece=pieces))


def shapes(stage: Stage) -> list[Shape]:
    return [s for s in stage.shapes if s.name.startswith("piece.")]


def said(**keys: Any) -> list[Problem]:
    return problems(piece={"one": piece(**keys)})


def area(shape: Shape) -> float:
    a, b, c = (shape.vertices[shape.faces[:, k]].astype(float) for k in range(3))
    return float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum() / 2)


def test_a_piece_stands_around_its_aim_and_looks_at_it() -> None:
    stage = staged(one=piece(azimuth_deg=-60, height_m=1.9, distance_m=1.2))
    (shape,) = shapes(stage)
    centre = shape.vertices.mean(axis=0)
    away = centre - stage.landmarks["face"]
    assert np.linalg.norm(away) == pytest.approx(1.2, rel=1e-6)
    assert centre[1] == pytest.approx(1.9, rel=1e-6)
    assert math.degrees(math.atan2(away[0], away[2])) == pytest.approx(-60, abs=1e-4)
    np.testing.assert_allclose(shape.normals, np.tile(-away / 1.2, (4, 1)), atol=1e-6)
    assert (shape.region, shape.finish.name) == ("prop", FLAG_FINISH)


@pytest.mark.parametrize("turn", [0.0, 30.0, -90.0])
def test_a_rectangle_has_its_sides_and_rolls(turn: float) -> None:
    (shape,) = shapes(staged(one=piece(roll_deg=turn)))
    points = shape.vertices.astype(float)
    sides = np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1)
    assert sides == pytest.approx([0.9, 0.6, 0.9, 0.6], rel=1e-5)
    upright = points[1] - points[0]
    assert abs(upright[1]) / 0.9 == pytest.approx(math.cos(math.radians(turn)), abs=1e-5)


def test_round_pieces_are_disks() -> None:
    (shape,) = shapes(staged(one=piece(size_m=0.8, round=True)))
    assert area(shape) == pytest.approx(math.pi * 0.16, rel=5e-4)
    out = np.linalg.norm(shape.vertices - shape.vertices.mean(axis=0), axis=1)
    assert out.max() == pytest.approx(0.4, rel=0.01)


@pytest.mark.parametrize("keys", [{}, {"size_m": 0.7, "round": True}, {"kind": "board", "back": "black-board"}])
def test_triangles_run_counter_clockwise_around_their_normals(keys: dict[str, Any]) -> None:
    for shape in shapes(staged(one=piece(**keys))):
        a, b, c = (shape.vertices[shape.faces[:, k]].astype(float) for k in range(3))
        facing = np.einsum("ij,ij->i", np.cross(b - a, c - a), shape.normals[shape.faces[:, 0]])
        assert (facing > 0).all()


def test_a_board_takes_a_finish_for_each_face() -> None:
    plain, same, two = (
        shapes(staged(one=piece(kind="board", **keys)))
        for keys in ({}, {"finish": "gold-board", "back": "gold-board"}, {"back": "black-board"})
    )
    assert [s.finish.name for s in plain] == [BOARD_FINISH]
    assert [s.finish.name for s in same] == ["gold-board"]
    assert [s.finish.name for s in two] == ["white-board", "black-board"]
    face, far = two
    np.testing.assert_allclose(face.normals, -far.normals, atol=1e-6)
    assert float((face.vertices.mean(axis=0) - far.vertices.mean(axis=0)) @ face.normals[0]) == pytest.approx(0.005)


@pytest.mark.parametrize("stops", [0.25, 0.5, 1, 2, 6])
def test_a_silk_lets_its_stops_through_and_sends_most_of_the_rest_back(stops: float) -> None:
    (shape,) = shapes(staged(one=piece(kind="silk", stops=stops)))
    green = shape.finish.reflectance[0, 555 - 380]
    passed, back = green * shape.finish.transmission, green * (1 - shape.finish.transmission)
    assert passed == pytest.approx(2.0**-stops, rel=0.005)
    assert passed + back == pytest.approx(0.9, abs=0.01)
    assert (shape.finish.f0, shape.finish.coat) == (0, 0)


def test_a_net_is_no_mesh() -> None:
    stage = staged(
        soft=piece(kind="net", stops=0.5), hard=piece(kind="net", stops=1, azimuth_deg=-90, round=True, size_m=1)
    )
    assert not shapes(stage)
    soft, hard = stage.nets
    assert (soft.name, hard.name) == ("soft", "hard")
    assert (soft.transmittance, hard.transmittance) == pytest.approx((2**-0.5, 0.5))
    assert (tuple(soft.size_m), soft.round, tuple(hard.size_m), hard.round) == ((0.6, 0.9), False, (1, 1), True)
    frame = np.stack([soft.right, soft.up, soft.forward])
    np.testing.assert_allclose(frame @ frame.T, np.eye(3), atol=1e-12)
    np.testing.assert_allclose(soft.forward, [-1, 0, 0], atol=1e-12)


def test_pieces_go_round_and_keep_their_order() -> None:
    first = scene(
        piece={
            "zeta": piece(kind="silk", stops=1.5, size_m=1.2, azimuth_deg=110),
            "alpha": piece(kind="board", finish="silver-board", back="black-board", azimuth_deg=-80),
            "net-2": piece(kind="net", stops=0.5, at_m=[1.4, 1.6, 0.4], azimuth_deg=None, distance_m=None, aim="chest"),
        }
    )
    again, found = check_data(tomllib.loads(dump_scene(first)), Path("."))
    assert again == first, found
    assert list(first.piece) == ["zeta", "alpha", "net-2"]


def test_the_schema_offers_finishes_for_boards() -> None:
    table = scene_json_schema()["$defs"]["Piece"]
    assert any(option.get("enum") == list(FINISHES) for option in table["properties"]["finish"]["anyOf"])
    assert table["required"] == ["kind", "size_m"]


@pytest.mark.parametrize(
    ("keys", "where", "severity", "words"),
    [
        ({"height_m": 0.2, "distance_m": 2.0, "aim": [0, 0.3, 0]}, "size_m", "warning", "reaches under the floor"),
        ({"height_m": -0.4, "distance_m": 3.0}, "height_m", "error", "0.40 m under the floor"),
        ({"distance_m": 4.0}, "distance_m", "warning", "behind the right wall, outside the room"),
        ({"azimuth_deg": 180, "distance_m": 2.4, "size_m": 0.5}, "distance_m", "warning", "behind the background"),
        ({"distance_m": 0.05}, "distance_m", "error", "the flag cuts through the sitter; 0.20 m farther away it is clear"),
        ({"at_m": [0, 1.2, 0], "distance_m": None, "azimuth_deg": None, "size_m": 0.02}, "at_m", "error", "cuts through"),
        ({"azimuth_deg": 0, "distance_m": 2.395}, "distance_m", "error", "the flag touches the camera"),
        ({"azimuth_deg": 0, "distance_m": 1.5}, "distance_m", "warning", "hides the face"),
        ({"azimuth_deg": 0, "distance_m": 1.5, "kind": "net", "stops": 1}, "distance_m", "warning", "veils the face"),
        ({"azimuth_deg": 180, "distance_m": 1.0}, "distance_m", "warning", "shows in the picture"),
        ({"azimuth_deg": 180, "distance_m": 1.0, "size_m": 4}, "distance_m", "warning", "shows in the picture"),
        ({"azimuth_deg": 45, "elevation_deg": 24, "distance_m": 1.35, "kind": "board"}, "distance_m", "error", "housing"),
    ],
)  # fmt: skip
def test_bad_places_are_told(keys: dict[str, Any], where: str, severity: str, words: str) -> None:
    found = [p for p in said(**keys) if words in p.message]
    assert [(dotted(p.path), p.severity) for p in found] == [(f"piece.one.{where}", severity)]


def test_a_piece_may_be_seen_where_it_says_so() -> None:
    assert said(azimuth_deg=180, distance_m=1.0, visible=True) == []
    assert said() == []


def test_a_piece_beside_the_sitter_clears_the_clothes_by_their_meshes_not_by_their_box() -> None:
    # inside the box around the sitter, but over the shoulder, beside the head
    assert said(at_m=[0.28, 1.62, 0], size_m=0.1, azimuth_deg=None, distance_m=None, visible=True) == []


def test_what_goes_through_a_sheet() -> None:
    right, up, forward = np.eye(3)
    for is_round, corner in ((False, True), (True, False)):
        sheet = Sheet(np.array([0, 0, 1.0]), right, up, forward, np.array([2.0, 2.0]), is_round)
        start = np.zeros((5, 3))
        end = np.array([[0, 0, 2], [0, 0, 0.5], [1.7, 1.7, 2], [2.5, 0, 2], [0, 0, -2.0]])
        assert sheet.crossing(start, end).tolist() == [True, False, corner, False, False]
        assert sheet.crossing(end, start).tolist() == [True, False, corner, False, False]


def test_a_faulty_piece_hides_no_other_fault() -> None:
    tables = changed(piece={"bad": piece(kind="net"), "low": piece(height_m=-0.5, distance_m=3)})
    tables["light"]["key"]["gels"] = ["tael"]
    found = [dotted(p.path) for p in check_data(tables, Path("."))[1] if p.severity == "error"]
    assert sorted(found) == ["light.key.gels[1]", "piece.bad", "piece.low.height_m"]
