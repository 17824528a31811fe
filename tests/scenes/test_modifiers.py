"""Modifiers: their sizes give the loss, beam and edge that practice knows, and chains that do not fit are told."""

from __future__ import annotations

import math
from contextlib import suppress
from itertools import pairwise
from pathlib import Path
from typing import Literal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError

from scenes.field import axial_illuminance_per_lumen, luminance
from scenes.modifiers import Bulb, Modifier, ModifierMismatch, Shaped, assemble
from scenes.modifiers.base import Shaper, Unfit, pair
from scenes.modifiers.bowls import Dish, Reflector, Snoot
from scenes.modifiers.boxes import Softbox, Umbrella
from scenes.optics import Optics
from scenes.stage import FIXTURE_SHAPES

from .modified import STOCK, around, chain, fixture, full_angle, in_front, lumens_out, on_head, stock, stops, table

# --- the stock kit --------------------------------------------------------------------------------------------------

BEHIND = {"grid": "standard-reflector", "fabric-grid": "softbox-60x90", "sock": "dish-white",
          "doors": "standard-reflector", "frame": "standard-reflector"}  # fmt: skip
SHAPERS = [name for name, keys in STOCK.items() if keys["kind"] not in BEHIND]
CHAINS = [(name,) if name in SHAPERS else (BEHIND[keys["kind"]], name) for name, keys in STOCK.items()]


@pytest.mark.parametrize("names", CHAINS, ids="+".join)
def test_stock_modifiers_assemble(names):
    shaped = stock(*names)
    optics = shaped.optics
    assert shaped.shape in FIXTURE_SHAPES
    assert 0 < optics.efficiency <= 1
    assert shaped.body_depth_m >= 0
    assert (shaped.beam_deg is not None) == (shaped.shape == "spot")
    for values in (optics.glow, optics.slide and optics.slide.values, optics.angular and optics.angular.values):
        assert values is None or (values.dtype == np.float32 and np.isfinite(values).all() and values.min() >= 0)
    assert on_head(*names) > 0


@pytest.mark.slow
@pytest.mark.parametrize(
    "name", [n for n in SHAPERS if STOCK[n]["kind"] in ("reflector", "dish", "softbox", "umbrella")]
)
def test_bowls_send_out_their_efficiency(name):
    """Luminance over exit and half space adds up to `efficiency`, so table, glow and area agree."""
    shaped = stock(name)
    recess = shaped.optics.source is not None
    got = lumens_out(shaped) / shaped.optics.efficiency
    # raster of the exit: 1.5 %; a recess (5 cm) hides part of the front cloth, so it can only lose
    assert 0.75 < got < 1.0 if recess else got == pytest.approx(1, abs=0.015)


# --- common practice, no source -------------------------------------------------------------------------------------


def test_grid_costs_a_third_of_a_stop_on_axis():
    assert stops("standard-reflector", "grid-20") == pytest.approx(-1 / 3, abs=0.12)


def test_snoot_costs_about_a_stop():
    assert -1.4 < stops("snoot") < -0.7


@pytest.mark.slow
def test_smaller_degrees_make_tighter_beams_and_lose_more():
    degrees = (10, 20, 30, 40)
    beams = [full_angle(stock("standard-reflector", f"grid-{d}"), 0.5) for d in degrees]
    losses = [stops("standard-reflector", f"grid-{d}") for d in degrees]
    assert all(a < b - 5 for a, b in pairwise(beams))
    assert all(a < b for a, b in pairwise(losses))


@pytest.mark.slow
def test_grid_is_tighter_than_the_reflector_and_the_snoot_tighter_and_harder():
    bare, grid, snoot = stock("standard-reflector"), stock("standard-reflector", "grid-20"), stock("snoot")
    half, tenth = ([full_angle(s, share) for s in (bare, grid, snoot)] for share in (0.5, 0.1))
    assert half[2] < half[1] - 2 < half[0] / 3
    # degrees from the half to the tenth: the width of the edge
    assert tenth[2] - half[2] < 0.8 * (tenth[1] - half[1])
    assert around(snoot)[1][-1] == 0


def test_honeycomb_in_the_mouth_of_a_snoot_softens_and_narrows_it():
    assert full_angle(stock("snoot", "snoot-grid"), 0.5) < full_angle(stock("snoot"), 0.5) - 3
    assert stops("snoot", "snoot-grid") < stops("snoot") - 0.1


@pytest.mark.parametrize(
    ("names", "least", "most"),
    # offsets from the standard reflector, 2 m from the front of each; "usual" bands widened by the +-1/2 stop that sizes differ by
    [
        (("umbrella-white-100",), -2.0, -0.4), (("umbrella-shoot-through-100",), -2.5, -1.0),
        (("softbox-60x90",), -2.0, -0.5), (("octabox-90",), -2.0, -0.5), (("octabox-150",), -2.0, -0.5),
        (("strip-30x120",), -2.0, -0.5), (("dish-white",), -1.0, 0.0), (("deep-reflector",), 0.3, 1.5),
    ],
    ids=lambda v: "+".join(v) if isinstance(v, tuple) else None,
)  # fmt: skip
def test_usual_losses(names, least, most):
    assert least < math.log2(in_front(*names) / in_front("standard-reflector")) < most


