"""Finding one's way in the JSON Schema of a file format: what may stand at a path, and that in words."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from materials.plain import visible

from .findings import KeyPath
from .names import listed
from .numbers import significant

Schema = dict[str, Any]

_ONE = {"skin": "a skin tone", "hair": "a hair colour", "iris": "an eye colour", "air": "an air, as list airs shows"}


class SchemaWalk:
    """The schema of one format; `at` steps through tables, lists and the alternatives that a table's kind selects."""

    def __init__(self, schema: Schema) -> None:
        self.root = schema

    def resolve(self, schema: Schema) -> Schema:
        """Follow references, and the one alternative left when null is taken away; keep the description."""
        if "$ref" in schema:
            target = self.resolve(self.root["$defs"][schema["$ref"].rsplit("/", 1)[1]])
            return {**target, **{k: v for k, v in schema.items() if k != "$ref"}}
        choices = [c for c in schema.get("anyOf", ()) if c.get("type") != "null"]
        if len(choices) == 1:
            return {**self.resolve(choices[0]), **{k: v for k, v in schema.items() if k != "anyOf"}}
        return schema

    def at(self, path: KeyPath, data: Any = None, resolve: bool = True) -> Schema:
        """Schema of what stands at `path`; `data` (the whole file) tells which kind of table stands there."""
        schema = self.root
        for part in path:
            schema = self._step(self._chosen(self.resolve(schema), data), part)
            data = _inside(data, part)
        return self._chosen(self.resolve(schema), data) if resolve else schema

    def _chosen(self, schema: Schema, value: Any) -> Schema:
        """The alternative that a table's kind selects; the schema itself where there is nothing to select."""
        union = self._union(schema)
        if union is None or not isinstance(value, dict):
            return schema
        tag = union["discriminator"]
        target = tag["mapping"].get(str(value.get(tag["propertyName"])))
        return schema if target is None else self.resolve({"$ref": target})

    def _union(self, schema: Schema) -> Schema | None:
        options = [self.resolve(c) for c in schema.get("anyOf", [schema])]
        return next((o for o in options if "discriminator" in o), None)

    def _table(self, schema: Schema) -> Schema:
        """The one table among the alternatives of a key; the schema itself where there is none, or several."""
        tables = [o for o in map(self.resolve, schema.get("anyOf", ())) if "properties" in o]
        return tables[0] if len(tables) == 1 else schema

    def kinds(self, schema: Schema) -> tuple[str, ...]:
        """Kinds of table that may stand where a kind selects the alternative; none anywhere else."""
        union = self._union(self.resolve(schema))
        return tuple(union["discriminator"]["mapping"]) if union is not None else ()

    def _step(self, schema: Schema, part: str | int) -> Schema:
        if isinstance(part, int):
            lists = [self.resolve(c) for c in schema.get("anyOf", [schema])]
            return next((c["items"] for c in lists if "items" in c), {})
        schema = self._table(schema)
        if part in schema.get("properties", {}):
            inner: Schema = schema["properties"][part]
            return inner
        return self.entry(schema)

    def entry(self, schema: Schema) -> Schema:
        """Schema of each entry of a table of tables; empty for any other."""
        schema = self.resolve(schema)
        return schema.get("additionalProperties") or next(iter(schema.get("patternProperties", {}).values()), {}) or {}

    def properties(self, schema: Schema) -> dict[str, Schema]:
        """Keys of a table."""
        found: dict[str, Schema] = self._table(self.resolve(schema)).get("properties", {})
        return found

    def options(self, schema: Schema) -> list[Any]:
        """Fixed choices of a key."""
        options = list(schema.get("enum", ())) + ([schema["const"]] if "const" in schema else [])
        for choice in schema.get("anyOf", ()):
            options += self.options(self.resolve(choice))
        return options

    def describe(self, schema: Schema) -> str:
        """What a key may hold, in words."""
        schema = self.resolve(schema)
        if "anyOf" in schema:
            parts = dict.fromkeys(self.describe(c) for c in schema["anyOf"] if c.get("type") != "null")
            return ", or ".join(parts)
        if "const" in schema or "enum" in schema:
            return listed((shown(o) for o in self.options(schema)), 40)
        kind = schema.get("type")
        if kind in ("number", "integer"):
            return ("a whole number" if kind == "integer" else "a number") + _bounds(schema)
        if kind == "string":
            return _describe_text(schema)
        if kind == "boolean":
            return "true or false"
        return self._describe_list(schema) if kind == "array" else "a table"

    def _describe_list(self, schema: Schema) -> str:
        low, high = schema.get("minItems"), schema.get("maxItems")
        count = f"{low} " if low is not None and low == high else ""
        item = self.describe(schema.get("items", {}))
        if item.startswith("a number"):
            return f"a list of {count}numbers{item.removeprefix('a number')}"
        return f"a list of {count}entries, each {item}"

    def expected(self, schema: Schema) -> str:
        """Kinds of value a key takes, without their bounds."""
        kinds = {"number": "a number", "integer": "a whole number", "string": "text", "boolean": "true or false"}
        choices = [c for c in map(self.resolve, schema.get("anyOf", [schema])) if c.get("type") != "null"]
        return " or ".join(dict.fromkeys(kinds.get(c.get("type", ""), _other_kind(c)) for c in choices))


def shown(value: Any) -> str:
    """A value as the file writes it, cut when long."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return f"{value:g}"
    try:
        text = f'"{value}"' if isinstance(value, str) else str(value)
    except ValueError:  # Python writes no whole number of more than 4300 digits
        return "a number of thousands of digits"
    return visible(text if len(text) <= 60 else text[:57] + "...")


def _inside(data: Any, part: str | int) -> Any:
    try:
        return data[part]
    except (KeyError, IndexError, TypeError):
        return None


def _other_kind(schema: Schema) -> str:
    if "items" in schema:
        return "a list"
    return "a table" if "discriminator" in schema or schema.get("type") == "object" else "text"


def _describe_text(schema: Schema) -> str:
    if schema.get("x-fraction"):
        return 'a fraction such as "1/8"'
    if schema.get("format") == "date-time":
        return "a date and time with its offset from UTC, such as 2025-06-21T10:30:00+02:00"
    names = schema.get("x-names")
    return f"the name of {_ONE.get(names, f'a {names}')}" if names else "text in quotes"


def _bounds(schema: Schema) -> str:
    def number(key: str) -> str:
        return significant(schema[key], 10)

    parts: Iterable[str] = ()
    if "exclusiveMinimum" in schema:
        parts = [f"above {number('exclusiveMinimum')}"]
    elif "minimum" in schema:
        parts = [f"from {number('minimum')}"]
    if "maximum" in schema:
        parts = [*parts, ("to " if "minimum" in schema else "up to ") + number("maximum")]
    return (" " + " ".join(parts)) if parts else ""
