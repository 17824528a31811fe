"""Processes stopped at any moment, half of them inside publishing: one line and the right code, nothing mixed or lost.

Two scenes take turns in one output folder. After every kill each file there must be, byte for byte, of one and the same
scene's set; a manifest only lies beside all its files; the user's own file stays; and the next run ends well. Moments
are counted in lines of the program and in processor time, so that they do not depend on what else the machine does.
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
from functools import cache
from pathlib import Path

from render.publish import ASIDE, faults_of
from tests.render.cli_scene import write_scene

from .limits import finish, until, used_s

ROOT = Path(__file__).parents[2]
MANIFEST, MINE = "report.json", "mine.txt"
_COMMAND = "import sys; sys.argv[0] = 'keyfall'; from render.cli import main; main()"
_IN_PUBLISHING = """
import os, signal, sys
sys.argv[0] = "keyfall"
number, signals, told = int(sys.argv.pop(1)), eval(sys.argv.pop(1)), sys.argv.pop(1)
from render.outputs import OutputFolder
WATCHED, lines = ("outputs.py", "publish.py", "locks.py", "platforms.py", "shutil.py"), 0
def watch(frame, event, _):
    global lines
    if os.path.basename(frame.f_code.co_filename) not in WATCHED:
        return None
    if event == "line":
        lines += 1
        if lines == number:
            with open(told, "w") as file:
                file.write("sent")
            for sent in signals:
                os.kill(os.getpid(), sent)
    return watch
leave = OutputFolder.__exit__
def watched(*words):
    sys.settrace(watch)
    try:
        leave(*words)
    finally:
        sys.settrace(None)
        if not number:
            with open(told, "w") as file:
                file.write(str(lines))
OutputFolder.__exit__ = watched
from render.cli import main
main()
"""
_STOPS = (signal.SIGKILL, signal.SIGINT, signal.SIGTERM)
_ENDINGS = {signal.SIGKILL: -9, signal.SIGINT: 130, signal.SIGTERM: 143}
_STARTING_S, _GOING_ON_S = 6.0, 4.0  # processor time of start-up and first passes, and of some passes more


class _Place:
    """Scenes, caches and the sets that whole runs of them give."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.warm = folder / "cache"
        self.told = folder / "told"
        self.scenes = {
            "one": write_scene(folder / "one.toml", title="One"),
            "two": write_scene(folder / "two.toml", title="Two", exposure__f_number=4, light__fill__lumens=90000),
        }
        self.sets: dict[str, dict[str, bytes]] = {}
        self.out = folder / "out"
        for name in self.scenes:
            self.whole(name)
        for name in self.scenes:  # the second time nothing is traced, as in the runs to come, and the report says so
            self.lines = self._lines(name)
            self.sets[name] = self.files()
        (self.out / MINE).write_text("mine")

    def options(self, name: str) -> list[str]:
        """One of the sets has a file more."""
        return ["-q", "draft", "--samples", "2", *(["--depth", "16"] if name == "one" else [])]

    def start(
        self, name: str, options: list[str], program: str = _COMMAND, words: list[str] | None = None,
        store: Path | None = None,
    ) -> subprocess.Popen[str]:  # fmt: skip
        """A `keyfall preview` of a scene in a process of its own."""
        env = {**os.environ, "KEYFALL_CACHE_DIR": str(store or self.warm), "PYTHONPATH": str(ROOT)}
        command = [sys.executable, "-c", program, *(words or []), "preview", str(self.scenes[name]), "-o", str(self.out)]
        return subprocess.Popen(
            [*command, *options], env=env, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
            preexec_fn=_as_in_a_terminal,
        )  # fmt: skip

    def whole(self, name: str) -> None:
        """An undisturbed run."""
        code, said = finish(self.start(name, self.options(name)))
        assert code == 0, f"an undisturbed run ends with {code}: {said}"

    def publishing(self, name: str, line: int, signals: list[signal.Signals]) -> tuple[int | None, str, bool]:
        """A run that gets signals at a line of its publishing: its code, what it said, whether it came to that line."""
        self.told.unlink(missing_ok=True)
        words = [str(line), str([int(number) for number in signals]), str(self.told)]
        code, said = finish(self.start(name, self.options(name), _IN_PUBLISHING, words))
        return code, said, self.told.exists()

    def _lines(self, name: str) -> int:
        """How many lines of the program publish a set in the place of another."""
        code, said, _ = self.publishing(name, 0, [])
        assert code == 0, f"an undisturbed run ends with {code}: {said}"
        return int(self.told.read_text())

    def files(self) -> dict[str, bytes]:
        """The files in the output folder."""
        return {path.name: path.read_bytes() for path in self.out.iterdir() if path.is_file()}

    def litter(self) -> list[str]:
        """Folders in it in which sets are collected."""
        return [f"left behind: {path.name}" for path in self.out.iterdir() if path.name.startswith(ASIDE)]

    def faults(self) -> list[str]:
        """What is wrong with the output folder."""
        found = []
        present = self.files()
        if present.pop(MINE, b"") != b"mine":
            found.append("the user's file is gone or changed")
        of = [name for name, files in self.sets.items() if all(files.get(n) == data for n, data in present.items())]
        if not of:
            found.append(f"mixed or damaged: {sorted(present)}")
        if MANIFEST in present and (wrong := faults_of(self.out / MANIFEST)):
            found.append(f"a manifest without its files: {wrong}")
        return found


