"""Stopping and failing outputs: one line, the code that shells expect, no traceback, and nothing half done."""

from __future__ import annotations

import errno
import itertools
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
import typer

from render import interrupts
from render.cli_app import plain_errors
from render.interrupts import Stopped, at_exit, exit_code, held, stop_here, take_signals, words
from render.passes import KEEP_EVERY_S, KeptByTime

ROOT = Path(__file__).parents[2]
COMMAND = "import sys; sys.argv[0] = 'keyfall'; from render.cli import main; main()"
posix = pytest.mark.skipif(os.name != "posix", reason="signals and devices as POSIX has them")


@pytest.fixture(autouse=True)
def _own_handlers() -> Iterator[None]:
    before = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)}
    yield
    for number, handler in before.items():
        signal.signal(number, handler)
    interrupts._noted = None


@posix
def test_held_work_is_finished_before_it_stops():
    done = []
    with pytest.raises(KeyboardInterrupt):  # noqa: PT012
        with held():
            os.kill(os.getpid(), signal.SIGINT)
            done.append("after the signal")
            with held():
                done.append("inner")
            done.append("outer")
        done.append("never")
    assert done == ["after the signal", "inner", "outer"]
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler


@posix
def test_held_work_may_stop_where_it_can_and_a_second_signal_does_not_wait():
    with pytest.raises(Stopped), held():  # noqa: PT012
        os.kill(os.getpid(), signal.SIGINT)
        stop_here()
        raise AssertionError("not reached")
    with pytest.raises(Stopped), held():  # noqa: PT012
        os.kill(os.getpid(), signal.SIGINT)
        os.kill(os.getpid(), signal.SIGINT)
        raise AssertionError("not reached")
    with held():
        pass  # nothing is left over


@posix
@pytest.mark.filterwarnings("ignore:This process")
def test_the_command_ends_by_its_own_handler_after_putting_away(tmp_path):
    """In a copy of this process: outside held work a signal ends it, with what was asked for done before."""
    for number, code in ((signal.SIGINT, 130), (signal.SIGTERM, 143)):
        litter, said = tmp_path / f"litter-{number}", tmp_path / f"said-{number}"
        litter.write_text("")
        child = os.fork()
        if child == 0:
            os.dup2(os.open(said, os.O_WRONLY | os.O_CREAT), 2)
            take_signals()
            with at_exit(litter.unlink):
                os.kill(os.getpid(), number)
            os._exit(0)
        _, status = os.waitpid(child, 0)
        assert os.waitstatus_to_exitcode(status) == code
        assert said.read_text() == f"{words(number)}\n"
        assert not litter.exists()


@posix
@pytest.mark.filterwarnings("ignore:This process")
def test_the_command_too_finishes_held_work_and_a_second_signal_ends_it_there(tmp_path):
    for signals, code in ((1, 7), (2, 143)):
        work = tmp_path / f"work-{signals}"
        child = os.fork()
        if child == 0:
            os.dup2(os.open(os.devnull, os.O_WRONLY), 2)
            take_signals()
            try:
                with held():
                    for _ in range(signals):
                        os.kill(os.getpid(), signal.SIGTERM)
                    work.write_text("done")
            except Stopped as stop:
                os._exit(7 if stop.number == signal.SIGTERM else 8)
            os._exit(0)
        _, status = os.waitpid(child, 0)
        assert os.waitstatus_to_exitcode(status) == code
        assert work.exists() is (signals == 1)


def test_an_action_that_fails_does_not_keep_the_others(monkeypatch):
    done, left = [], []
    monkeypatch.setattr(os, "_exit", left.append)
    with at_exit(lambda: done.append(1)), at_exit(lambda: 1 / 0), at_exit(lambda: done.append(3)):
        interrupts.leave(signal.SIGTERM)
    assert (done, left) == ([3, 1], [143])


