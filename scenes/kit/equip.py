"""What a light of a scene is made of: its head and modifiers, taken from the kit and set to its power."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from materials.errors import KeyfallError

from ..appearance import Appearance, Front
from ..findings import Problem
from ..model import Light
from ..model.light_checks import missing_strength
from ..modifiers import Bulb, ModifierMismatch, Shaped
from ..modifiers.base import Attachment, Shaper
from ..stage import Fixture, HeadInfo
from .calibrate import calibrate
from .kit import Kit
from .load import chain_problem
from .model import Head
from .settings import power_problems

if TYPE_CHECKING:
    from materials.sources import Source

REFERENCE = "standard-reflector"
"""The modifier that losses are told against."""


@dataclass(frozen=True, slots=True)
class Equipment:
    """Head and modifiers of one light.

    Attributes
    ----------
    shaped : the exit and what shapes the light.
    modifiers : their names, or kinds where the scene describes them, from the head outward.
    appearance : how it looks; None for a bare lamp. fronts : what stands before that, from the head outward.
    gain : output relative to the description, by the readings of the kit.
    head : None where the scene itself tells source and strength; then so are `output`, `flash` and `source`.
    output : of the bare lamp at full power, calibrated: lm s of a flash, lm of continuous light.
    flash : whether the head is a flash. source : the spectrum at the set power.
    bare : makes what losses compare with, the standard reflector on the same lamp; `modifier_stops` : what the kit's
        readings add to the modifiers over that reflector.
    """

    shaped: Shaped
    modifiers: tuple[str, ...]
    appearance: Appearance | None
    fronts: tuple[Front, ...]
    gain: float
    head: HeadInfo | None
    output: float | None
    flash: bool | None
    source: Source | None
    bare: Callable[[], Fixture]
    modifier_stops: float


def equip(light: Light, kit: Kit, folder: Path) -> tuple[Equipment | None, list[Problem]]:
    """Head and modifiers of a light, None when they cannot be used; and all problems, seen from its table.

    Names that the kit does not have are told by `scenes.stock` and pass in silence here.

    Parameters
    ----------
    folder : of the scene file, for files it names.
    """
    named = [m for m in light.modifiers if isinstance(m, str)]
    if any(name not in kit.modifiers for name in named) or (light.head is not None and light.head not in kit.heads):
        return None, []
    head = kit.heads[light.head] if light.head is not None else None
    problems: list[Problem] = []
    shaped = source = None
    try:
        bulb = Bulb(head.bulb_diameter_m) if head is not None else Bulb()
        shaped = kit.shaped(light.modifiers, bulb, folder)
        problems += [Problem(("modifiers", 0), note.rstrip("."), severity="warning") for note in shaped.notes]
    except ModifierMismatch as mismatch:
        problems.append(chain_problem(mismatch, len(light.modifiers)))
    if head is not None:
        problems += _kind_problems(light, head)
        setting = "power_stops" if light.power_stops is not None else "power"
        problems += [p.within(setting) for p in power_problems(str(light.head), head, light.power_fraction())]
        source, trouble = _source(light, head, kit, folder)
        problems += trouble
    if shaped is not None and shaped.own_lumens is None and (missing := missing_strength(light)) is not None:
        problems.append(missing)
    if shaped is None or any(p.severity == "error" for p in problems):
        return None, problems
    gain = 2.0 ** calibrate(kit).stops(light.head, named)
    labels = tuple(m if isinstance(m, str) else m.kind for m in light.modifiers)
    chain = [kit.modifiers[m] if isinstance(m, str) else m for m in light.modifiers]
    appearance = next((m.appearance() for m in chain if isinstance(m, Shaper)), None)
    looks = appearance, tuple(m.front for m in chain if isinstance(m, Attachment))
    fitted = calibrate(kit)
    against = (partial(bare_fixture, kit, bulb), fitted.stops(None, named) - fitted.stops(None, [REFERENCE]))
    if head is None:
        return Equipment(shaped, labels, *looks, gain, None, None, None, None, *against), problems
    output, info = head.full_output() * gain, _info(light, head, kit)
    return Equipment(shaped, labels, *looks, gain, info, output, head.is_flash(), source, *against), problems


def bare_fixture(kit: Kit, bulb: Bulb) -> Fixture:
    """The standard reflector on a lamp, at the origin: what losses are told against."""
    return kit.shaped([REFERENCE], bulb, Path()).at_origin()


def _info(light: Light, head: Head, kit: Kit) -> HeadInfo:
    name = str(light.head)
    return HeadInfo(
        name=name,
        energy_ws=head.energy_ws,
        power=light.power_fraction(),
        lowest=head.lowest(),
        step_stops=head.step_stops,
        recycle_s=head.recycle_s,
        sync_s=head.sync_s,
        calibrated=name in calibrate(kit).heads,
    )


def _kind_problems(light: Light, head: Head) -> list[Problem]:
    """A source that the scene puts in place of the head's must be of the same kind."""
    if "source" not in light.model_fields_set or light.measured():
        return []
    if head.is_flash() == (light.source == "flash"):
        return []
    kind = "a flash" if head.is_flash() else "continuous light"
    message = f"the head '{light.head}' is {kind}, and source = \"{light.source}\" is not"
    allowed = 'Allowed: "flash", or a CSV file.' if head.is_flash() else "Allowed: a continuous source, or a CSV file."
    return [Problem(("source",), message, allowed, "Remove source, or take another head.")]


def _source(light: Light, head: Head, kit: Kit, folder: Path) -> tuple[Source | None, list[Problem]]:
    """The spectrum at the set power: the scene's, else the head's; the scene may change its colour temperature."""
    from materials.sources import make_source

    try:
        if "source" in light.model_fields_set:
            if light.measured():
                return make_source("csv", csv=folder / light.source), []
            return make_source(light.source, light.cct_k), []
        if head.measured():
            if light.cct_k is not None:
                message = f"the head '{light.head}' has a measured spectrum, so it takes no colour temperature"
                return None, [Problem(("cct_k",), message, fix="Remove cct_k.")]
            return make_source("csv", csv=kit.folder_of_head(str(light.head)) / head.source), []
        cct = light.cct_k if light.cct_k is not None else head.cct_at(math.log2(light.power_fraction()))
        return make_source(head.source, cct), []
    except (KeyfallError, OSError) as trouble:
        if "source" in light.model_fields_set:
            return None, []  # told where names and files are checked
        key = "cct_k" if light.cct_k is not None else "head"
        return None, [Problem((key,), str(trouble))]
