"""What all `keyfall` commands share: the application, its errors, and the options that several take."""

from __future__ import annotations

import os
import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console

from materials import KeyfallError

from .terminal import findings_to_console

if TYPE_CHECKING:
    from .trace import TraceSettings

app = typer.Typer(
    name="keyfall",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode="markdown",
    help="""Preview portrait lighting before anyone carries a stand.

    Describe sitter, room, lights, gels and camera in a scene file; Keyfall traces every light alone and gives back
    the picture, exposure maps in stops, and what a hand meter would read.

    A first round: `keyfall list sitters`, write a scene, `keyfall check scene.toml`,
    `keyfall preview scene.toml -o look`.
    """,
)
talk = Console(stderr=True)
_ENV_TRACEBACK = "KEYFALL_TRACEBACK"


class Quality(str, Enum):
    """Named sample counts."""

    draft = "draft"
    preview = "preview"
    final = "final"


class Device(str, Enum):
    """Compute devices."""

    auto = "auto"
    cuda = "cuda"
    metal = "metal"
    cpu = "cpu"


SceneFile = Annotated[Path, typer.Argument(metavar="SCENE", help="Scene file (TOML).", show_default=False)]
AsJson = Annotated[bool, typer.Option("--json", help="Print the numbers as JSON on standard output.")]
QualityOption = Annotated[
    Quality,
    typer.Option("--quality", "-q", help="Paths a pixel and light: draft 4 at half size, preview 8, final 256."),
]
SamplesOption = Annotated[
    int | None, typer.Option("--samples", help="Paths a pixel and light, instead of the quality's.")
]
TargetOption = Annotated[
    float | None,
    typer.Option("--until", metavar="STOPS", help="Trace until the noise over the face is at most this, e.g. 0.05."),
]
DeviceOption = Annotated[
    Device, typer.Option("--device", help="Where to trace; auto takes CUDA if present, else the CPU.")
]
ThreadsOption = Annotated[int | None, typer.Option("--threads", min=1, help="CPU threads; all cores by default.")]


@contextmanager
def plain_errors() -> Iterator[None]:
    """Turn every error into one message and exit code 1, and an interrupt into exit code 130."""
    try:
        yield
    except KeyfallError as error:
        raise _failed(str(error)) from None
    except KeyboardInterrupt:
        talk.print("Interrupted. Finished passes are kept; the same command goes on from there.", soft_wrap=True)
        raise typer.Exit(130) from None
    except MemoryError:
        raise _failed("The memory of this machine does not suffice. Lower long_side_px under [camera].") from None
    except (typer.Exit, BrokenPipeError):
        raise
    except Exception as error:
        if os.environ.get(_ENV_TRACEBACK):
            raise
        raise _failed(
            f"This is a fault in Keyfall, not in your scene: {type(error).__name__}: {error} ({_place(error)}). "
            f"Please report it with the scene file. {_ENV_TRACEBACK}=1 shows where it came from."
        ) from None


def _failed(message: str) -> typer.Exit:
    talk.print(message, markup=False, highlight=False, style="red", soft_wrap=True)
    return typer.Exit(1)


def _place(error: Exception) -> str:
    last = traceback.extract_tb(error.__traceback__)[-1]
    return f"{Path(last.filename).name}:{last.lineno}"


def require_clean(scene: Path) -> None:
    """Print warnings; stop on errors."""
    from scenes import SceneError, check_scene

    findings = check_scene(scene)
    if any(f.severity == "error" for f in findings):
        raise SceneError(findings)
    findings_to_console(talk, findings)


def trace_settings(
    quality: Quality, samples: int | None, until: float | None, device: Device, threads: int | None
) -> TraceSettings:
    """The options of every command that traces, in one."""
    from .trace import TraceSettings

    return TraceSettings(quality.value, samples, until, device.value, threads)
