"""Haze on the set: the box it fills, and how its density goes."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from materials.haze import make_medium

from .findings import Problem
from .model import Haze, Room
from .plume import plume_density
from .stage import Haze as SetHaze

OPEN_HALF_M, OPEN_HEIGHT_M = 15.0, 8.0
"""Half the width and depth, and the height, that haze fills on open ground, metres."""

LEAST_RUN_M = 0.3
"""How far a plume must run inside the set, metres."""

_LAYER_NODES = 96
_LAYERS_HIGH = 8.0  # falloffs, above which a layer has thinned away


def haze_box(room: Room | None) -> tuple[np.ndarray, np.ndarray]:
    """Corners (3,) of what haze can fill: the room, or the air over open ground."""
    if room is None:
        return np.array([-OPEN_HALF_M, 0.0, -OPEN_HALF_M]), np.array([OPEN_HALF_M, OPEN_HEIGHT_M, OPEN_HALF_M])
    half = room.size_m[0] / 2
    return np.array([-half, 0.0, room.back_z_m()]), np.array([half, room.size_m[2], room.front_z_m()])


def resolve_haze(haze: Haze, room: Room | None) -> SetHaze:
    """The haze of a scene in the world."""
    medium = make_medium(haze.fluid, droplet_um=haze.droplet_um, **haze.amount())
    low, high = haze_box(room)
    shape = haze.shape()
    if shape == "even":
        return SetHaze(medium, low, high, None)
    if shape == "layered":
        top = min(high[1], _LAYERS_HIGH * haze.falloff_m())
        height = np.linspace(0, top, _LAYER_NODES)
        density = np.exp(-height / haze.falloff_m()).astype(np.float32)[None, :, None]
        return SetHaze(medium, low, np.array([high[0], top, high[2]]), density)
    turn = np.radians(haze.toward_deg)
    toward = np.array([np.sin(turn), 0.0, np.cos(turn)])
    source = np.array(haze.from_m, float)
    return SetHaze(
        medium, low, high,
        plume_density(source, toward, haze.rise_deg, haze.spread_deg, low, high, haze.cells, haze.seed),
    )  # fmt: skip


def haze_problems(haze: Haze, room: Room | None) -> Iterator[Problem]:
    """What is wrong with where the haze is; paths begin at its table."""
    if haze.shape() == "plume" and haze.from_m is not None:
        low, high = haze_box(room)
        place = np.array(haze.from_m, float)
        if (place < low).any() or (place > high).any():
            where = "the room" if room is not None else "the set"
            allowed = "Allowed: " + ", ".join(
                f"{axis} from {a:g} to {b:g}" for axis, a, b in zip("xyz", low, high, strict=True)
            )
            yield Problem(("from_m",), f"the plume comes from outside {where}", f"{allowed}.", "Move it inside.")
            return
        onward = place + LEAST_RUN_M * _drift(haze)
        if (onward < low).any() or (onward > high).any():
            message = f"the plume leaves the set within {LEAST_RUN_M:g} m of its machine"
            yield Problem(("from_m",), message, fix="Turn it inward by toward_deg or rise_deg, or move its machine.")


def _drift(haze: Haze) -> np.ndarray:
    """Unit vector (3,) along which a plume moves."""
    turn, rise = np.radians(haze.toward_deg), np.radians(haze.rise_deg)
    return np.array([np.sin(turn) * np.cos(rise), np.sin(rise), np.cos(turn) * np.cos(rise)])
