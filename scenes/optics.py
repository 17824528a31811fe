"""What shapes a fixture's light: the luminous area, how it glows, and what the light must pass on its way out.

Light leaves a fixture through its *exit*, the opening that faces the set. Every member below is a function of the
ray that leaves: where it crosses the exit, (x, y) in metres along the fixture's right and up, and its slopes
(dx/dz, dy/dz) along the axis. The luminance of the exit is their product; `scenes.field` writes it out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from .emission import Emission

CellKind = Literal["hexagon", "round", "square"]
EDGES = ("right", "left", "up", "down")


@dataclass(frozen=True, slots=True)
class Angular:
    """How the light spreads over directions, the same from every point of the luminous area.

    Attributes
    ----------
    values : (c, g) float32, not negative. Columns are angles off the axis, evenly from 0 to `widest_rad` and nothing
        beyond; rows are azimuths, evenly over the full turn from the fixture's right (towards its up), the first not
        repeated. One row is a body of revolution. Values between are linear in both angles.
    widest_rad : at most pi; above pi / 2 only a ball can emit it.
    of : "intensity" (scaled so that the whole is one lumen) or "luminance" (scaled so that a flat luminous area
        emits one lumen into the half space in front of it).
    """

    values: np.ndarray
    widest_rad: float
    of: Literal["intensity", "luminance"] = "intensity"


@dataclass(frozen=True, slots=True)
class Source:
    """A luminous area behind the exit: `shape` (disk, rectangle or octagon), `size_m` (2,), `depth_m` behind it."""

    shape: str
    size_m: np.ndarray
    depth_m: float


@dataclass(frozen=True, slots=True)
class Slide:
    """A picture in the beam: what is let through, `values` (h, w) from 0 to 1, top row first.

    It lies across the axis, `half_size_m` (2,) to either side, at `distance_m` in front of the exit, which is where a
    lens focuses it. Outside it nothing passes.
    """

    values: np.ndarray
    half_size_m: np.ndarray
    distance_m: float


@dataclass(frozen=True, slots=True)
class Cells:
    """A grid of cells: `ratio` of their depth to their width, the `open_share` that walls leave, and what share of the
    light their `walls` reflect: 0 for black ones.

    The width is that of the opening: the diameter of round cells, flat to flat of hexagons (two flats look up and
    down), the side of squares.
    """

    kind: CellKind
    ratio: float
    open_share: float
    walls: float = 0.0


@dataclass(frozen=True, slots=True)
class Optics:
    """All that shapes the light of one fixture; the default is a luminous exit that glows evenly and diffusely.

    Attributes
    ----------
    efficiency : lumens that leave the luminous area for one lumen of the lamp, before anything below cuts the beam.
    angular : None for a diffuse (Lambertian) area, or the profile of a spot.
    emission : what a mouth that one looks into sends out by place and direction, instead of `angular` and `glow`; it
        lies at the luminous area. None for all others.
    source : the luminous area; None when it is the exit itself.
    glow : (n, n) float32, luminance across the box around the luminous area relative to its mean over the area, top
        row first; None when it is even.
    slide, cells : None without.
    edges : (4, 2) float64, blades to the right, left, above and below (`EDGES`): how far in front of the exit the tip
        is, and how far off the axis (metres); what passes the tip farther out is cut. None without.
    back_share : luminance of the rear side of a thin luminous sheet, relative to the front; 0 for all others.
    """

    efficiency: float = 1.0
    angular: Angular | None = None
    emission: Emission | None = None
    source: Source | None = None
    glow: np.ndarray | None = None
    slide: Slide | None = None
    cells: Cells | None = None
    edges: np.ndarray | None = None
    back_share: float = 0.0


PLAIN = Optics()
