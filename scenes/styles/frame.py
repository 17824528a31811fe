"""The sitter's own face as axes: the nose axis, up along the face, toward the sitter's left."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from materials.errors import KeyfallError

from ..aiming import angles_deg

_NEEDED = ("face", "nose", "forehead", "chin", "cheek_L", "cheek_R")
_EYES_OF_CHEEKS = 0.58
"""Distance between the pupils over that between the cheek landmarks, where the eyes are not known (from memory)."""
_EYES_OF_FACE = 0.62
"""Height of the eyes between chin (0) and forehead landmark (1), where they are not known (from memory)."""


@dataclass(frozen=True, slots=True)
class FaceFrame:
    """A face in the world, and its own coordinates (u, v, w): to the sitter's left, up the face, out along the nose.

    Attributes
    ----------
    origin_m : (3,), the landmark "face", which lights aim at.
    left, up, forward : (3,) orthonormal; `forward` is the nose axis.
    nose_m : (3,), the nose in the face's own coordinates.
    eye_line_m, lip_m, chin_m, brow_m : v of the pupils, the upper lip, the chin and the forehead landmark.
    eye_span_m : distance between the pupils.
    """

    origin_m: np.ndarray
    left: np.ndarray
    up: np.ndarray
    forward: np.ndarray
    nose_m: np.ndarray
    eye_line_m: float
    lip_m: float
    chin_m: float
    brow_m: float
    eye_span_m: float

    def local(self, points: np.ndarray) -> np.ndarray:
        """World points (..., 3) in the face's own coordinates (u, v, w), metres."""
        return self.turned(np.asarray(points, float) - self.origin_m)

    def turned(self, vectors: np.ndarray) -> np.ndarray:
        """World directions (..., 3) along the face's own axes."""
        vectors = np.asarray(vectors, float)
        return np.stack([vectors @ self.left, vectors @ self.up, vectors @ self.forward], axis=-1)

    def world(self, points: np.ndarray) -> np.ndarray:
        """Points (..., 3) in the face's own coordinates as world points, metres."""
        place: np.ndarray = self.origin_m + np.asarray(points, float) @ np.stack([self.left, self.up, self.forward])
        return place

    def direction(self, azimuth_deg: float, elevation_deg: float) -> np.ndarray:
        """World direction (3,) at an azimuth from the nose axis (positive: toward the sitter's left, which is camera
        right) and an elevation up the face."""
        azimuth, elevation = math.radians(azimuth_deg), math.radians(elevation_deg)
        level = math.cos(elevation)
        along = level * (math.sin(azimuth) * self.left + math.cos(azimuth) * self.forward)
        unit: np.ndarray = along + math.sin(elevation) * self.up
        return unit

    def angles_deg(self, place_m: np.ndarray) -> tuple[float, float]:
        """Azimuth from the nose axis and elevation up the face of a place (3,), as the face sees it, degrees."""
        return angles_deg(self.local(place_m))

    def turn_from_deg(self, place_m: np.ndarray) -> float:
        """How far the nose axis is turned from a place such as the camera's, about the vertical, degrees; positive to
        the right as seen from there."""
        toward = np.asarray(place_m, float) - self.origin_m
        turn = math.atan2(self.forward[0], self.forward[2]) - math.atan2(toward[0], toward[2])
        return math.degrees(math.remainder(turn, 2 * math.pi))


def face_frame(places: Mapping[str, np.ndarray]) -> FaceFrame:
    """The frame of a face from its landmarks.

    The line between the eyes (the cheeks, for a mesh) is across the face; upper lip (chin, for a mesh) to forehead,
    made square to it, is up. On an upright head that is plumb to two degrees.

    Parameters
    ----------
    places : landmark to its place (3,) in the world, after the sitter is turned; as `scenes.stage.Stage.landmarks`.

    Raises
    ------
    KeyfallError
        When a landmark is missing, or they do not span a face.
    """
    missing = [name for name in _NEEDED if name not in places]
    if missing:
        raise KeyfallError(f"This sitter has no landmark {', '.join(missing)}, so key styles cannot find its face.")
    at = {name: np.asarray(places[name], float) for name in places}
    with_eyes = "eye_L" in at and "eye_R" in at
    across = at["eye_L"] - at["eye_R"] if with_eyes else at["cheek_L"] - at["cheek_R"]
    rise = at["forehead"] - at["upper_lip" if "upper_lip" in at else "chin"]
    span = float(np.linalg.norm(across))
    left = across / max(span, 1e-9)
    up = rise - (rise @ left) * left
    height = float(np.linalg.norm(up))
    if span < 1e-3 or height < 1e-3:
        raise KeyfallError("The landmarks of this sitter's face lie on one line, so key styles cannot find its face.")
    up = up / height
    axes = np.stack([left, up, np.cross(left, up)])
    own = {name: axes @ (at[name] - at["face"]) for name in at}
    chin, brow, nose = float(own["chin"][1]), float(own["forehead"][1]), own["nose"]
    eyes = float(own["eye_L"][1] + own["eye_R"][1]) / 2 if with_eyes else chin + _EYES_OF_FACE * (brow - chin)
    lip = float(own["upper_lip"][1]) if "upper_lip" in own else float(nose[1] + chin) / 2
    span = span if with_eyes else _EYES_OF_CHEEKS * span
    return FaceFrame(at["face"], axes[0], axes[1], axes[2], nose, eyes, lip, chin, brow, span)
