"""Where single rays meet a housing: distances by hand, what glows, and who passes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from materials import default_bands
from render.backend import init
from render.merge import merge
from render.tracer import Tracer

from .sets import far_speck, finish, fixture, light, quad, stage

OUT = {"at": (0, 0, 0), "toward": (0, 0, 1)}
RING = replace(fixture("disk", (0.5, 0.5), **OUT), hole_m=0.3)
TUBE = fixture("tube", (0.6, 0.1), **OUT)
NOBODY = 0xFFFF


def _met(bodies, origins, ways, from_camera=False, but=NOBODY) -> tuple[np.ndarray, np.ndarray]:
    """Distance to the nearest housing, and whether a face that glows was met."""
    init("auto")
    import mitsuba as mi

    from render.kernel.bodies import nearest_body, upload_bodies

    ways = np.asarray(ways, float) / np.linalg.norm(ways, axis=1, keepdims=True)
    hit = nearest_body(
        upload_bodies(bodies), mi.Point3f(np.asarray(origins, "f4").T), mi.Vector3f(ways.T.astype("f4")),
        mi.Bool(from_camera), mi.UInt32(but),
    )  # fmt: skip
    return np.array(hit.distance), np.array(hit.front)


def test_only_what_goes_right_through_the_hole_passes_a_ring() -> None:
    """0.5 m wide, 0.05 m deep, a hole of 0.3 m; rays from 1 m before it, the slanted ones 0.1 m aside over its depth."""
    cross = np.array([0.0, 0.14, 0.16, 0.26])
    straight = np.stack([cross, 0 * cross, 1 + 0 * cross], axis=1)
    distance, front = _met([RING], straight, np.tile([0.0, 0, -1], (4, 1)))
    assert distance == pytest.approx([np.inf, np.inf, 1, np.inf])
    assert front[2]
    # in at the hole and out at the ring, in at the ring and out at the hole, and from edge to edge of the hole
    ways = np.array([[2.0, 0, -1], [-2, 0, -1], [2, 0, -1]])
    distance, front = _met([RING], np.array([[0.1, 0, 0], [0.2, 0, 0], [-0.05, 0, 0]]) - ways, ways)
    assert distance == pytest.approx([5**0.5, 5**0.5, np.inf], rel=1e-5)
    assert front[:2].all()
    distance, front = _met([RING], [[0.2, 0, -1]], [[0.0, 0, 1]])
    assert distance == pytest.approx([0.95])
    assert not front[0]


def test_the_side_of_a_tube_glows_and_its_ends_do_not() -> None:
    away = np.array([TUBE.forward, -TUBE.forward, TUBE.up, TUBE.right, -TUBE.right])
    distance, front = _met([TUBE], away, -away)
    assert distance == pytest.approx([0.95, 0.95, 0.95, 0.7, 0.7])
    assert front.tolist() == [True, True, True, False, False]


def test_the_camera_looks_through_hidden_housings_and_a_light_through_its_own() -> None:
    near, far = (
        fixture("disk", (0.5, 0.5), **OUT),
        fixture("rectangle", (0.5, 0.5), (0, 0, -1), (0, 0, 1), visible=True),
    )
    ray = [[0, 0, 1]], [[0.0, 0, -1]]
    assert _met([far, near], *ray)[0] == pytest.approx([1])
    assert _met([far, near], *ray, from_camera=True)[0] == pytest.approx([2])
    assert _met([far, near], *ray, but=1)[0] == pytest.approx([2])
    assert _met([near], *ray, but=0)[0] == pytest.approx([np.inf])


def test_only_housings_that_cut_light_on_its_way_block() -> None:
    """A lamp 2 m up and a point on the floor: between them a panel blocks; behind the lamp, below the point or beside the
    way it does not, nor where the lamp or its beam sends nothing."""
    init("auto")
    import mitsuba as mi

    from render.kernel.blockers import blocking_bodies
    from render.kernel.luminaire import light_at, upload_lights

    def panel(*at: float):
        return fixture("rectangle", (0.4, 0.4), at)

    places = [(0, 2.5, 0), (0, 1, 0), (0, -0.5, 0), (1, 1, 0)]
    others = [panel(*at) for at in places]
    for lamp in (fixture("disk", (0.1, 0.1), (0, 2, 0)), fixture("sphere", (0.1, 0.1), (0, 2, 0))):
        lit = light_at(upload_lights([light(lamp)], [0]), mi.UInt32(0))
        for one, cuts in zip(others, (False, True, False, False), strict=True):
            assert blocking_bodies(lit, [one], np.zeros((1, 3))) == [0] * cuts
        assert blocking_bodies(lit, others, np.array([[0.0, 0, 0], [2, 0, 0]])) == [1, 3]
        assert blocking_bodies(lit, others, np.zeros((0, 3))) == []
    down = light_at(upload_lights([light(fixture("disk", (0.1, 0.1), (0, 2, 0)))], [0]), mi.UInt32(0))
    assert blocking_bodies(down, [panel(0, 3, 0)], np.array([[0.0, 4, 0]])) == []
    spot = light_at(
        upload_lights([light(fixture("spot", (0.1, 0.1), (0, 2, 0), beam=10, field=15))], [0]), mi.UInt32(0)
    )
    assert blocking_bodies(spot, [panel(1, 1, 0)], np.array([[2.0, 0, 0]])) == []
    assert blocking_bodies(spot, [panel(0, 1, 0)], np.array([[2.0, 0, 0], [0.0, 0, 0]])) == [0]


@pytest.mark.parametrize("of", ["housing", "card"])
def test_what_stands_close_before_a_lamp_shades_it(of: str) -> None:
    """A lamp 3 m up, covered 3 mm before its exit."""
    lamp = light(fixture("disk", (0.1, 0.1), (0, 3, 0)), "key")
    cover = light(fixture("rectangle", (0.4, 0.4), (0, 2.997, 0), depth=0.0), "cover")
    card = quad([-0.2, 2.997, -0.2], [0.4, 0, 0], [0, 0, 0.4], finish(0.0))
    built = stage([far_speck(), *([card] if of == "card" else [])], [lamp, *([cover] if of == "housing" else [])])
    tracer = Tracer(built, merge(built), default_bands(), "auto", None)
    heads = (np.zeros((1, 3)), np.array([[0.0, 1, 0]]), np.zeros(1, bool))
    assert tracer.meters(built.lights, heads, 64)[0].max() == 0
