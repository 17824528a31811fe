"""Processes stopped at any moment, half of them inside publishing: one line and the right code, nothing mixed or lost.

Two scenes take turns in one output folder. After every kill each file there must be, byte for byte, of one and the same
scene's set; a manifest only lies beside all its files; the user's own file stays; and the next run ends well.
"""

from __future__ import annotations

import atexit
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from functools import cache
from pathlib import Path

from render.publish import faults_of
from tests.render.cli_scene import write_scene

ROOT = Path(__file__).parents[2]
MANIFEST, MINE = "report.json", "mine.txt"
LIMIT_S = 300
_COMMAND = "import sys; sys.argv[0] = 'keyfall'; from render.cli import main; main()"
_IN_PUBLISHING = """
import os, signal, sys
sys.argv[0] = "keyfall"
number, before, sent = int(sys.argv.pop(1)), sys.argv.pop(1) == "before", int(sys.argv.pop(1))
calls, move = 0, os.replace
def replace(source, target):
    global calls
    inside = ".writing-" in str(source) or ".writing-" in str(target)
    if inside and calls == number and before:
        os.kill(os.getpid(), sent)
    move(source, target)
    if inside and calls == number and not before:
        os.kill(os.getpid(), sent)
    calls += inside
os.replace = replace
from render.cli import main
main()
"""
_STOPS = (signal.SIGKILL, signal.SIGINT, signal.SIGTERM)
_ENDINGS = {signal.SIGKILL: -9, signal.SIGINT: 130, signal.SIGTERM: 143}


class _Place:
    """Scenes, caches and the sets that whole runs of them give."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.warm = folder / "cache"
        self.scenes = {
            "one": write_scene(folder / "one.toml", title="One"),
            "two": write_scene(folder / "two.toml", title="Two", exposure__f_number=4, light__fill__lumens=90000),
        }
        self.sets = {}
        for name, scene in self.scenes.items():
            for _ in range(2):  # the second time nothing is traced, as in the runs to come, and the report says so
                done = self.start(name, folder / f"whole-{name}", self.options(name)).wait(LIMIT_S)
                assert done == 0, f"the undisturbed run of {scene} ends with {done}"
            self.sets[name] = {path.name: path.read_bytes() for path in (folder / f"whole-{name}").iterdir()}
        self.out = folder / "out"
        self.out.mkdir()
        (self.out / MINE).write_text("mine")

    def options(self, name: str) -> list[str]:
        """One of the sets has a file more."""
        return ["-q", "draft", "--samples", "2", *(["--depth", "16"] if name == "one" else [])]

    def start(
        self, name: str, out: Path, options: list[str], program: str = _COMMAND, words: list[str] | None = None,
        store: Path | None = None,
    ) -> subprocess.Popen[str]:  # fmt: skip
        """A `keyfall preview` of a scene in a process of its own."""
        env = {**os.environ, "KEYFALL_CACHE_DIR": str(store or self.warm), "PYTHONPATH": str(ROOT)}
        command = [sys.executable, "-c", program, *(words or []), "preview", str(self.scenes[name]), "-o", str(out)]
        return subprocess.Popen(
            [*command, *options], env=env, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True
        )

    def faults(self) -> list[str]:
        """What is wrong with the output folder."""
        found = []
        present = {path.name: path.read_bytes() for path in self.out.iterdir() if path.is_file()}
        if present.pop(MINE, b"") != b"mine":
            found.append("the user's file is gone or changed")
        of = [name for name, files in self.sets.items() if all(files.get(n) == data for n, data in present.items())]
        if not of:
            found.append(f"mixed or damaged: {sorted(present)}")
        if MANIFEST in present and (wrong := faults_of(self.out / MANIFEST)):
            found.append(f"a manifest without its files: {wrong}")
        return found


@cache
def _place() -> _Place:
    folder = Path(tempfile.mkdtemp(prefix="keyfall-stress-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return _Place(folder)


def run(count: int, seed: int) -> list[str]:
    """Kill `count` runs; returns what went wrong."""
    rng = random.Random(seed)
    place, failures = _place(), []
    for number in range(seed, seed + count):
        name, how = rng.choice(["one", "two"]), rng.choice(_STOPS)
        faults = (_in_publishing if number % 2 else _while_tracing)(place, name, how, rng)
        failures += [f"{number}, {name}, {how.name}: {fault}" for fault in faults]
    return failures


def _in_publishing(place: _Place, name: str, how: signal.Signals, rng: random.Random) -> list[str]:
    """Stopped right before or after one of the renamings by which a set takes the place of another."""
    words = [str(rng.randrange(18)), rng.choice(["before", "after"]), str(int(how))]
    process = place.start(name, place.out, place.options(name), _IN_PUBLISHING, words)
    found = _ended(process, how) + place.faults()
    if rng.random() < 0.3:  # the next run brings it to its end, and its own set in
        other = rng.choice(["one", "two"])
        process = place.start(other, place.out, place.options(other))
        _, said = process.communicate(timeout=LIMIT_S)
        if process.returncode:
            found.append(f"the next run ends with {process.returncode}: {said}")
        whole = {path.name: path.read_bytes() for path in place.out.iterdir() if path.name != MINE}
        if whole != place.sets[other]:
            found.append(f"the next run leaves {sorted(whole)}")
    return found


def _while_tracing(place: _Place, name: str, how: signal.Signals, rng: random.Random) -> list[str]:
    """Stopped at any moment from start-up to the end of a trace of some seconds, with an empty cache."""
    with tempfile.TemporaryDirectory(dir=place.folder) as store:
        options = ["--samples", "2048", "--threads", "1"]
        process = place.start(name, place.out, options, store=Path(store))
        _until_signals_are_taken(process)
        with_traces = rng.random() < 0.5
        if with_traces:
            _until(process, lambda: any(Path(store).glob("guides-*")))
        time.sleep(rng.uniform(0, 3.0))
        process.send_signal(how)
        found = _ended(process, how)
        if how is not signal.SIGKILL and list(Path(store).glob("writing-*")):
            found.append("half a record is left in the cache")
    return found + place.faults()


def _until_signals_are_taken(process: subprocess.Popen[str]) -> None:
    """Python's own start cannot be told to be quiet; wait until it is over."""
    status = Path(f"/proc/{process.pid}/status")

    def taken() -> bool:
        caught = next((line for line in status.read_text().splitlines() if line.startswith("SigCgt")), "SigCgt: 0")
        return bool(int(caught.split()[1], 16) >> signal.SIGTERM - 1 & 1)

    if status.exists():
        _until(process, taken)
    else:
        time.sleep(1)


def _until(process: subprocess.Popen[str], reached: Callable[[], bool]) -> None:
    give_up = time.monotonic() + LIMIT_S
    while process.poll() is None and not reached() and time.monotonic() < give_up:
        time.sleep(0.01)


def _ended(process: subprocess.Popen[str], how: signal.Signals) -> list[str]:
    """What is wrong with how a run ended that was stopped, or had ended before."""
    try:
        _, said = process.communicate(timeout=LIMIT_S)
    except subprocess.TimeoutExpired:
        process.kill()
        return ["did not end"]
    lines = [line for line in said.splitlines() if line.strip()]
    if process.returncode == 0:
        return []
    found = []
    if process.returncode != _ENDINGS[how]:
        found.append(f"ended with {process.returncode}: {said[-400:]}")
    if how is not signal.SIGKILL and (len(lines) != 1 or "Traceback" in said):
        found.append(f"said: {said[-400:]}")
    return found
