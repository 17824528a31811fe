"""Variations of a scene: how they are written, what they change, and how they fail."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from materials import KeyfallError
from scenes import SceneError, open_set
from scenes.variations import MOST_VALUES, changed, parse_variation

pytestmark = pytest.mark.quick

DEMO_SCENES = Path(__file__).parents[2] / "demo" / "scenes"
KEY = (("light", "key", "distance_m"),)


def test_values_are_what_a_scene_file_would_hold():
    v = parse_variation("light.key.distance_m=0.6,1.2, 2.5")
    assert (v.keys, v.values) == (KEY, ((0.6,), (1.2,), (2.5,)))
    assert (v.name, v.labels, v.lights()) == ("key distance", ("0.6 m", "1.2 m", "2.5 m"), ("key",))
    assert parse_variation("light.key.power=1/4,1/8").values == (("1/4",), ("1/8",))
    assert parse_variation("light.fill.on=true,false").values == ((True,), (False,))
    assert parse_variation("camera.look_at=[0, 1.4, 0],throat").values == (([0, 1.4, 0],), ("throat",))
    assert parse_variation('title="a, b",c').values == (("a, b",), ("c",))


def test_lists_of_names_are_joined_by_plus_and_none_empties_them():
    v = parse_variation("light.key.modifiers=none,snoot,standard-reflector+grid-20")
    assert v.values == (([],), (["snoot"],), (["standard-reflector", "grid-20"],))
    assert v.labels == ("bare lamp", "snoot", "standard-reflector + grid-20")
    assert parse_variation("light.key.gels=none").labels == ("no gel",)


def test_lists_of_numbers_are_joined_by_plus_too():
    v = parse_variation("room.size_m=3+4+2.4,5+7+3")
    assert v.values == (([3, 4, 2.4],), ([5, 7, 3],))
    assert v.labels == ("3, 4, 2.4 m", "5, 7, 3 m")
    assert parse_variation("light.key.at_m=1+2+-0.5").values == (([1, 2, -0.5],),)
    assert parse_variation("title=1+x,2").values == (("1+x",), (2,))
    assert parse_variation("camera.distance_m=1e+1").values == ((10.0,),)


def test_a_modifier_described_in_place_is_one_value():
    text = 'light.key.modifiers=snoot,[{ kind = "snoot", length_m = 0.3 }]'
    assert parse_variation(text).values == ((["snoot"],), ([{"kind": "snoot", "length_m": 0.3}],))


def test_keys_change_together():
    v = parse_variation("light.key.gels,light.rim.gels=amber:teal,rose+half-cto:none")
    assert v.values == ((["amber"], ["teal"]), (["rose", "half-cto"], []))
    assert v.labels == ("amber / teal", "rose + half-cto / no gel")
    assert v.lights() == ("key", "rim")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("light.key.distance_m", "has no values"),
        ("light.key.distance_m=", "has no values"),
        ("=1,2", "where a key should stand"),
        ("light key=1", "'light key' where a key should stand"),
        ("light.key.power=1/2,,1/4", "'' where a value should stand"),
        ("light.key.gels,light.rim.gels=amber,teal", "'amber' where 2 values should stand"),
        ("light.key.gels,light.rim.gels=a:b:c", "'a:b:c' where 2 values should stand"),
        ("exposure.iso=" + ",".join(map(str, range(100, 100 + MOST_VALUES + 1))), "13 values"),
    ],
)
def test_a_variation_that_cannot_be_read_says_why(text, said):
    with pytest.raises(KeyfallError, match=said.replace("[", r"\[")):
        parse_variation(text)


def test_the_tables_given_stay_as_they_are():
    tables = {"light": {"key": {"distance_m": 1.0, "gels": ["amber"]}}, "exposure": {"iso": 100}}
    after = changed(tables, (*KEY, ("light", "key", "gels"), ("exposure", "iso")), (2.0, [], None))
    assert after == {"light": {"key": {"distance_m": 2.0, "gels": []}}, "exposure": {}}
    assert tables["light"]["key"]["distance_m"] == 1.0
    assert tables["exposure"] == {"iso": 100}


def test_a_light_may_be_taken_away():
    assert changed({"light": {"key": {}, "rim": {}}}, (("light", "rim"),), (None,)) == {"light": {"key": {}}}


@pytest.mark.parametrize(
    ("key", "said"),
    [
        (("light", "kye", "power"), "no light 'kye' in this scene. Did you mean key?"),
        (("piece", "flag", "kind"), "no piece 'flag' in this scene. It has no pieces."),
        (("light", "rim"), "no light 'rim'"),
        (("light", "key", "power", "more"), r"light.key.power holds no further keys"),
    ],
)
def test_a_key_that_is_not_there_says_what_is(key, said):
    with pytest.raises(KeyfallError, match=said):
        changed({"light": {"key": {"power": "1/2"}}}, (key,), (1,))


def test_what_a_change_breaks_names_the_change():
    opened = open_set(DEMO_SCENES / "close-key.toml")
    with pytest.raises(SceneError, match=r"close-key.toml, with key gels = tael: error: .*\n.*Did you mean teal"):
        opened.changed([((("light", "key", "gels"),), (["tael"],))], "key gels = tael")


def test_keys_without_their_table_are_told_where_they_belong(tmp_path):
    for text, said in (
        ("key.gels=amber,teal", "key.gels names no table of the scene. Write light.key.gels."),
        ("distance_m=1,2", "The key 'distance_m' has no table before it."),
    ):
        variation = parse_variation(text)
        with pytest.raises(KeyfallError, match=re.escape(said)):
            changed({"light": {"key": {}}}, variation.keys, (1,))
