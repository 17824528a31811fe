"""The order in which a set is lit from black."""

from __future__ import annotations

from collections.abc import Iterable

from .stage import Light

_ORDER = ("ambient", "key", "fill", "background", "hair", "rim")


def set_up_order(lights: Iterable[Light]) -> list[Light]:
    """Lights as they are set up (common practice, no source): what cannot be switched on and off first, then key, fill,
    background, hair, rim and the rest, each kind in the scene's order."""
    return sorted(lights, key=_rank)


def _rank(light: Light) -> int:
    if is_ambient(light):
        return 0
    return _ORDER.index(light.role) if light.role in _ORDER else len(_ORDER)


def is_ambient(light: Light) -> bool:
    """Whether a light is there before the first head is set up: sun, sky, ambient light, or any in that role."""
    return light.fixture is None or light.role == "ambient"
