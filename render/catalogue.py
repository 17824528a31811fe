"""The names a scene file may use, for `keyfall list`."""

from __future__ import annotations

import materials
from scenes.daylight import SKIES, SKY_WORDS
from scenes.kit import stock_kit
from scenes.modifiers.linings import CELL_FINISHES
from scenes.names import LANDMARKS, MESH_LANDMARKS
from scenes.reference import scene_reference
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


KEYS = "keys"
"""The section of the keys of a scene file, which is no list of names and not among all of them."""


def _keys() -> dict[str, dict[str, str]]:
    """Every key by the heading of its table: what it is, what it may hold, what it is if left out, an example."""
    told: dict[str, dict[str, str]] = {}
    for table in scene_reference():
        heading = f"{table.heading}: {table.description}" if table.description else table.heading
        told[heading] = {}
        for key in table.keys:
            usual = f"; {key.default} if left out" if key.default is not None else ""
            usual = "; must be there" if key.required else usual
            allowed = f"{key.allowed[0].upper()}{key.allowed[1:]}{usual}."
            told[heading][key.key] = f"{key.description} {allowed} Example: {key.example}".strip()
    return told


def catalogue(what: str = "all") -> dict[str, dict[str, str]]:
    """Names and one-line descriptions by section; `what` is a section, "all" sections of names, or "keys"."""
    if what == KEYS:
        return _keys()
    chosen = list(_SECTIONS) if what == "all" else [what]
    return {section: dict(_SECTIONS[section]()) for section in chosen}
