"""Windows of a room: where they are in their walls, and their meshes: reveals, bars, curtains, blinds, glass."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from .findings import Problem
from .model import Background, Room, Window
from .stage import Net, Opening, Openings
from .studio import Surface, joined_quads
from .window_place import CURTAIN_PAST_M, SetWindow, WindowPlace

if TYPE_CHECKING:
    from materials.finishes import Finish

GLASS = {"single": 0.88, "double": 0.78}
"""Share of the light that clear glass lets through, square to it (usual values, from memory)."""

FROSTED_STOPS = 0.6
"""What frosted glass costs, stops (common practice, no source)."""

BAR_DEPTH_M = 0.04
_GLASS_IN_M = 0.03  # how far inside the wall's outer face the glass is
_BAR_IN_M = 0.01
_CURTAIN_OFF_M, _FOLD_M, _FOLD_DEEP_M = 0.08, 0.14, 0.025
_SLAT_LAP = 0.85
_BLIND_PAST_M = 0.06

_OUT = {"front": (0, 0, 1), "back": (0, 0, -1), "left": (-1, 0, 0), "right": (1, 0, 0)}


def wall_span(room: Room, wall: str) -> tuple[float, float]:
    """From where to where a wall runs along x or z, metres."""
    if wall in ("left", "right"):
        return room.back_z_m(), room.front_z_m()
    return -room.size_m[0] / 2, room.size_m[0] / 2


def place_window(room: Room, window: Window) -> WindowPlace:
    """A window in the world."""
    out = np.array(_OUT[window.wall], float)
    along = np.array([abs(out[2]), 0.0, abs(out[0])])
    plane = {"left": -room.size_m[0] / 2, "right": room.size_m[0] / 2, "back": room.back_z_m(),
             "front": room.front_z_m()}[window.wall]  # fmt: skip
    height = window.sill_m + window.size_m[1] / 2
    centre = np.abs(out) * plane + along * window.centre_m + np.array([0.0, height, 0.0])
    return WindowPlace(centre, along, out, np.array(window.size_m, float), room.wall_m)


def places_of(room: Room | None) -> dict[str, WindowPlace]:
    """Every window of a room, by name."""
    return {} if room is None else {name: place_window(room, window) for name, window in room.window.items()}


def set_windows(room: Room | None) -> tuple[SetWindow, ...]:
    """Windows as whoever rigs the set has to know them."""
    if room is None:
        return ()
    found = []
    for name, place in places_of(room).items():
        w = room.window[name]
        columns, rows = w.panes
        stops = None if w.curtain_stops is None else float(w.curtain_stops)
        found.append(
            SetWindow(
                name=name, wall=w.wall, place=place, sill_m=float(w.sill_m), panes=(columns, rows),
                bar_m=float(w.bar_m), glass=w.glass, curtain=w.curtain, curtain_stops=stops,
                drawn=float(w.drawn) if w.curtain or w.curtain_stops else 0.0, blind=w.blind,
                lowered=float(w.lowered) if w.blind else 0.0, slat_deg=float(w.slat_deg),
            )
        )  # fmt: skip
    return tuple(found)


def window_problems(room: Room, background: Background | None) -> Iterator[Problem]:
    """Windows that do not fit their walls or each other; paths begin at the room's table."""
    names = list(room.window)
    for name in names:
        window, key = room.window[name], ("window", name)
        low, high = wall_span(room, window.wall)
        half, top = window.size_m[0] / 2, window.sill_m + window.size_m[1]
        if window.wall in room.open:
            message = f"the {window.wall} side of this room is open, so there is no wall for a window"
            yield Problem((*key, "wall"), message, fix="Choose another wall, or take the side out of open.")
        elif window.centre_m - half < low or window.centre_m + half > high:
            if 2 * half > high - low:
                message = f"this window is {2 * half:g} m wide in a wall of {high - low:g} m"
                yield Problem((*key, "size_m"), message, f"Allowed: up to {high - low:g} m.", "Make it smaller.")
            else:
                yield Problem(
                    (*key, "centre_m"),
                    f"this window reaches past the end of the {window.wall} wall, from {low:g} to {high:g} m",
                    f"Allowed with this width: {low + half:g} to {high - half:g}.", "Move it or make it smaller.",
                )  # fmt: skip
        if top > room.size_m[2]:
            message = f"this window reaches up to {top:g} m in a room {room.size_m[2]:g} m high"
            yield Problem((*key, "size_m"), message, fix="Lower sill_m, or make it less high.")
        for other in names[: names.index(name)]:
            if _overlap(window, room.window[other]):
                message = f"this window and '{other}' overlap"
                yield Problem(key, message, fix="Move one of them along the wall, or up or down.")
        if background is not None and _hidden_by(window, background):
            yield Problem(
                key, "the background hangs before this window, so little of its light reaches the sitter",
                fix="Move the window or the background, or make the background smaller.", severity="warning",
            )  # fmt: skip


