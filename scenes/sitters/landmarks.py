"""Named places on a figure, moved from the bare base body onto what the camera sees."""

from __future__ import annotations

from typing import Any

import numpy as np

from .figure import Landmark
from .mesh import unit
from .skin import Skin

_RENAMED = {"nose_tip": "nose"}
_UNDER_CLOTHES = ("chest", "shoulder_L", "shoulder_R")
_COLUMN_M = 0.012
_REACH_M = 0.08
_HAND_M = 0.08


def body_landmarks(meta: dict[str, Any], skin: Skin, cloth: list[tuple[np.ndarray, np.ndarray]]) -> dict[str, Landmark]:
    """Landmarks in the figure's stored frame.

    Places on bare skin lie on the refined surface with its normal. `cloth` holds (vertices, normals) of the
    clothes: chest and shoulders move out along their normal to the outermost of them. The places between
    the eyes and in the middle of the face move out to the skin.
    """
    found: dict[str, Landmark] = {}
    for key, note in meta["landmarks"].items():
        name = _RENAMED.get(key, key)
        place, normal = np.array(note["position"]), unit(np.array(note["normal"]))
        index = skin.surface_of.get(note.get("vertex", -1))
        if name in _UNDER_CLOTHES:
            place, normal = _onto_cloth(place, normal, cloth)
        elif index is not None:
            place, normal = skin.vertices[index], skin.normals[index]
        found[name] = Landmark(place, normal)
    for side, eye in meta["eyes"].items():
        gaze = np.array(eye["axes"])[:, 2]
        found[f"eye_{side}"] = Landmark(np.array(eye["centre"]) + gaze * eye["radius"], gaze)
    found["hair_top"] = Landmark(np.array(meta["hair_top"]), np.array([0.0, 1.0, 0.0]))
    facing = unit(np.array(meta["face_normal"]))
    eyes = (found["eye_L"].position_m + found["eye_R"].position_m) / 2
    middle = (eyes + found["upper_lip"].position_m) / 2
    found["eyes"] = Landmark(_out_to(eyes, facing, [skin.vertices]), facing)
    found["face"] = Landmark(_out_to(middle, facing, [skin.vertices]), facing)
    return found


def _out_to(place: np.ndarray, normal: np.ndarray, surfaces: list[np.ndarray]) -> np.ndarray:
    """The place moved along its normal to the outermost vertex in a narrow column around it."""
    reach = 0.0
    for vertices in surfaces:
        offset = vertices - place
        out = offset @ normal
        aside = np.linalg.norm(offset - out[:, None] * normal, axis=1)
        near = (aside < _COLUMN_M) & (out < _REACH_M)
        reach = max(reach, float(out[near].max(initial=0.0)))
    return place + reach * normal


def _onto_cloth(
    place: np.ndarray, normal: np.ndarray, cloth: list[tuple[np.ndarray, np.ndarray]]
) -> tuple[np.ndarray, np.ndarray]:
    """The place on top of the clothes, and the mean normal of a hand's breadth of cloth around it."""
    place = _out_to(place, normal, [vertices for vertices, _ in cloth])
    total = 1e-3 * normal
    for vertices, normals in cloth:
        near = (np.linalg.norm(vertices - place, axis=1) < _HAND_M) & (normals @ normal > 0.2)
        total = total + normals[near].sum(axis=0)
    return place, unit(total)


def shifted(landmarks: dict[str, Landmark], offset: np.ndarray) -> dict[str, Landmark]:
    """The same places moved by `offset` (3,), in alphabetical order."""
    return {name: Landmark(landmarks[name].position_m + offset, landmarks[name].normal) for name in sorted(landmarks)}
