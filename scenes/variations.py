"""One scene, many variants: keys of a scene file that take a list of values.

A variation is written ``light.key.distance_m=0.6,1.2,2.5``; keys that change together are joined by commas and their
values by colons: ``light.key.gels,light.rim.gels=amber:teal,rose:violet``. A value is what a scene file would hold,
with or without quotes; lists of names or numbers are joined by ``+``, and ``none`` takes the key away.
"""

from __future__ import annotations

import copy
import re
import tomllib
from dataclasses import dataclass
from typing import Any

from materials.errors import KeyfallError

from .model import Scene
from .names import listed, nearest

MOST_VALUES = 12
"""Values of one variation: more would not be told apart on a sheet."""

NOTHING = "none"
_LISTS = ("modifiers", "gels", "open")
_UNITS = {
    "m": " m", "mm": " mm", "deg": "°", "k": " K", "ws": " Ws", "s": " s", "stops": " stop", "px": " px",
}  # fmt: skip
_KEY = re.compile(r"^[A-Za-z0-9_-]+(\.[A-Za-z0-9_-]+)*$")
_NUMBER = re.compile(r"^-?(0|[1-9][0-9]{0,14})(\.[0-9]{1,15})?$")
_OPENING, _CLOSING = "[{", "]}"


@dataclass(frozen=True, slots=True)
class Variation:
    """Keys that change together, and the values they take: `values[i]` holds one for every key.

    `name` says what is varied and `labels` each variant, in words.
    """

    keys: tuple[tuple[str, ...], ...]
    values: tuple[tuple[Any, ...], ...]
    name: str
    labels: tuple[str, ...]

    def lights(self) -> tuple[str, ...]:
        """Lights whose keys are varied."""
        return tuple(dict.fromkeys(key[1] for key in self.keys if key[0] == "light" and len(key) > 1))


def parse_variation(text: str) -> Variation:
    """Read a variation as the command line gives it.

    Raises
    ------
    KeyfallError
        When it is not of the form KEY=VALUE,VALUE,... or names more than 12 values.
    """
    left, equals, right = text.partition("=")
    keys = [key.strip() for key in left.split(",")]
    example = "Write a key of the scene and its values, e.g. light.key.distance_m=0.6,1.2,2.5."
    if not equals or not right.strip():
        raise KeyfallError(f"The variation '{text}' has no values. {example}")
    bad = [key for key in keys if not _KEY.match(key)]
    if bad:
        raise KeyfallError(f"The variation '{text}' has '{bad[0]}' where a key should stand. {example}")
    paths = tuple(tuple(key.split(".")) for key in keys)
    values = []
    for part in _split(right, ","):
        own = _split(part, ":") if len(keys) > 1 else [part]
        if len(own) != len(keys) or not all(value.strip() for value in own):
            raise KeyfallError(
                f"The variation '{text}' has '{part}' where {_wanted(len(keys))} should stand. "
                "Keys that change together take values joined by colons: "
                "light.key.gels,light.rim.gels=amber:teal,rose:violet."
            )
        values.append(tuple(_value(path, value.strip()) for path, value in zip(paths, own, strict=True)))
    if len(values) > MOST_VALUES:
        raise KeyfallError(
            f"The variation of {left} has {len(values)} values. Allowed: 1 to {MOST_VALUES}; compare the rest apart."
        )
    labels = tuple(" / ".join(_said(path, v) for path, v in zip(paths, row, strict=True)) for row in values)
    return Variation(paths, tuple(values), " / ".join(_key_words(path) for path in paths), labels)


def _wanted(count: int) -> str:
    return "a value" if count == 1 else f"{count} values"


def _split(text: str, at: str) -> list[str]:
    """Parts between separators outside quotes and brackets."""
    parts, depth, quote, piece = [], 0, "", ""
    for letter in text:
        if quote:
            quote = "" if letter == quote else quote
        elif letter in "\"'":
            quote = letter
        elif letter in _OPENING:
            depth += 1
        elif letter in _CLOSING:
            depth -= 1
        elif letter == at and depth == 0:
            parts.append(piece)
            piece = ""
            continue
        piece += letter
    return [*parts, piece]


def _value(path: tuple[str, ...], text: str) -> Any:
    if text == NOTHING:
        return [] if path[-1] in _LISTS else None
    try:
        value = tomllib.loads(f"value = {text}")["value"]
    except tomllib.TOMLDecodeError:
        value = text
    if not isinstance(value, str):
        return value
    if path[-1] in _LISTS:
        return [name.strip() for name in value.split("+")]
    numbers = [part.strip() for part in value.split("+")]
    if len(numbers) > 1 and all(_NUMBER.match(number) for number in numbers):
        return [tomllib.loads(f"n = {number}")["n"] for number in numbers]
    return value


def _key_words(path: tuple[str, ...]) -> str:
    parts = [part for part in path if part != "light"]
    stem, _, unit = parts[-1].rpartition("_")
    if stem and unit in _UNITS:
        parts[-1] = stem
    return " ".join(parts).replace("_", " ")


def _said(path: tuple[str, ...], value: Any) -> str:
    if value is None or value == []:
        return {"gels": "no gel", "modifiers": "bare lamp"}.get(path[-1], NOTHING)
    if isinstance(value, bool):
        return "on" if value else "off"
    unit = _UNITS.get(path[-1].rpartition("_")[2], "") if "_" in path[-1] else ""
    if path[-1] == "f_number":
        return f"f/{value}"
    if isinstance(value, list):
        joint = " + " if path[-1] in _LISTS else ", "
        return joint.join(f"{item:g}" if isinstance(item, float) else str(item) for item in value) + unit
    if isinstance(value, dict):
        return str(value.get("kind", "described in place"))
    return (f"{value:g}" if isinstance(value, float) else str(value)) + unit


def changed(tables: dict[str, Any], keys: tuple[tuple[str, ...], ...], values: tuple[Any, ...]) -> dict[str, Any]:
    """The tables of a scene with each key set to its value; None takes the key away.

    Raises
    ------
    KeyfallError
        When a key names a light or piece that is not in the scene, or goes into something that is no table.
    """
    tables = copy.deepcopy(tables)
    for path, value in zip(keys, values, strict=True):
        table: Any = tables
        if len(path) == 1 and path[0] not in tables and path[0] not in Scene.model_fields:
            raise KeyfallError(
                f"The key '{path[0]}' has no table before it. Write both, e.g. light.key.distance_m or camera.height_m."
            )
        if path[0] not in tables:
            homes = [kind for kind in ("light", "piece") if path[0] in tables.get(kind, {})]
            if homes:
                raise KeyfallError(f"{'.'.join(path)} names no table of the scene. Write {homes[0]}.{'.'.join(path)}.")
        for depth, part in enumerate(path[:-1]):
            if depth == 1 and path[0] in ("light", "piece") and part not in table:
                raise KeyfallError(_missing(path[0], part, table))
            table = table.setdefault(part, {})
            if not isinstance(table, dict):
                raise KeyfallError(f"{'.'.join(path)}: {'.'.join(path[: depth + 1])} holds no further keys.")
        if len(path) == 2 and path[0] in ("light", "piece") and path[1] not in table:
            raise KeyfallError(_missing(path[0], path[1], table))
        if value is None:
            table.pop(path[-1], None)
        else:
            table[path[-1]] = value
    return tables


def _missing(kind: str, name: str, table: dict[str, Any]) -> str:
    close = nearest(name, table)
    hint = f" Did you mean {close}?" if close else ""
    have = f"It has {listed(table)}." if table else f"It has no {kind}s."
    return f"There is no {kind} '{name}' in this scene.{hint} {have}"
