"""What all `keyfall` commands share: the application, its errors, and the options that several take."""

from __future__ import annotations

import errno
import logging
import os
import signal
import sys
import traceback
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

from materials import KeyfallError

from .cli_usage import Commands
from .interrupts import Stopped, exit_code, no_more_signals, take_signals, words
from .streams import Console, prepare_streams
from .terminal import findings_to_console

if TYPE_CHECKING:
    from scenes import OpenSet

    from .trace import TraceSettings

app = typer.Typer(
    name="keyfall",
    cls=Commands,
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
_OUTPUT_FAULTS = (errno.ENOSPC, errno.EIO, errno.EBADF, errno.EFBIG, errno.EINVAL, getattr(errno, "EDQUOT", -1))
_PLACE_FAULTS = (errno.ENAMETOOLONG, errno.ELOOP, errno.EACCES, errno.EPERM, errno.EIO, errno.EROFS, errno.ENOSPC)
_READER_GONE = 128 + 13  # what shells give a program that SIGPIPE ended


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
    typer.Option(
        "--quality", "-q", case_sensitive=False,
        help="Paths a pixel and light: draft 4 at half size, preview 8, final 256.",
    ),
]  # fmt: skip
SamplesOption = Annotated[
    int | None, typer.Option("--samples", help="Paths a pixel and light, instead of the quality's.")
]
TargetOption = Annotated[
    float | None,
    typer.Option("--until", metavar="STOPS", help="Trace until the noise over the face is at most this, e.g. 0.05."),
]
DeviceOption = Annotated[
    Device,
    typer.Option(
        "--device", case_sensitive=False, help="Where to trace; auto takes CUDA if present, else the CPU."
    ),
]  # fmt: skip
ThreadsOption = Annotated[int | None, typer.Option("--threads", min=1, help="CPU threads; all cores by default.")]


@contextmanager
def plain_errors() -> Iterator[None]:
    """Turn every error into one message and exit code 1; a signal, and a reader of the output that has gone, into the
    exit code that shells give them."""
    try:
        yield
        sys.stdout.flush()
    except KeyfallError as error:
        raise _failed(str(error)) from None
    except KeyboardInterrupt as stop:
        number = stop.number if isinstance(stop, Stopped) else signal.SIGINT
        _say(words(number))
        raise typer.Exit(exit_code(number)) from None
    except MemoryError:
        raise _failed(
            "Not enough memory. Lower long_side_px under [camera], or close other programs; keyfall check says how "
            "much memory a picture takes."
        ) from None
    except (BrokenPipeError, SystemExit):  # rich leaves by the second when the first happens
        raise typer.Exit(_reader_gone()) from None
    except typer.Exit:
        raise
    except Exception as error:
        if isinstance(error, OSError) and error.filename is None and error.errno in _OUTPUT_FAULTS:
            raise typer.Exit(_output_failed(error)) from None
        if isinstance(error, OSError) and error.errno in _PLACE_FAULTS and error.filename is not None:
            raise _failed(f"'{error.filename}' cannot be used: {error.strerror or error}.") from None
        if isinstance(error, FileNotFoundError) and _folder_gone():
            raise _failed("The folder this command was started in is no longer there. Change to another one.") from None
        if os.environ.get(_ENV_TRACEBACK):
            raise
        raise _failed(
            f"This is a fault in Keyfall, not in your scene: {type(error).__name__}: {error} ({_place(error)}). "
            f"Please report it with the scene file. {_ENV_TRACEBACK}=1 shows where it came from."
        ) from None


def main() -> NoReturn:
    """The `keyfall` command as the shell runs it: `app`, and whatever can go wrong around it."""
    take_signals()
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:  # closed by whoever started this
            setattr(sys, name, Path(os.devnull).open(mode, encoding="utf-8"))  # noqa: SIM115  # open to the end
    prepare_streams()
    logging.getLogger("matplotlib").setLevel(logging.CRITICAL)  # it tells of its folders
    code: object = 0
    try:
        app()
    except SystemExit as leaving:
        code = leaving.code
    except BrokenPipeError:
        code = _reader_gone()
    except OSError as error:
        code = _output_failed(error)
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        code = _reader_gone()
    except OSError as error:
        code = _output_failed(error)
    no_more_signals()
    sys.exit(code)  # type: ignore[arg-type]  # what SystemExit held


def _folder_gone() -> bool:
    try:
        os.getcwd()
    except FileNotFoundError:
        return True
    return False


def _output_failed(error: OSError) -> int:
    """Say that standard output cannot be written; returns the exit code."""
    _drop_output()
    _say(f"The output cannot be written: {error.strerror or error}. Files named with -o are not affected.")
    return 1


def _reader_gone() -> int:
    """The exit code when whatever read the output has closed it, as `head` does; nothing is wrong."""
    _drop_output()
    return _READER_GONE


def _drop_output() -> None:
    """Send what is still to be written to standard output nowhere, so that the interpreter's own end does not fail."""
    with suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)


def _failed(message: str) -> typer.Exit:
    _say(message, "red")
    return typer.Exit(1)


def _say(message: str, style: str | None = None) -> None:
    """Print to standard error, if that can be written."""
    with suppress(OSError, SystemExit):
        talk.print(message, markup=False, highlight=False, style=style, soft_wrap=True)


def _place(error: Exception) -> str:
    last = traceback.extract_tb(error.__traceback__)[-1]
    return f"{Path(last.filename).name}:{last.lineno}"


def open_clean(scene: Path) -> OpenSet:
    """The set of a scene file, its warnings printed; stops on errors."""
    from scenes import open_set

    opened = open_set(scene)
    findings_to_console(talk, opened.findings)
    return opened


def trace_settings(
    quality: Quality, samples: int | None, until: float | None, device: Device, threads: int | None
) -> TraceSettings:
    """The options of every command that traces, in one."""
    from .trace import TraceSettings

    return TraceSettings(quality.value, samples, until, device.value, threads)
