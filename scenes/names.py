"""The stock names a scene file may use, by kind."""

from __future__ import annotations

from collections.abc import Iterable

from materials.spelling import did_you_mean, nearest

__all__ = ["LANDMARKS", "MESH_LANDMARKS", "did_you_mean", "listed", "nearest", "stock_names"]

LANDMARKS = {
    "face": "middle of the face",
    "eyes": "between the eyes",
    "eye_L": "left eye",
    "eye_R": "right eye",
    "nose": "tip of the nose",
    "glabella": "between the brows",
    "forehead": "middle of the forehead",
    "cheek_L": "left cheek",
    "cheek_R": "right cheek",
    "upper_lip": "upper lip",
    "chin": "chin",
    "ear_L": "left ear",
    "ear_R": "right ear",
    "crown": "top of the skull",
    "hair_top": "top of the hair",
    "throat": "hollow of the throat",
    "chest": "upper chest",
    "shoulder_L": "left shoulder",
    "shoulder_R": "right shoulder",
    "hands": "between the hands",
    "hand_L": "left hand",
    "hand_R": "right hand",
    "floor": "the floor under the sitter",
    "background": "what is behind the sitter, at the height of the face",
}
"""Places every stock figure offers to aim at; left and right are the sitter's own."""

MESH_LANDMARKS = (
    "face", "eyes", "nose", "forehead", "cheek_L", "cheek_R", "chin", "crown", "chest", "floor", "background",
)  # fmt: skip
"""Those that a mesh of the user's own offers, estimated from its height."""


def stock_names(kind: str) -> tuple[str, ...]:
    """Names of a kind: "figure", "skin", "hair", "iris", "finish", "source", "gel", "landmark", "sky", "air",
    or of the stock kit "head" or "modifier"."""
    if kind == "landmark":
        return tuple(LANDMARKS)
    if kind == "figure":
        from .sitters import SITTERS

        return tuple(SITTERS)
    if kind in ("head", "modifier"):
        from .kit import stock_kit

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


def listed(names: Iterable[str], most: int = 12) -> str:
    """Names for a sentence; a long list is cut and its length said."""
    items = list(names)
    if len(items) <= most:
        return ", ".join(items)
    return f"{', '.join(items[:most])} and {len(items) - most} more"
