"""What the plan draws of windows, sunlight and beams, on paper."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from render.plan.beam import draw_beam
from render.plan.canvas import Drawing
from render.plan.facts import window_facts
from render.plan.place import draw_place
from render.plan.tint import NEUTRAL
from render.plan.view import SIDE, TOP, Frame, View
from render.plan.windows import draw_sunbeams, window_labels
from render.rigged.beams import beam_sides, far_rim
from render.sheet import Page
from scenes import build_stage
from scenes.field import illuminance

from ..scenes.examples import scene
from ..scenes.modified import STOCK, chain, fixture

PER_M = 20.0
WINDOWS = {
    "street": {"wall": "left", "centre_m": 0.5, "size_m": [1.2, 1.4], "sill_m": 0.8, "panes": [2, 3]},
    "yard": {"wall": "back", "centre_m": -2.2, "size_m": [0.8, 1.0], "blind": "white-paint", "lowered": 0.4,
             "curtain_stops": 1, "drawn": 0.5},
}  # fmt: skip
SUN = {"shape": "sun", "azimuth_deg": -75, "elevation_deg": 25}


def planned(**changes):
    """A plan's set of a closed room with windows, the sun outside; nothing traced."""
    tables = {"room": {"size_m": [6, 7, 3], "wall_m": 0.3, "window": WINDOWS}, "light__sun": SUN, "background": None}
    stage = build_stage(scene(**{**tables, **changes}))
    lights = [
        SimpleNamespace(row=SimpleNamespace(name=li.name, number=n), tint=NEUTRAL, light=li)
        for n, li in enumerate(stage.lights, 1)
    ]
    return SimpleNamespace(stage=stage, lights=lights, sitter=None, pieces=())


def drawing(kind=TOP) -> Drawing:
    return Drawing(Page(200, 200), View(kind, np.array([100.0, 110.0]), PER_M, Frame(5, 5, 195, 195)))


def walls(of: Drawing) -> list[np.ndarray]:
    """Ends of the thick lines, which are inner faces of walls."""
    return [np.column_stack(line.get_data()) for line in of.page.canvas.lines if line.get_linewidth() == 2.0]


def crossed(lines: list[np.ndarray], at: np.ndarray) -> int:
    """How many level or upright lines pass within a tenth of a millimetre of a place."""
    return sum(bool((line.min(axis=0) - 0.1 <= at).all() and (at <= line.max(axis=0) + 0.1).all()) for line in lines)


def test_a_window_is_a_hole_in_its_wall_with_its_size_and_sill():
    plan, of = planned(), drawing()
    draw_place(of, plan)
    lines = walls(of)
    for name, along in (("street", (0, 0, 1)), ("yard", (1, 0, 0))):
        place = next(w.place for w in plan.stage.windows if w.name == name)
        half = place.size_m[0] / 2 * np.array(along, float)
        assert crossed(lines, of.view.at(place.centre_m)) == 0
        for sign in (-1, 1):
            assert crossed(lines, of.view.at(place.centre_m + sign * 0.98 * half)) == 0
            assert crossed(lines, of.view.at(place.centre_m + sign * 1.02 * half)) == 1
    labels = {lines[0]: lines[1] for lines, *_ in window_labels(of.view, plan)}
    assert labels == {"window street": "1.20 x 1.40 m, sill 0.80 m", "window yard": "0.80 x 1.00 m, sill 0.90 m"}


def test_from_the_side_a_back_window_is_a_hole_and_a_side_window_is_seen_flat():
    plan, of = planned(), drawing(SIDE)
    draw_place(of, plan)
    yard, street = (next(w.place for w in plan.stage.windows if w.name == name) for name in ("yard", "street"))
    assert crossed(walls(of), of.view.at(yard.centre_m)) == 0
    assert crossed(walls(of), of.view.at(yard.at(0.0, 0.55, 0.0))) == 1
    rim = of.view.at(street.at(np.array([-0.6, 0.6]), np.array([-0.7, 0.7]), np.zeros(2)))
    drawn = [np.column_stack(line.get_data()) for line in of.page.canvas.lines]
    for corner in (rim[0], rim[1], np.array([rim[0, 0], rim[1, 1]])):
        assert sum(np.abs(line - corner).sum(axis=1).min() < 1e-6 for line in drawn) >= 2


