"""`keyfall beam`: modifiers side by side on a wall, with no set."""

from __future__ import annotations

import datetime
from functools import partial
from pathlib import Path

from rich.text import Text

from materials import KeyfallError
from scenes.kit import load_kit
from scenes.meters import aperture_words
from scenes.photometric import lm63_text

from .beam import MOST_SETUPS, BeamReport, Setup, beam_report, check_distances, chosen_head, photometry_of, setup_of
from .beam_plot import write_beam_sheet
from .outputs import OutputFolder
from .platforms import file_stems
from .streams import Console, Table, write_json


def show_beams(
    texts: list[str], distances_m: list[float], head: str | None, kit_file: Path | None, output: Path | None,
    lm63: bool, as_json: bool, console: Console,
) -> None:  # fmt: skip
    """Compare setups: a table or JSON on the terminal; with a folder, the sheet, the numbers and photometric files.

    Raises
    ------
    KeyfallError
        For unknown names, chains that do not go together, distances out of range, or a folder that cannot be written.
    """
    if len(texts) > MOST_SETUPS:
        raise KeyfallError(f"{len(texts)} setups are given. Allowed: up to {MOST_SETUPS} side by side.")
    if lm63 and output is None:
        raise KeyfallError("--lm63 writes a file for each setup. Name a folder with -o.")
    kit = load_kit(kit_file)
    chosen = chosen_head(kit, head)
    distances = check_distances(distances_m)
    setups = [setup_of(text, kit, chosen) for text in texts]
    names = _file_names(setups) if lm63 else [None] * len(setups)
    report = beam_report(setups, kit, chosen, distances, names)
    if output is not None:
        with OutputFolder(output) as folder:
            folder.write("beam.png", partial(write_beam_sheet, setups=setups, report=report))
            for setup, name in zip(setups, names, strict=True):
                if name is not None:
                    _write_lm63(folder, name, setup, report)
            report = folder.finish("beam.json", report)
    if as_json:
        write_json(report.model_dump_json(indent=2))
    else:
        framed = any(kit.modifiers[name].kind == "frame" for setup in setups for name in setup.modifiers)
        _to_console(console, report, output, framed)


def _file_names(setups: list[Setup]) -> list[str]:
    return [f"{stem}.ies" for stem in file_stems([setup.name.replace("+", "_") for setup in setups])]


def _write_lm63(folder: OutputFolder, name: str, setup: Setup, report: BeamReport) -> None:
    words = {"OTHER": f"lamp: head {report.head} at full power"}
    if not report.continuous:
        words["_UNIT"] = "flash: lm s and cd s stand for lm and cd"
    text = lm63_text(photometry_of(setup, report.lumens), datetime.date.today(), words)
    encoded = text.replace("\n", "\r\n").encode("ascii")

    def write(path: Path) -> None:
        path.write_bytes(encoded)

    folder.write(name, write)


def _to_console(console: Console, report: BeamReport, output: Path | None, framed: bool) -> None:
    what = "continuous light, 1/60 s" if report.continuous else "flash"
    console.print(Text(f"Head {report.head} ({what}) at full power, ISO {report.iso:g}", style="bold"))
    table = Table(box=None, pad_edge=False)
    table.add_column("setup", no_wrap=True)
    for heading in ("at", "meter", "loss", "in front", "beam 50 %", "field 10 %"):
        table.add_column(heading, justify="right")
    for setup in report.setups:
        names = [setup.modifiers[0], *(f"+ {name}" for name in setup.modifiers[1:])]
        for number, at in enumerate(setup.at):
            named = "\n".join(names[number:] if at is setup.at[-1] else names[number : number + 1])
            front = _stops(at.attachment_loss_stops)
            table.add_row(
                Text(named, style="bold"), f"{at.distance_m:g} m",
                "dark" if at.f_number is None else aperture_words(at.f_number), _stops(at.loss_stops), front,
                _size(at.beam_m), _size(at.field_m),
            )  # fmt: skip
    console.print(table)
    note = (
        "Meter: flat toward the light, on its axis; dark: a bar stands there. Loss: stops that the modifiers take on "
        "the axis, against the standard reflector on the same head, at the same distance from the front; minus: they "
        "give more. In front: what grids, cloths, doors or frames take of it, in front of the first modifier. Beam "
        "and field: width in metres on a wall, between the outermost places with half and with a tenth of the "
        "brightest light, bars and holes included."
    )
    if framed:
        note += (
            " A frame takes more than its cloth does: light that misses it is lost, and the cloth scatters the rest to "
            "all sides."
        )
    console.print(Text(note, style="dim"))
    if output is not None:
        console.print(f"Results are in {output}", markup=False, highlight=False, soft_wrap=True)


def _stops(value: float | None) -> str:
    return "" if value is None else f"{round(value, 1) + 0.0:.1f}"


def _size(size: tuple[float | None, float | None]) -> str:
    wide, high = ("all" if s is None else f"{s:.2f}" for s in size)
    return wide if wide == high else f"{wide} x {high}"
