"""Light that comes in from elsewhere: windows, and luminaires described by a photometric file."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Annotated, Literal

import numpy as np
from pydantic import Field

from ..appearance import Appearance
from ..model.base import Length
from ..optics import Angular, Optics
from .base import FLAT, Bulb, Shaped, Shaper, pair
from .tables import profile

GROUND = 0.2
"""Reflectance of the ground outside (common practice in daylight reckoning, no source)."""

WALL_M = 0.1
"""Depth of the wall around a window, and of a measured luminaire behind its opening, metres."""


class Window(Shaper):
    """An upright window; the lamp's lumens are those that enter through it."""

    kind: Literal["window"] = Field(description="Kind of modifier.")
    size_m: Annotated[list[Length], Field(min_length=2, max_length=2)] = Field(description="[width, height], metres.")
    glazing: Literal["clear", "frosted"] = Field(
        "clear", description="Clear shows an overcast sky over the ground; frosted scatters all light."
    )

    def appearance(self) -> Appearance:
        """How it looks, on the set and on paper."""
        return Appearance("window", "window")

    def shape(self, bulb: Bulb, folder: Path) -> Shaped:
        """A rectangle through which sky and ground are seen, or a diffuse one."""
        optics = Optics() if self.glazing == "frosted" else Optics(angular=outside())
        return Shaped("rectangle", pair(*self.size_m), WALL_M, optics=optics, takes=("frame",))


def outside() -> Angular:
    """Luminance toward a room from an overcast sky and the ground below it, for an upright window.

    References
    ----------
    CIE standard overcast sky (ISO 15469:2004, type 1's traditional form): L(elevation) = Lz (1 + 2 sin) / 3, which
    lights the ground with 7 pi / 9 Lz. The ground is a diffuse plane of reflectance `GROUND`.
    """
    off_axis, azimuth = np.linspace(0, math.pi / 2, 91), np.arange(120) * math.pi / 60
    # light that travels downward comes from above
    rise = -np.sin(off_axis)[None, :] * np.sin(azimuth)[:, None]
    sky = (1 + 2 * np.maximum(rise, 0)) / 3
    return profile(np.where(rise >= -1e-12, sky, GROUND * 7 / 9), math.pi / 2, "luminance")


class PhotometricFile(Shaper):
    """A luminaire as measured: an LM-63 or EULUMDAT file, whose candelas count where the light states no strength."""

    kind: Literal["photometric"] = Field(description="Kind of modifier.")
    file: Annotated[str, Field(min_length=1)] = Field(description="The file, relative to the one that names it.")

    def appearance(self) -> Appearance:
        """How it looks, on the set and on paper."""
        return Appearance("measured", None)

    def shape(self, bulb: Bulb, folder: Path) -> Shaped:
        """The luminaire's opening and its distribution.

        Raises
        ------
        materials.errors.DataError
            When the file cannot be used.
        """
        from ..photometric import read_photometric, to_optics

        measured = read_photometric(folder / self.file)
        shape, size, optics = to_optics(measured)
        flat = shape in FLAT
        return Shaped(
            shape, np.asarray(size, float), WALL_M if flat else 0.0, optics=optics,
            takes=("grid", "doors", "frame") if flat else ("frame",), notes=measured.notes,
            own_lumens=measured.lumens if measured.rated_lumens is None else measured.rated_lumens,
        )  # fmt: skip
