"""What a light looks like, declared once: its body on the set and its symbol on paper follow from it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Look = Literal["box", "bowl", "dish", "snoot", "umbrella", "barrel", "panel", "ring", "rod", "bulb", "window"]
"""What a light's body can look like on the set."""

Symbol = Literal[
    "bulb", "reflector", "snoot", "dish", "box", "octabox", "umbrella", "shoot-through", "ring", "panel", "tube",
    "lens", "projector", "window", "measured",
]  # fmt: skip
"""Symbols that the plan can draw for a shaped light."""

Front = Literal["grid", "fabric-grid", "doors", "sock", "frame"]
"""What the plan can draw before it."""


@dataclass(frozen=True, slots=True)
class Appearance:
    """How a shaped light looks; `look` is None where its shape and size must tell."""

    symbol: Symbol
    look: Look | None
