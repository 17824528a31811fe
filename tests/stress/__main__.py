"""Damage by the thousand: ``python -m tests.stress [PART ...]``. Prints what went wrong; exit code 0 when nothing did.

Parts: `cache` (damaged records), `kills` (processes stopped at any moment, half of them while they publish results) and
`scenes` (mutated scene files). What a part does depends on its seed alone, but for the moments of the kills.
"""

from __future__ import annotations

import argparse
import importlib
import importlib.util
import sys
from collections.abc import Callable

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn, TimeRemainingColumn

COUNTS = {"cache": 5000, "kills": 100, "scenes": 10_000}
"""How much of each part a full run does."""

_STEPS = {"cache": 50, "kills": 2, "scenes": 50}


def main() -> None:
    """Run the parts asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    present = [part for part in COUNTS if importlib.util.find_spec(f"{__package__}.{part}")]
    parser.add_argument("parts", nargs="*", help=f"of {', '.join(present)}; all if left out")
    parser.add_argument("--count", type=int, help="instead of the part's own")
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    unknown = set(chosen.parts) - set(present)
    if unknown:
        parser.error(f"no such part: {', '.join(sorted(unknown))}. Parts: {', '.join(present)}")
    console = Console(stderr=True)
    failures = []
    columns = (BarColumn(), MofNCompleteColumn(), TimeElapsedColumn(), TextColumn("left"), TimeRemainingColumn())
    with Progress(TextColumn("{task.description}"), *columns, console=console) as bar:
        for part in chosen.parts or present:
            count = chosen.count or COUNTS[part]
            task = bar.add_task(part, total=count)
            run: Callable[[int, int], list[str]] = importlib.import_module(f"{__package__}.{part}").run
            for done in range(0, count, _STEPS[part]):
                step = min(_STEPS[part], count - done)
                failures += [f"{part}: {failure}" for failure in run(step, chosen.seed * 1_000_000 + done)]
                bar.update(task, advance=step)
    for failure in failures:
        print(failure)
    print(f"{len(failures)} failures.")
    sys.exit(bool(failures))


if __name__ == "__main__":
    main()
