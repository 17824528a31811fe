"""How the rigging numbers of a preview look in the terminal."""

from __future__ import annotations

from rich.text import Text

from .meterset import FACE_PROBE
from .report import LightReport, Report
from .rigging import WallSpreadReport
from .streams import Console, Table

_NOTE = (
    "Beam and field: width in metres, to half and to a tenth of its brightest light, at the face's distance. On the "
    "wall: the beam on what is behind the sitter; cut: the wall ends inside the beam. Wall, floor and legs: how many "
    "stops less they get than the face, from this light alone. Loss: stops on the axis that the modifiers take, "
    "against the standard reflector on the same head, at the same distance from the front; minus: they give more. "
    "Alone at: the power at which this light alone reads the set aperture at the face."
)


def rig_to_console(console: Console, report: Report, mark: str) -> None:
    """Width, spill, loss and needed setting of every light that stands on the set, and an empty line; nothing without
    one. `mark` is the set aperture as it is said."""
    standing = [light for light in report.lights if light.spread_at_face is not None and light.on]
    if not standing:
        return
    headings = ["light", "beam", "field", "on the wall", "wall", "floor", "legs"]
    losses = any(light.modifier_loss_stops is not None for light in standing)
    settings = any(light.power_for_aperture is not None for light in standing)
    headings += ["loss"] * losses + [f"alone f/{mark} at"] * settings
    table = Table(box=None, pad_edge=False)
    for heading in headings:
        table.add_column(heading, justify="left" if heading in ("light", headings[-1]) else "right")
    for light in standing:
        cells = [*_cells(light), *[_stops(light.modifier_loss_stops)] * losses]
        needed = light.power_for_aperture if light.read_at.probe == FACE_PROBE else None
        cells += [needed.setting if needed else ""] * settings
        table.add_row(*map(Text, cells))
    console.print(table)
    console.print(Text(_NOTE, style="dim"))
    console.print()


def _cells(light: LightReport) -> list[str]:
    at_face, behind, spill = light.spread_at_face, light.beam_on_background, light.spill
    beam, field = ("", "") if at_face is None else (_size(at_face.beam_m), _size(at_face.field_m))
    under = (spill.wall, spill.floor, spill.legs) if light.read_at.probe == FACE_PROBE else (None, None, None)
    return [light.name, beam, field, _on_wall(behind), *map(_stops, under)]


def _on_wall(spread: WallSpreadReport | None) -> str:
    if spread is None:
        return ""
    return f"{_size(spread.beam_m)} cut" if spread.beam_cut else _size(spread.beam_m)


def _size(size: tuple[float | None, float | None]) -> str:
    wide, high = ("all" if s is None else f"{s:.1f}" for s in size)
    return wide if wide == high else f"{wide}x{high}"


def _stops(value: float | None) -> str:
    return "" if value is None else f"{value + 0.0:.1f}"