def test_fabric_grid_and_sock_cost_what_is_usual():
    assert -1.5 < stops("softbox-60x90", "fabric-grid-40", over=("softbox-60x90",)) < -0.3
    # so near, an open dish has lost part of its own light on the axis to the deflector's shadow
    assert -2.0 < stops("dish-white", "sock", over=("dish-white",)) < -0.05


@pytest.mark.slow
def test_silver_throws_farther_than_white():
    for white, silver in (("umbrella-white-100", "umbrella-silver-100"), ("dish-white", "dish-silver")):
        assert stops(silver, over=(white,)) > 0.5
        assert full_angle(stock(silver), 0.5) < full_angle(stock(white), 0.5) - 20


def test_dish_has_a_shadow_of_its_deflector_in_the_middle():
    dish = fixture(stock("dish-white"))
    rim = np.linspace(0, 0.99, 100)
    seen = luminance(dish, rim * dish.size_m[0] / 2, np.zeros(100), np.zeros(100), np.zeros(100))
    assert seen[rim < 0.25].mean() < 0.5 * seen[(rim > 0.3) & (rim < 0.8)].mean()


def test_inner_cloth_cools_the_hot_centre():
    with_inner = stock("softbox-60x90").optics.glow
    without = chain({**STOCK["softbox-60x90"], "inner": False}).optics.glow
    assert 1.02 < with_inner[31:33, 31:33].mean() < without[31:33, 31:33].mean() - 0.3


def test_deep_open_box_is_narrower_than_a_closed_one():
    assert full_angle(stock("deep-open-box-120"), 0.5) < 0.6 * full_angle(stock("deep-octabox-120"), 0.5)


# --- chains and tables that do not fit ------------------------------------------------------------------------------


def test_nothing_on_the_head_is_the_bare_lamp():
    shaped = assemble([], Bulb(0.05), Path())
    assert (shaped.shape, shaped.size_m[0], shaped.optics) == ("sphere", 0.05, Optics())


REFLECTOR, GRID = STOCK["standard-reflector"], STOCK["grid-20"]


@pytest.mark.parametrize(
    ("tables", "index", "says"),
    [
        ([GRID], 0, "the grid cannot go in front of the bare lamp. Allowed there: frame. Put it in front of a modifier"),
        ([REFLECTOR, STOCK["snoot"]], 1, "the snoot goes straight on the head, but it comes after the reflector. Allowed: one"),
        ([REFLECTOR, GRID, GRID], 2, "the grid cannot go in front of the grid. Allowed there: doors, frame."),
        ([REFLECTOR, GRID, STOCK["sock"]], 2, "the sock cannot go in front of the grid."),
        ([STOCK["fresnel-spot"], GRID], 1, "the grid cannot go in front of the fresnel. Allowed there: doors, frame."),
        ([STOCK["led-tube"], STOCK["doors"]], 1, "the doors cannot go in front of the tube"),
        ([{**REFLECTOR, "depth_m": 0.05}], 0, "the lamp of 0.06 m across sticks out of a depth of 0.05 m. Allowed: a depth of 0.07"),
        ([{**REFLECTOR, "rear_diameter_m": 0.05}], 0, "does not go into a rear opening of 0.05 m. Allowed: more than 0.06 m."),
        ([{**STOCK["dish-white"], "depth_m": 0.1, "gap_m": 0.05}], 0, "the deflector would stand 0.02 m in front of the mouth. Allowed: a depth above 0.12"),
        ([{**STOCK["softbox-60x90"], "depth_m": 0.1}], 0, "does not find room in a box 0.1 m deep. Allowed: a depth of 0.14"),
        ([{"kind": "umbrella", "diameter_m": 1, "depth_m": 0.08}], 0, "the head does not find room in a canopy 0.08 m deep. Allowed: a depth of 0.09"),
        ([{**STOCK["snoot"], "length_m": 0.05}], 0, "reaches out of a snoot of 0.05 m"),
        ([REFLECTOR, {"kind": "doors", "length_m": 0.2, "angles_deg": [-30, -30, 0, 0]}], 1, "the right and left leaves close the mouth"),
    ],
)  # fmt: skip
def test_mismatches_say_what_is_wrong(tables, index, says):
    with pytest.raises(ModifierMismatch) as caught:
        chain(*tables)
    assert caught.value.index == index
    assert says in str(caught.value)
    assert caught.value.fix


