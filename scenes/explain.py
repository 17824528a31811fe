"""Validation errors of the tables in plain words: what is wrong, what may stand there, what to do."""

from __future__ import annotations

import functools
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from .findings import KeyPath, Problem, dotted
from .names import listed, nearest
from .schema_walk import Schema, SchemaWalk, shown

_KINDS = {bool: "", int: "the number ", float: "the number ", str: "the text ", list: "the list ", dict: "the table "}


_NUMBER_WITH_UNIT = re.compile(r"\s*(-?[0-9]+(?:[.,][0-9]+)?)\s*[a-zA-Z°]*\s*")
_OTHER_WORDS = {"backdrop": "background", "model": "sitter", "subject": "sitter", "person": "sitter", "fog": "haze"}
"""What people also call the tables of a scene."""


@dataclass(frozen=True)
class Format:
    """A kind of file, for its errors.

    Attributes
    ----------
    model : its tables. whole : what the file as a whole is called, e.g. "the scene".
    examples : of every table that holds named tables, the header of one, e.g. "light" to "[light.key]".
    """

    model: type[BaseModel]
    whole: str
    examples: Mapping[str, str]

    @functools.cached_property
    def walk(self) -> SchemaWalk:
        """The way about its schema."""
        return SchemaWalk(self.model.model_json_schema())


def problems_of(error: ValidationError, data: dict[str, Any], file_format: Format) -> list[Problem]:
    """Every problem in a failed validation of `data`, one a faulty key."""
    grouped: dict[KeyPath, list[ErrorDetails]] = {}
    for details in error.errors(include_url=False):
        grouped.setdefault(_data_path(details, data), []).append(details)
    explainer = _Explainer(file_format, data)
    found: list[Problem] = []
    for path, group in grouped.items():
        value = _value_at(data, path)
        deeper = isinstance(value, dict | list) and any(p[: len(path)] == path and p != path for p in grouped)
        complaints = [d for d in group if not (deeper and d["type"].endswith("_type"))]
        found.extend(explainer.explain(path, _relevant(complaints, value)))
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
    checks = [d for d in group if d["type"] == "scene_problems"]
    if len(group) < 2 or checks:
        return checks or group
    wrong_type = [d for d in group if d["type"].endswith("_type")]
    meant = [d for d in group if d not in wrong_type]
    if not isinstance(value, str):
        meant = [d for d in meant if d["type"] != "literal_error"] or meant
    return (meant or wrong_type)[:1]


