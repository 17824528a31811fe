"""Type A and type B photometry turned into type C.

Both give intensity over two angles, horizontal h to the right as seen along the light, and vertical v upward; the
light leaves along h = v = 0, which becomes the axis, with C0 to the right and C90 up. In type A (headlights) the poles
stand above and below: right = sin h cos v, up = sin v. In type B (floodlights) they lie to the right and left:
right = sin h, up = cos h sin v.

References
----------
CIE 121:1996, The photometry and goniophotometry of luminaires, A and B planes; ANSI/IESNA LM-63-02, definitions.
"""

from __future__ import annotations

import math

import numpy as np

from .photometry import flux_lm

INEXACT = "whose beam is too fine to be converted exactly"
"""What is wrong with a table that `to_type_c` refuses, as part of a sentence."""

_FLUX_ROUNDING = 0.005
_PEAK_ROUNDING = 0.03
_REFINEMENT = 4
_FINEST_DEG, _COARSEST_DEG = 0.25, 0.5
_MOST_PLANES = 720


def to_type_c(
    kind: str, h_deg: np.ndarray, v_deg: np.ndarray, candela: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray] | None:
    """Planes C, angles gamma (degrees) and candela (c, g) of a table by horizontal and vertical angle.

    The table, linear in both angles, is read at a quarter of its finest step, but 0.25 to 0.5 degrees. None when what
    comes out has a flux off by more than 0.5 % or a peak off by more than 3 %: its beam is finer than the new grid.

    Parameters
    ----------
    kind : "A" or "B".
    h_deg, v_deg : (h,) and (v,), ascending within -90 to 90; dark outside. candela : (h, v).
    """
    finest = float(min(np.diff(h_deg).min(), np.diff(v_deg).min()))
    corners = np.meshgrid(h_deg, v_deg, indexing="ij")
    widest = float(_off_axis_deg(kind, *corners)[candela > 0].max()) + float(
        max(np.diff(h_deg).max(), np.diff(v_deg).max())
    )
    widest = min(widest, 90.0)
    step = min(max(finest / _REFINEMENT, _FINEST_DEG), _COARSEST_DEG)
    step = 90 / math.ceil(90 / step)
    columns = math.ceil(widest / step - 1e-9) + 1
    widest = step * (columns - 1)
    rows = min(_MOST_PLANES, 4 * math.ceil(math.sin(math.radians(widest)) * 90 / step))
    gamma, around = np.linspace(0, widest, columns), np.arange(rows) * 360 / rows
    h, v = _horizontal_vertical_deg(kind, np.radians(around)[:, None], np.radians(gamma)[None, :])
    table = _bilinear(h_deg, v_deg, candela, h, v)
    flux = _flux_lm(kind, h_deg, v_deg, candela)
    if abs(flux_lm(table, around, gamma) / flux - 1) > _FLUX_ROUNDING:
        return None
    if abs(table.max() / candela.max() - 1) > _PEAK_ROUNDING:
        return None
    return around, gamma, table


def _off_axis_deg(kind: str, h_deg: np.ndarray, v_deg: np.ndarray) -> np.ndarray:
    """Angle off the axis; cos h cos v for both kinds."""
    return np.degrees(np.arccos(np.clip(np.cos(np.radians(h_deg)) * np.cos(np.radians(v_deg)), -1, 1)))


def _horizontal_vertical_deg(kind: str, around: np.ndarray, off_axis: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    sine, forward = np.sin(off_axis), np.cos(off_axis)
    right, up = sine * np.cos(around), sine * np.sin(around)
    forward = np.broadcast_to(np.maximum(forward, 0), right.shape)
    if kind == "A":
        return np.degrees(np.arctan2(right, forward)), np.degrees(np.arcsin(np.clip(up, -1, 1)))
    return np.degrees(np.arcsin(np.clip(right, -1, 1))), np.degrees(np.arctan2(up, forward))


def _bilinear(x: np.ndarray, y: np.ndarray, table: np.ndarray, at_x: np.ndarray, at_y: np.ndarray) -> np.ndarray:
    """Table (x, y) read between its entries; 0 outside."""
    i = np.clip(np.searchsorted(x, at_x, side="right") - 1, 0, len(x) - 2)
    j = np.clip(np.searchsorted(y, at_y, side="right") - 1, 0, len(y) - 2)
    s, t = (at_x - x[i]) / (x[i + 1] - x[i]), (at_y - y[j]) / (y[j + 1] - y[j])
    value = (table[i, j] * (1 - t) + table[i, j + 1] * t) * (1 - s) + (
        table[i + 1, j] * (1 - t) + table[i + 1, j + 1] * t
    ) * s
    rounding = 1e-9
    inside = (s >= -rounding) & (s <= 1 + rounding) & (t >= -rounding) & (t <= 1 + rounding)
    return np.where(inside, np.maximum(value, 0), 0.0)


def _flux_lm(kind: str, h_deg: np.ndarray, v_deg: np.ndarray, candela: np.ndarray) -> float:
    """Flux of the table itself: its solid angle is cos v dh dv (type A) or cos h dh dv (type B)."""
    if kind == "A":
        return float(_plain(h_deg) @ candela @ _by_cosine(v_deg))
    return float(_by_cosine(h_deg) @ candela @ _plain(v_deg))


def _plain(angle_deg: np.ndarray) -> np.ndarray:
    """Weights (n,) that integrate a piecewise linear function of an angle."""
    step = np.diff(np.radians(angle_deg))
    return np.append(step, 0) / 2 + np.insert(step, 0, 0) / 2


def _by_cosine(angle_deg: np.ndarray) -> np.ndarray:
    """Weights (n,) that integrate a piecewise linear function times the cosine of its angle, by closed form."""
    a = np.radians(angle_deg)
    slope = -np.diff(np.cos(a)) / np.diff(a)  # mean of the sine over each interval
    rising, falling = np.sin(a[1:]) - slope, slope - np.sin(a[:-1])
    return np.append(falling, 0) + np.insert(rising, 0, 0)
