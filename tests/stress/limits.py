"""Time limits that a busy machine does not reach: by the processor time that is used, and by standing still."""

from __future__ import annotations

import signal
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

STILL_S = 120.0
"""A process that uses no processor time at all for so long hangs, however many others share the machine."""

WORK_S = 900.0
"""Processor time of a whole run, fifty times the usual one."""

_TICKS_PER_S = 100.0  # of /proc, on every Linux


@contextmanager
def in_time(limit_s: float) -> Iterator[None]:
    """Raise TimeoutError in work that uses more processor time than `limit_s`, or none during such a time; where the
    system has no alarms, let it go on."""
    if not hasattr(signal, "SIGALRM"):
        yield
        return
    began = last = time.process_time()

    def tick(*_: object) -> None:
        nonlocal last
        now = time.process_time()
        if now - began > limit_s or now - last < 1e-3:
            raise TimeoutError(f"not done after {now - began:.1f} s of processor time")
        last = now

    before = signal.signal(signal.SIGALRM, tick)
    signal.setitimer(signal.ITIMER_REAL, limit_s, limit_s)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


def used_s(process: subprocess.Popen[str]) -> float:
    """Processor time a child has used so far, with the children it has waited for; 0 once it has ended."""
    with suppress(OSError, ValueError, IndexError):
        fields = Path(f"/proc/{process.pid}/stat").read_text().rpartition(")")[2].split()
        return sum(int(ticks) for ticks in fields[11:15]) / _TICKS_PER_S
    with suppress(OSError, ValueError):
        said = subprocess.run(["ps", "-o", "time=", "-p", str(process.pid)], capture_output=True, text=True).stdout
        parts = [float(part) for part in said.strip().replace("-", ":").split(":")]
        return sum(part * 60**place for place, part in enumerate(reversed(parts)))
    return 0.0


class Watch:
    """Whether a child still gets on with its work."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        self._process = process
        self._began = used_s(process)
        self._last = self._began, time.monotonic()

    def stuck(self) -> bool:
        """Whether it has used no processor time for long, or far too much of it."""
        used, now = used_s(self._process), time.monotonic()
        if used != self._last[0]:
            self._last = used, now
        return now - self._last[1] > STILL_S or used - self._began > WORK_S


def until(process: subprocess.Popen[str], reached: Callable[[], bool], every_s: float = 0.005) -> None:
    """Wait until something is reached, the process ends, or it is stuck."""
    watch = Watch(process)
    while process.poll() is None and not reached() and not watch.stuck():
        time.sleep(every_s)


def finish(process: subprocess.Popen[str]) -> tuple[int | None, str]:
    """Wait for a child; its exit code, or None where it was stuck and had to be killed, and what it said."""
    watch = Watch(process)
    while True:
        try:
            _, said = process.communicate(timeout=5)
            return process.returncode, said
        except subprocess.TimeoutExpired:
            if watch.stuck():
                process.kill()
                return None, process.communicate()[1]