def _as_in_a_terminal() -> None:
    """Programs that a shell starts in the background are told to ignore Ctrl-C; these are not."""
    for number in _STOPS[1:]:
        signal.signal(number, signal.SIG_DFL)


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
    """Stopped, once or twice, at any line of what puts a set in the place of another."""
    signals = [how] * rng.choice((1, 1, 2))
    line = rng.randint(1, place.lines)
    code, said, sent = place.publishing(name, line, signals)
    found = [f"at line {line}, {len(signals)} signals: {fault}" for fault in _ended(code, said, how, sent)]
    found += place.faults()
    if how is not signal.SIGKILL and len(signals) == 1:
        found += place.litter()
    if rng.random() < 0.3:  # the next run brings it to its end, and its own set in
        other = rng.choice(["one", "two"])
        place.whole(other)
        left = place.files()
        left.pop(MINE, None)
        if left != place.sets[other]:
            found.append(f"the next run leaves {sorted(left)}")
        found += place.litter()
    return found


def _while_tracing(place: _Place, name: str, how: signal.Signals, rng: random.Random) -> list[str]:
    """Stopped at any moment from start-up to the passes of a long trace, with an empty cache."""
    with tempfile.TemporaryDirectory(dir=place.folder) as folder:
        store = Path(folder)
        process = place.start(name, ["--samples", str(2**20), "--threads", "1"], store=store)
        _until_signals_are_taken(process)
        moment = rng.choice(("start-up", "passes", "a record being written"))
        more = used_s(process) + rng.uniform(0, _STARTING_S if moment == "start-up" else _GOING_ON_S)
        if moment == "passes":
            until(process, lambda: any(store.glob("guides-*")))
            more = used_s(process) + rng.uniform(0, _GOING_ON_S)
        if moment == "a record being written":
            until(process, lambda: any(store.glob("writing-*")), every_s=1e-4)
        else:
            until(process, lambda: used_s(process) >= more)
        process.send_signal(how)
        code, said = finish(process)
        found = _ended(code, said, how, sent=True)
        if how is not signal.SIGKILL and list(store.glob("writing-*")):
            found.append("half a record is left in the cache")
        return [f"{moment}: {fault}" for fault in found] + place.faults()


def _until_signals_are_taken(process: subprocess.Popen[str]) -> None:
    """Python's own start cannot be told to be quiet; wait until it is over."""
    status = Path(f"/proc/{process.pid}/status")

    def taken() -> bool:
        caught = next((line for line in status.read_text().splitlines() if line.startswith("SigCgt")), "SigCgt: 0")
        return bool(int(caught.split()[1], 16) >> signal.SIGTERM - 1 & 1)

    until(process, taken if status.exists() else lambda: used_s(process) > 1)


def _ended(code: int | None, said: str, how: signal.Signals, sent: bool) -> list[str]:
    """What is wrong with how a run ended that was stopped, or had ended before the signal was sent."""
    if code is None:
        return [f"did not end: {said[-400:]}"]
    found = []
    expected = _ENDINGS[how] if sent else 0
    if code != expected:
        found.append(f"ended with {code}, not {expected}: {said[-400:]}")
    lines = [line for line in said.splitlines() if line.strip()]
    if sent and how is not signal.SIGKILL and (len(lines) != 1 or "Traceback" in said):
        found.append(f"said: {said[-400:]}")
    return found
