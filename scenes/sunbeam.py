"""The sunlight that comes straight through a window, as a body in the room."""

from __future__ import annotations

import numpy as np

from .window_place import SetWindow

UP = np.array([0.0, 1.0, 0.0])
_INWARD_M = 1e-4


def sunlit_opening(window: SetWindow, toward: np.ndarray) -> np.ndarray | None:
    """The part of a window's opening, (2, 2), least and greatest (u, v) in metres from its middle on the wall's inner
    face, through which the sun shines straight in: past the wall's thickness, curtain and blind. None without any.

    Parameters
    ----------
    toward : (3,), unit vector from the set toward the sun.
    """
    bare, slope = window.bare(), float(toward @ window.place.out)
    if bare is None or slope <= 1e-6:
        return None
    half = window.place.size_m / 2
    shift = np.array([float(toward @ window.place.along), float(toward[1])]) / slope * window.place.wall_m
    low, high = np.maximum(bare[0], -half - shift), np.minimum(bare[1], half - shift)
    return np.stack([low, high]) if (low < high).all() else None


def sunbeam(window: SetWindow, toward: np.ndarray, low_m: np.ndarray, high_m: np.ndarray) -> np.ndarray | None:
    """Corners (n, 3) of the convex body that the sun's direct light fills, from a window to the sides of the room;
    None where it does not come in.

    Parameters
    ----------
    toward : (3,), unit vector from the set toward the sun. low_m, high_m : (3,), corners of the room.
    """
    from scipy.spatial import HalfspaceIntersection, QhullError

    lit = sunlit_opening(window, toward)
    if lit is None:
        return None
    place, slope = window.place, float(toward @ window.place.out)
    planes = [np.append(place.out, -float(place.out @ place.centre_m))]
    for k, axis in enumerate((place.along, UP)):
        across = axis - float(toward @ axis) / slope * place.out  # how far off the middle a ray came in
        offset = float(across @ place.centre_m)
        planes += [np.append(-across, lit[0, k] + offset), np.append(across, -lit[1, k] - offset)]
    for k in range(3):
        unit = np.eye(3)[k]
        planes += [np.append(-unit, low_m[k]), np.append(unit, -high_m[k])]
    u, v = lit.mean(axis=0)
    inside = place.at(u, v, 0.0) - _INWARD_M / slope * toward
    try:
        corners: np.ndarray = HalfspaceIntersection(np.array(planes), inside).intersections
    except QhullError:  # the window lies in the room's own edge
        return None
    return corners