class Broken:
    """Standard output that cannot be written."""

    def __init__(self, error: OSError) -> None:
        self.error = error

    def write(self, _text: str) -> int:
        raise self.error

    def flush(self) -> None:
        raise self.error

    def fileno(self) -> int:
        raise OSError


@pytest.mark.parametrize(
    ("error", "code", "said"),
    [
        (OSError(errno.ENOSPC, "No space left on device"), 1, "The output cannot be written: No space left on device."),
        (OSError(errno.EIO, "Input/output error"), 1, "The output cannot be written: Input/output error."),
        (BrokenPipeError(errno.EPIPE, "Broken pipe"), 141, ""),
        (Stopped(signal.SIGTERM), 143, "Stopped by the system."),
        (KeyboardInterrupt(), 130, "Interrupted."),
        (OSError(errno.ENOSPC, "No space left on device", "there"), 1, "'there' cannot be used: No space left on device."),
        (OSError(errno.ENOENT, "No such file or directory", "data"), 1, "This is a fault in Keyfall"),
    ],
)
def test_what_ends_a_command_is_said_in_one_line_with_its_code(monkeypatch, capsys, error, code, said):
    if isinstance(error, OSError) and error.filename is None:
        monkeypatch.setattr(sys, "stdout", Broken(error))
    with pytest.raises(typer.Exit) as left, plain_errors():  # noqa: PT012
        if isinstance(error, OSError) and error.filename is None:
            sys.stdout.write("results")
        raise error
    assert left.value.exit_code == code
    stderr = capsys.readouterr().err
    assert stderr.startswith(said)
    assert stderr.count("\n") <= 1
    assert exit_code(signal.SIGINT) == 130


def test_passes_are_kept_by_time_and_seldom_where_that_is_slow(monkeypatch):
    clock, kept = [0.0], []
    monkeypatch.setattr(time, "monotonic", lambda: clock[0])

    def keep() -> None:
        kept.append(clock[0])
        clock[0] += 2.0

    timer = KeptByTime(keep)
    while clock[0] < 60:
        timer()
        clock[0] += 0.5
    assert kept[0] == KEEP_EVERY_S
    assert {b - a for a, b in itertools.pairwise(kept)} == {22.0}  # ten times its own two seconds later


@posix
@pytest.mark.slow
def test_a_full_or_closed_output_is_not_a_fault(tmp_path):
    def ends(line: str) -> tuple[int, str]:
        env = {**os.environ, "PYTHONPATH": str(ROOT), "KEYFALL": f'{sys.executable} -c "{COMMAND}"'}
        run = subprocess.run(["bash", "-c", line], env=env, capture_output=True, text=True, cwd=tmp_path, check=False)
        return run.returncode, run.stderr

    full = (1, "The output cannot be written: No space left on device. Files named with -o are not affected.\n")
    for command in ("list", "list --json", "--help"):
        assert ends(f'eval "$KEYFALL {command}" > /dev/full') == full
    assert ends('eval "$KEYFALL list" >&-') == (0, "")
    assert ends('eval "$KEYFALL list" | head -1; exit ${PIPESTATUS[0]}') == (141, "")
    assert ends('eval "$KEYFALL check nothing.toml" 2> /dev/full')[0] == 1
    for place in ("/dev/null", "/dev/stdout"):
        code, said = ends(f'eval "$KEYFALL schema -o {place}" | cat; exit ${{PIPESTATUS[0]}}')
        assert code == 1
        assert "device or pipe, which is never replaced" in said
    assert Path("/dev/null").is_char_device()


@posix
def test_a_signal_after_the_work_is_over_changes_nothing(tmp_path):
    """While the interpreter ends, which may take long with large libraries loaded."""
    late = "import atexit, os; atexit.register(lambda: [os.kill(os.getpid(), number) for number in (1, 2, 15)]); "
    run = subprocess.run([sys.executable, "-c", late + COMMAND, "--help"], capture_output=True, text=True)
    assert (run.returncode, run.stderr) == (0, "")
