"""Stopping by Ctrl-C or by the system, wherever it comes: one line, the usual exit code, nothing half done.

Outside of `held` work a signal ends the `keyfall` command at once, from the signal's own handler: there is nothing to
keep, and no library gets to see an exception it does not expect. Inside, it is noted; the work goes on to the next
place where it can stop, and leaves by `Stopped`. Programs that use Keyfall as a library keep their own handlers; only
held work puts Ctrl-C off.
"""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from types import FrameType
from typing import NoReturn

_NAMES = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")  # those that this system knows
_CLEAR = b"\r\x1b[2K\x1b[?25h"  # a progress bar's line, and the cursor it hides
KEPT = "Finished passes are kept; the same command goes on from there."


class Stopped(KeyboardInterrupt):
    """Work has stopped because a signal asked for it."""

    def __init__(self, number: int = signal.SIGINT) -> None:
        super().__init__()
        self.number = number


_holds = 0
_noted: int | None = None
_at_exit: list[Callable[[], object]] = []
_passes_kept = False


def exit_code(number: int) -> int:
    """The code a program ends with that a signal stopped."""
    return 128 + number


def words(number: int) -> str:
    """The one line that says so."""
    said = "Interrupted." if number == signal.SIGINT else "Stopped by the system."
    return f"{said} {KEPT}" if _passes_kept else said


def passes_kept() -> None:
    """From now on there is something a next run goes on from."""
    global _passes_kept
    _passes_kept = True


def take_signals() -> None:
    """Handle signals from now on as this module says. For the `keyfall` command only, and its main thread."""
    for name in _NAMES:
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
            with suppress(OSError, ValueError):
                signal.signal(number, _arrived)


def no_more_signals() -> None:
    """The work is over and its exit code is known: ending the interpreter is left alone. Python would let signals end
    it there as the system does, without a word, and with a code that belies what was done."""
    for name in _NAMES:
        number = getattr(signal, name, None)
        if number is not None:
            with suppress(OSError, ValueError):
                signal.signal(number, signal.SIG_IGN)


def _arrived(number: int, _frame: FrameType | None) -> None:
    global _noted
    if _holds and _noted is None:
        _noted = number
        return
    leave(number)


def leave(number: int) -> NoReturn:
    """End the process here and now, after what was asked for by `at_exit`."""
    for action in reversed(_at_exit):
        with suppress(Exception):
            action()
    clear = _CLEAR if os.isatty(2) else b""
    with suppress(OSError):
        os.write(2, clear + words(number).encode() + b"\n")
    os._exit(exit_code(number))


@contextmanager
def at_exit(action: Callable[[], object]) -> Iterator[None]:
    """Within, a signal that ends the process does `action` before."""
    _at_exit.append(action)
    try:
        yield
    finally:
        _at_exit.remove(action)


@contextmanager
def held() -> Iterator[None]:
    """Within, a signal to stop is only noted, for `stop_here` to act on; at the end it is acted on in any case.

    Raises
    ------
    Stopped
        At the end of the outermost, when a signal came.
    """
    global _holds, _noted
    if threading.current_thread() is not threading.main_thread():
        yield  # signals never reach other threads
        return
    before = signal.getsignal(signal.SIGINT)
    if before is signal.default_int_handler:
        signal.signal(signal.SIGINT, _arrived_at_library)
    _holds += 1
    try:
        yield
    finally:
        _holds -= 1
        if before is signal.default_int_handler:
            signal.signal(signal.SIGINT, before)
    if not _holds:
        stop_here()


def _arrived_at_library(number: int, _frame: FrameType | None) -> None:
    global _noted
    if _noted is not None:
        _noted = None
        raise Stopped(number)
    _noted = number


def noted() -> bool:
    """Whether a signal waits to be acted on."""
    return _noted is not None


def stop_here() -> None:
    """Stop when a signal asked for it.

    Raises
    ------
    Stopped
    """
    global _noted
    if _noted is not None:
        number, _noted = _noted, None
        raise Stopped(number)


def is_command() -> bool:
    """Whether this process is the `keyfall` command, not a program that uses Keyfall."""
    name = os.path.basename(sys.argv[0]) if sys.argv else ""
    by_module = "-m render.cli" in " ".join(sys.orig_argv)
    return by_module or name.removesuffix(".exe").removesuffix("-script.py") == "keyfall"
