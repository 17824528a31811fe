"""Who the figures are: names, descriptions and default finishes, from `data/sitters.toml`."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path

from .features import Features

DATA = Path(__file__).parent / "data"


@dataclass(frozen=True, slots=True)
class Character:
    """A figure's entry: words for the list, default finishes, and what the painting of the skin needs.

    `beard` and `age` run from 0 to 1, see `complexion.SkinSite`.
    """

    description: str
    skin: str
    hair: str
    iris: str
    clothes: dict[str, str]
    beard: float
    age: float
    features: Features


def _read() -> dict[str, Character]:
    table = tomllib.loads((DATA / "sitters.toml").read_text(encoding="utf-8"))
    return {
        name: Character(**{**entry, "features": Features(**entry.get("features", {}))}) for name, entry in table.items()
    }


CHARACTERS: dict[str, Character] = _read()
SITTERS: dict[str, str] = {name: entry.description for name, entry in CHARACTERS.items()}
"""Name of every figure -> one line on who it is."""
