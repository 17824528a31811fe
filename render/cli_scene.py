"""The commands about one scene, modifiers and this machine: preview, check, meter, beam, kit, list and others."""

from __future__ import annotations

import json
import sys
from enum import Enum
from pathlib import Path
from typing import Annotated

import typer
from rich.text import Text

from materials import KeyfallError

from .cli_app import (
    AsJson,
    Device,
    DeviceOption,
    Quality,
    QualityOption,
    SamplesOption,
    SceneFile,
    TargetOption,
    ThreadsOption,
    app,
    open_clean,
    plain_errors,
    talk,
    trace_settings,
)
from .streams import Console, Table, write_json
from .terminal import TraceBar, diagnosis_to_console, findings_to_console, meter_table, report_to_console


class Tone(str, Enum):
    """Tone curves."""

    shoulder = "shoulder"
    linear = "linear"


class Gamut(str, Enum):
    """Display gamuts."""

    srgb = "srgb"
    p3 = "p3"


class Catalogue(str, Enum):
    """What `list` can list."""

    all = "all"
    sitters = "sitters"
    heads = "heads"
    modifiers = "modifiers"
    cells = "cells"
    styles = "styles"
    skies = "skies"
    airs = "airs"
    landmarks = "landmarks"
    gels = "gels"
    sources = "sources"
    surfaces = "surfaces"
    skins = "skins"
    hair = "hair"
    irises = "irises"
    keys = "keys"


@app.command()
def preview(
    scene: SceneFile,
    output: Annotated[Path, typer.Option("--output", "-o", metavar="DIR", help="Folder for the results.")],
    quality: QualityOption = Quality.preview,
    samples: SamplesOption = None,
    until: TargetOption = None,
    tone: Annotated[Tone, typer.Option(help="shoulder rolls highlights off; linear clips them.")] = Tone.shoulder,
    gamut: Annotated[Gamut, typer.Option(help="Colour space of the picture.")] = Gamut.srgb,
    depth: Annotated[int, typer.Option(help="Bits a channel: 8 is the PNG alone, 16 adds preview.tif.")] = 8,
    exr: Annotated[bool, typer.Option("--exr", help="Also write linear preview.exr, one layer a light.")] = False,
    noisy: Annotated[bool, typer.Option("--noisy", help="Also write preview-noisy.png, before denoising.")] = False,
    device: DeviceOption = Device.auto,
    threads: ThreadsOption = None,
    as_json: AsJson = False,
) -> None:
    """Trace a scene: picture, exposure maps, meter readings and report.

    Writes preview.png, map-exposure.png, map-face.png, map-background.png, map-incident.png and report.json. Lights
    already traced are taken from the cache: changing gels, power or exposure traces nothing again.
    """
    with plain_errors():
        from .preview import PictureSettings
        from .preview import preview as run

        if depth not in (8, 16):
            raise KeyfallError(f"--depth is {depth}. Allowed: 8 or 16.")
        opened = open_clean(scene)
        tracing = trace_settings(quality, samples, until, device, threads)
        pictures = PictureSettings(tone.value, gamut.value, depth, exr, noisy)
        with TraceBar(talk) as bar:
            report = run(opened, output, tracing, pictures, progress=bar)
        if as_json:
            write_json(report.model_dump_json(indent=2))
        else:
            report_to_console(Console(), report, output)


@app.command()
def check(scene: SceneFile, as_json: AsJson = False) -> None:
    """Check a scene file: every error at once, with line, what is allowed and the fix. Traces nothing.

    Says how large the picture is, and about how much memory it takes.
    """
    with plain_errors():
        from scenes import SceneError, open_set

        from .memory import size_up

        size = None
        try:
            opened = open_set(scene)
        except SceneError as error:
            findings = list(error.findings)
        else:
            size, too_large = size_up(opened)
            findings = [*opened.findings, *too_large]
        errors = sum(f.severity == "error" for f in findings)
        if as_json:
            rows = [
                {"file": f.path, "line": f.line, "severity": f.severity, "where": f.where, "message": f.message,
                 "allowed": f.allowed, "fix": f.fix} for f in findings
            ]  # fmt: skip
            sys.stdout.write(json.dumps(rows, indent=2) + "\n")
        else:
            findings_to_console(Console(), findings)
            if not errors:
                console = Console()
                console.print(f"{scene}: ready to trace: {size}.", markup=False, highlight=False, soft_wrap=True)
        if errors:
            raise typer.Exit(1)


