"""What every modifier shares: the lamp it takes, the shaped light it gives, and how wrong chains are told."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from pydantic import Field

from materials.errors import KeyfallError

from ..appearance import Appearance, Front
from ..model.base import Table
from ..optics import PLAIN, Optics
from ..stage import Fixture

if TYPE_CHECKING:
    from ..interior import Interior

FLAT = ("disk", "rectangle", "octagon")
"""Shapes of a flat exit."""


@dataclass(frozen=True, slots=True)
class Bulb:
    """The bare lamp of a head, a diffuse ball."""

    diameter_m: float = 0.06

    @property
    def radius_m(self) -> float:
        """Half the diameter, metres."""
        return self.diameter_m / 2


@dataclass(frozen=True, slots=True)
class Shaped:
    """A head's light as its modifiers shape it: what `stage.Fixture` needs besides its place.

    Attributes
    ----------
    shape : one of `stage.FIXTURE_SHAPES`.
    size_m : (2,) float64, of the exit, as in `stage.Fixture`.
    hole_m, body_depth_m, beam_deg, field_deg : as in `stage.Fixture`.
    optics : what shapes the light inside; its efficiency counts from the bare lamp.
    takes : kinds of attachment that fit in front.
    inside : the bowl that the light was traced in, lying at z <= 0; None when there is none.
    notes : sentences on what is odd about it, for its user.
    """

    shape: str
    size_m: np.ndarray
    body_depth_m: float = 0.0
    hole_m: float = 0.0
    beam_deg: float | None = None
    field_deg: float | None = None
    optics: Optics = PLAIN
    takes: tuple[str, ...] = ()
    inside: Interior | None = None
    notes: tuple[str, ...] = ()
    own_lumens: float | None = None
    """Of the lamp with which it gives the candelas of its own file (lm, or lm s of a flash); None without a file."""

    def at_origin(self) -> Fixture:
        """The fixture with its exit at the origin, level, looking along +z."""
        right, up, forward = np.eye(3)
        return Fixture(
            self.shape, self.size_m, np.zeros(3), right, up, forward, self.beam_deg, self.field_deg, False,
            self.body_depth_m, self.hole_m, self.optics,
        )  # fmt: skip


class ModifierMismatch(KeyfallError):
    """Modifiers that do not go together.

    Attributes
    ----------
    index : place of the one at fault in the list, from 0; the length of the list when one is missing at its end.
    message, allowed, fix : what is wrong, what may stand there, what to do.
    """

    def __init__(self, index: int, message: str, allowed: str = "", fix: str = "") -> None:
        self.index, self.message, self.allowed, self.fix = index, message, allowed, fix
        super().__init__(" ".join(part for part in (f"{message}.", allowed, fix) if part))


class Unfit(Exception):
    """Raised by a modifier that cannot do its work here; `assemble` turns it into a `ModifierMismatch`."""

    def __init__(self, message: str, allowed: str = "", fix: str = "") -> None:
        self.message, self.allowed, self.fix = message, allowed, fix
        super().__init__(message)


class _Described(Table):
    note: str = Field("", description="What it is, for lists.", max_length=200)


class Shaper(_Described):
    """A modifier that goes straight on the head. A subclass adds `kind`, its sizes, `shape` and `appearance`."""

    def shape(self, bulb: Bulb, folder: Path) -> Shaped:
        """The light that leaves it; `folder` is where files it names are looked for."""
        raise NotImplementedError

    def appearance(self) -> Appearance:
        """How it looks, on the set and on paper."""
        raise NotImplementedError


class Attachment(_Described):
    """A modifier that goes in front of another. A subclass adds `kind`, its sizes, `apply`, and how it looks."""

    front: ClassVar[Front]

    def apply(self, shaped: Shaped) -> Shaped:
        """The light after it has passed."""
        raise NotImplementedError


def pair(width_m: float, height_m: float | None = None) -> np.ndarray:
    """A size (2,) from width and height, or from one diameter."""
    return np.array([width_m, width_m if height_m is None else height_m], float)


def size_pair(size_m: Any) -> np.ndarray:
    """A size (2,) from a number or a list of two."""
    return pair(*size_m) if isinstance(size_m, list) else pair(size_m)


def seat(bulb: Bulb, width_m: float, what: str) -> None:
    """Check that the lamp goes through an opening.

    Raises
    ------
    Unfit
        When it does not.
    """
    if not bulb.diameter_m < width_m:
        raise Unfit(
            f"the lamp of {bulb.diameter_m:g} m across does not go into {what} of {width_m:g} m",
            f"Allowed: more than {bulb.diameter_m:g} m.",
            "Widen it, or correct the head's bulb_diameter_m.",
        )
