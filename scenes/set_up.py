"""The order in which a set is lit from black."""

from __future__ import annotations

from .stage import Light, Stage

_AMBIENT = ("ambient", "sky", "sun", "lamp")
_ROLES = ("key", "fill", "background", "hair", "rim")


def set_up_order(stage: Stage) -> list[Light]:
    """Lights as they are set up: those that the scene's `set_up` names, in its order, then the rest as usual.

    The usual order (common practice, no source) begins with what cannot be switched on and off: ambient light, sky,
    sun, lamps in that role; then key, fill, background, hair, rim and the rest, each kind in the scene's order.
    """
    named = {name: rank for rank, name in enumerate(stage.set_up)}
    return sorted(stage.lights, key=lambda light: (named.get(light.name, len(named)), *_rank(light)))


def _rank(light: Light) -> tuple[int, int]:
    if is_ambient(light):
        return 0, _AMBIENT.index(_ambient_kind(light))
    return 1, _ROLES.index(light.role) if light.role in _ROLES else len(_ROLES)


def _ambient_kind(light: Light) -> str:
    if light.distant is not None:
        return light.distant.kind
    return "ambient" if light.fixture is None else "lamp"


def is_ambient(light: Light) -> bool:
    """Whether a light is there before the first head is set up: sun, sky, ambient light, or any in that role."""
    return light.fixture is None or light.role == "ambient"
