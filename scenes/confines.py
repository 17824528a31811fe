"""What bounds the set: the closed sides of the room, the floor, the background."""

from __future__ import annotations

import numpy as np

from .model import Background, Room


def beyond(point: np.ndarray, room: Room | None) -> str:
    """The closed side of the room behind which a point is; empty when it is inside or the side is open."""
    if room is None:
        return "floor" if point[1] < 0 else ""
    half = room.size_m[0] / 2
    outside = {
        "floor": point[1] < 0,
        "front": point[2] > room.front_z_m(),
        "back": point[2] < room.back_z_m(),
        "left": point[0] < -half,
        "right": point[0] > half,
        "ceiling": point[1] > room.size_m[2],
    }
    return next((side for side, out in outside.items() if out and side not in room.open), "")


def wall_name(side: str) -> str:
    """Where something beyond a side of the room is, in words."""
    return {"floor": "under the floor", "ceiling": "above the ceiling"}.get(side, f"behind the {side} wall")


def behind_background(point: np.ndarray, background: Background | None) -> bool:
    """Whether the background hides a point from the sitter."""
    return (
        background is not None
        and point[2] < -background.distance_m
        and abs(point[0]) < background.width_m / 2
        and point[1] < background.height_m
    )