def _overlap(one: Window, other: Window) -> bool:
    across = abs(one.centre_m - other.centre_m) < (one.size_m[0] + other.size_m[0]) / 2
    middle = one.sill_m + one.size_m[1] / 2 - other.sill_m - other.size_m[1] / 2
    return one.wall == other.wall and across and abs(middle) < (one.size_m[1] + other.size_m[1]) / 2


def _hidden_by(window: Window, background: Background) -> bool:
    across = abs(window.centre_m) < (window.size_m[0] + background.width_m) / 2
    return window.wall == "back" and across and background.height_m > window.sill_m


def openings_of(room: Room | None) -> Openings | None:
    """The ways by which light from outside comes into a room; None for an open location and a closed room."""
    if room is None or not (room.open or room.window):
        return None
    low = np.array([-room.size_m[0] / 2, 0.0, room.back_z_m()])
    high = np.array([room.size_m[0] / 2, room.size_m[2], room.front_z_m()])
    found = [_open_side(side, low, high) for side in room.open]
    for place in places_of(room).values():
        found.append(
            Opening(place.at(0.0, 0.0, place.wall_m), place.along, np.array([0.0, 1.0, 0.0]), -place.out,
                    place.size_m, place.wall_m)
        )  # fmt: skip
    return Openings(low, high, tuple(found))


def _open_side(side: str, low: np.ndarray, high: np.ndarray) -> Opening:
    out = np.array({**_OUT, "ceiling": (0, 1, 0), "floor": (0, -1, 0)}[side], float)
    right, up = (np.eye(3)[k] for k in range(3) if not out[k])
    centre, size = (low + high) / 2, high - low
    return Opening(
        centre + out * (np.abs(out) @ size) / 2, right, up, -out, np.array([right @ size, up @ size], float), 0.0
    )


def glass_of(room: Room | None) -> tuple[Net, ...]:
    """Clear panes, which dim what passes and scatter none."""
    panes = []
    for name, place in places_of(room).items():
        assert room is not None
        share = GLASS.get(room.window[name].glass)
        if share is not None:
            up = np.array([0.0, 1.0, 0.0])
            centre = place.at(0.0, 0.0, place.wall_m - _GLASS_IN_M)
            panes.append(Net(f"window.{name}", centre, place.along, up, place.out, place.size_m, False, share))
    return tuple(panes)


def window_surfaces(room: Room) -> Iterator[tuple[Surface, str | Finish]]:
    """Reveals, bars, glass that scatters, curtains and blinds, each with its finish or the name of one."""
    from materials.finishes import silk_finish

    for name, place in places_of(room).items():
        window = room.window[name]
        yield _reveal(f"window.{name}.reveal", place), room.walls
        if window.glass != "none":
            yield _bars(f"window.{name}.bars", place, window), window.frame
        if window.glass == "frosted":
            yield _sheet(f"window.{name}.glass", place, place.wall_m - _GLASS_IN_M), silk_finish(FROSTED_STOPS)
        if (window.curtain or window.curtain_stops) and window.drawn > 0:
            finish = window.curtain or silk_finish(float(window.curtain_stops or 0))
            yield _curtain(f"window.{name}.curtain", place, window.drawn), finish
        if window.blind and window.lowered > 0:
            yield _blind(f"window.{name}.blind", place, window), window.blind


def _reveal(name: str, place: WindowPlace) -> Surface:
    x, y = place.size_m / 2
    rim = [(-x, -y), (x, -y), (x, y), (-x, y)]
    middle = place.at(0.0, 0.0, place.wall_m / 2)
    return joined_quads(name, [
        np.stack([place.at(*a, 0.0), place.at(*b, 0.0), place.at(*b, place.wall_m), place.at(*a, place.wall_m)])
        for a, b in zip(rim, rim[1:] + rim[:1], strict=True)
    ], toward=middle)  # fmt: skip


