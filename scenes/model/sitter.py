"""Who sits: a stock figure or a mesh of the user's own."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

from pydantic import Field

from ..findings import Problem
from .base import Angle, Coordinate, Finish, Length, Number, Positive, Table, named

FIGURE_ONLY = ("skin", "hair", "iris", "clothes", "seat")
MESH_ONLY = ("scale", "finish", "face_height_m", "raise_m")


class Clothes(Table):
    """Cloth of each garment the figure wears; what is left out keeps the figure's own."""

    top: Finish | None = Field(None, description="Cloth of the top.")
    bottom: Finish | None = Field(None, description="Cloth of trousers or skirt.")
    jacket: Finish | None = Field(None, description="Cloth of the jacket.")
    shirt: Finish | None = Field(None, description="Cloth of the shirt under a jacket.")
    lapel: Finish | None = Field(None, description="Cloth of the jacket's lapels.")
    shoes: Finish | None = Field(None, description="Material of the shoes.")


class Sitter(Table):
    """A stock figure by name, or a mesh file, and how it is turned and placed."""

    figure: Annotated[str, named("figure")] | None = Field(None, description="Name of a stock figure.")
    mesh: Annotated[str, Field(min_length=1)] | None = Field(
        None,
        description="Mesh file (OBJ, PLY, STL, GLB, ...), its place relative to the scene file; +y up, front to +z.",
    )
    scale: Annotated[Positive, Field(le=1e6)] = Field(
        1.0, description="Mesh only: factor that brings its units to metres; 0.001 for millimetres."
    )
    finish: Finish = Field("plaster", description="Mesh only: its material.")
    raise_m: Annotated[Number, Field(ge=0, le=20)] = Field(
        0.0, description="Mesh only: height of its lowest point above the floor, metres; a bust wants about 1.2."
    )
    face_height_m: Length | None = Field(
        None,
        description="Mesh only: height of the middle of the face above the mesh's lowest point, metres; "
        "estimated from the mesh's height if left out.",
    )
    turn_deg: Angle = Field(0.0, description="Turn about the vertical, degrees; positive turns toward camera right.")
    at_m: Annotated[list[Coordinate], Field(min_length=2, max_length=2)] = Field(
        [0.0, 0.0], description="Place on the floor [x, z], metres: x to camera right, z toward the front of the set."
    )
    skin: Annotated[str, named("skin")] | None = Field(None, description="Skin tone; the figure's own if left out.")
    hair: Annotated[str, named("hair")] | None = Field(None, description="Hair colour; the figure's own if left out.")
    iris: Annotated[str, named("iris")] | None = Field(None, description="Eye colour; the figure's own if left out.")
    clothes: Clothes = Field(Clothes(), description="Cloth of each garment.")
    seat: Finish | None = Field(None, description="Material of the stool under a seated figure.")

    def problems(self) -> Iterator[Problem]:
        """Cross-checks between the keys of this table."""
        if self.figure is None and self.mesh is None:
            yield Problem((), "there is no sitter", fix='Give figure = "..." (a stock figure) or mesh = "file.obj".')
        elif self.figure is not None and self.mesh is not None:
            yield Problem(("mesh",), "figure and mesh are both given", "Allowed: one of them.", "Remove the other.")
        elif self.mesh is not None:
            for extra in self.given(*FIGURE_ONLY):
                yield Problem(
                    (extra,),
                    f"{extra} belongs to stock figures; a mesh has one material",
                    fix='Use finish = "..." instead.',
                )
        else:
            for extra in self.given(*MESH_ONLY):
                yield Problem((extra,), f"{extra} belongs to mesh files, not to stock figures", fix=f"Remove {extra}.")
