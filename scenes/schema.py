"""JSON Schemas of scene and kit files, for editors that complete and check as one types."""

from __future__ import annotations

from typing import Any

from .model import Scene, Table
from .stock_names import stock_names

_ANY_TEXT = {"type": "string", "minLength": 1}
_CSV = {"type": "string", "pattern": r"\.[cC][sS][vV]$"}
_OPEN = {"landmark": _ANY_TEXT, "head": _ANY_TEXT, "modifier": _ANY_TEXT, "gel": _CSV, "source": _CSV}
"""Kinds that also take something beyond the stock list: a figure's own landmarks, one's own kit, or a CSV file."""


def scene_json_schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of a scene file, with the stock names as choices and every key described."""
    return _schema_of(Scene)


def kit_json_schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of a kit file, like that of scenes."""
    from .kit import KitFile

    return _schema_of(KitFile)


def _schema_of(model: type[Table]) -> dict[str, Any]:
    schema = model.model_json_schema()
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    filled = _fill(schema)
    assert isinstance(filled, dict)
    return filled


def _fill(node: Any) -> Any:
    if isinstance(node, list):
        return [_fill(item) for item in node]
    if not isinstance(node, dict):
        return node
    kind = node.get("x-names")
    node = {key: _fill(value) for key, value in node.items() if not key.startswith("x-")}
    return _with_names(node, kind) if isinstance(kind, str) else node


def _with_names(node: dict[str, Any], kind: str) -> dict[str, Any]:
    """Put the stock names of a kind into its text type, wherever in the node that is."""
    names = list(stock_names(kind))
    choice: dict[str, Any] = {"enum": names}
    if kind in _OPEN:
        choice = {"anyOf": [{"enum": names}, _OPEN[kind]]}
    if node.get("type") == "string":
        return {**{k: v for k, v in node.items() if k not in ("type", "minLength")}, **choice}
    texts = [{**choice} if option.get("type") == "string" else option for option in node.get("anyOf", [])]
    return {**node, "anyOf": texts}
