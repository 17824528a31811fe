"""A scene back to the text of a scene file."""

from __future__ import annotations

import json
import re
from typing import Any

from .model import Scene

_BARE = re.compile(r"^[A-Za-z0-9_-]+$")
_OF_TABLES = ("light", "piece")


def dump_scene(scene: Scene) -> str:
    """TOML text that loads to an equal scene; only what the scene sets is written.

    Examples
    --------
    ``load_scene`` of a file with this text, in the same folder, equals `scene`.
    """
    tables = scene.model_dump(mode="json", exclude_unset=True)
    return dump_tables(tables)


def dump_tables(tables: dict[str, Any]) -> str:
    """TOML text of the tables of a scene: single keys first, then a table each, and one for every light and piece."""
    head = {key: value for key, value in tables.items() if not isinstance(value, dict)}
    blocks = ["".join(_pair(*item) for item in head.items())]
    for name, table in tables.items():
        if isinstance(table, dict) and name not in _OF_TABLES:
            blocks.append(_table(_key(name), table))
    for kind in _OF_TABLES:
        for name, table in tables.get(kind, {}).items():
            blocks.append(_table(f"{kind}.{_key(name)}", table))
    return "\n".join(block for block in blocks if block)


def _table(name: str, table: dict[str, Any]) -> str:
    return f"[{name}]\n" + "".join(_pair(*item) for item in table.items())


def _pair(key: str, value: Any) -> str:
    return "" if value is None else f"{_key(key)} = {_value(value)}\n"


def _key(name: str) -> str:
    return name if _BARE.match(name) else _text(name)


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, dict):
        inside = ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items() if v is not None)
        return f"{{ {inside} }}" if inside else "{}"
    if isinstance(value, list):
        return "[" + ", ".join(_value(v) for v in value) + "]"
    return repr(value)


def _text(text: str) -> str:
    """A TOML basic string: JSON's escapes, and the one control character JSON leaves as it is."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007F")