@pytest.mark.parametrize(
    ("keys", "says"),
    [
        ({"kind": "gird"}, "union_tag_invalid"), ({}, "union_tag_not_found"),
        ({**REFLECTOR, "colour": 1}, "extra_forbidden"), ({**REFLECTOR, "depth_m": float("nan")}, "finite_number"),
        ({**REFLECTOR, "diameter_m": "0.2"}, "float_type"), ({**REFLECTOR, "walls": "gold"}, "literal_error"),
        ({**REFLECTOR, "rear_diameter_m": 0.3}, "the rear of 0.3 m is wider than the mouth of 0.18 m"),
        ({**STOCK["dish-white"], "deflector_diameter_m": 0.6}, "a deflector of 0.6 m closes a mouth of 0.55 m"),
        ({**STOCK["snoot"], "mouth_diameter_m": 0.2}, "wider than the rear of 0.1 m"),
        ({**STOCK["ring"], "hole_m": 0.3}, "leaves nothing of a ring"),
        ({"kind": "tube", "length_m": 0.1, "diameter_m": 0.2}, "no longer than its diameter"),
        ({**STOCK["fresnel-spot"], "beam_deg": 30}, "leaves no edge inside the field of 20 degrees"),
        ({**STOCK["octabox-90"], "size_m": [1, 1]}, "the form octagon has one size"),
        ({**STOCK["softbox-60x90"], "size_m": [0.1, 1]}, "no wider than the ring"),
        ({**STOCK["deep-open-box-120"], "recess_m": 0.1}, "without a front cloth nothing is recessed"),
        ({"kind": "umbrella", "diameter_m": 1, "depth_m": 0.6}, "is no deeper than 0.5 m"),
        ({**STOCK["projector"], "aperture": "blind"}, "Did you mean blinds?"), ({**STOCK["projector"], "aperture": 0}, "greater_than"),
        ({"kind": "grid"}, "this grid has no angle"), ({"kind": "grid", "cell_m": 0.01}, "this grid has no angle"),
        ({"kind": "grid", "degrees": 20, "depth_m": 0.02}, "both say how deep"),
        ({"kind": "grid", "cell_m": 0.01, "depth_m": 0.02, "meaning": "half"}, "meaning explains degrees"),
        ({"kind": "doors", "length_m": 0.1, "angles_deg": [0, 0, 0]}, "too_short"),
    ],
)  # fmt: skip
def test_tables_that_cannot_be(keys, says):
    with pytest.raises(ValidationError) as caught:
        table(**keys)
    errors = caught.value.errors(include_url=False)
    assert any(says in (e["type"], *([e["msg"]] if says not in e["type"] else [])) or says in e["msg"] for e in errors)


def test_every_key_is_described():
    schema = TypeAdapter(Modifier).json_schema()
    for name, model in schema["$defs"].items():
        for key, about in model["properties"].items():
            assert about.get("description"), f"{name}.{key}"


small = st.floats(0.01, 1.5)


@settings(max_examples=150)
@given(st.sampled_from([Reflector, Dish, Snoot, Softbox, Umbrella]), small, small, small, small, st.floats(0.005, 0.3))
def test_any_sizes_give_an_inside_or_a_sentence(model, a, b, c, d, bulb):
    sizes = {
        Reflector: {"diameter_m": a, "depth_m": b, "rear_diameter_m": c},
        Dish: {"diameter_m": a, "depth_m": b, "deflector_diameter_m": c, "gap_m": d},
        Snoot: {"mouth_diameter_m": a, "length_m": b, "rear_diameter_m": c},
        Softbox: {"size_m": [a, b], "depth_m": c, "inner": d > 0.5},
        Umbrella: {"diameter_m": a, "depth_m": b, "cloth": "white"},
    }[model]
    with suppress(ValidationError):
        made = model(kind=model.__name__.lower(), **sizes)
        for inside in {Snoot: ("cup",), Umbrella: ("into", "through")}.get(model, ("interior",)):
            with suppress(Unfit):
                assert getattr(made, inside)(Bulb(bulb)).exit_radius_m > 0


def test_a_new_modifier_takes_twenty_lines():
    class Lantern(Shaper):
        """A paper ball around the lamp."""

        kind: Literal["lantern"] = "lantern"
        diameter_m: float = 0.5

        def shape(self, bulb: Bulb, folder: Path) -> Shaped:
            return Shaped("sphere", pair(self.diameter_m), optics=Optics(efficiency=0.7), takes=("frame",))

    lantern = assemble([Lantern()], Bulb(), Path())
    assert axial_illuminance_per_lumen(fixture(lantern), 2.0) == pytest.approx(0.7 / (4 * math.pi * 4))


def test_every_modifier_says_how_it_looks() -> None:
    """In words that the plan has for it, so that no kind is unknown there."""
    from render.plan.forms import FORM_WORDS, FRONT_WORDS
    from scenes.kit import stock_kit
    from scenes.modifiers.base import Attachment

    for modifier in stock_kit().modifiers.values():
        if isinstance(modifier, Attachment):
            assert modifier.front in FRONT_WORDS
        else:
            assert modifier.appearance().symbol in FORM_WORDS
