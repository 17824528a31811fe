"""What photographers know of reflectors, grids and snoots, as results of the stock modifiers' sizes.

Common practice, no source, for every statement here; tolerances say how loosely it is meant. Nothing of this is an
input: the kit holds lengths, diameters and linings only.
"""

from __future__ import annotations

import itertools
import math
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest

from render.beam import Setup, loss_stops, setup_of
from scenes.beams import spread
from scenes.field import illuminance
from scenes.kit import load_kit

REFLECTOR, GRID, SNOOT = "standard-reflector", "standard-reflector+grid-20", "snoot"
FACE_TO = {"chin": 0.12, "throat": 0.17, "shoulder": 0.25, "chest": 0.35, "waist": 0.6, "knees": 1.1, "feet": 1.5}
"""Metres down a standing adult from the middle of the face."""


@lru_cache(maxsize=32)
def setup(text: str) -> Setup:
    return setup_of(text, load_kit(None), "flash-400")


def under_face(text: str, distance_m: float, part: str) -> float:
    """Stops by which a part of a sitter lies under the face, the head aimed level at the face."""
    of = setup(text).fixture
    down = np.array([[0, 0, distance_m], [0, -FACE_TO[part], distance_m]])
    face, place = illuminance(of, down, np.array([0.0, 0, -1]), steps=128)
    return math.log2(face / place) if place > 0 else math.inf


@pytest.mark.parametrize("distance", [0.6, 1.2, 2.5])
def test_a_smaller_degree_is_a_tighter_beam(distance):
    widths = [spread(setup(f"{REFLECTOR}+grid-{d}").fixture, distance).beam_m[0] for d in (10, 20, 30, 40)]
    assert all(a < 0.9 * b for a, b in itertools.pairwise(widths))
    assert widths[-1] < 0.75 * spread(setup(REFLECTOR).fixture, distance).beam_m[0]


def test_a_grid_costs_about_a_third_of_a_stop():
    for distance in (1.0, 1.5):
        loss = loss_stops(setup(REFLECTOR).fixture, setup(GRID).fixture, distance)
        assert loss == pytest.approx(1 / 3, abs=0.12)


def test_a_snoot_costs_about_a_stop():
    """With the head left where it was: the snoot's mouth is then nearer by its length."""
    length = load_kit(None).modifiers["snoot"].length_m
    for distance in (1.5, 2.5):
        reflector, snoot = setup(REFLECTOR).fixture, setup(SNOOT).fixture
        at = [f.centre_m + d * f.forward for f, d in ((reflector, distance), (snoot, distance - length + 0.13))]
        got = [illuminance(f, p, -f.forward, steps=256)[0] for f, p in zip((reflector, snoot), at, strict=True)]
        assert math.log2(got[0] / got[1]) == pytest.approx(1, abs=0.3)


@pytest.mark.parametrize(("distance", "beam", "field"), [(0.6, 0.93, 0.87), (2.5, 0.88, 0.83)])
def test_a_snoot_is_tighter_and_harder_edged_than_a_grid(distance, beam, field):
    grid, snoot = (spread(setup(name).fixture, distance) for name in (GRID, SNOOT))
    assert snoot.beam_m[0] < beam * grid.beam_m[0]
    assert snoot.field_m[0] < field * grid.field_m[0]
    assert snoot.beam_to_field_stops_per_deg > 1.2 * grid.beam_to_field_stops_per_deg


def test_full_length_at_two_and_a_half_metres():
    """The reflector lights all of the figure, the grid holds the upper body and fades down the legs, the snoot leaves
    the legs dark."""
    assert under_face(REFLECTOR, 2.5, "feet") < 1
    assert under_face(GRID, 2.5, "chest") < 1
    assert under_face(GRID, 2.5, "waist") == pytest.approx(1.6, abs=0.7)
    assert 4 < under_face(GRID, 2.5, "knees") < 12
    assert under_face(SNOOT, 2.5, "waist") > under_face(GRID, 2.5, "waist") + 0.7
    assert under_face(SNOOT, 2.5, "knees") > 10


def test_close_at_sixty_centimetres():
    """The grid holds head and neck and fades on the shoulder; the snoot holds the face and fades on the neck."""
    assert under_face(REFLECTOR, 0.6, "chest") < 1.5
    assert under_face(GRID, 0.6, "chin") < 1.2
    assert 1.5 < under_face(GRID, 0.6, "shoulder") < 8
    assert under_face(GRID, 0.6, "chest") > 6
    assert under_face(SNOOT, 0.6, "chin") < 2
    assert 2 < under_face(SNOOT, 0.6, "throat") < 8
    assert under_face(SNOOT, 0.6, "shoulder") > 8


def test_the_bare_reflector_spills_where_the_grid_does_not():
    """Off its axis by 30 degrees, as the wall beside the figure and the floor are."""
    off = 2.5 * math.tan(math.radians(30))
    places = np.array([[0, 0, 2.5], [off, 0, 2.5]])

    def spilled(text: str) -> float:
        axis, side = illuminance(setup(text).fixture, places, np.array([0.0, 0, -1]), steps=128)
        return math.log2(axis / max(side, 1e-9))

    assert spilled(REFLECTOR) < 1.5
    assert spilled(GRID) > 8
    assert spilled(SNOOT) > 10


@pytest.mark.slow
def test_the_traced_set_agrees(tmp_path: Path):
    """Full length through the whole path from scene file to report: wall, floor and legs under the face, in stops."""
    from render import Cache
    from render.readings import all_readings
    from render.rigging import spill
    from render.trace import trace_meters
    from scenes import build_stage, load_scene

    text = (Path(__file__).parents[2] / "demo" / "scenes" / "full-length.toml").read_text(encoding="utf-8")
    found = {}
    for name, chain in (("reflector", [REFLECTOR]), ("grid", GRID.split("+")), ("snoot", [SNOOT])):
        wanted = "modifiers = [" + ", ".join(f'"{m}"' for m in chain) + "]"
        scene = tmp_path / f"{name}.toml"
        scene.write_text(text.replace('modifiers = ["standard-reflector", "grid-20"]', wanted), encoding="utf-8")
        assert wanted in scene.read_text(encoding="utf-8")
        stage = build_stage(load_scene(scene))
        readings = all_readings(trace_meters(stage, cache=Cache(tmp_path / "cache")), stage)
        found[name] = spill(stage.lights[0], readings)
    for name, spilled in found.items():
        assert spilled.legs is not None, name
        assert spilled.floor is not None, name
    assert found["reflector"].legs < 1.5
    assert found["reflector"].floor < 2.5
    assert 3 < found["grid"].legs < 8
    assert found["snoot"].legs > found["grid"].legs + 0.5
    assert found["snoot"].floor > 6
