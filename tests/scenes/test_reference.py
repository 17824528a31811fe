"""The reference of the scene format: every key is in it, with an example that the format takes."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Annotated, Any

import pytest
from pydantic import TypeAdapter

from scenes.model import Scene
from scenes.model.base import Table
from scenes.modifiers import Modifier
from scenes.reference import TableReference, scene_reference
from scenes.schema import scene_json_schema
from scenes.stock import name_problems

pytestmark = pytest.mark.quick


def _tables() -> dict[str, TableReference]:
    return {table.heading: table for table in scene_reference()}


def _model_of(heading: str) -> type[Table]:
    """The model of a table, found by walking the annotations rather than the schema that the reference is made of."""
    if heading.startswith("a modifier"):
        kind = heading.split('"')[1]
        union = Modifier.__args__[0].__args__
        return next(m for m in union if m.model_fields["kind"].annotation.__args__ == (kind,))
    model: Any = Scene
    for part in heading.strip("[]").split(".") if heading.startswith("[") else []:
        if part in model.model_fields:
            model = _table_in(model.model_fields[part].annotation)
    return model


def _table_in(annotation: Any) -> type[Table] | None:
    if isinstance(annotation, type) and issubclass(annotation, Table):
        return annotation
    inner = [a for a in getattr(annotation, "__args__", ()) if not isinstance(a, str)]
    return next((model for model in map(_table_in, inner) if model is not None), None)


def test_every_example_is_a_value_that_its_key_takes() -> None:
    for table in scene_reference():
        model = _model_of(table.heading)
        for key in table.keys:
            (value,) = tomllib.loads(key.example).values()
            field = model.model_fields[key.key]
            TypeAdapter(Annotated[field.annotation, *field.metadata, "example"]).validate_python(value)


def test_every_key_of_the_format_is_there_once() -> None:
    for table in scene_reference():
        told = [key.key for key in table.keys]
        assert len(told) == len(set(told))
        wanted = set(_model_of(table.heading).model_fields) - {"kind", "note"}
        inner = {name for name in wanted if name not in told}
        assert inner <= {"camera", "exposure", "sitter", "clothes", "room", "window", "ground", "background", "haze",
                         "light", "meters", "piece"}, table.heading  # fmt: skip
    known = scene_json_schema()["$defs"]
    assert len(_tables()) >= len(known) - 1
    assert {k.key for k in _tables()["[camera]"].keys} == set(known["Camera"]["properties"])


def test_examples_name_things_that_are_in_stock() -> None:
    said: dict[str, Any] = {}
    for heading, table in _tables().items():
        if heading in ("[sitter.clothes]", "[background]", "[ground]", "[light.key]", "[piece.flag]"):
            keys: dict[str, Any] = {}
            for key in table.keys:
                keys |= tomllib.loads(key.example)
            place = said
            for part in heading.strip("[]").split("."):
                place = place.setdefault(part, {})
            place.update(keys)
    assert [p.message for p in name_problems(said, Path("."))] == []
