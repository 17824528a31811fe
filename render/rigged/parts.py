"""What a drawn set is made of."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

if TYPE_CHECKING:
    import trimesh

PartKind = Literal[
    "figure", "floor", "background", "wall", "ceiling", "piece", "housing", "front", "stand", "camera", "beam"
]

CHARCOAL = (0.062, 0.063, 0.068)
STEEL = (0.11, 0.112, 0.118)
SILVER = (0.55, 0.56, 0.57)
CLOTH_WHITE = (0.82, 0.82, 0.81)
UNLIT = (0.42, 0.42, 0.41)
WARM_WHITE, COOL_WHITE = (1.0, 0.92, 0.76), (0.72, 0.85, 1.0)


@dataclass(frozen=True, slots=True, eq=False)
class SetPart:
    """A piece of the drawn set.

    Attributes
    ----------
    name : unique on the set, such as "light.key.housing".
    kind : what it is.
    owner : the name of the light or piece it belongs to, "camera", or empty.
    mesh : a trimesh in metres of the world frame, with a normal at every vertex.
    colour : linear sRGB; of the brightest vertex where they differ.
    shades : (n, 3) from 0 to 1, which multiply `colour` by vertex; None where all are alike.
    alpha : how opaque it is; `fade` (n,) multiplies it by vertex; None where it is the same all over.
    glows : whether it shines by itself.
    two_sided : whether it is an open surface seen from both sides.
    """

    name: str
    kind: PartKind
    owner: str
    mesh: trimesh.Trimesh
    colour: tuple[float, float, float]
    shades: np.ndarray | None = None
    alpha: float = 1.0
    fade: np.ndarray | None = None
    glows: bool = False
    two_sided: bool = False


def rgb(values: np.ndarray) -> tuple[float, float, float]:
    """Three floats."""
    red, green, blue = (float(v) for v in values)
    return red, green, blue
