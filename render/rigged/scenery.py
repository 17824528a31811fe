"""The set as it is shown: a piece of floor cut out around what stands on it, and the walls behind."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from scenes.stage import Stage

from .parts import SetPart, rgb
from .shapes import box, joined, lifted, quads, rod

PAPER_RGB = (0.94, 0.91, 0.855)
"""Linear sRGB of the paper the view is printed on."""

FLOOR_RGB = (0.66, 0.635, 0.60)
INK_RGB = (0.07, 0.10, 0.15)
MARGIN_M = 0.35
SLAB_M = 0.035
NEAR_WALL_M = 0.6
EDGE_M = 0.15
_TINTS = {"background": 0.62, "floor": 0.12, "wall": 0.18, "piece": 0.9}
STANDING = ("figure", "housing", "front", "stand", "camera", "piece", "background")


def cut_out(parts: Sequence[SetPart]) -> tuple[np.ndarray, np.ndarray]:
    """Corners (3,) of the box around everything that stands on the set, with a margin on the floor."""
    points = np.concatenate([p.mesh.vertices for p in parts if p.kind in STANDING and not is_wall(p)])
    low, high = points.min(axis=0), points.max(axis=0)
    low[[0, 2]] -= MARGIN_M
    high[[0, 2]] += MARGIN_M
    floors = [p.mesh.vertices for p in parts if p.kind == "floor"]
    if floors:
        ground = np.concatenate(floors)
        low = np.maximum(low, ground.min(axis=0) * [1, 0, 1] + [0, -1, 0])
        high = np.minimum(high, ground.max(axis=0) * [1, 0, 1] + [0, 99, 0])
    walls = [p.mesh.vertices[:, 2].max() for p in parts if p.name == "set.back"]
    if walls and (any(p.name == "set.back" and p.kind == "background" for p in parts) or low[2] - walls[0] < 0.3):
        low[2] = walls[0]
    return low, high


def is_wall(part: SetPart) -> bool:
    """Whether a part is a side of the room."""
    return part.name in ("set.back", "set.front", "set.left", "set.right")


def shown_parts(parts: Sequence[SetPart], from_right: bool) -> list[SetPart]:
    """The parts as a quiet picture shows them: surfaces paled toward paper, the floor and far walls cut to the set.

    Parameters
    ----------
    from_right : whether one looks from the camera's right, so that the left wall is the far one.
    """
    low, high = cut_out(parts)
    shown = [_paled(part) for part in parts if part.kind in STANDING and not is_wall(part)]
    floor = next((p.colour for p in parts if p.kind == "floor"), FLOOR_RGB)
    shown.append(_slab(low, high, floor))
    shown.append(_floor_marks(low, high))
    far_side = "set.left" if from_right else "set.right"
    for part in parts:
        if part.name in ("set.back", far_side):
            shown += cut_wall(part, low, high)
    return shown


def _mixed(colour: tuple[float, float, float], base: tuple[float, float, float], share: float) -> np.ndarray:
    """Between two linear colours, evenly to the eye."""
    a, b = np.cbrt(np.asarray(base)), np.cbrt(np.asarray(colour))
    return np.asarray((a + share * (b - a)) ** 3, float)


def _paled(part: SetPart) -> SetPart:
    share = _TINTS.get(part.kind)
    return part if share is None else replace(part, colour=rgb(_mixed(part.colour, FLOOR_RGB, share)))


def _slab(low: np.ndarray, high: np.ndarray, finish: tuple[float, float, float]) -> SetPart:
    mesh = box([low[0], -SLAB_M, low[2]], [high[0], -0.004, high[2]])
    return SetPart("shown.floor", "floor", "", mesh, rgb(_mixed(finish, FLOOR_RGB, _TINTS["floor"])))


def _floor_marks(low: np.ndarray, high: np.ndarray) -> SetPart:
    """Thin lines a metre apart on the floor, through the origin under the sitter."""
    half, y = 0.006, -0.002
    strips = []
    for x in np.arange(np.ceil(low[0] + EDGE_M), high[0] - EDGE_M):
        strips.append([[x - half, y, high[2]], [x + half, y, high[2]], [x + half, y, low[2]], [x - half, y, low[2]]])
    for z in np.arange(np.ceil(low[2] + EDGE_M), high[2] - EDGE_M):
        strips.append([[low[0], y, z + half], [high[0], y, z + half], [high[0], y, z - half], [low[0], y, z - half]])
    colour = rgb(0.62 * np.asarray(FLOOR_RGB))
    if not strips:
        return SetPart("shown.marks", "floor", "", box([0, -0.01, 0], [0.01, -0.009, 0.01]), colour)
    return SetPart("shown.marks", "floor", "", quads(np.array(strips)), colour)


def cut_wall(part: SetPart, low: np.ndarray, high: np.ndarray) -> list[SetPart]:
    """The piece of a wall that stands behind the cut-out floor; none where the wall is farther away."""
    corners = part.mesh.vertices
    axis = 2 if part.name == "set.back" else 0  # across the wall
    plane = float(corners[:, axis].mean())
    edge = float(low[axis] if plane < 0 else high[axis])
    if abs(plane - edge) > (NEAR_WALL_M if axis == 2 else 0.05):
        return []
    first, last = low.copy(), high.copy()
    first[1], last[1] = -SLAB_M, min(float(corners[:, 1].max()), float(high[1]) + 0.15)
    first[axis], last[axis] = (plane - 0.03, plane) if plane < 0 else (plane, plane + 0.03)
    blocks = [box(start.tolist(), end.tolist()) for start, end in _blocks(part, axis, first, last)]
    if not blocks:
        return []
    share = _TINTS["background"] if part.kind == "background" else _TINTS["wall"]
    return [SetPart(f"shown.{part.name}", "wall", "", joined(blocks), rgb(_mixed(part.colour, FLOOR_RGB, share)))]


def _blocks(part: SetPart, axis: int, low: np.ndarray, high: np.ndarray) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """Least and greatest corners (3,) of the upright rectangles that a wall is made of around its windows, as deep as
    the box from low to high, and cut at it."""
    triangles = part.mesh.vertices[part.mesh.faces]
    ends = np.stack([triangles.min(axis=1), triangles.max(axis=1)], axis=1).round(6)  # halves of one have one box
    for start, end in np.unique(ends, axis=0):
        start[1] = low[1] if start[1] <= 0 else start[1]
        start, end = np.maximum(start, low), np.minimum(end, high)
        start[axis], end[axis] = low[axis], high[axis]
        if (end - start > 1e-6).all():
            yield start, end


def field_part(stage: Stage, thickness_m: float) -> SetPart:
    """The camera's field as thin lines: from the lens to the corners of the picture at the face's distance."""
    camera = stage.camera
    reach = float((stage.landmarks["face"] - camera.origin_m) @ camera.forward)
    reach = reach if reach > 0.2 else 1.0
    corners = [
        camera.origin_m
        + reach * (camera.forward + i * camera.tan_half_width * camera.right + j * camera.tan_half_height * camera.up)
        for i, j in ((-1, -1), (1, -1), (1, 1), (-1, 1))
    ]
    corners = [lifted(corner, max(0.005 - corner[1], 0)) for corner in corners]
    start = camera.origin_m + 0.1 * camera.forward
    lines = [rod(start, corner, thickness_m / 2, 6) for corner in corners]
    lines += [rod(a, b, thickness_m / 2, 6) for a, b in zip(corners, [*corners[1:], corners[0]], strict=True)]
    return SetPart("camera.field", "beam", "camera", joined(lines), INK_RGB, alpha=0.55, glows=True)