@app.command()
def meter(
    scene: SceneFile,
    quality: Annotated[
        Quality, typer.Option("--quality", "-q", help="Taken as by other commands; readings are the same at each.")
    ] = Quality.preview,
    device: DeviceOption = Device.auto,
    threads: ThreadsOption = None,
    as_json: AsJson = False,
) -> None:
    """Read a hand meter on the set: at the face, the body and the background, per light and together.

    Each light alone is read with a flat meter toward it, all together with the dome toward the camera. A reading is
    the aperture asked for at the set ISO, and the stops over (+) or under (-) the set aperture.
    """
    with plain_errors():
        from .readings import all_readings
        from .report import MeterReport
        from .trace import trace_meters

        opened = open_clean(scene)
        stage = opened.stage
        readings = all_readings(trace_meters(stage, device=device.value, threads=threads), stage)
        report = MeterReport.of(stage, readings)
        if as_json:
            write_json(report.model_dump_json(indent=2))
        else:
            meter_table(Console(), stage, readings, report.ratio)


@app.command()
def beam(
    setups: Annotated[
        list[str],
        typer.Argument(
            metavar="SETUP...", help="Modifiers from the head outward, joined by +: standard-reflector+grid-20."
        ),
    ],
    distance: Annotated[
        list[float] | None,
        typer.Option(
            "--distance", "-d", metavar="M", help="Wall distance in metres; repeat it. 0.6 and 2.5 if left out."
        ),
    ] = None,
    head: Annotated[str | None, typer.Option("--head", help="Head of the kit; keyfall kit lists them.")] = None,
    kit: Annotated[
        Path | None, typer.Option("--kit", metavar="FILE", help="Your own kit file beside the stock kit.")
    ] = None,
    output: Annotated[
        Path | None, typer.Option("--output", "-o", metavar="DIR", help="Folder for beam.png and beam.json.")
    ] = None,
    lm63: Annotated[bool, typer.Option("--lm63", help="Also write each setup as a photometric file (LM-63).")] = False,
    as_json: AsJson = False,
) -> None:
    """Compare modifiers with no set: light on the axis, loss, beam and field on a wall, fall-off, near and far.

    For example: `keyfall beam standard-reflector standard-reflector+grid-20 snoot -o beams`
    """
    with plain_errors():
        from .beam import DEFAULT_DISTANCES_M
        from .cli_beam import show_beams

        show_beams(setups, distance or list(DEFAULT_DISTANCES_M), head, kit, output, lm63, as_json, Console())


@app.command()
def kit(
    file: Annotated[
        Path | None, typer.Argument(metavar="[FILE]", help="Your kit file; the stock kit if left out.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """List heads and modifiers; of your own kit file also what its meter readings say, with residuals in stops."""
    with plain_errors():
        from .cli_kit import show_kit

        show_kit(file, as_json, Console(), talk)


@app.command()
def doctor(as_json: AsJson = False) -> None:
    """Say what this machine offers: device, LLVM library, versions, cache."""
    with plain_errors():
        from .doctor import diagnose

        found = diagnose()
        if as_json:
            sys.stdout.write(json.dumps(found.as_dict(), indent=2) + "\n")
        else:
            diagnosis_to_console(Console(), found)
        if not found.usable:
            raise typer.Exit(1)


@app.command("list")
def list_names(
    what: Annotated[Catalogue, typer.Argument(case_sensitive=False, help="What to list.")] = Catalogue.all,
    as_json: AsJson = False,
) -> None:
    """List the names a scene file may use, and what they are; with keys, every key of the format with an example."""
    with plain_errors():
        from .catalogue import catalogue

        listing = catalogue(what.value)
        if as_json:
            sys.stdout.write(json.dumps(listing, indent=2) + "\n")
            return
        for title, entries in listing.items():
            heading = Text(title, style="italic")
            table = Table(title=heading, title_justify="left", show_header=False, box=None, pad_edge=False)
            for name, description in entries.items():
                table.add_row(Text(name, style="bold"), Text(description))
            Console().print(table)
            Console().print()


@app.command()
def schema(
    output: Annotated[
        Path | None, typer.Option("--output", "-o", help="File to write; standard output if left out.")
    ] = None,
    kit: Annotated[bool, typer.Option("--kit", help="Of kit files instead.")] = False,
) -> None:
    """Write the JSON Schema of scene files, for editors that complete and check as you type."""
    with plain_errors():
        from scenes.schema import kit_json_schema, scene_json_schema

        text = json.dumps(kit_json_schema() if kit else scene_json_schema(), indent=2) + "\n"
        if output is None:
            sys.stdout.write(text)
            return
        from .outputs import OutputFolder

        with OutputFolder(output.parent) as folder:
            folder.write_text(output.name, text)


@app.command()
def cache(clear: Annotated[bool, typer.Option("--clear", help="Remove everything kept.")] = False) -> None:
    """Show, or clear, the folder of traced results."""
    with plain_errors():
        from .cache import Cache

        store = Cache()
        if clear:
            Console().print(f"Removed {store.clear() / 1e6:.0f} MB from {store.folder}", markup=False, soft_wrap=True)
        else:
            used, limit = store.size_bytes() / 1e6, store.limit_bytes / 1e6
            Console().print(f"{store.folder}: {used:.0f} MB of at most {limit:.0f} MB", markup=False, soft_wrap=True)
