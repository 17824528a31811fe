"""Set pieces on their places, and as the tracer sees them: sheets of the mesh, or nets."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from .model import Piece
from .stage import Net, SetPiece, Shape

if TYPE_CHECKING:
    from materials.finishes import Finish

FLAG_FINISH = "black-cotton"
BOARD_FINISH = "white-board"
PIECE_PREFIX = "piece."
"""How the name of every piece's shape begins."""

BOARD_THICKNESS_M = 0.005
"""Thickness of a board with two different faces, metres (common practice, no source)."""

_RIM = 128
_TURN = np.linspace(0, 2 * math.pi, _RIM, endpoint=False)
_CORNERS = np.array([[-1.0, -1.0], [-1.0, 1.0], [1.0, 1.0], [1.0, -1.0]])
_GRID = np.stack(np.meshgrid(*[np.linspace(-1, 1, 33)] * 2), axis=-1).reshape(-1, 2)


@dataclass(frozen=True, slots=True)
class Sheet:
    """A piece on its place.

    Attributes
    ----------
    centre_m, right, up, forward : (3,) float64, place and orthonormal axes; `forward` is where its face looks.
    size_m : (2,) float64, width and height; the diameter twice when `round`.
    """

    centre_m: np.ndarray
    right: np.ndarray
    up: np.ndarray
    forward: np.ndarray
    size_m: np.ndarray
    round: bool

    def local(self, points: np.ndarray) -> np.ndarray:
        """Points (..., 3) in its own axes: x and y in half sizes, z in metres toward where its face looks."""
        away = np.asarray(points, float) - self.centre_m
        x, y = away @ self.right / (self.size_m[0] / 2), away @ self.up / (self.size_m[1] / 2)
        return np.stack([x, y, away @ self.forward], axis=-1)

    def holds(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """Whether places in its plane, in half sizes, are on it."""
        inside: np.ndarray = (x * x + y * y <= 1) if self.round else (np.abs(x) <= 1) & (np.abs(y) <= 1)
        return inside

    def points(self) -> np.ndarray:
        """Points (n, 3) spread evenly over it, its rim or corners first."""
        rim = np.stack([np.cos(_TURN), np.sin(_TURN)], axis=1) if self.round else _CORNERS
        inner = _GRID[self.holds(_GRID[:, 0], _GRID[:, 1])]
        return self._at(np.concatenate([rim, inner]))

    def mesh(self) -> tuple[np.ndarray, np.ndarray]:
        """Vertices (n, 3) and faces (m, 3), counter-clockwise as one sees them from where its face looks."""
        if self.round:
            rim = np.stack([np.sin(_TURN), np.cos(_TURN)], axis=1)
            index = np.arange(_RIM)
            faces = np.stack([np.full(_RIM, _RIM), index, (index + 1) % _RIM], axis=1)
            return self._at(np.concatenate([rim, np.zeros((1, 2))])), faces
        return self._at(_CORNERS), np.array([[0, 1, 2], [0, 2, 3]])

    def _at(self, units: np.ndarray) -> np.ndarray:
        across = units * self.size_m / 2
        placed: np.ndarray = self.centre_m + across[:, :1] * self.right + across[:, 1:] * self.up
        return placed

    def crossing(self, start: np.ndarray, end: np.ndarray) -> np.ndarray:
        """Which segments from `start` to `end` (..., 3) go through it: (...) bool."""
        a, b = self.local(start), self.local(end)
        apart = a[..., 2] - b[..., 2]
        split = (a[..., 2] > 0) != (b[..., 2] > 0)
        t = np.where(split, a[..., 2] / np.where(split, apart, 1.0), 0.0)
        x, y = (a[..., k] + t * (b[..., k] - a[..., k]) for k in (0, 1))
        return split & self.holds(x, y)


def piece_shapes(name: str, piece: Piece, sheet: Sheet) -> Iterator[Shape]:
    """A piece as two-sided meshes: one, or two back to back for a board with two finishes; none for a net."""
    from materials.finishes import make_finish, silk_finish

    if piece.kind == "net":
        return
    if piece.kind == "flag":
        yield _shape(name, sheet, make_finish(FLAG_FINISH))
    elif piece.kind == "silk":
        assert piece.stops is not None
        yield _shape(name, sheet, silk_finish(piece.stops))
    else:
        front = piece.finish or BOARD_FINISH
        if piece.back in (None, front):
            yield _shape(name, sheet, make_finish(front))
            return
        assert piece.back is not None
        half = BOARD_THICKNESS_M / 2 * sheet.forward
        yield _shape(name, replace(sheet, centre_m=sheet.centre_m + half), make_finish(front))
        behind = replace(
            sheet, centre_m=sheet.centre_m - half, right=-sheet.right, forward=-sheet.forward
        )  # the far face, seen from behind
        yield _shape(f"{name}.back", behind, make_finish(piece.back))


def piece_net(name: str, piece: Piece, sheet: Sheet) -> Net | None:
    """A piece as a net; None for every other kind."""
    if piece.kind != "net":
        return None
    assert piece.stops is not None
    return Net(name, sheet.centre_m, sheet.right, sheet.up, sheet.forward, sheet.size_m, sheet.round, 2.0**-piece.stops)


def set_piece(name: str, piece: Piece, sheet: Sheet) -> SetPiece:
    """What a piece is and where it stands, for whoever draws or packs it."""
    return SetPiece(
        name, piece.kind, sheet.centre_m, sheet.right, sheet.up, sheet.forward, sheet.size_m, sheet.round, piece.stops
    )


def _shape(name: str, sheet: Sheet, finish: Finish) -> Shape:
    vertices, faces = sheet.mesh()
    count = len(vertices)
    return Shape(
        name=f"{PIECE_PREFIX}{name}",
        region="prop",
        vertices=np.ascontiguousarray(vertices, np.float32),
        faces=np.ascontiguousarray(faces, np.int32),
        normals=np.tile(sheet.forward, (count, 1)).astype(np.float32),
        finish=finish,
        tints=np.zeros((count, 3), np.uint8),
        gloss=np.zeros(count, np.uint8),
    )
