"""Labels that keep clear: a place for every label of a drawing, by the cost of what it would cover.

The drawing is a raster of one cell a millimetre. What must stay legible costs so much to cover that it is not covered
while any other place is left; lines and washes cost a little. A label goes where the sum of what it covers, its
distance from what it names and the things its leader crosses is least.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from .view import Frame

HARD, SOLID, SOFT = 1e4, 60.0, 2.0
"""Cost of covering a square millimetre of other words, of a symbol, and of a line."""

_CELL_MM = 1.0
_PAD_MM = 0.7
_PER_MM = 2.4
_LEADER_FROM_MM = 2.2
_LEADER_COST = 0.5
_CHOICES = 80
_ROUNDS = 2
_SHUFFLES, _SEED = 4, 1


@dataclass(frozen=True, slots=True)
class Label:
    """What wants a place: its size in mm, points (n, 2) of what it names, how far it keeps from them at
    least, and whether a line leads to them from afar."""

    width_mm: float
    height_mm: float
    names: np.ndarray
    reach_mm: float = 1.5
    leader: bool = True


@dataclass(frozen=True, slots=True)
class Spot:
    """Where a label stands: its box on paper, its leader (2, 2) or None, and what this costs."""

    box: Frame
    leader: np.ndarray | None
    cost: float


@dataclass(slots=True)
class Placer:
    """Places labels in a frame; `cost` is what covering each cell costs before any label stands."""

    frame: Frame
    cost: np.ndarray = field(init=False)

    def __post_init__(self) -> None:
        self.cost = np.zeros((round(self.frame.height / _CELL_MM) + 1, round(self.frame.width / _CELL_MM) + 1))

    def cover(self, points: np.ndarray, cost: float, grow_mm: float = 0.0) -> None:
        """Say that the hull of points (n, 2) on paper costs something to cover."""
        from PIL import Image, ImageDraw

        from .view import hull

        shape = hull(np.asarray(points, float))
        image = Image.new("L", self.cost.shape[::-1], 0)
        cells = [tuple(cell) for cell in (shape - [self.frame.left, self.frame.top]) / _CELL_MM]
        drawer = ImageDraw.Draw(image)
        if len(cells) > 2:
            drawer.polygon(cells, fill=1, outline=1)
        drawer.line([*cells, cells[0]], fill=1, width=max(1, round(2 * grow_mm / _CELL_MM)))
        self.cost = np.maximum(self.cost, cost * np.asarray(image))

    def path(self, start: np.ndarray, end: np.ndarray, cost: float = SOFT) -> None:
        """Say that a line on paper costs something to cover."""
        ys, xs = self._cells(np.asarray(start), np.asarray(end))
        self.cost[ys, xs] = np.maximum(self.cost[ys, xs], cost)

    def place_all(self, labels: Sequence[Label]) -> list[Spot]:
        """A spot for every label, in their order.

        They are placed one after the other in several orders, of which the cheapest is kept; then each is taken out
        and placed anew beside the others, twice.
        """
        orders = [list(range(len(labels)))]
        shuffle = np.random.default_rng(_SEED)
        orders += [list(map(int, shuffle.permutation(len(labels)))) for _ in range(_SHUFFLES)]
        for axis, sign in ((0, 1), (0, -1), (1, 1), (1, -1)):
            orders.append(sorted(orders[0], key=lambda k: sign * float(labels[k].names[:, axis].mean())))
        runs = [self._in_order(labels, order) for order in orders]
        spots = min(runs, key=lambda run: sum(spot.cost for spot in run))
        for _ in range(_ROUNDS):
            for k, label in enumerate(labels):
                spots[k] = self._cheapest(label, self._taken(spots[:k] + spots[k + 1 :]))
        return [replace(spot, box=spot.box.shrunk(_PAD_MM)) for spot in spots]

    def _in_order(self, labels: Sequence[Label], order: Sequence[int]) -> list[Spot]:
        found: dict[int, Spot] = {}
        for k in order:
            found[k] = self._cheapest(labels[k], self._taken(list(found.values())))
        return [found[k] for k in range(len(labels))]

    def _taken(self, spots: Sequence[Spot]) -> np.ndarray:
        """The cost of every cell with labels and leaders in place."""
        cost = self.cost.copy()
        for spot in spots:
            if spot.leader is not None:
                ys, xs = self._cells(*spot.leader)
                cost[ys, xs] = np.maximum(cost[ys, xs], SOLID)
        for spot in spots:
            left, top, right, bottom = self._bounds(spot.box)
            cost[top:bottom, left:right] = HARD
        return cost

    def _cheapest(self, label: Label, cost: np.ndarray) -> Spot:
        width, height = (int(np.ceil((mm + 2 * _PAD_MM) / _CELL_MM)) for mm in (label.width_mm, label.height_mm))
        rows, columns = cost.shape[0] - height, cost.shape[1] - width
        if rows < 1 or columns < 1:
            raise ValueError("a label is larger than its drawing")
        sums = np.pad(cost, ((1, 0), (1, 0))).cumsum(axis=0).cumsum(axis=1)
        covered = sums[height:, width:] - sums[:-height, width:] - sums[height:, :-width] + sums[:-height, :-width]
        total = covered[:rows, :columns] + self._distance_cost(label, rows, columns, width, height)
        best = np.argsort(total, axis=None, kind="stable")[:_CHOICES]
        spots = []
        for i in best:
            box, leader = self._box(int(i) // columns, int(i) % columns, width, height, label)
            spots.append(Spot(box, leader, float(total.flat[i]) + self._crossed(leader, cost)))
        return min(spots, key=lambda spot: spot.cost)

    def _distance_cost(self, label: Label, rows: int, columns: int, width: int, height: int) -> np.ndarray:
        top = self.frame.top + _CELL_MM * np.arange(rows)[:, None]
        left = self.frame.left + _CELL_MM * np.arange(columns)[None, :]
        low, high = label.names.min(axis=0), label.names.max(axis=0)
        away = np.hypot(
            np.maximum(np.maximum(left - high[0], low[0] - left - width * _CELL_MM), 0),
            np.maximum(np.maximum(top - high[1], low[1] - top - height * _CELL_MM), 0),
        )
        near = np.where(away < label.reach_mm, 40 * (label.reach_mm - away), 0)
        cost: np.ndarray = _PER_MM * away * (1 + away / 8) + near
        return cost

    def _box(self, row: int, column: int, width: int, height: int, label: Label) -> tuple[Frame, np.ndarray | None]:
        left, top = self.frame.left + column * _CELL_MM, self.frame.top + row * _CELL_MM
        box = Frame(left, top, left + width * _CELL_MM, top + height * _CELL_MM)
        edges = np.clip(label.names, [box.left, box.top], [box.right, box.bottom])
        gaps = np.hypot(*(edges - label.names).T)
        nearest = int(np.argmin(gaps))
        if gaps[nearest] <= _LEADER_FROM_MM or not label.leader:
            return box, None
        return box, np.stack([edges[nearest], label.names[nearest]])

    def _crossed(self, leader: np.ndarray | None, cost: np.ndarray) -> float:
        """Cost of what a leader crosses, without what lies at its end."""
        if leader is None:
            return 0.0
        ys, xs = self._cells(*leader)
        stop = max(1, len(ys) - 3)
        return _LEADER_COST * float(np.minimum(cost[ys[:stop], xs[:stop]], 300.0).sum())

    def _cells(self, start: np.ndarray, end: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        steps = max(2, int(np.hypot(*(end - start)) / _CELL_MM) + 1)
        line = start + np.linspace(0, 1, steps)[:, None] * (end - start)
        cells = np.round((line - [self.frame.left, self.frame.top]) / _CELL_MM).astype(int)
        ys, xs = cells[:, 1], cells[:, 0]
        inside = (ys >= 0) & (xs >= 0) & (ys < self.cost.shape[0]) & (xs < self.cost.shape[1])
        return ys[inside], xs[inside]

    def _bounds(self, box: Frame) -> tuple[int, int, int, int]:
        left, top = (box.left - self.frame.left) / _CELL_MM, (box.top - self.frame.top) / _CELL_MM
        right, bottom = (box.right - self.frame.left) / _CELL_MM, (box.bottom - self.frame.top) / _CELL_MM
        return max(0, int(np.floor(left))), max(0, int(np.floor(top))), int(np.ceil(right)), int(np.ceil(bottom))
