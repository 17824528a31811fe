"""Line numbers of keys."""

from __future__ import annotations

import tomllib
from typing import Any

from hypothesis import given, settings

from scenes.dump import dump_tables
from scenes.locate import key_lines, line_of

from .strategies import Tables, scene_tables

TRICKY = (
    """\
# [camera] in a remark
title = "a = 1 # [no]"   # remark
"quoted key" = 'it"""
    + '''s'
text = """
[light.key]
size_m = 3
"""
a.b.c = 1
when = 1979-05-27T07:32:00Z

[camera]
at_m = [
  1,  # [2]
  2,
  [3, { x = 4, y = [5] }],
]
[ light . "the key" ]
meters = { f_number = 8, distance_m = 2 }
[[gel]]
name = "one"
[gel.more]
x = 1
[[gel]]
name = "two"
[light]
z = 1
'''
)


def test_tricky_text() -> None:
    text = TRICKY.replace("'it's'", "'its'")
    lines = key_lines(text)
    rows = text.splitlines()

    def row(path: tuple[str | int, ...]) -> str:
        return rows[lines[path] - 1].strip()

    assert row(("title",)).startswith("title")
    assert row(("quoted key",)).startswith('"quoted key"')
    assert row(("a", "b", "c")) == "a.b.c = 1"
    assert row(("a",)) == "a.b.c = 1"
    assert row(("camera",)) == "[camera]"
    assert row(("camera", "at_m", 1)) == "2,"
    assert row(("camera", "at_m", 2, 1, "y", 0)) == "[3, { x = 4, y = [5] }],"
    assert row(("light", "the key")) == '[ light . "the key" ]'
    assert row(("light", "the key", "meters", "distance_m")).startswith("meters")
    assert row(("gel", 0, "name")) == 'name = "one"'
    assert row(("gel", 0, "more", "x")) == "x = 1"
    assert row(("gel", 1, "name")) == 'name = "two"'
    assert row(("light",)) == "[light]"
    assert row(("light", "z")) == "z = 1"


def test_what_is_absent_gets_the_line_of_what_encloses_it() -> None:
    lines = key_lines("format = 1\n\n[camera]\niso = 1\n")
    assert line_of(lines, ("camera", "lens")) == 3
    assert line_of(lines, ("light",)) == 1
    assert line_of(lines, ()) == 1


@settings(max_examples=50, deadline=None)
@given(scene_tables(figure="marta"))
def test_every_key_of_any_scene_is_found_on_the_line_that_names_it(tables: Tables) -> None:
    text = dump_tables(tables)
    assert tomllib.loads(text) == tables
    lines, rows = key_lines(text), text.split("\n")
    for path in _paths(tables):
        assert path in lines
        last = path[-1]
        if isinstance(last, str):
            assert last in rows[lines[path] - 1]


def _paths(value: Any, path: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    found = [path] if path else []
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in items:
        found += _paths(inner, (*path, key))
    return found if value != {} else []
