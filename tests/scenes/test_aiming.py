"""Places and frames."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scenes.aiming import direction, elevation_for_height, look_frame, place_around, turn_about_up

pytestmark = pytest.mark.quick

finite = st.floats(-5, 5)
point = st.tuples(finite, finite, finite).map(np.array)


@pytest.mark.parametrize(
    ("azimuth", "elevation", "expected"),
    [
        (0, 0, (0, 0, 1)),
        (90, 0, (1, 0, 0)),
        (180, 0, (0, 0, -1)),
        (-90, 0, (-1, 0, 0)),
        (0, 90, (0, 1, 0)),
        (37, -90, (0, -1, 0)),
    ],
)
def test_directions_are_said_as_a_photographer_says_them(
    azimuth: float, elevation: float, expected: tuple[float, ...]
) -> None:
    np.testing.assert_allclose(direction(azimuth, elevation), expected, atol=1e-15)


@given(point, st.floats(-360, 360), st.floats(-90, 90), st.floats(0.1, 10))
def test_a_place_is_at_its_distance_and_height(
    aim: np.ndarray, azimuth: float, elevation: float, distance: float
) -> None:
    place = place_around(aim, azimuth, elevation, distance)
    assert np.linalg.norm(place - aim) == pytest.approx(distance)
    again = elevation_for_height(aim[1], place[1], distance)
    assert place_around(aim, azimuth, again, distance)[1] == pytest.approx(place[1], abs=1e-6)


def test_a_height_beyond_the_distance_is_refused() -> None:
    with pytest.raises(ValueError, match="more than the distance"):
        elevation_for_height(1.5, 3.0, 1.0)


@given(point, point, st.floats(-180, 180))
def test_frames_are_orthonormal_and_look_at_their_target(origin: np.ndarray, target: np.ndarray, roll: float) -> None:
    if np.linalg.norm(target - origin) < 1e-3:
        return
    right, up, forward = look_frame(origin, target, roll)
    np.testing.assert_allclose(np.stack([right, up, forward]) @ np.stack([right, up, forward]).T, np.eye(3), atol=1e-9)
    np.testing.assert_allclose(forward * np.linalg.norm(target - origin), target - origin, atol=1e-9)
    np.testing.assert_allclose(np.cross(right, up), -forward, atol=1e-9)


def test_the_camera_in_front_sees_x_to_its_right() -> None:
    right, up, _ = look_frame(np.array([0, 1.5, 2]), np.array([0, 1.5, 0]))
    np.testing.assert_allclose(right, [1, 0, 0], atol=1e-15)
    np.testing.assert_allclose(up, [0, 1, 0], atol=1e-15)


@pytest.mark.parametrize(("height", "up_z"), [(3.0, -1.0), (-3.0, 1.0)])
def test_straight_down_and_up_have_a_stable_up(height: float, up_z: float) -> None:
    _, up, _ = look_frame(np.array([0, height, 0]), np.zeros(3))
    np.testing.assert_allclose(up, [0, 0, up_z], atol=1e-12)
    near = look_frame(np.array([0, height, 0.02]), np.zeros(3))[1]
    np.testing.assert_allclose(near, [0, 0, up_z], atol=0.02)


def test_roll_is_clockwise_from_behind() -> None:
    right, up, _ = look_frame(np.array([0, 0, 2]), np.zeros(3), 90)
    np.testing.assert_allclose(right, [0, -1, 0], atol=1e-15)
    np.testing.assert_allclose(up, [1, 0, 0], atol=1e-15)


def test_one_cannot_aim_at_ones_own_place() -> None:
    with pytest.raises(ValueError, match="very place"):
        look_frame(np.ones(3), np.ones(3))


def test_a_positive_turn_is_toward_camera_right() -> None:
    np.testing.assert_allclose(turn_about_up(np.array([0.0, 1.0, 1.0]), 90), [1, 1, 0], atol=1e-15)
    assert turn_about_up(np.array([[0.0, 1.0, 1.0]], np.float32), 20).dtype == np.float32
