"""The names a scene file may use, for `keyfall list`."""

from __future__ import annotations

import materials
from scenes.sitters import SITTERS

_SECTIONS = {
    "sitters": lambda: SITTERS,
    "gels": lambda: materials.GELS,
    "sources": lambda: materials.SOURCE_KINDS,
    "surfaces": lambda: materials.FINISHES,
    "skins": lambda: materials.SKIN_TONES,
    "hair": lambda: materials.HAIR_COLOURS,
    "irises": lambda: materials.IRIS_COLOURS,
}


def catalogue(what: str = "all") -> dict[str, dict[str, str]]:
    """Names and one-line descriptions by section; `what` is a section or "all"."""
    chosen = list(_SECTIONS) if what == "all" else [what]
    return {section: dict(_SECTIONS[section]()) for section in chosen}
