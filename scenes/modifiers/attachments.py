"""What goes in front of a modifier: honeycomb and fabric grids, barn doors, socks and diffusion frames."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Annotated, Literal

import numpy as np
from pydantic import Field

from ..cells import ratio_for_slope
from ..findings import Problem
from ..model.base import Length, Number
from ..optics import CellKind, Cells, Optics, Source
from ..stage import Fixture
from .base import FLAT, Attachment, Shaped, Unfit, size_pair
from .insides import covered_bowl
from .linings import CellFinish, Cloth, cell_reflectance, passes, sheet
from .tables import GLOW_CELLS, within

Degrees = Annotated[Number, Field(ge=2, le=120)]
Cell = Annotated[Number, Field(gt=0, le=0.5)]
Meaning = Literal["cutoff", "half", "tenth"]
Leaf = Annotated[Number, Field(ge=-80, le=90)]

SHARES: dict[str, float] = {"cutoff": 0.0, "half": 0.5, "tenth": 0.1}
"""Transmission at the edge of the angle that a grid's label tells."""

FRAME_STEPS = 32
"""Points a side at which the light on a diffusion frame is worked out, and of the exit behind it."""


class _CellGrid(Attachment):
    """Cells given by an angle, or by their width and depth."""

    degrees: Degrees | None = Field(None, description="Full angle of its label, degrees; or give cell_m and depth_m.")
    meaning: Meaning = Field(
        "half",
        description="What the label means: where the light through the cells ends (cutoff), or falls to a half or a "
        "tenth.",
    )
    cell_m: Cell | None = Field(None, description="Width of a cell's opening, metres.")
    depth_m: Cell | None = Field(None, description="Depth of the cells, metres.")

    def problems(self) -> Iterator[Problem]:
        """Either the label, or both sizes."""
        both = "Allowed: degrees, or cell_m with depth_m."
        if self.degrees is not None and self.depth_m is not None:
            yield Problem(("depth_m",), "degrees and depth_m both say how deep the cells are", both, "Remove one.")
        if self.degrees is None and (self.cell_m is None or self.depth_m is None):
            yield Problem((), "this grid has no angle", both, "E.g. degrees = 20.")
        if self.degrees is None:
            for extra in self.given("meaning"):
                yield Problem((extra,), "meaning explains degrees, which are not given", both, "Remove meaning.")

    def fit(
        self, shaped: Shaped, kind: CellKind, usual_cell_m: float, wall_m: float, reflectance: float = 0.0
    ) -> Shaped:  # fmt: skip
        """The same light through cells, set into the mouth as far as there is room."""
        cell = self.cell_m if self.cell_m is not None else usual_cell_m
        if self.depth_m is not None:
            ratio = self.depth_m / cell
        else:
            slope = math.tan(math.radians((self.degrees or 0.0) / 2))
            ratio = ratio_for_slope(kind, SHARES[self.meaning], slope)
        cells, depth = Cells(kind, ratio, open_share(kind, cell, wall_m), reflectance), ratio * cell
        optics, added = _set_back(shaped, depth)
        if reflectance:  # light that walls mirror leaves a cell beside where it came in: the grid counts as a screen
            optics = _nearer(optics, depth)
        takes = tuple(k for k in shaped.takes if k in ("doors", "frame"))
        body = shaped.body_depth_m + added
        return replace(shaped, optics=replace(optics, cells=cells), body_depth_m=body, takes=takes, inside=None)


class Grid(_CellGrid):
    """A honeycomb grid of hexagonal or round cells."""

    kind: Literal["grid"] = Field(description="Kind of modifier.")
    cells: Literal["hexagon", "round"] = Field("hexagon", description="Shape of the cells.")
    wall_m: Annotated[Number, Field(ge=0, le=0.05)] = Field(
        0.0002, description="Thickness of the wall between two cells, metres."
    )
    finish: CellFinish = Field(
        "dark", description="Finish of the cells: dark walls send no light on, bright bare metal mirrors some of it."
    )

    def apply(self, shaped: Shaped) -> Shaped:
        """The light through the honeycomb."""
        return self.fit(shaped, self.cells, 0.0065, self.wall_m, cell_reflectance(self.finish))


class FabricGrid(_CellGrid):
    """A grid of square cells of black cloth."""

    kind: Literal["fabric-grid"] = Field(description="Kind of modifier.")
    wall_m: Annotated[Number, Field(ge=0, le=0.05)] = Field(
        0.001, description="Thickness of the cloth between two cells, metres."
    )

    def apply(self, shaped: Shaped) -> Shaped:
        """The light through the cells."""
        return self.fit(shaped, "square", 0.05, self.wall_m)


def open_share(kind: str, cell_m: float, wall_m: float) -> float:
    """Share of a grid's face that walls leave open.

    Hexagons and squares tile: (cell / pitch)^2. Round cells stand in rows of equilateral triangles, which leaves
    pi / (2 sqrt(3)) of that.
    """
    share = (cell_m / (cell_m + wall_m)) ** 2
    return share * math.pi / (2 * math.sqrt(3)) if kind == "round" else share


def _set_back(shaped: Shaped, depth_m: float) -> tuple[Optics, float]:
    """Optics with the luminous area at least `depth_m` behind the exit, and how far the exit moved out for it."""
    own = shaped.optics.source
    if own is not None:
        added = max(depth_m - own.depth_m, 0.0)
        return replace(shaped.optics, source=replace(own, depth_m=own.depth_m + added)), added
    if shaped.hole_m or shaped.shape not in FLAT:
        return shaped.optics, depth_m
    return replace(shaped.optics, source=Source(shaped.shape, shaped.size_m, depth_m)), depth_m


