"""Runs that are stopped while they write a set: nothing mixed, nothing lost, by whatever and at whatever line."""

from __future__ import annotations

import os
import shutil
import signal
import sys

import pytest

from render.interrupts import Stopped, take_signals
from render.outputs import OutputFolder
from render.publish import faults_of

from .test_outputs import NEW, OLD, Told, end_at_move, files_in, publish, whole_set

pytestmark = pytest.mark.quick


@pytest.mark.skipif(not hasattr(os, "fork"), reason="stops a copy of this process")
@pytest.mark.filterwarnings("ignore:This process")
@pytest.mark.parametrize(("signals", "step"), [
    (0, 47), (1, 41), (2, 43), *(pytest.param(n, 7, marks=pytest.mark.slow) for n in range(3)),
])  # fmt: skip
def test_a_stop_at_any_line_mixes_nothing_and_loses_nothing(tmp_path, signals, step):
    """A copy of this process is killed at its nth line of what writes sets, or gets one signal there, or two."""
    stops = 0
    for stop_at in range(signals, 5000, step):
        folder = tmp_path / str(stop_at)
        publish(folder, "old", OLD)
        (folder / "mine.txt").write_text("mine")
        child = os.fork()
        if child == 0:
            _stop_at_line(stop_at, signals)
            try:
                publish(folder, "new", NEW)
            except Stopped:
                os._exit(143)
            finally:
                sys.settrace(None)
            os._exit(0)
        _, status = os.waitpid(child, 0)
        ended = os.waitstatus_to_exitcode(status)
        run = whole_set(folder)
        if signals == 1:
            assert run in ("old", "new")
            assert not [name for name in files_in(folder) if name.startswith(".")], stop_at
        assert (folder / "mine.txt").read_text() == "mine"
        with OutputFolder(folder):
            pass
        run = whole_set(folder)
        assert run in ("old", "new")
        assert files_in(folder) == {*(OLD if run == "old" else NEW), "report.json", "mine.txt"}, stop_at
        if not ended:
            assert run == "new"
            break
        assert ended == (143 if signals else 9)
        shutil.rmtree(folder)
        stops += 1
    assert 200 < stops * step < 2000


def _stop_at_line(number: int, signals: int) -> None:
    """Trace the lines of the modules that write sets; at the nth, send signals, or end at once for 0."""
    lines = 0
    os.dup2(os.open(os.devnull, os.O_WRONLY), 2)
    take_signals()

    def trace(frame, event, _):
        nonlocal lines
        if os.path.basename(frame.f_code.co_filename) not in ("outputs.py", "publish.py", "locks.py", "platforms.py", "shutil.py"):
            return None
        if event == "line":
            if lines == number:
                if not signals:
                    os._exit(9)
                for _ in range(signals):
                    os.kill(os.getpid(), signal.SIGTERM)
            lines += 1
        return trace

    sys.settrace(trace)


def test_two_runs_and_one_of_them_killed(tmp_path, monkeypatch):
    """One began before the other was killed half way through its publishing: it brings that to an end before its own."""
    publish(tmp_path, "old", OLD)
    with OutputFolder(tmp_path) as out:
        out.write_text("b.png", "third b.png")
        child = os.fork() if hasattr(os, "fork") else pytest.skip("kills a copy of this process")
        if child == 0:
            end_at_move(3, before=True)
            publish(tmp_path, "new", NEW)
        os.waitpid(child, 0)
        assert not (tmp_path / "report.json").exists()
        out.finish("report.json", Told(run="third"))
    assert {path.name: path.read_text() for path in tmp_path.iterdir() if path.name != "report.json"} == {
        "b.png": "third b.png"
    }
    assert faults_of(tmp_path / "report.json") == []
