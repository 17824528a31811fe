"""What the camera sees of the background, and which of it lies outside the sitter's shadows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .bodies import project
from .stage import Camera

EDGE_M = 0.1
"""How far from the edges of the background its meter points stay, metres."""

_ACROSS, _DOWN = 49, 61
_SPAN = 0.95  # of the frame, in which points are looked for
_CUBE_M, _COARSE_M = 0.02, 0.03
_OFFSET = 1 << 20
_FINEST_PARTS, _FINE_FACES = 40, 20_000
_NOWHERE = np.zeros((0, 3))


@dataclass(frozen=True, slots=True)
class Backdrop:
    """An upright plane behind the sitter.

    Attributes
    ----------
    z_m : its place. half_width_m, height_m : its size; it stands on the floor, in the middle of the set.
    """

    z_m: float
    half_width_m: float
    height_m: float

    def inside(self, points: np.ndarray) -> np.ndarray:
        """Which points (n, 3) of the plane lie on it, clear of its edges: (n,) bool."""
        edge_x, edge_y = min(EDGE_M, self.half_width_m / 2), min(EDGE_M, self.height_m / 2)
        x, y = points[:, 0], points[:, 1]
        on_it: np.ndarray = (np.abs(x) <= self.half_width_m - edge_x) & (y >= edge_y) & (y <= self.height_m - edge_y)
        return on_it


@dataclass(frozen=True, slots=True)
class Seen:
    """Places of the backdrop that the camera sees past the sitter.

    Attributes
    ----------
    points : (n, 3), metres. frame : (n, 2), where each is in the picture, -1 to 1 to the right and up.
    shadows : (n,) int, how many lights have the sitter in their way there, by straight lines from the lights' middles.
    """

    points: np.ndarray
    frame: np.ndarray
    shadows: np.ndarray

    def nearest(self, x: float, y: float) -> np.ndarray | None:
        """The point (3,) outside shadows that is nearest to a place in the picture, among those on the same side of its
        middle; in the fewest shadows where none is outside; None where the camera sees none."""
        side = np.ones(len(self.points), bool)
        for wanted, at in ((x, self.frame[:, 0]), (y, self.frame[:, 1])):
            if wanted:
                side &= np.sign(at) == np.sign(wanted)
        if not side.any():
            return None
        best = side & (self.shadows == self.shadows[side].min())
        away = np.hypot(self.frame[:, 0] - x, self.frame[:, 1] - y)
        return np.array(self.points[np.flatnonzero(best)[np.argmin(away[best])]])


def seen_backdrop(
    backdrop: Backdrop, camera: Camera, sitter: np.ndarray, others: np.ndarray, lights: Sequence[np.ndarray],
    suns: Sequence[np.ndarray] = (),
) -> Seen:  # fmt: skip
    """Look past the sitter at what is behind.

    Parameters
    ----------
    sitter : (n, 3), points spread over the sitter, as `spread_over` gives them.
    others : (m, 3), over what else may hide the background from the camera.
    lights : (3,) each, the middles of fixtures. suns : (3,) each, unit vectors toward suns.
    """
    u, v = np.meshgrid(np.linspace(-_SPAN, _SPAN, _ACROSS), np.linspace(-_SPAN, _SPAN, _DOWN))
    frame = np.stack([u.ravel(), v.ravel()], axis=1)
    rays = camera.forward + frame @ np.stack(
        [camera.tan_half_width * camera.right, camera.tan_half_height * camera.up]
    )  # fmt: skip
    ahead = rays[:, 2] * np.sign(backdrop.z_m - camera.origin_m[2]) > 1e-6
    reach = (backdrop.z_m - camera.origin_m[2]) / np.where(ahead, rays[:, 2], 1.0)
    points = camera.origin_m + reach[:, None] * rays
    hidden = _covered(camera, np.concatenate([sitter, others])) | ~ahead
    seen = ~hidden & backdrop.inside(points)
    shadows = np.zeros(len(points), int)
    for light in lights:
        shadows += _covered(camera, _cast(light, sitter, backdrop.z_m))
    for sun in suns:
        shadows += _covered(camera, _slanted(sun, sitter, backdrop.z_m))
    return Seen(points[seen], frame[seen], shadows[seen])


def _cast(light_m: np.ndarray, points: np.ndarray, z_m: float) -> np.ndarray:
    """Where straight lines from a light through points meet the plane at `z_m` behind them."""
    between = (points[:, 2] < light_m[2] - 1e-3) & (points[:, 2] > z_m)
    away = points[between] - light_m
    met: np.ndarray = light_m + (z_m - light_m[2]) / away[:, 2:] * away
    return met


def _slanted(toward: np.ndarray, points: np.ndarray, z_m: float) -> np.ndarray:
    if toward[2] < 1e-3:
        return _NOWHERE
    met: np.ndarray = points + (z_m - points[:, 2:]) / toward[2] * toward
    return met


def _covered(camera: Camera, points: np.ndarray) -> np.ndarray:
    """Cells of the picture's raster that points fall in, with their neighbours: (cells,) bool."""
    cells = np.zeros((_DOWN, _ACROSS), bool)
    if len(points):
        at = project(camera, points)
        column = np.rint((at[:, 0] / _SPAN + 1) / 2 * (_ACROSS - 1))
        row = np.rint((at[:, 1] / _SPAN + 1) / 2 * (_DOWN - 1))
        with np.errstate(invalid="ignore"):
            inside = (column >= 0) & (column < _ACROSS) & (row >= 0) & (row < _DOWN)
        cells[row[inside].astype(int), column[inside].astype(int)] = True
    grown = np.pad(cells, 2)
    near = [grown[2 + i : _DOWN + 2 + i, 2 + j : _ACROSS + 2 + j] for i in range(-2, 3) for j in range(-2, 3)]
    covered: np.ndarray = np.any(near, axis=0).ravel()
    return covered


def spread_over(vertices: np.ndarray, faces: np.ndarray) -> np.ndarray:
    """Points (n, 3) over a mesh, one in every 2 cm cube that its vertices are in, and more on large triangles, so that
    they lie no farther apart than about 3 cm. A mesh of very many faces is taken to have no large ones."""
    places = np.asarray(vertices, np.float32)
    cubes = np.floor(places / _CUBE_M).astype(np.int64) + _OFFSET
    _, first = np.unique((cubes[:, 0] << 42) | (cubes[:, 1] << 21) | cubes[:, 2], return_index=True)
    found = [places[first].astype(float)]
    if len(faces) > _FINE_FACES:
        return found[0]
    corners = places[faces].astype(float)
    longest = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max(axis=1)
    parts = np.minimum(np.ceil(longest / _COARSE_M).astype(int), _FINEST_PARTS)
    for count in np.unique(parts[parts > 1]):
        i, j = np.meshgrid(np.arange(count + 1), np.arange(count + 1))
        keep = i + j <= count
        a, b = i[keep] / count, j[keep] / count
        weights = np.stack([1 - a - b, a, b], axis=1)
        found.append((weights @ corners[parts == count]).reshape(-1, 3))
    return np.concatenate(found)
