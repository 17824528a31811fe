"""The scene format for people: every table and key, what it may hold, what it is if left out, and an example."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from .kit.kit import STOCK_FOLDER
from .kit.stock import stock_tables
from .model import Scene
from .schema_walk import Schema, SchemaWalk, shown
from .stock_names import stock_names

_EXAMPLES = Path(STOCK_FOLDER) / "key-examples.toml"
_OWN = "*"
_WRITTEN = {"light": "key", "window": "north", "piece": "flag"}


@dataclass(frozen=True, slots=True)
class KeyReference:
    """One key: `allowed` what it may hold; `default` what it is where it is left out, None where there is no usual
    value; `required` whether it must be there; `example` as a scene file writes it."""

    key: str
    description: str
    allowed: str
    default: str | None
    required: bool
    example: str


@dataclass(frozen=True, slots=True)
class TableReference:
    """One table of a scene file, by the heading it is written under."""

    heading: str
    description: str
    keys: tuple[KeyReference, ...]


def scene_reference() -> tuple[TableReference, ...]:
    """Every table of a scene file in the order of the format, then modifiers by their kind."""
    walk = SchemaWalk(Scene.model_json_schema())
    examples = tomllib.loads(_EXAMPLES.read_text("utf-8"))
    return (*_tables(walk, walk.root, (), examples), *_modifiers(walk, examples["modifier"]))


def _tables(
    walk: SchemaWalk, schema: Schema, path: tuple[str, ...], examples: dict[str, Any]
) -> Iterator[TableReference]:
    own = walk.properties(schema)
    required = walk.resolve(schema).get("required", ())
    inner = {key: walk.entry(of) or of for key, of in own.items() if walk.entry(of) or walk.properties(of)}
    keys = [_key(walk, key, of, examples, key in required) for key, of in own.items() if _is_value(walk, of)]
    heading = f"[{'.'.join(path)}]" if path else "at the top of the file"
    description = "" if not path else str(walk.resolve(schema).get("description", ""))
    if keys:
        yield TableReference(heading, description, tuple(keys))
    for key, of in inner.items():
        of_own_name = bool(walk.entry(own[key]))
        name = (_WRITTEN.get(key, "name"),) if of_own_name else ()
        found = examples.get(key, {})
        yield from _tables(walk, of, (*path, key, *name), found.get(_OWN, {}) if of_own_name else found)


def _is_value(walk: SchemaWalk, schema: Schema) -> bool:
    """Whether a key may hold something other than a table of its own."""
    options = [o for o in map(walk.resolve, schema.get("anyOf", [schema])) if o.get("type") != "null"]
    return any("properties" not in o and not walk.entry(o) for o in options)


def _modifiers(walk: SchemaWalk, own: dict[str, Any]) -> Iterator[TableReference]:
    where = walk.at(("light", "key", "modifiers", 0), resolve=False)
    stock = stock_tables()["modifier"].values()
    for kind in walk.kinds(where):
        schema = walk.at(("light", "key", "modifiers", 0), {"light": {"key": {"modifiers": [{"kind": kind}]}}})
        examples: dict[str, Any] = own.get(kind, {})
        for table in stock:
            if table["kind"] == kind:
                examples = {**table, **examples}
        required = walk.resolve(schema).get("required", ())
        keys = [
            _key(walk, key, of, examples, key in required)
            for key, of in walk.properties(schema).items()
            if key not in ("kind", "note")
        ]
        description = str(walk.resolve(schema).get("description", ""))
        yield TableReference(f'a modifier, {{ kind = "{kind}", ... }}', description, tuple(keys))


def _key(walk: SchemaWalk, key: str, schema: Schema, examples: dict[str, Any], required: bool) -> KeyReference:
    found = walk.resolve(schema)
    default = found.get("default")
    usual = None if default is None or default in ([], {}, "") else written(default)
    return KeyReference(
        key=key,
        description=str(found.get("description", "")),
        allowed=walk.describe(schema),
        default=usual,
        required=required,
        example=f"{key} = {_example(walk, key, found, examples, usual)}",
    )


def _example(walk: SchemaWalk, key: str, schema: Schema, examples: dict[str, Any], usual: str | None) -> str:
    if key in examples and not isinstance(examples[key], dict):
        return written(examples[key])
    options = walk.options(schema)
    if usual is not None or options:
        return usual if usual is not None else written(options[0])
    named = next((o["x-names"] for o in (schema, *schema.get("anyOf", ())) if "x-names" in o), None)
    if named is None:
        raise KeyError(f"there is no example of {key}")
    return written(stock_names(named)[0])


def written(value: Any) -> str:
    """A value as a scene file writes it."""
    if isinstance(value, list):
        return "[" + ", ".join(written(item) for item in value) + "]"
    return value.isoformat() if hasattr(value, "isoformat") else shown(value)
