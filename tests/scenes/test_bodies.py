"""Inside and outside, in frame and out."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scenes.bodies import exit_outline, in_fixture, in_frame, project, winding_number
from scenes.model import Sitter
from scenes.placing import place_sitter, point_in_sitter
from scenes.stage import Camera, Fixture

CUBE = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)], float)
CUBE_FACES = np.array(
    [[0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1], [2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4],
     [1, 5, 7], [1, 7, 3]]
)  # fmt: skip


@given(st.tuples(*[st.floats(-1, 2)] * 3))
def test_winding_number_of_a_cube(point: tuple[float, float, float]) -> None:
    away = min(min(abs(c), abs(c - 1)) for c in point)
    if away < 1e-3:
        return
    inside = all(0 < c < 1 for c in point)
    assert winding_number(np.array(point), CUBE, CUBE_FACES) == pytest.approx(1.0 if inside else 0.0, abs=1e-9)


def test_an_open_cube_still_tells_inside_from_outside() -> None:
    lid_off = CUBE_FACES[:-2]
    assert winding_number(np.array([0.5, 0.5, 0.3]), CUBE, lid_off) > 0.8
    assert abs(winding_number(np.array([0.5, 0.5, -0.3]), CUBE, lid_off)) < 0.1


def housing(shape: str) -> Fixture:
    return Fixture(
        shape, np.array([0.8, 0.8]), np.array([0.0, 1, 0]), np.array([1.0, 0, 0]), np.array([0, 1.0, 0]),
        np.array([0, 0, -1.0]), None, None, False, 0.3,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("shape", "corner"), [("rectangle", True), ("octagon", False), ("disk", False), ("spot", False), ("sphere", False)]
)
def test_housings(shape: str, corner: bool) -> None:
    points = np.array([[0, 1, 0.1], [0, 1, 0.5], [0.39, 1.39, 0.1], [0, 1, -0.5]])
    assert in_fixture(housing(shape), points).tolist() == [True, False, corner, False]


def test_outline_lies_on_the_rim() -> None:
    radii = {s: np.linalg.norm(exit_outline(housing(s)) - [0, 1, 0], axis=1) for s in ("disk", "octagon", "rectangle")}
    assert radii["disk"] == pytest.approx(np.full(8, 0.4))
    assert radii["octagon"] == pytest.approx(np.full(8, 0.4 / math.cos(math.pi / 8)))
    assert radii["rectangle"] == pytest.approx(np.full(4, 0.4 * math.sqrt(2)))


def test_projection() -> None:
    camera = Camera(
        np.array([0, 1, 2.0]), np.array([1.0, 0, 0]), np.array([0, 1.0, 0]), np.array([0, 0, -1.0]), 0.5, 0.25, 100, 50
    )
    points = np.array([[0, 1, 0], [1, 1, 0], [0, 1.5, 0], [0, 1, 3]])
    seen = project(camera, points)
    np.testing.assert_allclose(seen[:3], [[0, 0, 2], [1, 0, 2], [0, 1, 2]], atol=1e-12)
    assert seen[3, 2] < 0
    assert in_frame(camera, points)[[0, 3]].tolist() == [True, False]


@pytest.mark.slow
@pytest.mark.parametrize("figure", ["marta", "amara", "leila", "samuel", "walter"])
def test_a_clothed_figure_is_solid_in_head_and_chest_and_not_beside_them(figure: str) -> None:
    sitter = place_sitter(Sitter(figure=figure, turn_deg=25), Path("."))
    ears = [sitter.landmarks[e].position_m for e in ("ear_L", "ear_R")]
    assert point_in_sitter((ears[0] + ears[1]) / 2, sitter)
    chest = sitter.landmarks["chest"]
    assert point_in_sitter(chest.position_m - 0.08 * chest.normal, sitter)
    for name in ("nose", "chest", "cheek_L"):
        mark = sitter.landmarks[name]
        assert not point_in_sitter(mark.position_m + 0.06 * mark.normal, sitter)
