"""Points that stand for an exit when light from it is summed up."""

from __future__ import annotations

import math

import numpy as np

Box = tuple[list[np.ndarray], list[np.ndarray]]
"""Corners ([x, y] low, [x, y] high), (n,) each, metres; empty where low is not below high."""


def even(box: Box, steps: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """x and y (n, steps, steps) all over boxes, and the area (n, steps, steps) of each point, m2."""
    low, high = box
    share = (np.arange(steps) + 0.5) / steps
    x = low[0][:, None, None] + (high[0] - low[0])[:, None, None] * share[None, :, None]
    y = low[1][:, None, None] + (high[1] - low[1])[:, None, None] * share[None, None, :]
    cell = np.maximum(high[0] - low[0], 0) * np.maximum(high[1] - low[1], 0) / steps**2
    x, y = np.broadcast_arrays(x, y)
    return x, y, np.broadcast_to(cell[:, None, None], x.shape)


def about(box: Box, middle: tuple[np.ndarray, np.ndarray], steps: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """As `even`, along lines from a place in each box out to its edge, close together near the place.

    Parameters
    ----------
    middle : x and y (n,) of the place; where it lies outside the box, the nearest place in it is taken.
    """
    turn = (np.arange(steps) + 0.5) / steps * 2 * math.pi
    way = np.stack([np.cos(turn), np.sin(turn)])
    share = (np.arange(steps) + 0.5) / steps
    reach, at = np.full((len(middle[0]), steps), np.inf), []
    for low, high, place, along in zip(*box, middle, way, strict=True):
        place = np.clip(place, low, np.maximum(low, high))
        gap = np.where(along > 0, high[:, None], low[:, None]) - place[:, None]
        reach = np.minimum(reach, gap / along)
        at.append(place)
    reach = np.maximum(reach, 0)
    # places at reach share^2, so that one stands for reach^2 2 share^3 of the area per turn and share
    away = reach[:, None, :] * share[:, None] ** 2
    area = np.square(reach)[:, None, :] * share[:, None] ** 3 * (4 * math.pi / steps**2)
    return at[0][:, None, None] + away * way[0], at[1][:, None, None] + away * way[1], area
