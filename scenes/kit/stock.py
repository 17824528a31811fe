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


@functools.lru_cache(maxsize=1)
def stock_kit() -> Kit:
    """The heads and modifiers everybody has, under plain names."""
    tables: dict[str, Any] = {}
    for name in _FILES:
        tables.update(tomllib.loads((STOCK_FOLDER / name).read_text("utf-8")))
    file = KitFile.model_validate({"format": FORMAT, **tables})
    return Kit(None, "", file.head, file.modifier, frozenset(), frozenset(), ())
