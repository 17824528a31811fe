"""Planes around a luminaire's axis: unfolding symmetric ones to the full turn, and their weights."""

from __future__ import annotations

import numpy as np

_ANGLE_ROUNDING = 1e-2


def turn_weights(c_deg: np.ndarray) -> np.ndarray:
    """Share (c,) of the full turn that each plane stands for: half way to both neighbours. They add up to 1."""
    if len(c_deg) == 1:
        return np.ones(1)
    gaps = np.diff(c_deg, append=c_deg[0] + 360)
    return (gaps + np.roll(gaps, 1)) / 720


def unfold(c_deg: np.ndarray, candela: np.ndarray) -> tuple[np.ndarray, np.ndarray, list[str]] | None:
    """Planes of a symmetric luminaire over the full turn, with notes; None when the planes do not say the rest.

    Parameters
    ----------
    c_deg : (c,) ascending; candela : (c, g). A single plane at 0 is a body of revolution; 0 to 90 a quarter that both
        main planes mirror; 0 to 180 a half that C0-C180 mirrors; 90 to 270 and -90 to 90 halves that C90-C270
        mirrors; 0 to 360, with or without the last, the whole.
    """
    first, last = float(c_deg[0]), float(c_deg[-1])
    if len(c_deg) == 1:
        return (np.zeros(1), candela, []) if _near(first, 0) else None
    if _near(first, 0) and _near(last, 90):
        c_deg, candela = _mirrored(c_deg, candela, 180.0)
        first, last = 0.0, 180.0
    if _near(first, 0) and _near(last, 180):
        c_deg, candela = _mirrored(c_deg, candela, 360.0)
        return (*_whole(c_deg, candela), [])
    if (_near(first, 90) and _near(last, 270)) or (_near(first, -90) and _near(last, 90)):
        c_deg, candela = _mirrored(c_deg, candela, 2 * last)
        return (*_whole(c_deg, candela), [])
    if _near(first, 0) and _near(last, 360):
        notes = []
        if not np.allclose(candela[0], candela[-1], rtol=1e-3, atol=1e-6 * candela.max()):
            notes.append("the planes at 0 and 360 degrees differ, though they are the same; the first is used")
        return c_deg[:-1], candela[:-1], notes
    step = np.diff(c_deg)
    if _near(first, 0) and np.ptp(step) < _ANGLE_ROUNDING and _near(last + step[0], 360):
        return c_deg, candela, []
    return None


def _near(a: float, b: float) -> bool:
    return abs(a - b) < _ANGLE_ROUNDING


def _mirrored(c_deg: np.ndarray, candela: np.ndarray, sum_deg: float) -> tuple[np.ndarray, np.ndarray]:
    """The planes and, behind them, their images at `sum_deg` - C; the plane that is its own image once."""
    return np.concatenate([c_deg, sum_deg - c_deg[-2::-1]]), np.concatenate([candela, candela[-2::-1]])


def _whole(c_deg: np.ndarray, candela: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """A closed turn sorted from C0, its last plane, which repeats the first, left out."""
    around = np.round(c_deg[:-1] % 360, 6) % 360
    order = np.argsort(around)
    return around[order], candela[:-1][order]
