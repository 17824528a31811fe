"""A scene is read, checked and put on the set once, however many sheets come of it."""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

import scenes.check
import scenes.reader
import scenes.walk
from render.cache import content_hash as digest
from render.looks import read_looks
from render.variants import make_grid
from scenes import Scene, SceneError, build_stage, load_scene, open_set
from scenes.stock_names import stock_names
from scenes.styles import apply_style
from scenes.variations import parse_variation

DEMO = Path(__file__).parents[2] / "demo" / "scenes"
SCENE = DEMO / "ember-and-tide.toml"
FIRST_LIGHT = next(iter(load_scene(SCENE).light))


@pytest.fixture
def counted(monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    """How often a scene was read, validated, walked round and put on the set."""
    counts: Counter[str] = Counter()

    def count(module, name: str, what: str) -> None:
        original = getattr(module, name)

        def counting(*args, **named):
            counts[what] += 1
            return original(*args, **named)

        monkeypatch.setattr(module, name, counting)

    count(scenes.check, "read_text", "reads")
    count(Scene, "model_validate", "validations")
    count(scenes.walk, "survey", "walks")
    count(sys.modules["scenes.open_set"], "stage_of", "stages")  # the package gives the function of this name
    return counts


def test_a_set_is_read_validated_and_resolved_once(counted: Counter[str]) -> None:
    opened = open_set(SCENE)
    assert opened.stage is opened.stage
    assert counted == {"reads": 1, "validations": 1, "walks": 1, "stages": 1}


def test_twelve_gels_are_one_reading_and_thirteen_walks(counted: Counter[str]) -> None:
    gels = ",".join(stock_names("gel")[:12])
    grid = make_grid(SCENE, [parse_variation(f"light.{FIRST_LIGHT}.gels={gels}")])
    assert len(grid.variants) == 12
    assert counted == {"reads": 1, "validations": 13, "walks": 13, "stages": 13}
    first = grid.base
    for variant in grid.variants:
        assert all(
            a.vertices is b.vertices
            for a, b in zip(first.shapes, variant.stage.shapes, strict=True)
            if "sitter" in a.name
        )


def test_looks_of_one_file_read_it_once(counted: Counter[str]) -> None:
    read_looks([f"{SCENE}", f"{SCENE}@exposure.iso=200", f"{SCENE}@exposure.iso=400"])
    assert counted["reads"] == 1
    assert counted["walks"] == 3


def test_a_style_is_placed_against_the_survey(counted: Counter[str]) -> None:
    """The set, the sitter turned where the style asks, the key there, and for clamshell the fill under it."""
    opened = open_set(SCENE)
    counted.clear()
    styles = ("loop", "short", "clamshell")
    for style in styles:
        opened.with_tables(apply_style(opened, style).tables)
    assert counted["reads"] == 0
    assert counted["walks"] <= 3 * len(styles)


@pytest.mark.parametrize(
    "change",
    [
        ((("light", FIRST_LIGHT, "gels"),), (["teal"],)),
        ((("light", FIRST_LIGHT, "power"),), ("1/16",)),
        ((("light", FIRST_LIGHT, "azimuth_deg"),), (-35.0,)),
        ((("sitter", "turn_deg"),), (20.0,)),
        ((("exposure", "iso"),), (400,)),
    ],
    ids=lambda change: change[0][0][-1],
)
def test_a_changed_set_is_as_if_opened_afresh(change) -> None:
    """Whatever is taken over from the set before: stage and findings are those of the changed tables alone."""
    opened = open_set(SCENE)
    made = opened.changed([change], "this")
    afresh = open_set(made.tables, SCENE.parent)
    assert digest(made.stage) == digest(afresh.stage) == digest(build_stage(made.scene))
    assert [(f.where, f.message) for f in made.findings] == [(f.where, f.message) for f in afresh.findings]
    assert digest(made.stage) != digest(opened.stage)


def test_what_only_the_change_runs_into_is_told() -> None:
    opened = open_set(SCENE)
    with pytest.raises(SceneError, match="with closer: error"):
        opened.changed([((("light", FIRST_LIGHT, "distance_m"),), (0.01,))], "closer")
    assert np.isfinite(opened.stage.camera.origin_m).all()
