"""What a traced key does to a face, as numbers."""

from __future__ import annotations

import math

import numpy as np

from scenes.stage import Camera, Light, Stage
from scenes.styles.frame import FaceFrame
from scenes.styles.pattern import FacePattern, light_from, pattern_of
from scenes.styles.placing import exit_points
from scenes.styles.relief import Relief

from ..record import Record
from .reading import FaceReading, SkinLevels

RATIO_IS = "brighter to darker cheek, all lights on, by flat meters lying on the skin of both cheeks"

_EDGE = 0.15
_LEAST_LX_S = 1e-6
_SIDEWAYS = 0.35


class NoseShadow(Record):
    """The shadow of the nose in the face's front view, from the tip of the nose; None where there is next to none.

    Attributes
    ----------
    direction_deg, length_mm : found by tracing; degrees from straight down, positive toward the sitter's left.
    expected_direction_deg, expected_length_mm : by straight lines from the light over the sitter's own nose.
    tan_deg : where a stick along the nose axis throws its shadow on a flat face, atan(sin azimuth / tan elevation).
    """

    direction_deg: float | None
    length_mm: float | None
    expected_direction_deg: float | None
    expected_length_mm: float | None
    tan_deg: float


class LitShares(Record):
    """Lit shares of the face, 0 to 1.

    Attributes
    ----------
    key_side, shadow_side : of the two halves in the face's front view, toward the key and away from it.
    camera_side, far_side : of the two halves, weighed as the camera sees them; the half toward the camera first.
    profile_edge : of a strip along the middle of the face, a seventh of the distance between the pupils to either side.
    """

    key_side: float
    shadow_side: float
    camera_side: float
    far_side: float
    profile_edge: float


class FaceFacts(Record):
    """What the key does to the face.

    Attributes
    ----------
    azimuth_deg, elevation_deg : where the light stands from the nose axis; positive toward the sitter's left, and up.
    turn_deg : of the face from the camera, positive to camera right.
    key_side, shadow_side : where the key and the other side of the face are, for the camera: "camera left", "camera
        right"; for a face in profile "the near side", "the far side".
    triangle_mm2, triangle_width_mm : lit patch on the cheek away from the key that no lit skin joins to the lit side; 0
        where there is none. eye_distance_mm : between the pupils, for scale.
    ratio, ratio_stops : as `ratio_is` says; None where the darker cheek gets nothing.
    under_stops : light on the chin from below and front, over (+) or under (-) that on the forehead from above and
        front, all lights on; None where one of them gets nothing.
    """

    azimuth_deg: float
    elevation_deg: float
    turn_deg: float
    key_side: str
    shadow_side: str
    nose_shadow: NoseShadow
    triangle_mm2: float
    triangle_width_mm: float
    eye_distance_mm: float
    lit: LitShares
    ratio: float | None
    ratio_stops: float | None
    ratio_is: str = RATIO_IS
    under_stops: float | None


def facts_of(stage: Stage, key: Light, reading: FaceReading, levels: SkinLevels) -> FaceFacts:
    """The numbers of a reading."""
    assert key.fixture is not None
    relief = reading.relief
    frame = relief.frame
    pattern = pattern_of(relief, reading.light)
    exit_m = frame.local(exit_points(key.fixture))
    expected = pattern_of(relief, light_from(relief, exit_m))
    azimuth, elevation = frame.angles_deg(key.fixture.centre_m)
    key_left = reading.light.toward_left
    ratio = _over(max(levels.left, levels.right), min(levels.left, levels.right))
    under = _over(levels.under, levels.over)
    return FaceFacts(
        azimuth_deg=_tidy(azimuth),
        elevation_deg=_tidy(elevation),
        turn_deg=_tidy(frame.turn_from_deg(stage.camera.origin_m)),
        key_side=side_word(frame, stage.camera, key_left),
        shadow_side=side_word(frame, stage.camera, not key_left),
        nose_shadow=_shadow(pattern, expected, azimuth, elevation),
        triangle_mm2=_tidy(1e6 * pattern.triangle_m2),
        triangle_width_mm=_tidy(1e3 * pattern.triangle_width_m),
        eye_distance_mm=_tidy(1e3 * frame.eye_span_m),
        lit=_lit(stage, reading, pattern),
        ratio=None if ratio is None else round(ratio, 3),
        ratio_stops=None if ratio is None else round(math.log2(ratio), 3),
        under_stops=None if under is None else round(math.log2(under), 3),
    )


def _tidy(value: float) -> float:
    return round(value, 1) + 0.0


def _over(one: float, other: float) -> float | None:
    return one / other if min(one, other) > _LEAST_LX_S else None


def _shadow(found: FacePattern, expected: FacePattern, azimuth_deg: float, elevation_deg: float) -> NoseShadow:
    azimuth, elevation = math.radians(azimuth_deg), math.radians(elevation_deg)
    falls = math.atan2(-math.sin(azimuth) * math.cos(elevation), math.sin(elevation))
    return NoseShadow(
        direction_deg=_or_none(found.shadow_deg),
        length_mm=_or_none(found.shadow_length_m, 1e3),
        expected_direction_deg=_or_none(expected.shadow_deg),
        expected_length_mm=_or_none(expected.shadow_length_m, 1e3),
        tan_deg=_tidy(math.degrees(falls)),
    )


def _or_none(value: float | None, scale: float = 1.0) -> float | None:
    return None if value is None else _tidy(scale * value)


def side_word(frame: FaceFrame, camera: Camera, sitters_left: bool) -> str:
    """Where a side of the face is for the camera: "camera left" or "camera right", in profile "near" or "far side"."""
    way = frame.left if sitters_left else -frame.left
    across = float(way @ camera.right)
    if abs(across) < _SIDEWAYS:
        return "the near side" if float(way @ camera.forward) < 0 else "the far side"
    return "camera right" if across > 0 else "camera left"


def _lit(stage: Stage, reading: FaceReading, pattern: FacePattern) -> LitShares:
    relief, lit = reading.relief, reading.light.lit
    frame = relief.frame
    left, right = pattern.lit_left, pattern.lit_right
    key, other = (left, right) if reading.light.toward_left else (right, left)
    weights = _seen_from(relief, frame.local(stage.camera.origin_m))
    u = np.broadcast_to(relief.u_m - frame.nose_m[0], lit.shape)
    near_left = float(frame.local(stage.camera.origin_m)[0]) >= 0
    near = (u > 0) == near_left
    edge = relief.seen & (np.abs(u) < _EDGE * frame.eye_span_m)
    return LitShares(
        key_side=round(key, 3),
        shadow_side=round(other, 3),
        camera_side=_share(weights * near, lit),
        far_side=_share(weights * ~near, lit),
        profile_edge=_share(edge, lit),
    )


def _seen_from(relief: Relief, place_m: np.ndarray) -> np.ndarray:
    """Size of the cells as seen from a place (3,) in the face's own coordinates: (rows, columns), 0 if turned away."""
    toward = place_m - relief.points()
    facing = np.einsum("ijk,ijk->ij", toward, relief.normals) / np.linalg.norm(toward, axis=-1)
    with np.errstate(invalid="ignore", divide="ignore"):
        sizes = np.where(relief.seen, np.maximum(facing, 0) / relief.normals[..., 2], 0)
    return np.asarray(np.nan_to_num(sizes), float)


def _share(weights: np.ndarray, lit: np.ndarray) -> float:
    total = float(weights.sum())
    return round(float((weights * lit).sum()) / total, 3) if total > 0 else 0.0
