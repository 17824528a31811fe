"""The commands that end in a sheet: compare, build-up, board, plan; and export for other programs."""

from __future__ import annotations

from collections.abc import Sequence
from enum import Enum
from pathlib import Path
from typing import Annotated

import typer

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
from .record import Record
from .streams import Console, write_json
from .terminal import TraceBar

OutputOption = Annotated[Path, typer.Option("--output", "-o", metavar="DIR", help="Folder for the results.")]


class Paper(str, Enum):
    """Paper sizes."""

    a4 = "a4"
    letter = "letter"


class ThemeName(str, Enum):
    """Themes of a board."""

    light = "light"
    dark = "dark"


PaperOption = Annotated[Paper, typer.Option(case_sensitive=False, help="Size of the pages.")]


def _said(report: Record, as_json: bool, folder: Path, files: str, told: Sequence[str] = ()) -> None:
    """Say what came of a command; notes that begin as what was `told` before tracing are not said again."""
    for text in getattr(report, "notes", []):
        if not text.startswith(tuple(told)):
            talk.print(text, markup=False, highlight=False, style="yellow", soft_wrap=True)
    if as_json:
        write_json(report.model_dump_json(indent=2))
    else:
        Console().print(f"In {folder}: {files}", markup=False, highlight=False, soft_wrap=True)


@app.command()
def compare(
    scene: SceneFile,
    output: OutputOption,
    vary: Annotated[
        list[str] | None,
        typer.Option(
            "--vary", metavar="KEY=A,B,C", help="A key of the scene and its values. Keys that change together: "
            "KEY,KEY=A:B,C:D. Lists are joined by +; none takes a key away. Give it twice for a grid.",
        ),
    ] = None,
    styles: Annotated[
        str | None,
        typer.Option("--styles", metavar="A,B|all", help="Key styles; keyfall list styles names them."),
    ] = None,
    key: Annotated[str | None, typer.Option("--key", metavar="LIGHT", help="Light that makes the styles.")] = None,
    even: Annotated[
        bool,
        typer.Option("--even", help="Set the varied light's power so that in every picture it reads as in the scene."),
    ] = False,
    pictures: Annotated[bool, typer.Option("--pictures", help="Also write each picture by itself.")] = False,
    paper: PaperOption = Paper.a4,
    quality: QualityOption = Quality.preview,
    samples: SamplesOption = None,
    until: TargetOption = None,
    device: DeviceOption = Device.auto,
    threads: ThreadsOption = None,
    as_json: AsJson = False,
) -> None:  # fmt: skip
    """Variants of one scene side by side under one exposure: key styles, modifiers, distances, gels, any key.

    Each has its picture, its exposure map and three numbers. Only what moves is traced again. For example:
    `keyfall compare scene.toml --vary light.key.distance_m=0.6,1.2,2.5 --even -o sheet`
    """
    with plain_errors():
        from scenes.styles import STYLES
        from scenes.variations import parse_variation

        from .compare import compare as run
        from .variants import make_grid

        opened = open_clean(scene)
        named = list(STYLES) if styles == "all" else [s.strip() for s in styles.split(",")] if styles else None
        grid = make_grid(opened, [parse_variation(text) for text in vary or []], named, key)
        tracing = trace_settings(quality, samples, until, device, threads)
        with TraceBar(talk) as bar:
            report = run(grid, output, tracing, even=even, pictures=pictures, paper=paper.value, progress=bar)
        _said(report, as_json, output, "compare.pdf, compare.png, compare.html, compare.json")


@app.command("build-up")
def build_up(
    scene: SceneFile,
    output: OutputOption,
    paper: PaperOption = Paper.a4,
    quality: QualityOption = Quality.preview,
    samples: SamplesOption = None,
    until: TargetOption = None,
    device: DeviceOption = Device.auto,
    threads: ThreadsOption = None,
    as_json: AsJson = False,
) -> None:
    """The set from black: one light at a time, and each with those before it; ambient light alone first."""
    with plain_errors():
        from .build_up import build_up as run

        opened = open_clean(scene)
        tracing = trace_settings(quality, samples, until, device, threads)
        with TraceBar(talk) as bar:
            report = run(opened, output, tracing, progress=bar, paper=paper.value)
        _said(report, as_json, output, "build-up.pdf, build-up.png, build-up.html, build-up.json")


