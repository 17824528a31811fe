"""The stock kit."""

from __future__ import annotations

import functools
import tomllib
from typing import Any

from .kit import STOCK_FOLDER, Kit
from .model import KitFile

FORMAT = 1
"""Of kit files."""

_FILES = ("stock-kit.toml", "stock-modifiers.toml")


def stock_tables() -> dict[str, Any]:
    """The tables of the stock kit, as its files have them."""
    tables: dict[str, Any] = {}
    for name in _FILES:
        tables.update(tomllib.loads((STOCK_FOLDER / name).read_text("utf-8")))
    return tables


@functools.lru_cache(maxsize=1)
def stock_kit() -> Kit:
    """The heads and modifiers everybody has, under plain names."""
    file = KitFile.model_validate({"format": FORMAT, **stock_tables()})
    return Kit(None, "", file.head, file.modifier, frozenset(), frozenset(), ())
