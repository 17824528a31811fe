"""What the camera takes as white: flash, a temperature with a tint, a light, a source, or a grey card on the set."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from materials.errors import KeyfallError

from . import stage
from .findings import Problem
from .model.camera import WhiteBalance
from .names import listed, nearest
from .placing import point_in_sitter
from .probes import METER_CLEARANCE_M, probes_of
from .resolve import backdrop_of
from .stock import source_problems

if TYPE_CHECKING:
    from .light_colour import Emitted
    from .parts import Parts, Survey

CARD = "card"
"""Name of the meter point at a card that stands at none of the others."""

_KEY = ("exposure", "white_balance")


def white_of(given: str | float | WhiteBalance, folder: Path) -> str | float | stage.White:
    """What a scene gives as its white balance, as the stage holds it: colours that no light decides are worked out."""
    from materials import make_source, white_point, xyz

    if isinstance(given, str):
        return given if given == "flash" else stage.White(f"light {given}", light=given)
    if not isinstance(given, WhiteBalance):
        return given
    if given.light is not None:
        return stage.White(f"light {given.light}", light=given.light)
    if given.kelvin is not None:
        if given.duv is None:
            return given.kelvin
        return stage.White(f"{given.kelvin:g} K, Duv {given.duv:+g}", _tuple(white_point(given.kelvin, given.duv)))
    if given.source is not None:
        measured = given.source.lower().endswith(".csv")
        kind = "csv" if measured else given.source
        white = xyz(make_source(kind, given.cct_k, folder / given.source if measured else None).spd)
        at = f" at {given.cct_k:g} K" if given.cct_k is not None else ""
        return stage.White(f"source {given.source}{at}", _tuple(white / white[1]))
    if isinstance(given.card, str):
        return stage.White(f"card at {given.card}", card=given.card)
    place = ", ".join(f"{x:g}" for x in given.card or ())
    return stage.White(f"card at [{place}]", card=CARD)


def _tuple(white: np.ndarray) -> tuple[float, float, float]:
    x, y, z = (float(v) for v in white)
    return x, y, z


def card_probe(given: str | float | WhiteBalance, found: Survey) -> stage.Probe | None:
    """The meter point at a card on a piece or at a place; None for other whites and for a card at a meter point."""
    card = given.card if isinstance(given, WhiteBalance) else None
    if card is None or found.camera is None:
        return None
    if isinstance(card, str):
        sheet = found.sheets.get(card)
        if sheet is None:
            return None
        return stage.Probe(card, sheet.centre_m + METER_CLEARANCE_M * sheet.forward, sheet.forward, "prop")
    at = np.asarray(card, float)
    toward = found.camera.origin_m - at
    return stage.Probe(CARD, at, toward / max(float(np.linalg.norm(toward)), 1e-9), "prop")


def white_problems(parts: Parts, found: Survey, emitted: Emitted) -> Iterator[Problem]:
    """Names that are not on the set, and whites that no camera can be set to."""
    if parts.exposure is None:
        return
    given = parts.exposure.white_balance
    if isinstance(given, str) and given != "flash":
        yield from _light(given, _KEY, parts, emitted, ("flash",))
    if not isinstance(given, WhiteBalance):
        return
    if given.light is not None:
        yield from _light(given.light, (*_KEY, "light"), parts, emitted, ())
    if given.source is not None:
        table = {"source": given.source} | ({} if given.cct_k is None else {"cct_k": given.cct_k})
        yield from source_problems(table, _KEY, parts.folder)
    if given.card is not None and found.sitter is not None and found.camera is not None:
        yield from _card(given.card, parts, found)


def _light(
    name: str, key: tuple[str, ...], parts: Parts, emitted: Emitted, also: tuple[str, ...]
) -> Iterator[Problem]:
    from materials import correlated_colour_temperature, xyz

    if name not in parts.lights:
        allowed = (*also, *parts.lights)
        close = nearest(name, allowed)
        or_kelvin = ", or kelvin" if also else ""
        fix = f"Did you mean {close}?" if close else "Name a light of this scene."
        yield Problem(key, f"there is no light '{name}' on this set", f"Allowed: {', '.join(allowed)}{or_kelvin}.", fix)
    elif name in emitted:
        source, gel = emitted[name]
        seen = xyz(source.spd if gel is None else source.spd * gel.transmittance)
        if not seen[1] > 0:
            yield Problem(key, f"no light of '{name}' gets through its gels", fix="Name another light, or give kelvin.")
            return
        try:
            correlated_colour_temperature(seen)
        except KeyfallError:
            message = f"the light of '{name}' is too saturated to be taken as white, over 0.05 from any black body"
            yield Problem(key, message, fix="Name a light nearer white, or give kelvin.")


def _card(card: str | list[float], parts: Parts, found: Survey) -> Iterator[Problem]:
    key = (*_KEY, "card")
    assert found.sitter is not None
    assert found.camera is not None
    if isinstance(card, str):
        backdrop = backdrop_of(parts.background, parts.room)
        points = [p.name for p in probes_of(found.sitter, found.camera, backdrop, None)]
        allowed = [*points, *parts.pieces]
        if card not in allowed:
            close = nearest(card, allowed)
            message = f"there is no meter point or piece '{card}' to hold the card at"
            fix = f"Did you mean {close}?" if close else "Name one of these, or give a place [x, y, z]."
            yield Problem(key, message, f"Allowed: {listed(allowed, 40)}.", fix)
        return
    at = np.asarray(card, float)
    if at[1] < 0 or point_in_sitter(at, found.sitter):
        where = "under the floor" if at[1] < 0 else "inside the sitter"
        yield Problem(key, f"the card would be {where}", fix="Move it; x is camera right, y up, z toward the camera.")
