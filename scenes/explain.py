"""Validation errors of the tables in plain words: what is wrong, what may stand there, what to do."""

from __future__ import annotations

import functools
from collections.abc import Iterable, Iterator
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from .findings import KeyPath, Problem, dotted
from .model import Scene
from .names import listed, nearest

_KINDS = {bool: "", int: "the number ", float: "the number ", str: "the text ", list: "the list ", dict: "the table "}
_EXAMPLE = "[light.key]"


def problems_of(error: ValidationError, data: dict[str, Any]) -> list[Problem]:
    """Every problem in a failed validation of `data`, one a faulty key."""
    grouped: dict[KeyPath, list[ErrorDetails]] = {}
    for details in error.errors(include_url=False):
        grouped.setdefault(_data_path(details, data), []).append(details)
    found: list[Problem] = []
    for path, group in grouped.items():
        found.extend(_explain(path, _relevant(group, _value_at(data, path)), data))
    return found


def _data_path(details: ErrorDetails, data: Any) -> KeyPath:
    """The error's place without the tags that alternatives of a union put into it."""
    path: KeyPath = ()
    value = data
    loc = details["loc"]
    for position, part in enumerate(loc):
        last = position == len(loc) - 1
        if part == "[key]":
            break
        if isinstance(value, dict) and (part in value or (last and details["type"] == "missing")):
            path, value = (*path, part), value.get(part)
        elif isinstance(value, list) and isinstance(part, int) and part < len(value):
            path, value = (*path, part), value[part]
    return path


def _value_at(data: Any, path: KeyPath) -> Any:
    for part in path:
        try:
            data = data[part]
        except (KeyError, IndexError, TypeError):
            return None
    return data


def _relevant(group: list[ErrorDetails], value: Any) -> list[ErrorDetails]:
    """Of the complaints of a union's alternatives, those of the alternative the user meant."""
    if len(group) == 1 or any(d["type"] == "scene_problems" for d in group):
        return group
    wrong_type = [d for d in group if d["type"].endswith("_type")]
    meant = [d for d in group if d not in wrong_type]
    if not isinstance(value, str):
        meant = [d for d in meant if d["type"] != "literal_error"] or meant
    return (meant or wrong_type)[:1]


def _explain(path: KeyPath, group: list[ErrorDetails], data: dict[str, Any]) -> Iterator[Problem]:
    for details in group:
        kind = details["type"]
        if kind == "scene_problems":
            for problem in details["ctx"]["problems"]:
                yield problem.within(*path)
        elif kind == "extra_forbidden":
            yield _unknown_key(path, isinstance(_value_at(data, path), dict))
        elif kind == "missing":
            yield _missing(path)
        elif details["loc"][-1:] == ("[key]",):
            yield Problem(
                path,
                f"'{path[-1]}' cannot be a light's name",
                "Allowed: up to 40 letters, digits, - and _.",
                f"Rename it, as in {_EXAMPLE}.",
            )
        else:
            yield _bad_value(path, kind, _value_at(data, path))


def _unknown_key(path: KeyPath, table_like: bool) -> Problem:
    name, table = str(path[-1]), path[:-1]
    keys = tuple(_properties(_schema_at(table)))
    where = f"[{dotted(table)}]" if table else "the scene"
    home = _home_of(name, table)
    close = nearest(name, keys)
    if home:
        fix = f"Move it to {home}."
    elif close:
        fix = f"Did you mean {close}?"
    else:
        fix = "Remove it, or correct its name."
    kind = "table" if table_like else "key"
    return Problem(
        path, f"{where} has no {kind} '{name}'", "" if home or close else f"Allowed: {listed(keys, 40)}.", fix
    )


def _home_of(name: str, table: KeyPath) -> str:
    """The table that does have this key, when just one does."""
    homes = []
    for top, schema in _properties(_schema()).items():
        target = _resolve(schema)
        inner = _resolve(target.get("additionalProperties") or _first(target.get("patternProperties")) or {})
        if name in _properties(target):
            homes.append(f"[{top}]")
        elif name in _properties(inner):
            homes.append("the table of a light, as in " + _EXAMPLE)
    here = f"[{dotted(table)}]"
    return homes[0] if len(homes) == 1 and homes[0] != here else ""