@app.command()
def board(
    looks: Annotated[
        list[str],
        typer.Argument(metavar="SCENE...", help="Scene files; SCENE@KEY=VALUE changes a key, and may be repeated."),
    ],
    output: OutputOption,
    title: Annotated[
        str | None, typer.Option(help="Title; that of the scene, or Mood board for several, if left out.")
    ] = None,
    client: Annotated[str, typer.Option(help="Line under the title, such as for whom.")] = "",
    note: Annotated[str, typer.Option(help="A sentence or two of your own.")] = "",
    caption: Annotated[
        list[str] | None,
        typer.Option("--caption", help="Your words for a look instead of Keyfall's, in the looks' order; repeat it."),
    ] = None,
    theme: Annotated[ThemeName, typer.Option(case_sensitive=False, help="Light or dark pages.")] = ThemeName.light,
    paper: PaperOption = Paper.a4,
    quality: QualityOption = Quality.preview,
    samples: SamplesOption = None,
    until: TargetOption = None,
    device: DeviceOption = Device.auto,
    threads: ThreadsOption = None,
    as_json: AsJson = False,
) -> None:
    """A mood board of several looks: pictures, the light's own colours on paper and skin, captions, kit.

    For example: `keyfall board a.toml b.toml b.toml@light.rim.gels=violet --client "Spring season" -o board`
    """
    with plain_errors():
        from .looks import MARK
        from .work import board_of

        for file in dict.fromkeys(look.split(MARK)[0] for look in looks):
            open_clean(Path(file))
        tracing = trace_settings(quality, samples, until, device, threads)
        with TraceBar(talk) as bar:
            report = board_of(
                looks, output, tracing, title=title, client=client, note=note, captions=caption or [],
                theme=theme.value, paper=paper.value, progress=bar,
            )  # fmt: skip
        _said(report, as_json, output, "board.pdf, board.html, board.json, and the pages as PNG")


@app.command()
def plan(
    scene: SceneFile,
    output: OutputOption,
    paper: PaperOption = Paper.a4,
    view: Annotated[bool, typer.Option("--view/--no-view", help="Whether to draw the set in three dimensions.")] = True,
    quality: QualityOption = Quality.preview,
    samples: SamplesOption = None,
    until: TargetOption = None,
    device: DeviceOption = Device.auto,
    threads: ThreadsOption = None,
    as_json: AsJson = False,
) -> None:
    """The lighting plan for whoever rigs it: top and side view to scale, table of lights, meter checks, kit, order.

    Writes plan.pdf, each page as SVG and PNG, and plan.json.
    """
    with plain_errors():
        from .work import plan_of

        opened = open_clean(scene)
        tracing = trace_settings(quality, samples, until, device, threads)
        with TraceBar(talk) as bar:
            report = plan_of(opened, output, tracing, paper=paper.value, view=view, progress=bar)
        told = [f"{f.where}: {f.message}" for f in opened.findings]
        _said(report, as_json, output, "plan.pdf, plan.html, plan.json, and each page as SVG and PNG", told)


@app.command()
def export(
    scene: SceneFile,
    output: OutputOption,
    gltf: Annotated[bool, typer.Option("--gltf", help="set.glb: the set for any 3-D viewer.")] = False,
    exr: Annotated[bool, typer.Option("--exr", help="lights.exr: linear, one layer a light.")] = False,
    table: Annotated[bool, typer.Option("--csv", help="lights.csv: the table of lights.")] = False,
    quality: QualityOption = Quality.preview,
    samples: SamplesOption = None,
    until: TargetOption = None,
    device: DeviceOption = Device.auto,
    threads: ThreadsOption = None,
) -> None:
    """The set for other programs: glTF with figure, camera and lights; OpenEXR layers; the light table. All, if none is
    chosen."""
    with plain_errors():
        from .work import export_of

        opened = open_clean(scene)
        tracing = trace_settings(quality, samples, until, device, threads)
        chosen = (gltf, exr, table) if gltf or exr or table else (True, True, True)
        with TraceBar(talk) as bar:
            names = export_of(opened, output, tracing, gltf=chosen[0], exr=chosen[1], table=chosen[2], progress=bar)
        Console().print(f"In {output}: {', '.join(names)}", markup=False, highlight=False, soft_wrap=True)