def _bars(name: str, place: WindowPlace, window: Window) -> Surface:
    """A frame around the opening and bars between the panes, as boxes."""
    x, y = place.size_m / 2
    half, quads = window.bar_m / 2, []
    columns = np.linspace(-x + half, x - half, window.panes[0] + 1).tolist()
    rows = np.linspace(-y + half, y - half, window.panes[1] + 1).tolist()
    deep = min(BAR_DEPTH_M, place.wall_m / 2)
    far, near = place.wall_m - min(_BAR_IN_M, place.wall_m / 4), place.wall_m - min(_BAR_IN_M, place.wall_m / 4) - deep
    for u in columns:
        quads += _box(place, (u - half, u + half), (-y, y), (near, far))
    for v in rows:
        for left, right in pairwise(columns):
            quads += _box(place, (left + half, right - half), (v - half, v + half), (near, far))
    return joined_quads(name, quads)


def _box(
    place: WindowPlace, u: tuple[float, float], v: tuple[float, float], w: tuple[float, float]
) -> list[np.ndarray]:
    """Six faces (4, 3) that look outward."""
    corner = np.array([place.at(x, y, z) for x in u for y in v for z in w]).reshape(2, 2, 2, 3)
    middle = corner.mean(axis=(0, 1, 2))
    faces = []
    for axis in range(3):
        for side in (0, 1):
            face = np.take(corner, side, axis=axis).reshape(4, 3)[[0, 1, 3, 2]]
            normal = np.cross(face[1] - face[0], face[2] - face[0])
            faces.append(face if normal @ (face.mean(axis=0) - middle) > 0 else face[::-1])
    return faces


def _sheet(name: str, place: WindowPlace, outward_m: float) -> Surface:
    x, y = place.size_m / 2
    corners = np.stack([place.at(u, v, outward_m) for u, v in ((-x, -y), (x, -y), (x, y), (-x, y))])
    return joined_quads(name, [corners], toward=place.at(0.0, 0.0, -1.0))


def _curtain(name: str, place: WindowPlace, drawn: float) -> Surface:
    """Folded cloth before the window, drawn in from both sides; it hangs a little past the opening all round."""
    x, y = place.size_m / 2 + CURTAIN_PAST_M
    count = max(8, math.ceil(2 * x / _FOLD_M * 8))
    u = np.linspace(-x, x, count + 1)
    off = -_CURTAIN_OFF_M + _FOLD_DEEP_M * np.sin(2 * math.pi * u / _FOLD_M)
    slope = _FOLD_DEEP_M * 2 * math.pi / _FOLD_M * np.cos(2 * math.pi * u / _FOLD_M)
    normal = slope[:, None] * place.along - place.out
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    low = max(-y, 0.01 - float(place.centre_m[1]))
    vertices = np.concatenate([place.at(u, np.full(len(u), low), off), place.at(u, np.full(len(u), y), off)])
    i = np.flatnonzero(np.abs(u[:-1] + u[1:]) / 2 >= (1 - drawn) * x - 1e-9)
    n = count + 1
    faces = np.concatenate([np.stack([i, i + 1, i + 1 + n], axis=1), np.stack([i, i + 1 + n, i + n], axis=1)])
    return Surface(
        name, vertices.astype(np.float32), faces.astype(np.int32), np.concatenate([normal, normal]).astype(np.float32)
    )


def _blind(name: str, place: WindowPlace, window: Window) -> Surface:
    """Level slats from the top down, each turned about its length: in the reveal where they fit, else before it and
    past its edges."""
    half, tilt = window.slat_m / 2, math.radians(window.slat_deg)
    room_for = window.slat_m + 0.02 + BAR_DEPTH_M < place.wall_m
    middle = half + 0.01 if room_for else -half - 0.02
    x, y = place.size_m / 2 + (-0.005 if room_for else _BLIND_PAST_M)
    count = max(1, math.ceil(window.lowered * 2 * y / (_SLAT_LAP * window.slat_m)))
    step = window.lowered * 2 * y / count
    inner, outer = middle - half * math.cos(tilt), middle + half * math.cos(tilt)
    quads = []
    for k in range(count):
        v = y - (k + 0.5) * step
        up, down = v + half * math.sin(tilt), v - half * math.sin(tilt)
        quads.append(np.stack([place.at(-x, up, inner), place.at(x, up, inner), place.at(x, down, outer),
                               place.at(-x, down, outer)]))  # fmt: skip
    return joined_quads(name, quads)
