"""What a loaded sitter is: parts with their surface weights, and named places on the body."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

SLOTS = (
    "skin",
    "eye",
    "hair",
    "brow",
    "lash",
    "teeth",
    "top",
    "bottom",
    "jacket",
    "shirt",
    "lapel",
    "shoes",
    "seat",
)


@dataclass(frozen=True, slots=True)
class SitterPart:
    """A triangle mesh that takes one finish.

    Attributes
    ----------
    name : unique within the figure, e.g. "face" or "eye_L".
    slot : which finish it takes, one of `SLOTS`.
    region : what a map counts it as: "face", "skin", "hair", "eye", "cloth" or "prop".
    vertices : (n, 3) float32, metres, in the figure's frame.
    faces : (m, 3) int32, counter-clockwise seen from outside.
    normals : (n, 3) float32, unit length.
    tints : (n, 3) uint8, weights (0-255) of the finish's three tint spectra; they sum to at most 255.
    gloss : (n,) uint8, weight (0-255) of the finish's gloss roughness.
    """

    name: str
    slot: str
    region: str
    vertices: np.ndarray
    faces: np.ndarray
    normals: np.ndarray
    tints: np.ndarray
    gloss: np.ndarray


@dataclass(frozen=True, slots=True)
class Landmark:
    """A place on the sitter (3,) in metres, and the unit outward normal (3,) there (both float64)."""

    position_m: np.ndarray
    normal: np.ndarray


@dataclass(frozen=True, slots=True)
class Sitter:
    """A clothed figure with its default finishes.

    The frame: metres, +y up, +z the way the face looks, +x to the figure's left (the camera's right),
    soles on y = 0, origin on the floor under the middle of the head (between the ears), so that turning
    the figure about the vertical turns the head on the spot and a light aimed at the face stays aimed.

    Attributes
    ----------
    name, description : as in `SITTERS`.
    pose : "standing" or "seated".
    height_m : standing or sitting height, sole to crown without hair.
    skin, hair, iris : names of the default skin tone, hair colour and iris colour.
    clothes : slot to the name of its default finish, for every clothes slot (and seat) the figure has.
    landmarks : by name; "_L" and "_R" are the figure's own left and right.
    """

    name: str
    description: str
    pose: str
    height_m: float
    skin: str
    hair: str
    iris: str
    clothes: dict[str, str]
    parts: tuple[SitterPart, ...]
    landmarks: dict[str, Landmark]
