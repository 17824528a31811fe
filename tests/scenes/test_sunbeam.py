"""Sunlight through a window as a body, against straight lines from places in the room toward the sun."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import Delaunay

from scenes.aiming import direction
from scenes.model import Room
from scenes.sunbeam import sunbeam, sunlit_opening
from scenes.windows import places_of, set_windows

SIZE = [5.0, 6.0, 2.6]
LOW, HIGH = np.array([-2.5, 0.0, -3.0]), np.array([2.5, 2.6, 3.0])


def room(**keys) -> Room:
    table = {"wall": "left", "centre_m": 0.6, "size_m": [1.2, 1.4], "sill_m": 0.7, **keys}
    return Room.model_validate({"size_m": SIZE, "wall_m": 0.4, "window": {"a": table}})


@pytest.mark.parametrize(
    ("wall", "azimuth", "elevation"), [("left", -70, 20), ("left", -115, 48), ("right", 62, 9), ("front", 24, 35)]
)
def test_a_place_is_in_the_sunbeam_when_it_sees_the_sun_through_the_window(wall, azimuth, elevation):
    toward = direction(azimuth, elevation)
    of = room(wall=wall)
    corners = sunbeam(set_windows(of)[0], toward, LOW, HIGH)
    assert corners is not None
    points = np.random.default_rng(2).uniform(LOW, HIGH, (40_000, 3))
    place = places_of(of)["a"]
    sees = np.array([place.passes(p, p + 100 * toward) for p in points[:4000]])
    inside = Delaunay(corners).find_simplex(points) >= 0
    assert (sees == inside[:4000]).mean() > 0.999  # a point may lie on the edge
    assert sees.sum() > 20
    floor = corners[corners[:, 1] < 1e-6]
    assert len(floor) >= 3 or wall == "right"  # the lowest sun gets to the far wall first


def test_curtain_blind_and_frosted_glass_leave_what_they_do_not_cover():
    toward = direction(-90, 1e-3)  # square to the wall: the thickness hides next to nothing
    bare = sunlit_opening(set_windows(room())[0], toward)
    assert bare == pytest.approx(np.array([[-0.6, -0.7], [0.6, 0.7]]), abs=1e-4)
    half = sunlit_opening(set_windows(room(blind="white-paint", lowered=0.25))[0], toward)
    assert half == pytest.approx(np.array([[-0.6, -0.7], [0.6, 0.35]]), abs=1e-4)
    drawn = sunlit_opening(set_windows(room(curtain_stops=1, drawn=0.5))[0], toward)
    assert drawn == pytest.approx(np.array([[-0.36, -0.7], [0.36, 0.7]]), abs=1e-4)  # it hangs 0.12 m past the opening
    for keys in ({"glass": "frosted"}, {"curtain_stops": 1}, {"blind": "white-paint"}):
        assert sunlit_opening(set_windows(room(**keys))[0], toward) is None
    assert sunlit_opening(set_windows(room())[0], direction(90, 20)) is None
    assert sunlit_opening(set_windows(room())[0], direction(-2, 20)) is None  # along the wall: its thickness hides all
