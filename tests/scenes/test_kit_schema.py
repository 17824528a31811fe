"""The JSON Schema of kit files."""

from __future__ import annotations

from typing import Any

from scenes.kit import KitFile
from scenes.schema import kit_json_schema, scene_json_schema
from scenes.stock_names import stock_names


def _tables(schema: dict[str, Any]) -> list[dict[str, Any]]:
    return [schema, *schema["$defs"].values()]


def test_every_key_is_described_and_no_table_is_open() -> None:
    for table in _tables(kit_json_schema()):
        assert table.get("additionalProperties") is False
        for name, prop in table["properties"].items():
            assert prop.get("description"), (table["title"], name)
            if name.endswith("_m"):
                assert "etres" in prop["description"], (table["title"], name)
            if name.endswith("_deg"):
                assert "degrees" in prop["description"], (table["title"], name)
            if name.endswith("_s"):
                assert "seconds" in prop["description"], (table["title"], name)


def test_it_has_the_tables_of_a_kit() -> None:
    schema = kit_json_schema()
    assert set(schema["properties"]) == set(KitFile.model_fields)
    assert schema["required"] == ["format"]


def test_scenes_offer_stock_heads_and_modifiers_but_take_others() -> None:
    light = scene_json_schema()["$defs"]["Light"]["properties"]
    options = light["head"]["anyOf"]
    choice = next(o for o in options if o.get("type") != "null")
    assert choice["anyOf"] == [{"enum": list(stock_names("head"))}, {"type": "string", "minLength": 1}]
    named = light["modifiers"]["items"]["anyOf"][0]
    assert named["anyOf"][0]["enum"] == list(stock_names("modifier"))
