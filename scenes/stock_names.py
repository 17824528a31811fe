"""The stock names that a scene file may use, by kind."""

from __future__ import annotations

from collections.abc import Iterable

from .names import LANDMARKS


def stock_names(kind: str) -> tuple[str, ...]:
    """Names of a kind: "figure", "skin", "hair", "iris", "finish", "source", "gel", "landmark", "sky", "air",
    or of the stock kit "head" or "modifier"."""
    if kind == "landmark":
        return tuple(LANDMARKS)
    if kind == "figure":
        from .sitters import SITTERS

        return tuple(SITTERS)
    if kind in ("head", "modifier"):
        from .kit.stock import stock_kit

        return tuple(stock_kit().heads if kind == "head" else stock_kit().modifiers)
    if kind == "sky":
        from .daylight import SKIES

        return tuple(SKIES)
    return tuple(_MATERIAL_LISTS[kind]())


def _skins() -> Iterable[str]:
    from materials.skin import SKIN_TONES

    return SKIN_TONES


def _hairs() -> Iterable[str]:
    from materials.hair import HAIR_COLOURS

    return HAIR_COLOURS


def _irises() -> Iterable[str]:
    from materials.eye import IRIS_COLOURS

    return IRIS_COLOURS


def _finishes() -> Iterable[str]:
    from materials.finishes import FINISHES

    return FINISHES


def _sources() -> Iterable[str]:
    from materials.sources import SOURCE_KINDS

    return [name for name in SOURCE_KINDS if name != "csv"]


def _airs() -> Iterable[str]:
    from materials.atmosphere import AIRS

    return AIRS


def _gels() -> Iterable[str]:
    from materials.gels import GELS

    return GELS


_MATERIAL_LISTS = {
    "skin": _skins,
    "hair": _hairs,
    "iris": _irises,
    "finish": _finishes,
    "source": _sources,
    "gel": _gels,
    "air": _airs,
}