def _missing(path: KeyPath) -> Problem:
    name = str(path[-1])
    if name == "light":
        return Problem((), "the scene has no light", fix=f"Add a table such as {_EXAMPLE}.")
    schema = _schema_at(path)
    if "properties" in schema and len(path) == 1:
        return Problem((), f"the scene has no [{name}] table", fix=f"Add [{name}]: {_about(path)}")
    return Problem(path[:-1], f"{name} is missing", f"Expected: {describe(schema)}.", _about(path))


def _bad_value(path: KeyPath, kind: str, value: Any) -> Problem:
    schema = _schema_at(path)
    allowed = f"Allowed: {describe(schema)}."
    if kind == "finite_number" or (isinstance(value, float) and value != value):
        return Problem(path, f"{_shown(value)} is not a usable number", allowed, _about(path))
    if kind == "literal_error" and isinstance(value, str):
        options = [o for o in _options(schema) if isinstance(o, str)]
        close = nearest(value, options)
        return Problem(
            path, f"'{value}' is not a choice for {_key_name(path)}", allowed, f"Did you mean {close}?" if close else ""
        )
    if kind == "scene_fraction":
        return Problem(path, f"'{value}' is neither a number nor a fraction", allowed, 'Write 0.125 or "1/8".')
    if kind in ("dict_type", "model_type"):
        return _not_a_table(path, value)
    if kind in ("too_short", "too_long") and path == ("light",):
        return Problem(path, "the scene has no light", fix=f"Add a table such as {_EXAMPLE}.")
    if kind.endswith("_type") or kind == "is_instance_of":
        fix = "Write the number without quotes." if _quoted_number(value, schema) else ""
        if _expected(schema) == "a list" and not isinstance(value, dict):
            fix = f"Put it in brackets: {_key_name(path)} = [{_shown(value)}]."
        return Problem(
            path, f"expected {_expected(schema)}, found {_kind(value)}{_shown(value)}", allowed, fix or _about(path)
        )
    return Problem(path, f"{_shown(value)} is not allowed", allowed, _about(path))


def _not_a_table(path: KeyPath, value: Any) -> Problem:
    name = dotted(path)
    if path[0] == "light" and path[-1] in _properties(_schema_at(("light", "key"))):
        fix = f"Begin the light's table with its name, as in {_EXAMPLE}."
        return Problem(("light",), "keys of a light stand under [light], which names no light", fix=fix)
    found = "a list" if isinstance(value, list) else _kind(value) + _shown(value)
    fix = f"Write a table: [{name}]."
    if name == "light":
        fix = f"Give each light a table with a name, as in {_EXAMPLE}."
    return Problem(path, f"{name} must be a table, but it is {found}", fix=fix)


def _key_name(path: KeyPath) -> str:
    return next((part for part in reversed(path) if isinstance(part, str)), "this")


def _expected(schema: dict[str, Any]) -> str:
    """Kinds a key takes, without their bounds."""
    kinds = {"number": "a number", "integer": "a whole number", "string": "text", "boolean": "true or false"}
    choices = [_resolve(c) for c in schema.get("anyOf", [schema])]
    words = [kinds.get(c.get("type", ""), "a list" if "items" in c else "text") for c in choices]
    return " or ".join(dict.fromkeys(w for c, w in zip(choices, words, strict=True) if c.get("type") != "null"))


def _quoted_number(value: Any, schema: dict[str, Any]) -> bool:
    if not isinstance(value, str) or "number" not in describe(schema):
        return False
    try:
        float(value)
    except ValueError:
        return False
    return True


def _kind(value: Any) -> str:
    return _KINDS.get(type(value), "the date or time ")


