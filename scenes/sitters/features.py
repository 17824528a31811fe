"""Small changes of a face: smooth shifts of the head's points that tell figures of one build apart.

Everything works in the head's frame (metres, +x the figure's left, +y up, +z forward) and leaves the eyeballs
where they are. The fields are smooth, so skin, brows and lashes can go through them each on their own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .noise import smooth_step


@dataclass(frozen=True, slots=True)
class Features:
    """How a face differs from its base build; the defaults change nothing.

    Attributes
    ----------
    lids_deg : how much further the upper lids are opened, degrees about the eye's centre.
    jaw, nose_width, lips : scale of the jaw's width, the nose's width, the fullness of the lips.
    nose_out_mm, nose_up_mm : shift of the tip of the nose forward and up.
    chin_mm : shift of the chin, up; negative makes a longer face.
    cheeks_mm : fullness of the cheeks, outward.
    brows_mm : shift of the brows, up.
    """

    lids_deg: float = 0.0
    jaw: float = 1.0
    nose_width: float = 1.0
    nose_out_mm: float = 0.0
    nose_up_mm: float = 0.0
    lips: float = 1.0
    chin_mm: float = 0.0
    cheeks_mm: float = 0.0
    brows_mm: float = 0.0


def _near(points: np.ndarray, centre: np.ndarray, radii_m: tuple[float, float, float]) -> np.ndarray:
    return np.exp(-(((points - centre) / radii_m) ** 2).sum(axis=-1))


def reshape_face(points: np.ndarray, places: dict[str, np.ndarray], features: Features) -> np.ndarray:
    """Points (..., 3) of the head with the features applied, the lids' opening apart."""
    x, y = points[..., 0], points[..., 1]
    lip, chin, nose = places["upper_lip"], places["chin"], places["nose"]
    move = np.zeros(points.shape)

    jaw = smooth_step(lip[1] + 0.035, lip[1] - 0.030, y) * smooth_step(chin[1] - 0.060, chin[1] - 0.010, y)
    jaw = jaw * smooth_step(places["ear_L"][2] - 0.02, places["ear_L"][2] + 0.03, points[..., 2])
    move[..., 0] += (features.jaw - 1) * x * jaw
    move[..., 1] += 1e-3 * features.chin_mm * _near(points, chin, (0.045, 0.026, 0.045))

    tip = _near(points, nose, (0.020, 0.020, 0.026))
    move[..., 0] += (features.nose_width - 1) * x * tip
    move[..., 1] += 1e-3 * features.nose_up_mm * tip
    move[..., 2] += 1e-3 * features.nose_out_mm * tip

    mouth = lip - [0.0, 0.007, 0.0]
    at_mouth = _near(points, mouth, (0.030, 0.015, 0.030))
    move[..., 1] += (features.lips - 1) * (y - mouth[1]) * at_mouth
    move[..., 2] += (features.lips - 1) * 0.006 * at_mouth

    for side, sign in (("L", 1.0), ("R", -1.0)):
        cheek = places[f"cheek_{side}"] - [0.0, 0.016, 0.0]
        full = 1e-3 * features.cheeks_mm * _near(points, cheek, (0.026, 0.024, 0.030))
        move += full[..., None] * np.array([0.7 * sign, 0.0, 0.7])
        brow = places[f"eye_{side}"] + [0.006 * sign, 0.023, 0.0]
        move[..., 1] += 1e-3 * features.brows_mm * _near(points, brow, (0.030, 0.012, 0.040))
    return points + move


def open_lids(
    points: np.ndarray, at: np.ndarray, eyes: list[tuple[np.ndarray, float]], opening_deg: float
) -> np.ndarray:
    """Points (..., 3) turned up about the eyes' centres as the upper lids turn.

    `at` has a place for each point that says how far it follows the lid (the point itself for skin, the root
    for a lash); `eyes` holds (centre (3,), radius) in the head's frame. Lids turn about the ball's centre
    and so keep their distance from it.
    """
    if opening_deg == 0.0:
        return points
    out = points.copy()
    for centre, radius in eyes:
        offset = at - centre
        lift = np.degrees(np.arctan2(offset[..., 1], offset[..., 2]))
        weight = smooth_step(-14.0, -2.0, lift) * smooth_step(58.0, 26.0, lift)
        weight = weight * smooth_step(1.7, 1.2, np.linalg.norm(offset, axis=-1) / radius)
        weight = weight * smooth_step(1.0, 0.35, np.abs(offset[..., 0]) / radius)
        turn = np.radians(opening_deg) * weight
        y, z = out[..., 1] - centre[1], out[..., 2] - centre[2]
        out[..., 1] = centre[1] + np.cos(turn) * y + np.sin(turn) * z
        out[..., 2] = centre[2] + np.cos(turn) * z - np.sin(turn) * y
    return out
