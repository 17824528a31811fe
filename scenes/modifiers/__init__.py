"""What goes on a head, each a small description of its sizes, and how a chain of them shapes the light.

A new one is a table with a `kind`, its sizes and one method: a shaper's `shape`, from the bare lamp to the light
that leaves; or an attachment's `apply`, from the light behind it to the light in front. Then it joins `Modifier`.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

from pydantic import Field

from materials.errors import DataError

from .attachments import Doors, FabricGrid, Frame, Grid, Sock
from .base import Attachment, Bulb, ModifierMismatch, Shaped, Shaper, Unfit
from .bowls import Dish, Reflector, Snoot
from .boxes import Softbox, Umbrella
from .plain import BareBulb, Fresnel, Panel, Ring, Tube
from .projecting import Projector
from .windows import PhotometricFile, Window

__all__ = ["Bulb", "Modifier", "ModifierMismatch", "Shaped", "assemble"]

Modifier = Annotated[
    BareBulb
    | Reflector
    | Snoot
    | Dish
    | Softbox
    | Umbrella
    | Ring
    | Panel
    | Tube
    | Fresnel
    | Projector
    | Window
    | PhotometricFile
    | Grid
    | FabricGrid
    | Doors
    | Sock
    | Frame,
    Field(discriminator="kind"),
]


def assemble(modifiers: Sequence[Shaper | Attachment], bulb: Bulb, folder: Path) -> Shaped:
    """The light of a lamp through its modifiers, from the head outward: a shaper first, then attachments.

    Parameters
    ----------
    modifiers : without any, the bulb is bare.
    folder : where the files that modifiers name are looked for.

    Raises
    ------
    ModifierMismatch
        When they do not go together, or a file they name cannot be used.
    """
    shaped = BareBulb(kind="bulb").shape(bulb, folder)
    for index, modifier in enumerate(modifiers):
        kind = _kind(modifier)
        try:
            if isinstance(modifier, Shaper):
                _first(index, kind, modifiers)
                shaped = modifier.shape(bulb, folder)
            else:
                _fits(index, kind, shaped, modifiers)
                shaped = modifier.apply(shaped)
        except Unfit as problem:
            raise ModifierMismatch(index, problem.message, problem.allowed, problem.fix) from None
        except DataError as problem:
            raise ModifierMismatch(index, str(problem).rstrip(".")) from None
    return shaped


def _kind(modifier: Shaper | Attachment) -> str:
    return str(getattr(modifier, "kind"))  # noqa: B009


def _first(index: int, kind: str, modifiers: Sequence[Shaper | Attachment]) -> None:
    if index:
        message = f"the {kind} goes straight on the head, but it comes after the {_kind(modifiers[index - 1])}"
        raise Unfit(
            message, "Allowed: one modifier on the head, first in the list.", f"Remove it, or put the {kind} first."
        )


def _fits(index: int, kind: str, shaped: Shaped, modifiers: Sequence[Shaper | Attachment]) -> None:
    if kind in shaped.takes:
        return
    behind = f"the {_kind(modifiers[index - 1])}" if index else "the bare lamp"
    takes = ", ".join(shaped.takes) or "nothing"
    fix = "Change the order, or remove it." if index else "Put it in front of a modifier such as a reflector."
    raise Unfit(f"the {kind} cannot go in front of {behind}", f"Allowed there: {takes}.", fix)