def _shown(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return f"{value:g}"
    text = f'"{value}"' if isinstance(value, str) else str(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _about(path: KeyPath) -> str:
    """Description of a key (that of the list, for an entry of one)."""
    for length in range(len(path), 0, -1):
        if isinstance(path[length - 1], str):
            return str(_schema_at(path[:length], resolve=False).get("description", ""))
    return ""


@functools.lru_cache(maxsize=1)
def _schema() -> dict[str, Any]:
    return Scene.model_json_schema()


def _resolve(schema: dict[str, Any]) -> dict[str, Any]:
    """Follow references, and the one alternative left when null is taken away; keep the description."""
    if "$ref" in schema:
        target = _resolve(_schema()["$defs"][schema["$ref"].rsplit("/", 1)[1]])
        return {**target, **{k: v for k, v in schema.items() if k != "$ref"}}
    choices = [c for c in schema.get("anyOf", ()) if c.get("type") != "null"]
    if len(choices) == 1:
        return {**_resolve(choices[0]), **{k: v for k, v in schema.items() if k != "anyOf"}}
    return schema


def _schema_at(path: KeyPath, resolve: bool = True) -> dict[str, Any]:
    schema: dict[str, Any] = _schema()
    for part in path:
        schema = _step(_resolve(schema), part)
    return _resolve(schema) if resolve else schema


def _step(schema: dict[str, Any], part: str | int) -> dict[str, Any]:
    if isinstance(part, int):
        lists = [_resolve(c) for c in schema.get("anyOf", [schema])]
        return _first({str(i): c["items"] for i, c in enumerate(lists) if "items" in c}) or {}
    if part in schema.get("properties", {}):
        inner: dict[str, Any] = schema["properties"][part]
        return inner
    return schema.get("additionalProperties") or _first(schema.get("patternProperties")) or {}


def _first(mapping: dict[str, Any] | None) -> dict[str, Any] | None:
    return next(iter(mapping.values()), None) if mapping else None


def _properties(schema: dict[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = _resolve(schema).get("properties", {})
    return found


def _options(schema: dict[str, Any]) -> list[Any]:
    options = list(schema.get("enum", ())) + ([schema["const"]] if "const" in schema else [])
    for choice in schema.get("anyOf", ()):
        options += _options(_resolve(choice))
    return options


def describe(schema: dict[str, Any]) -> str:
    """What a key may hold, in words, from its JSON Schema."""
    schema = _resolve(schema)
    if "anyOf" in schema:
        parts = dict.fromkeys(describe(c) for c in schema["anyOf"] if c.get("type") != "null")
        return ", or ".join(parts)
    if "const" in schema or "enum" in schema:
        return listed((_shown(o) for o in _options(schema)), 40)
    kind = schema.get("type")
    if kind in ("number", "integer"):
        return ("a whole number" if kind == "integer" else "a number") + _bounds(schema)
    if kind == "string":
        if schema.get("x-fraction"):
            return 'a fraction such as "1/8"'
        names = schema.get("x-names")
        return f"the name of a {names}" if names else "text in quotes"
    if kind == "boolean":
        return "true or false"
    if kind == "array":
        return _describe_list(schema)
    return "a table"


def _describe_list(schema: dict[str, Any]) -> str:
    low, high = schema.get("minItems"), schema.get("maxItems")
    count = f"{low} " if low is not None and low == high else ""
    item = describe(schema.get("items", {}))
    if item.startswith("a number"):
        return f"a list of {count}numbers{item.removeprefix('a number')}"
    return f"a list of {count}entries, each {item}"


def _bounds(schema: dict[str, Any]) -> str:
    def number(key: str) -> str:
        return f"{schema[key]:.10g}"

    parts: Iterable[str] = ()
    if "exclusiveMinimum" in schema:
        parts = [f"above {number('exclusiveMinimum')}"]
    elif "minimum" in schema:
        parts = [f"from {number('minimum')}"]
    if "maximum" in schema:
        parts = [*parts, ("to " if "minimum" in schema else "up to ") + number("maximum")]
    return (" " + " ".join(parts)) if parts else ""
