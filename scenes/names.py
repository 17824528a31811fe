"""Names of places on a sitter, and names in sentences."""

from __future__ import annotations

from collections.abc import Iterable

from materials.spelling import did_you_mean, nearest

__all__ = ["LANDMARKS", "MESH_LANDMARKS", "did_you_mean", "listed", "nearest"]

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


def listed(names: Iterable[str], most: int = 12) -> str:
    """Names for a sentence; a long list is cut and its length said."""
    items = list(names)
    if len(items) <= most:
        return ", ".join(items)
    return f"{', '.join(items[:most])} and {len(items) - most} more"
