"""Directional tables and glow pictures in the form `scenes.optics` wants them."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np

from ..optics import Angular

GLOW_CELLS = 64
"""Cells a side of a glow picture."""


def profile(values: np.ndarray, widest_rad: float, of: Literal["intensity", "luminance"]) -> Angular:
    """A table of directions, scaled to one lumen.

    Parameters
    ----------
    values : (g,) for a body of revolution or (c, g), not negative, over angles evenly from 0 to `widest_rad`.
    of : "intensity", or "luminance" of a flat area, whose light counts with the cosine.

    Raises
    ------
    ValueError
        When nothing is emitted.
    """
    table = np.atleast_2d(np.asarray(values, float))
    weight = _weights(table.shape[1], widest_rad, of)
    lumens = 2 * math.pi * float((table @ weight).mean())
    if not lumens > 0:
        raise ValueError("the table emits nothing")
    return Angular((table / lumens).astype(np.float32), widest_rad, of)


def _weights(count: int, widest_rad: float, of: str) -> np.ndarray:
    """Weights (count,) that integrate a table, linear between its entries, against sin, or sin cos."""
    edges = np.linspace(0, widest_rad, count)
    nodes, amounts = np.polynomial.legendre.leggauss(6)
    share = (nodes + 1) / 2
    theta = edges[:-1, None] + share * (edges[1] - edges[0])
    measure = np.sin(theta) * (np.cos(theta) if of == "luminance" else 1) * amounts / 2 * (edges[1] - edges[0])
    weight = np.zeros(count)
    weight[:-1] += (measure * (1 - share)).sum(axis=1)
    weight[1:] += (measure * share).sum(axis=1)
    return weight


def glow_picture(radii: np.ndarray, glow: np.ndarray, shape: str) -> np.ndarray:
    """The glow of a round exit, drawn over an exit of another shape: (64, 64) float32, mean 1 over the shape.

    Ellipses (of the box around the shape) stand for circles, and each takes the glow of the circle that holds the
    same share of the area; so the picture has as much of every brightness as the round exit.

    Parameters
    ----------
    radii, glow : (m,), radius relative to the exit's, and luminance relative to the mean.
    shape : "disk", "rectangle" or "octagon".
    """
    middle = (np.arange(GLOW_CELLS) + 0.5) / GLOW_CELLS * 2 - 1
    x, y = np.meshgrid(middle, -middle)
    radius = np.hypot(x, y)
    inside = within(shape, x, y)
    order = np.sort(radius[inside])
    share = np.searchsorted(order, radius, side="left") / order.size
    picture = np.interp(np.sqrt(share), radii, glow)
    return (picture / picture[inside].mean()).astype(np.float32)


def within(shape: str, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Whether points of the box from -1 to 1 lie in a shape that fills it."""
    if shape == "disk":
        return np.hypot(x, y) <= 1
    inside = (np.abs(x) <= 1) & (np.abs(y) <= 1)
    return inside & ((np.abs(x) + np.abs(y)) * math.sqrt(0.5) <= 1) if shape == "octagon" else inside
