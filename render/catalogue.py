"""The names a scene file may use, for `keyfall list`."""

from __future__ import annotations

import materials
from scenes.daylight import SKIES, SKY_WORDS
from scenes.kit import stock_kit
from scenes.modifiers.linings import CELL_FINISHES
from scenes.names import LANDMARKS, MESH_LANDMARKS
from scenes.sitters import SITTERS
from scenes.styles import STYLES

from .cli_kit import sizes_of


def _heads() -> dict[str, str]:
    return {name: head.note or head.source for name, head in stock_kit().heads.items()}


def _modifiers() -> dict[str, str]:
    return {name: f"{m.kind}: {sizes_of(m)}".removesuffix(": ") for name, m in stock_kit().modifiers.items()}


def _skies() -> dict[str, str]:
    return {name: SKY_WORDS[number - 1] for name, number in SKIES.items()}


def _airs() -> dict[str, str]:
    return {name: f"aerosol optical depth {depth:g} at 500 nm" for name, depth in materials.AIRS.items()}


def _landmarks() -> dict[str, str]:
    return {name: said if name in MESH_LANDMARKS else f"{said} (figures only)" for name, said in LANDMARKS.items()}


def _styles() -> dict[str, str]:
    return {name: style.description for name, style in STYLES.items()}


_SECTIONS = {
    "sitters": lambda: SITTERS,
    "heads": _heads,
    "modifiers": _modifiers,
    "cells": lambda: CELL_FINISHES,
    "styles": _styles,
    "skies": _skies,
    "airs": _airs,
    "landmarks": _landmarks,
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