def _nearer(optics: Optics, depth_m: float) -> Optics:
    """Optics with the luminous area so much nearer to the exit."""
    own = optics.source
    return optics if own is None else replace(optics, source=replace(own, depth_m=max(own.depth_m - depth_m, 0.0)))


class Doors(Attachment):
    """Barn doors: four leaves hinged at the edges of the mouth."""

    kind: Literal["doors"] = Field(description="Kind of modifier.")
    length_m: Annotated[Number, Field(gt=0, le=2)] = Field(description="Length of a leaf from its hinge, metres.")
    angles_deg: Annotated[list[Leaf], Field(min_length=4, max_length=4)] = Field(
        [30.0, 30.0, 30.0, 30.0],
        description="Leaves [right, left, up, down], degrees from the axis: 0 straight ahead, more opens, less closes.",
    )

    def apply(self, shaped: Shaped) -> Shaped:
        """The light that passes between the tips of the leaves."""

        half = np.repeat(shaped.size_m / 2, 2)
        turn = np.radians(np.array(self.angles_deg, float))
        reach = half + self.length_m * np.sin(turn)
        for first, names in ((0, "right and left"), (2, "upper and lower")):
            if not reach[first] + reach[first + 1] > 0:
                raise Unfit(f"the {names} leaves close the mouth", fix="Open one of them, or shorten the leaves.")
        edges = np.stack([self.length_m * np.cos(turn), reach], axis=1)
        takes = tuple(k for k in shaped.takes if k == "frame")
        return replace(shaped, optics=replace(shaped.optics, edges=edges), takes=takes, inside=None)


class Sock(Attachment):
    """A diffusing cloth over the mouth of a bowl or panel."""

    kind: Literal["sock"] = Field(description="Kind of modifier.")
    cloth: Cloth = Field("thick", description="How dense the cloth is.")

    def apply(self, shaped: Shaped) -> Shaped:
        """A diffuse mouth; what the cloth throws back into a bowl is traced there again."""
        takes = tuple(k for k in shaped.takes if k in ("grid", "fabric-grid", "doors", "frame"))
        if shaped.inside is None:
            passed = shaped.optics.efficiency * passes(self.cloth)[0]
            return replace(shaped, optics=Optics(passed, glow=shaped.optics.glow), takes=takes)
        cover = sheet(self.cloth, 0.0, shaped.inside.exit_radius_m)
        inside = replace(shaped.inside, sheets=(*shaped.inside.sheets, cover))
        return replace(shaped, optics=covered_bowl(inside, shaped.shape), takes=takes, inside=None)


class Frame(Attachment):
    """A diffusion frame on its own stand in front of the head: it becomes the exit. Light that misses it is lost."""

    kind: Literal["frame"] = Field(description="Kind of modifier.")
    size_m: Length | Annotated[list[Length], Field(min_length=2, max_length=2)] = Field(
        description="Metres: [width, height], or the diameter of a round frame."
    )
    gap_m: Annotated[Number, Field(ge=0.02, le=20)] = Field(
        description="Distance from the front of the head to the frame, metres."
    )
    cloth: Cloth = Field("thick", description="How dense the cloth is.")

    def apply(self, shaped: Shaped) -> Shaped:
        """A thin sheet that glows as it is lit, to both sides."""
        form = "rectangle" if isinstance(self.size_m, list) else "disk"
        size = size_pair(self.size_m)
        transmittance, reflectance = passes(self.cloth)
        lux, caught = _light_on(shaped, form, size, self.gap_m)
        optics = Optics(caught * transmittance, glow=lux, back_share=reflectance / transmittance)
        return Shaped(form, size, optics=optics, takes=("fabric-grid",))


def _light_on(shaped: Shaped, form: str, size_m: np.ndarray, gap_m: float) -> tuple[np.ndarray, float]:
    """Light on a frame: a glow picture of it (mean 1 over the frame), and the lumens for one of the lamp.

    Raises
    ------
    Unfit
        When no light reaches it.
    """
    from ..field import illuminance
    from ..fixtures import area_m2

    axes = np.eye(3)
    gap = gap_m + (shaped.size_m[1] / 2 if shaped.shape in ("sphere", "tube") else 0.0)
    head = Fixture(
        shaped.shape, shaped.size_m, np.zeros(3), axes[0], axes[1], axes[2], shaped.beam_deg, shaped.field_deg,
        False, shaped.body_depth_m, shaped.hole_m, shaped.optics,
    )  # fmt: skip
    middle = (np.arange(FRAME_STEPS) + 0.5) / FRAME_STEPS * 2 - 1
    x, y = np.meshgrid(middle, -middle)
    points = np.stack([x * size_m[0] / 2, y * size_m[1] / 2, np.full_like(x, gap)], axis=-1).reshape(-1, 3)
    lux = illuminance(head, points, -axes[2], FRAME_STEPS).reshape(x.shape)
    inside = within(form, x, y)
    mean = float(lux[inside].mean())
    if not mean > 0:
        raise Unfit("no light reaches the frame", fix="Bring it nearer, or make it larger.")
    repeat = GLOW_CELLS // FRAME_STEPS
    picture = np.kron(lux / mean, np.ones((repeat, repeat)))
    return picture.astype(np.float32), mean * area_m2(form, size_m)
