"""The JSON Schema that editors use."""

from __future__ import annotations

import json
from typing import Any

from scenes import Scene, scene_json_schema
from scenes.stock_names import stock_names


def _nodes(node: Any) -> Any:
    if isinstance(node, dict):
        yield node
        for value in node.values():
            yield from _nodes(value)
    elif isinstance(node, list):
        for value in node:
            yield from _nodes(value)


def test_every_key_of_every_table_is_described() -> None:
    schema = scene_json_schema()
    tables = [schema, *schema["$defs"].values()]
    for table in tables:
        assert table.get("additionalProperties") is False
        for name, prop in table["properties"].items():
            assert prop.get("description"), (table["title"], name)


def test_lengths_say_metres_and_angles_degrees() -> None:
    schema = scene_json_schema()
    for table in schema["$defs"].values():
        for name, prop in table["properties"].items():
            if name.endswith("_m") and name not in ("guide_number_m",):
                assert "etres" in prop["description"], name
            if name.endswith("_deg"):
                assert "degrees" in prop["description"], name


def test_stock_names_are_choices_and_nothing_internal_is_left() -> None:
    schema = scene_json_schema()
    text = json.dumps(schema)
    assert '"x-' not in text
    for kind in ("figure", "skin", "finish", "gel", "source"):
        names = list(stock_names(kind))
        assert any(node.get("enum") == names for node in _nodes(schema)), kind


def test_it_is_a_schema_of_the_format() -> None:
    schema = scene_json_schema()
    assert schema["$schema"].endswith("2020-12/schema")
    assert set(schema["required"]) == {"format", "camera", "sitter", "light"}
    assert set(schema["properties"]) == set(Scene.model_fields)
