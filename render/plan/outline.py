"""Outlines of the sitter for the lighting plan, from the very mesh that is traced."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from scenes.stage import Stage

_CELL_M = 0.008
_MARGIN_CELLS = 8
_MOST_POINTS = 40_000  # of one part; more only say the same
_SOFTNESS_CELLS = 1.2
_FINEST_M = 0.003
_HEAD_REGIONS = ("face", "hair", "eye")
_SHOULDER_DEPTH_M = 0.35
_SHOULDER_RISE_M = 0.06


@dataclass(frozen=True, slots=True)
class SitterOutline:
    """The sitter from above and from camera right.

    Attributes
    ----------
    whole, shoulders, head : outlines (n, 2) from above, (x, z) in metres: of everything (legs and seat too), of what is
        at shoulder height and above, and of the head.
    side, side_head : outlines (n, 2) from camera right, (z, y) in metres.
    facing : (2,) unit vector (x, z) of where the face looks; None where the mesh does not tell.
    low_m, high_m : (3,) corners of the box around the sitter.
    """

    whole: list[np.ndarray]
    shoulders: list[np.ndarray]
    head: list[np.ndarray]
    side: list[np.ndarray]
    side_head: list[np.ndarray]
    facing: np.ndarray | None
    low_m: np.ndarray
    high_m: np.ndarray


def sitter_outline(stage: Stage) -> SitterOutline | None:
    """Outlines of the sitter of a stage; None on a set without one."""
    parts = [shape for shape in stage.shapes if shape.name.startswith("sitter.")]
    if not parts:
        return None
    points = np.concatenate([_dense(part.vertices, part.faces) for part in parts])
    heads = [part.vertices for part in parts if part.region in _HEAD_REGIONS]
    head = np.concatenate(heads).astype(float) if heads else points
    chin = float(stage.landmarks["chin"][1]) if "chin" in stage.landmarks else float(np.median(head[:, 1]))
    skull = head[head[:, 1] > chin]
    skull = skull if len(skull) > 2 else head
    upper = points[points[:, 1] > chin - _SHOULDER_DEPTH_M]
    shoulder = points[points[:, 1] > chin - _SHOULDER_RISE_M - _SHOULDER_DEPTH_M / 2]
    upper = shoulder if len(shoulder) > 2 else upper
    return SitterOutline(
        whole=outlines(points[:, [0, 2]]), shoulders=outlines(upper[:, [0, 2]]) if len(upper) > 2 else [],
        head=outlines(skull[:, [0, 2]]), side=outlines(points[:, [2, 1]]), side_head=outlines(skull[:, [2, 1]]),
        facing=_facing(stage, skull), low_m=points.min(axis=0), high_m=points.max(axis=0),
    )  # fmt: skip


def _dense(vertices: np.ndarray, faces: np.ndarray) -> np.ndarray:
    """Points (n, 3) of a mesh close enough together that a raster has no holes: corners, and points on large faces."""
    corners = np.asarray(vertices)[faces]
    spread = np.linalg.norm(corners.max(axis=1) - corners.min(axis=1), axis=1)
    used = np.unique(faces)
    found = [np.asarray(vertices, float)[used[:: max(1, len(used) // _MOST_POINTS)]]]
    for low, high in ((2 * _CELL_M, 0.04), (0.04, 0.2), (0.2, np.inf)):
        some = corners[(spread > low) & (spread <= high)]
        if not len(some):
            continue
        steps = min(120, int(np.ceil(min(high, float(spread.max())) / _CELL_M)) + 1)
        u, v = np.meshgrid(np.linspace(0, 1, steps), np.linspace(0, 1, steps))
        inside = u + v <= 1
        a, b = u[inside], v[inside]
        weights = np.stack([1 - a - b, a, b], axis=1)
        found.append(np.einsum("pc,fcx->fpx", weights, some).reshape(-1, 3))
    return np.concatenate(found)


def outlines(points: np.ndarray) -> list[np.ndarray]:
    """Outer outlines (n, 2) of what points (m, 2) in metres cover, the largest first; specks are left out."""
    from contourpy import contour_generator
    from scipy import ndimage

    low = points.min(axis=0) - _MARGIN_CELLS * _CELL_M
    index = np.floor((points - low) / _CELL_M).astype(int)
    covered = np.zeros(tuple(index.max(axis=0) + _MARGIN_CELLS + 1), bool)
    covered[index[:, 0], index[:, 1]] = True
    covered = ndimage.binary_fill_holes(ndimage.binary_closing(covered, iterations=3))
    soft = ndimage.gaussian_filter(covered.astype(float), _SOFTNESS_CELLS)
    lines = contour_generator(z=soft.T).lines(0.5)
    shapes = [low + (np.asarray(line) + 0.5) * _CELL_M for line in lines]
    largest = sorted((s for s in shapes if len(s) > 2), key=_area, reverse=True)
    return [_thinned(s) for s in largest if _area(s) > 0.02 * _area(largest[0])]


def _area(polygon: np.ndarray) -> float:
    x, y = polygon.T
    return abs(float(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1)))) / 2


def _thinned(polygon: np.ndarray) -> np.ndarray:
    """Without the points that lie within a few millimetres of the last one kept."""
    kept = [polygon[0]]
    for point in polygon[1:]:
        if np.hypot(*(point - kept[-1])) >= _FINEST_M * 4:
            kept.append(point)
    return np.array(kept) if len(kept) > 2 else polygon


def _facing(stage: Stage, head: np.ndarray) -> np.ndarray | None:
    """From between the ears, or the middle of the head, to the tip of the nose."""
    marks = stage.landmarks
    if "nose" not in marks:
        return None
    ears = [marks[name] for name in ("ear_L", "ear_R") if name in marks]
    middle = np.mean(ears, axis=0) if len(ears) == 2 else (head.min(axis=0) + head.max(axis=0)) / 2
    way = (marks["nose"] - middle)[[0, 2]]
    length = float(np.hypot(*way))
    return way / length if length > 1e-3 else None
