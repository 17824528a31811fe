"""What to pack for the looks of a board: heads, modifiers and gels, counted."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from typing import Literal

from scenes.stage import Fixture, Light, Stage

from .record import KitItem

_KINDS: tuple[Literal["head", "modifier", "gel"], ...] = ("head", "modifier", "gel")
_SHAPES = {
    "disk": "round front", "rectangle": "rectangular front", "octagon": "octagonal front", "sphere": "ball",
    "spot": "spot", "tube": "tube",
}  # fmt: skip


def kit_of(stages: Iterable[Stage]) -> tuple[list[KitItem], list[str]]:
    """Everything that lights which are on need: most at once in any look, and in how many looks; and what is not
    packed, such as the sun."""
    most: Counter[tuple[str, str]] = Counter()
    looks: Counter[tuple[str, str]] = Counter()
    found: dict[str, None] = {}
    for stage in stages:
        needed: Counter[tuple[str, str]] = Counter()
        for light in stage.lights:
            if not light.on:
                continue
            if light.fixture is None:
                found[_sky_words(light)] = None
            else:
                needed.update(_pieces(light, light.fixture))
        looks.update(needed.keys())
        most |= needed
    items = [
        KitItem(name=name, kind=kind, at_once=most[kind, name], looks=looks[kind, name])
        for kind in _KINDS
        for name in sorted(name for (of, name) in most if of == kind)
    ]
    return items, list(found)


def _sky_words(light: Light) -> str:
    return light.distant.kind if light.distant is not None else "ambient light"


def _pieces(light: Light, fixture: Fixture) -> list[tuple[str, str]]:
    fronts = list(light.modifiers)
    if light.head is None or not light.head.name:
        fronts = fronts or [f"{_SHAPES[fixture.shape]} {_size(fixture)}"]
    return [("head", _head(light)), *(("modifier", name) for name in fronts), *(("gel", name) for name in light.gels)]


def _head(light: Light) -> str:
    if light.head is not None and light.head.name:
        return light.head.name
    if light.head is not None and light.head.energy_ws is not None:
        return f"flash, {light.head.energy_ws:g} Ws"
    return "flash" if light.flash else f"{light.source.name} light"


def _size(fixture: Fixture) -> str:
    width, height = (f"{float(size):.3g}" for size in fixture.size_m)
    if fixture.shape in ("rectangle", "tube"):
        return f"{width} × {height} m"
    return f"{width} m"
