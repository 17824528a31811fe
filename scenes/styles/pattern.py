"""What the light draws on a face: the shadow of the nose, the lit triangle on the far cheek, how much of it is lit.

The same reading serves to place a light (with shadows told from the relief alone) and to check what was traced.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from .frame import FaceFrame
from .relief import CELL_M, Relief, nose_cells, nose_zone, shadowed, under_nose, without_nose

DARK_SHARE = 0.18
"""Skin counts as lit from this share of what the brightest skin gets: two and a half stops under (common practice, no
source)."""

BRIGHTEST = 0.98
"""Share of the face darker than what counts as its brightest skin."""

SHADOW_SHARE = 0.75
"""A shadow begins where this share of the light is left; under a large soft light it may get no darker than half
(common practice, no source)."""

SMALLEST_TRIANGLE = 0.02
"""Least area of a cheek triangle, in squares of the distance between the pupils: 70 mm2 on an adult."""

_SMALLEST_SHADOW_CELLS = 4
_FAR_SHARE = 0.9
_SECTOR_SLOPE = 0.5  # tangent of half the angle at the tip in which its shadow lies
_UNDER_EYE = 0.12


@dataclass(frozen=True, slots=True)
class FaceLight:
    """Light on the cells of a relief, each (rows, columns), bool but for the level.

    Attributes
    ----------
    lit : skin the light reaches. turned : skin that looks away from it.
    nose_shadow : skin off the nose, and joined to it, from which the nose takes a quarter of the light or more.
    level : what each cell gets, 1 on the brightest skin.
    toward_left : whether the light stands at the sitter's left, which is camera right.
    """

    lit: np.ndarray
    turned: np.ndarray
    nose_shadow: np.ndarray
    level: np.ndarray
    toward_left: bool


@dataclass(frozen=True, slots=True)
class FacePattern:
    """What is to be seen of the light on a face; lengths along the face's front view, metres.

    Attributes
    ----------
    shadow_area_m2 : of the nose's shadow beside the nose.
    shadow_deg : direction of its middle from the nose's tip, from straight down, positive toward the sitter's left;
        None where there is next to none below the tip.
    shadow_length_m : from the nose's tip to its far end, that way; None likewise.
    triangle_m2, triangle_width_m : lit patch on the cheek away from the light, under the eye, that no lit skin joins to
        the lit side; 0 where there is none.
    lit_left, lit_right : lit share of the sitter's left and right half, 0 to 1.
    """

    shadow_area_m2: float
    shadow_deg: float | None
    shadow_length_m: float | None
    triangle_m2: float
    triangle_width_m: float
    lit_left: float
    lit_right: float


def light_from(relief: Relief, light_m: np.ndarray) -> FaceLight:
    """The light of a source on a face, by the relief alone: straight lines from a few points of its exit.

    Parameters
    ----------
    light_m : (n, 3) in the face's own coordinates, metres; equally bright points of the exit.
    """
    points, hole = relief.points(), without_nose(relief)
    bare, whole, cut = (np.zeros(relief.seen.shape) for _ in range(3))
    for place in light_m:
        toward = place - points
        facing = np.einsum("ijk,ijk->ij", toward, relief.normals) / np.linalg.norm(toward, axis=-1)
        received = np.where(relief.seen, np.maximum(np.nan_to_num(facing), 0), 0)
        bare += received
        whole += received * ~shadowed(relief, place)
        cut += received * ~shadowed(hole, place, points)
    return told_apart(relief, bare, whole, cut, bool(light_m[:, 0].mean() >= 0))


def told_apart(relief: Relief, bare: np.ndarray, whole: np.ndarray, cut: np.ndarray, toward_left: bool) -> FaceLight:
    """Lit skin, skin turned away, and the shadow of the nose, from what the cells receive.

    Parameters
    ----------
    bare, whole, cut : (rows, columns), what the light gives each cell with nothing in between, with the face as it is,
        and with the nose taken out; of one scale.
    """
    most = float(np.quantile(bare[relief.seen], BRIGHTEST)) if relief.seen.any() else 0.0
    least = DARK_SHARE * most
    facing = relief.seen & (bare > least)
    points = relief.points()
    by_nose = (cut > least) & (whole <= SHADOW_SHARE * cut)
    right_under = under_nose(relief.frame, points) & facing & (whole <= SHADOW_SHARE * bare)
    shadow = _joined_to_nose(relief, relief.seen & (by_nose | right_under))
    level = whole / most if most > 0 else np.zeros_like(whole)
    return FaceLight(relief.seen & (whole > least), relief.seen & ~facing, shadow, level, toward_left)


def _joined_to_nose(relief: Relief, cells: np.ndarray) -> np.ndarray:
    """Those of the cells off the nose whose patch touches it, (rows, columns) bool."""
    from scipy.ndimage import binary_dilation, label

    nose = nose_cells(relief)
    patches, _ = label(cells & ~nose, np.ones((3, 3)))
    joined = np.unique(patches[binary_dilation(nose, iterations=2)])
    found: np.ndarray = np.isin(patches, joined[joined > 0])
    return found


def pattern_of(relief: Relief, light: FaceLight) -> FacePattern:
    """Read the shadow of the nose, the cheek triangle and the lit halves."""
    direction, length = _nose_shadow(relief, light.nose_shadow)
    area, width = _triangle(relief, light)
    u, _ = np.meshgrid(relief.u_m, relief.v_m)
    left = relief.seen & (u > relief.frame.nose_m[0])
    right = relief.seen & (u <= relief.frame.nose_m[0])
    return FacePattern(
        float(light.nose_shadow.sum()) * CELL_M**2, direction, length, area, width,
        _share(light.lit, left), _share(light.lit, right),
    )  # fmt: skip


def _share(lit: np.ndarray, of: np.ndarray) -> float:
    return float((lit & of).sum() / max(int(of.sum()), 1))


def _nose_shadow(relief: Relief, shadow: np.ndarray) -> tuple[float | None, float | None]:
    """Direction (degrees) and length (m) of the shadow below the tip: to its middle, and as far as all but a tenth.

    What lies below the tip tells roughly where the shadow points; then what lies to either side of that counts, since a
    shadow that points far aside reaches above the tip and would be cut off on one side.
    """
    tip = relief.tip()
    u, v = np.meshgrid(relief.u_m - tip[0], relief.v_m - tip[1])
    below = shadow & (v < 0)
    if below.sum() < _SMALLEST_SHADOW_CELLS:
        return None, None
    side, down = float(u[below].mean()), -float(v[below].mean())
    about = shadow & (np.abs(u * down + v * side) <= (u * side - v * down) * _SECTOR_SLOPE)
    if about.sum() >= _SMALLEST_SHADOW_CELLS:
        below, side, down = about, float(u[about].mean()), -float(v[about].mean())
    along = (u[below] * side - v[below] * down) / math.hypot(side, down)
    return math.degrees(math.atan2(side, down)), float(np.quantile(along, _FAR_SHARE))


def cheek_zone(frame: FaceFrame, relief: Relief) -> np.ndarray:
    """Cells under the eyes and beside or under the nose, down to the chin: (rows, columns) bool."""
    under: np.ndarray = relief.seen & (relief.v_m < frame.eye_line_m - _UNDER_EYE * frame.eye_span_m)[:, None]
    return under & ~nose_zone(frame, relief.points())


def _triangle(relief: Relief, light: FaceLight) -> tuple[float, float]:
    """Area (m2) and width (m) of the largest lit patch on the far cheek that nothing lit joins to the lit side."""
    from scipy.ndimage import binary_dilation, label

    frame = relief.frame
    zone = cheek_zone(frame, relief)
    far = (relief.u_m < frame.nose_m[0]) if light.toward_left else (relief.u_m > frame.nose_m[0])
    patches, count = label(light.lit & zone)
    by_nose = binary_dilation(light.nose_shadow, iterations=2)
    best, width = 0.0, 0.0
    for number in range(1, count + 1):
        patch = patches == number
        area = float(patch.sum()) * CELL_M**2
        rows, _ = np.nonzero(patch)
        on_far_side = bool((patch & far[None, :]).sum() > 0.97 * patch.sum())
        on_cheek = frame.lip_m < float(relief.v_m[rows].mean()) < frame.eye_line_m
        if area > best and on_far_side and on_cheek and (patch & by_nose).any():
            best, width = area, _width_m(patch, light.level)
    if best < SMALLEST_TRIANGLE * frame.eye_span_m**2:
        return 0.0, 0.0
    return best, width


def _width_m(patch: np.ndarray, level: np.ndarray) -> float:
    """Width of the brighter part of a patch, within a stop of its brightest tenth."""
    bright = patch & (level >= 0.5 * np.quantile(level[patch], 0.9))
    columns = np.flatnonzero(bright.any(axis=0))
    return float(np.ptp(columns) + 1) * CELL_M
