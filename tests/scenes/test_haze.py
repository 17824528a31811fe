"""Haze of a scene: what it fills, how it thins, what is refused."""

from __future__ import annotations

import numpy as np
import pytest
from pydantic import ValidationError

from scenes.haze import OPEN_HALF_M, haze_box, haze_problems, resolve_haze
from scenes.model import Haze, Room

ROOM = Room(size_m=[6, 8, 3], back_wall_m=3)


def test_even_haze_fills_the_room_or_the_open_air():
    placed = resolve_haze(Haze(visibility_m=60), ROOM)
    assert placed.density is None
    assert (placed.low_m.tolist(), placed.high_m.tolist()) == ([-3, 0, -3], [3, 3, 5])
    assert haze_box(None)[1][0] == OPEN_HALF_M
    assert placed.medium.visibility_m == pytest.approx(60)


def test_a_layer_thins_as_it_says():
    placed = resolve_haze(Haze(visibility_m=20, form="layered", thins_m=0.5), ROOM)
    heights = np.linspace(0, placed.high_m[1], placed.density.shape[1])
    assert placed.density[0, :, 0] == pytest.approx(np.exp(-heights / 0.5), rel=1e-5)
    assert placed.density[0, 0, 0] == 1


def test_dry_ice_lies_low_by_itself():
    placed = resolve_haze(Haze(fluid="dry-ice", visibility_m=5), ROOM)
    assert placed.density is not None
    assert placed.density.shape[0] == 1
    assert placed.high_m[1] < 3.0 + 1e-9


@pytest.mark.parametrize(
    ("keys", "says"),
    [
        ({}, "this haze has no amount"),
        ({"visibility_m": 30, "extinction_per_m": 0.1}, "given 2 times"),
        ({"visibility_m": 0.5}, "greater than or equal to 1"),
        ({"visibility_m": 30, "droplet_um": 50}, "outside what is known of glycol"),
        ({"visibility_m": 30, "thins_m": 1}, "thins_m belongs to haze that is layered; this is even"),
        ({"visibility_m": 30, "form": "layered"}, "over which height this layer thins"),
        ({"visibility_m": 30, "form": "plume"}, "where this plume comes from"),
        ({"visibility_m": 30, "seed": 4}, "seed belongs to haze that is a plume; this is even"),
        ({"visibility_m": 30, "fluid": "steam"}, "glycol"),
        ({"visibility_m": 30, "form": "plume", "from_m": [0, 1, 0], "cells": 500}, "less than or equal to 128"),
    ],
)
def test_tables_that_cannot_be(keys, says):
    with pytest.raises(ValidationError) as caught:
        Haze(**keys)
    assert says in str(caught.value)


def test_a_plume_from_outside_the_room_is_told():
    (problem,) = haze_problems(Haze(visibility_m=30, form="plume", from_m=[9, 1, 0]), ROOM)
    assert problem.path == ("from_m",)
    assert "outside the room" in problem.message
    assert "x from -3 to 3" in problem.allowed


def test_a_plume_that_blows_out_of_the_set_is_told():
    outward = Haze(visibility_m=20, form="plume", from_m=[2.9, 1, 0], toward_deg=90, rise_deg=0, cells=16)
    (problem,) = haze_problems(outward, ROOM)
    assert "leaves the set" in problem.message
    inward = Haze(visibility_m=20, form="plume", from_m=[2.9, 1, 0], toward_deg=-90, rise_deg=0, cells=16)
    assert not list(haze_problems(inward, ROOM))
    assert np.isfinite(resolve_haze(inward, ROOM).density).all()


def test_no_droplets_are_warned_of():
    assert not list(haze_problems(Haze(visibility_m=30, droplet_um=0.3), ROOM))
