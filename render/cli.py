"""The `keyfall` command."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from enum import Enum
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.table import Table

from materials import KeyfallError

from .terminal import TraceBar, findings_to_console, meter_table, report_to_console

app = typer.Typer(
    name="keyfall",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode="markdown",
    help="""Preview portrait lighting before anyone carries a stand.

    Describe sitter, room, lights, gels and camera in a scene file; Keyfall traces every light alone and gives back
    the picture, exposure maps in stops, and what a hand meter would read.

    A first round: `keyfall list sitters`, write a scene, `keyfall check scene.toml`,
    `keyfall preview scene.toml -o look`.
    """,
)
talk = Console(stderr=True)


class Quality(str, Enum):
    """Named sample counts."""

    draft = "draft"
    preview = "preview"
    final = "final"


class Tone(str, Enum):
    """Tone curves."""

    shoulder = "shoulder"
    linear = "linear"


class Gamut(str, Enum):
    """Display gamuts."""

    srgb = "srgb"
    p3 = "p3"


class Device(str, Enum):
    """Compute devices."""

    auto = "auto"
    cuda = "cuda"
    metal = "metal"
    cpu = "cpu"


class Catalogue(str, Enum):
    """What `list` can list."""

    all = "all"
    sitters = "sitters"
    gels = "gels"
    sources = "sources"
    surfaces = "surfaces"
    skins = "skins"
    hair = "hair"
    irises = "irises"


SceneFile = Annotated[Path, typer.Argument(metavar="SCENE", help="Scene file (TOML).", show_default=False)]
AsJson = Annotated[bool, typer.Option("--json", help="Print the numbers as JSON on standard output.")]
QualityOption = Annotated[Quality, typer.Option("--quality", "-q", help="draft 4, preview 16, final 256 paths a pixel and light.")]
SamplesOption = Annotated[int | None, typer.Option("--samples", help="Paths a pixel and light, instead of the quality's.")]
TargetOption = Annotated[
    float | None, typer.Option("--until", metavar="STOPS", help="Trace until the face's noise is at most this, e.g. 0.05.")
]
DeviceOption = Annotated[Device, typer.Option("--device", help="Where to trace; auto takes CUDA if present, else the CPU.")]
ThreadsOption = Annotated[int | None, typer.Option("--threads", min=1, help="CPU threads; all cores by default.")]


@contextmanager
def _plain_errors() -> Iterator[None]:
    """Turn our own errors into one message and exit code 1; an interrupt into exit code 130."""
    try:
        yield
    except KeyfallError as error:
        talk.print(str(error), markup=False, highlight=False, style="red", soft_wrap=True)
        raise typer.Exit(1) from None
    except KeyboardInterrupt:
        talk.print("Interrupted. What was traced is kept; the same command goes on from there.")
        raise typer.Exit(130) from None


@app.command()
def preview(
    scene: SceneFile,
    output: Annotated[Path, typer.Option("--output", "-o", metavar="DIR", help="Folder for the results.")],
    quality: QualityOption = Quality.preview,
    samples: SamplesOption = None,
    until: TargetOption = None,
    tone: Annotated[Tone, typer.Option(help="shoulder rolls highlights off; linear clips them.")] = Tone.shoulder,
    gamut: Annotated[Gamut, typer.Option(help="Colour space of the picture.")] = Gamut.srgb,
    depth: Annotated[int, typer.Option(help="8 for PNG only; 16 adds preview.tif.")] = 8,
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
    with _plain_errors():
        from .preview import PictureSettings, TraceSettings
        from .preview import preview as run

        if depth not in (8, 16):
            raise KeyfallError(f"--depth is {depth}. Allowed: 8 or 16.")
        _require_clean(scene)
        tracing = TraceSettings(quality.value, samples, until, device.value, threads)
        pictures = PictureSettings(tone.value, gamut.value, depth, exr, noisy)
        with TraceBar(talk) as bar:
            report = run(scene, output, tracing, pictures, progress=bar)
        if as_json:
            sys.stdout.write(report.model_dump_json(indent=2) + "\n")
        else:
            report_to_console(Console(), report, output)


def _require_clean(scene: Path) -> None:
    """Print warnings; stop on errors."""
    from scenes import SceneError, check_scene

    findings = check_scene(scene)
    if any(f.severity == "error" for f in findings):
        raise SceneError(findings)
    findings_to_console(talk, findings)


@app.command()
def check(scene: SceneFile, as_json: AsJson = False) -> None:
    """Check a scene file: every error at once, with line, what is allowed and the fix. Traces nothing."""
    with _plain_errors():
        from scenes import check_scene

        findings = check_scene(scene)
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
                Console().print(f"{scene}: ready to trace.", markup=False, highlight=False, soft_wrap=True)
        if errors:
            raise typer.Exit(1)


@app.command()
def meter(
    scene: SceneFile,
    device: DeviceOption = Device.auto,
    threads: ThreadsOption = None,
    as_json: AsJson = False,
) -> None:
    """Read a hand meter on the set: at the face, the body and the background, per light and together.

    Each light alone is read flat toward it, all together by the dome toward the camera; readings are f-numbers at the
    set ISO and stops over (+) or under (-) the set aperture.
    """
    with _plain_errors():
        from scenes import build_stage, load_scene

        from .readings import all_readings
        from .report import MeterReport
        from .trace import trace_meters

        _require_clean(scene)
        stage = build_stage(load_scene(scene))
        readings = all_readings(trace_meters(stage, device=device.value, threads=threads), stage)
        report = MeterReport.of(stage, readings)
        if as_json:
            sys.stdout.write(report.model_dump_json(indent=2) + "\n")
        else:
            meter_table(Console(), stage, readings, report.ratio)


@app.command()
def doctor(as_json: AsJson = False) -> None:
    """Say what this machine offers: device, LLVM library, versions, cache."""
    with _plain_errors():
        from .doctor import diagnose

        found = diagnose()
        if as_json:
            sys.stdout.write(json.dumps(found.as_dict(), indent=2) + "\n")
        else:
            table = Table(show_header=False, box=None, pad_edge=False)
            for key, value in found.as_dict().items():
                text = ", ".join(f"{k} {v}" for k, v in value.items()) if isinstance(value, dict) else value
                text = "\n".join(text) if isinstance(text, tuple) else text
                table.add_row(key.replace("_", " "), str(text))
            Console().print(table)
        if not found.usable:
            raise typer.Exit(1)


@app.command("list")
def list_names(
    what: Annotated[Catalogue, typer.Argument(help="What to list.")] = Catalogue.all, as_json: AsJson = False
) -> None:
    """List the names a scene file may use, and what they are."""
    with _plain_errors():
        from .catalogue import catalogue

        listing = catalogue(what.value)
        if as_json:
            sys.stdout.write(json.dumps(listing, indent=2) + "\n")
            return
        for title, entries in listing.items():
            table = Table(title=title, title_justify="left", show_header=False, box=None, pad_edge=False)
            for name, description in entries.items():
                table.add_row(f"[bold]{name}[/bold]", description)
            Console().print(table)
            Console().print()


@app.command()
def schema(
    output: Annotated[Path | None, typer.Option("--output", "-o", help="File to write; standard output if left out.")] = None,
) -> None:
    """Write the JSON Schema of scene files, for editors that complete and check as you type."""
    with _plain_errors():
        from scenes import scene_json_schema

        text = json.dumps(scene_json_schema(), indent=2) + "\n"
        if output is None:
            sys.stdout.write(text)
            return
        from .outputs import OutputFolder

        with OutputFolder(output.parent) as folder:
            folder.write_text(output.name, text)


@app.command()
def cache(clear: Annotated[bool, typer.Option("--clear", help="Remove everything kept.")] = False) -> None:
    """Show, or clear, the folder of traced results."""
    with _plain_errors():
        from .cache import Cache

        store = Cache()
        if clear:
            Console().print(f"Removed {store.clear() / 1e6:.0f} MB from {store.folder}", markup=False, soft_wrap=True)
        else:
            used, limit = store.size_bytes() / 1e6, store.limit_bytes / 1e6
            Console().print(f"{store.folder}: {used:.0f} MB of at most {limit:.0f} MB", markup=False, soft_wrap=True)
