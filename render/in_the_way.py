"""What stands between a light and the place where it is read."""

from __future__ import annotations

import numpy as np

from scenes.bodies import exit_outline, in_fixture
from scenes.stage import Light, SetPiece, Stage

BLOCKED_SHARE = 0.5
"""From this share of a light's exit that a body hides on, the light counts as blocked by it."""

_RINGS = (0.0, 0.35, 0.7, 0.95)
_STEPS = 400
_FAR_M = 30.0
_SOLID = ("flag", "board")


def in_the_way(light: Light, stage: Stage, probe: str) -> list[str]:
    """Names of fixtures, flags and boards that hide half of a light's exit or more from a meter point.

    By straight lines from points spread over the exit; a body counts whether its own light is on or off. Empty for
    light from all around.
    """
    point = next((p.position_m for p in stage.probes if p.name == probe), None)
    begins = None if point is None else starts(light, point)
    if begins is None or point is None:
        return []
    share = np.linspace(0.0, 1.0, _STEPS + 1)[1:-1, None]
    lines = np.stack([point + share * (start - point) for start in begins])
    found = []
    for other in stage.lights:
        if other.name != light.name and other.fixture is not None:
            inside = in_fixture(other.fixture, lines.reshape(-1, 3)).reshape(lines.shape[:2])
            if inside.any(axis=1).mean() >= BLOCKED_SHARE:
                found.append(other.name)
    for piece in stage.pieces:
        if piece.kind in _SOLID and crossed(piece, begins, point).mean() >= BLOCKED_SHARE:
            found.append(piece.name)
    return found


def starts(light: Light, point: np.ndarray) -> np.ndarray | None:
    """Points (n, 3) spread over a light's exit; one far from `point` for the sun; None for light from all around."""
    if light.fixture is not None:
        middle = light.fixture.centre_m
        return np.concatenate([middle + ring * (exit_outline(light.fixture) - middle) for ring in _RINGS])
    if light.distant is not None and light.distant.kind == "sun":
        return np.atleast_2d(point + _FAR_M * light.distant.toward)
    return None


def crossed(piece: SetPiece, begins: np.ndarray, point: np.ndarray) -> np.ndarray:
    """Which of the lines from `begins` (n, 3) to a point pass through a piece: (n,) bool."""
    way = point - begins
    along = way @ piece.forward
    safe = np.where(np.abs(along) < 1e-9, 1e-9, along)
    share = (piece.centre_m - begins) @ piece.forward / safe
    met = begins + share[:, None] * way - piece.centre_m
    x, y = met @ piece.right / (piece.size_m[0] / 2), met @ piece.up / (piece.size_m[1] / 2)
    on_it = x * x + y * y <= 1 if piece.round else (np.abs(x) <= 1) & (np.abs(y) <= 1)
    through: np.ndarray = on_it & (share > 0) & (share < 1)
    return through