def test_windows_are_listed_with_what_is_on_them_and_where_the_sun_falls():
    told = {window.name: window for window in window_facts(planned())}
    assert told["street"].glass == "double glass, 2 x 3 panes"
    assert (told["street"].cover, told["yard"].sun) == ("bare", "")
    assert told["yard"].cover == (
        "white curtain of 1 stop, 50 % drawn; white-paint blind, 40 % down, slats 30\u00b0"
    )
    assert told["street"].sun.startswith("light 2 on the floor, x \u22121.")
    behind = planned(ground={"beyond": "wall", "beyond_m": 9, "beyond_height_m": 9})
    assert window_facts(behind)[0].sun == ""  # a wall outside hides the sun
    off = planned(light__sun={**SUN, "on": False}, light__sky={"shape": "sky", "sky": "overcast"})
    assert window_facts(off)[0].sun == ""


def test_the_patch_of_sun_lies_where_its_rays_meet_the_floor():
    plan, of = planned(), drawing()
    draw_sunbeams(of, plan)
    patch = next(p for p in of.page.canvas.patches if p.get_alpha() == 0.5).get_xy()[:-1]
    place, toward = plan.stage.windows[0].place, plan.stage.lights[1].distant.toward
    hidden = 0.3 / float(toward @ place.out) * float(toward[1])  # of the upper edge, by the outer edge of the reveal
    ends = [place.at(0.0, v, 0.0) for v in (-0.7, 0.7 - hidden)]
    ends = [of.view.at(end - end[1] / toward[1] * toward)[0] for end in ends]  # x, which is the same all along the wall
    assert [patch[:, 0].min(), patch[:, 0].max()] == pytest.approx(ends, abs=1e-6)


def test_a_lopsided_beam_is_drawn_where_the_light_is():
    """Doors closed on one side: the sides on paper are where the light on the wall has fallen to half."""
    of = fixture(chain(STOCK["standard-reflector"], {"kind": "doors", "length_m": 0.15, "angles_deg": [5, 75, 40, 75]}))
    sides = beam_sides(of, 1.5)
    assert abs(sides[0] - sides[1]) > 0.1
    light = SimpleNamespace(
        light=SimpleNamespace(fixture=of, on=True), beam_sides_m=sides, tint=NEUTRAL,
        row=SimpleNamespace(distance_to_aim_m=1.5),
    )  # fmt: skip
    page = drawing()
    draw_beam(page, light)
    outline = page.page.canvas.patches[0].get_xy()
    right = page.view.flat(of.right)
    aim = page.view.at(of.centre_m + 1.5 * of.forward)
    across = (outline - aim) @ right / float(right @ right) / PER_M
    far = np.abs((outline - aim) @ page.view.flat(of.forward)) < 1e-6 * PER_M
    x = np.linspace(-1.4, 1.4, 141)
    wall = of.centre_m + 1.5 * of.forward + x[:, None] * of.right
    lux = illuminance(of, wall, -of.forward, steps=20)
    lit = x[lux >= lux.max() / 2]
    assert across[far].max() == pytest.approx(lit.max(), abs=0.04)
    assert across[far].min() == pytest.approx(lit.min(), abs=0.04)


def test_a_picture_with_corners_has_a_pool_with_corners():
    panes, iris = (fixture(chain(STOCK[name])) for name in ("projector-panes", "projector-iris"))
    for of, share in ((panes, 1.0), (iris, np.pi / 4)):
        sides = beam_sides(of, 2.0)
        rim = far_rim(of, 2.0, sides) - of.centre_m
        x, y = rim @ of.right, rim @ of.up
        area = 0.5 * abs(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))
        assert area == pytest.approx(share * (sides[0] + sides[1]) * (sides[2] + sides[3]), rel=0.03)