class _Explainer:
    """Turns the errors of one file into problems."""

    def __init__(self, file_format: Format, data: dict[str, Any]) -> None:
        self.whole, self.examples = file_format.whole, file_format.examples
        self.walk, self.data = file_format.walk, data

    def explain(self, path: KeyPath, group: list[ErrorDetails]) -> Iterator[Problem]:
        for details in group:
            kind = details["type"]
            if kind == "scene_problems":
                for problem in details["ctx"]["problems"]:
                    yield problem.within(*path)
            elif kind == "extra_forbidden":
                yield self._unknown_key(path)
            elif kind == "missing":
                yield self._missing(path)
            elif kind.startswith("union_tag_"):
                yield self._unknown_kind(path, details)
            elif details["loc"][-1:] == ("[key]",):
                yield self._bad_name(path)
            else:
                yield self._bad_value(path, kind, _value_at(self.data, path))

    def _at(self, path: KeyPath, resolve: bool = True) -> Schema:
        return self.walk.at(path, self.data, resolve)

    def _bad_name(self, path: KeyPath) -> Problem:
        thing = str(path[-2])
        return Problem(
            path,
            f"'{path[-1]}' cannot be a {thing}'s name",
            "Allowed: up to 40 letters, digits, - and _.",
            f"Rename it, as in {self.examples[thing]}.",
        )

    def _unknown_key(self, path: KeyPath) -> Problem:
        name, table = str(path[-1]), path[:-1]
        keys = tuple(self.walk.properties(self._at(table)))
        where = f"[{dotted(table)}]" if table else self.whole
        home = self._home_of(name, table)
        close = nearest(name, keys) or next((key for key in keys if key == _OTHER_WORDS.get(name.lower())), None)
        if home:
            fix = f"Move it to {home}."
        elif close:
            fix = f"Did you mean {close}?"
        else:
            fix = "Remove it, or correct its name."
        kind = "table" if isinstance(_value_at(self.data, path), dict) else "key"
        allowed = "" if home or close else f"Allowed: {listed(keys, 40)}."
        return Problem(path, f"{where} has no {kind} '{name}'", allowed, fix)

    def _home_of(self, name: str, table: KeyPath) -> str:
        """The table that does have this key, when just one does."""
        homes = []
        for top, schema in self.walk.properties(self.walk.root).items():
            if name in self.walk.properties(schema):
                homes.append(f"[{top}]")
            elif top in self.examples and name in self.walk.properties(self.walk.entry(schema)):
                homes.append(f"the table of a {top}, as in {self.examples[top]}")
        here = f"[{dotted(table)}]"
        return homes[0] if len(homes) == 1 and homes[0] != here else ""

    def _unknown_kind(self, path: KeyPath, details: ErrorDetails) -> Problem:
        kinds = self.walk.kinds(self._at(path))
        allowed = f"Allowed: {listed(kinds, 40)}."
        if details["type"] == "union_tag_not_found":
            return Problem(path, "kind is missing: it says what this is", allowed, f'E.g. kind = "{kinds[0]}".')
        given = _value_at(self.data, (*path, "kind"))
        close = nearest(given, kinds) if isinstance(given, str) else None
        return Problem(
            (*path, "kind"), f"there is no kind {shown(given)}", allowed, f"Did you mean {close}?" if close else ""
        )

    def _missing(self, path: KeyPath) -> Problem:
        name = str(path[-1])
        if path == (name,) and name in self.examples:
            return Problem((), f"{self.whole} has no {name}", fix=f"Add a table such as {self.examples[name]}.")
        schema = self._at(path)
        if "properties" in schema and len(path) == 1:
            return Problem((), f"{self.whole} has no [{name}] table", fix=f"Add [{name}]: {self._about(path)}")
        return Problem(path[:-1], f"{name} is missing", f"Expected: {self.walk.describe(schema)}.", self._about(path))

    def _bad_value(self, path: KeyPath, kind: str, value: Any) -> Problem:
        schema = self._at(path)
        allowed = f"Allowed: {self.walk.describe(schema)}."
        if kind == "finite_number" or (isinstance(value, float) and value != value):
            return Problem(path, f"{shown(value)} is not a usable number", allowed, self._about(path))
        if kind == "literal_error" and isinstance(value, str):
            options = [o for o in self.walk.options(schema) if isinstance(o, str)]
            close = nearest(value, options)
            fix = f"Did you mean {close}?" if close else ""
            return Problem(path, f"'{value}' is not a choice for {_key_name(path)}", allowed, fix)
        if kind == "scene_fraction":
            return Problem(path, f"'{value}' is neither a number nor a fraction", allowed, 'Write 0.125 or "1/8".')
        if kind == "scene_moment":
            fix = "Add the offset of the place and season, e.g. +02:00, or Z for UTC."
            return Problem(path, f"{shown(value)} is not a date and time with its offset from UTC", allowed, fix)
        if kind in ("dict_type", "model_type", "model_attributes_type"):
            return self._not_a_table(path, value)
        if kind in ("too_short", "too_long") and len(path) == 1 and path[0] in self.examples:
            return self._missing(path)
        if kind.endswith("_type") or kind == "is_instance_of":
            return self._wrong_type(path, schema, value, allowed)
        if kind == "string_pattern_mismatch" and path == ("camera", "aspect"):
            return self._aspect(path, str(value))
        return Problem(path, f"{shown(value)} is not allowed", allowed, self._about(path))

    def _aspect(self, path: KeyPath, value: str) -> Problem:
        """A shape of the picture that is not written as width:height."""
        sides = re.findall(r"[0-9]+(?:\.[0-9]+)?", value)
        known = {"square": "1:1", "portrait": "4:5", "landscape": "3:2"}.get(value.strip().lower())
        written = f"{sides[0]}:{sides[1]}" if len(sides) == 2 else known
        fix = f'Write aspect = "{written}".' if written else self._about(path)
        return Problem(path, f"{shown(value)} is not a shape", 'Allowed: width to height, as in "4:5" or "3:2".', fix)

    def _wrong_type(self, path: KeyPath, schema: Schema, value: Any, allowed: str) -> Problem:
        expected = self.walk.expected(schema)
        example = self.examples.get(str(path[0]), "") if len(path) == 1 else ""
        if example.startswith("[["):
            return Problem(
                path, f"{path[0]} must be a list of tables", fix=f"Head each of them {example}, twice bracketed."
            )
        fix = ""
        if _is_number(value) and "number" in self.walk.describe(schema):
            fix = "Write the number without quotes."
        elif "number" in expected and (bare := _NUMBER_WITH_UNIT.fullmatch(value if isinstance(value, str) else "")):
            fix = f"Write the number alone: {bare.group(1).replace(',', '.')}."
        if expected == "a list" and not isinstance(value, dict):
            fix = f"Put it in brackets: {_key_name(path)} = [{shown(value)}]."
        found = f"{_kind(value)}{shown(value)}"
        return Problem(path, f"expected {expected}, found {found}", allowed, fix or self._about(path))

    def _not_a_table(self, path: KeyPath, value: Any) -> Problem:
        name, table = dotted(path), path[:-1]
        thing = str(table[-1] if table else path[0])
        example = self.examples.get(thing)
        if example and table and path[-1] in self.walk.properties(self.walk.entry(self._at(table))):
            fix = f"Begin the {thing}'s table with its name, as in {example}."
            return Problem(table, f"keys of a {thing} stand under [{dotted(table)}], which names no {thing}", fix=fix)
        found = "a list" if isinstance(value, list) else _kind(value) + shown(value)
        fix = f"Give each {thing} a table with a name, as in {example}." if name == thing and example else ""
        return Problem(path, f"{name} must be a table, but it is {found}", fix=fix or f"Write a table: [{name}].")

    def _about(self, path: KeyPath) -> str:
        """Description of a key (that of the list, for an entry of one)."""
        for length in range(len(path), 0, -1):
            if isinstance(path[length - 1], str):
                return str(self._at(path[:length], resolve=False).get("description", ""))
        return ""


def _key_name(path: KeyPath) -> str:
    return next((part for part in reversed(path) if isinstance(part, str)), "this")


def _is_number(value: Any) -> bool:
    """Whether a value is a number in quotes."""
    if not isinstance(value, str):
        return False
    try:
        float(value)
    except ValueError:
        return False
    return True


def _kind(value: Any) -> str:
    return _KINDS.get(type(value), "the date or time ")
