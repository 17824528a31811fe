"""Daylight is as strong as the scene says before anything stands in its way."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from render.cache import Cache
from render.look import xyz_weights
from render.trace import trace_meters
from scenes.daylight import sky_luminance
from scenes.pieces import PIECE_PREFIX
from scenes.stage import Distant, Net, Output

from .sets import far_speck, finish, fixture, light, probe, quad, stage


def _level(lights, shapes=(), nets=()) -> float:
    """lx s at the face's dome, which looks up."""
    from .sets import camera

    built = stage([far_speck(), *shapes], lights, camera(at=(0, 5, 0.001)), [probe()], shutter_s=1.0)
    built = replace(built, nets=tuple(nets))
    meters = trace_meters(built, cache=_level.cache)
    dome = [m.aim for m in meters.meters].index("dome")
    weights = xyz_weights(meters, built)[:, :, 1]
    return float((weights * meters.transport[:, :, dome]).sum(axis=1)[0])


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["sky", "ambient"])
def test_what_stands_in_the_way_takes_light_and_leaves_the_strength_alone(kind, tmp_path):
    """A net of one stop over all of the meter's view halves it, a board beside it and a lamp's body take their part; before,
    the light was scaled up to make good for them."""
    _level.cache = Cache(tmp_path)
    up = np.array([0.0, 1.0, 0.0])
    of = light(None, "day", lux=1000.0)
    if kind == "sky":
        even = Distant("sky", up, 0.0, sky_luminance(5, up))
        of = replace(of, distant=even, output=Output(lumens=1000.0, reading_lux=None))
    floor = quad([-50, -0.5, -50], [0, 0, 100], [100, 0, 0], finish(0.0))
    free = _level([of], [floor])
    if kind == "ambient":
        assert free == pytest.approx(1000, rel=0.01)
    else:  # a dome under an even sky of 1 / pi: (1 + cos) / 2 over the half space makes 3 / 2 of a level flat meter
        assert free == pytest.approx(1500, rel=0.01)
    net = Net("net", 0.05 * up, np.array([1.0, 0, 0]), np.array([0, 0, 1.0]), up, np.array([90.0, 90.0]), False, 0.5)
    assert _level([of], [floor], [net]) == pytest.approx(free / 2, rel=0.03)
    board = replace(quad([0.3, -0.4, -2], [0, 0, 4], [0, 3, 0], finish(0.0)), name=f"{PIECE_PREFIX}flag")
    assert _level([of], [floor, board]) < 0.85 * free
    lamp = light(fixture("disk", (2.0, 2.0), at=(0, 0.7, 0), toward=(0, 1, 0)), "lamp")
    assert _level([of, lamp], [floor]) < 0.8 * free
