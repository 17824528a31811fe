"""What a comparison costs over the tracing it needs: twelve gels, and twelve places of one light."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

from .runs import ROOT, SCENE, spread

GELS = "light.key.gels=none,amber,teal,magenta,half-cto,full-cto,half-ctb,full-ctb,rose,violet,plus-green,quarter-cto"
PLACES = "light.key.azimuth_deg=" + ",".join(str(20 + 4 * k) for k in range(12))


def _compare_timed(scene: str, variation: str, folder: str) -> None:
    """In a process of its own: compare, and print when the last trace ended and what each light traced cost."""
    import time

    import render.compare
    from render.job import Job
    from render.variants import make_grid
    from scenes.variations import parse_variation

    spent: list[tuple[str, float]] = []
    traced: list[str] = []
    ended = 0.0
    picture, transport, trace_as = Job._picture, Job.transport, render.compare.trace_as

    def noted(self, light, *rest):
        traced.append(light.name)
        return picture(self, light, *rest)

    def timed(self, light, *rest):
        before, started = len(traced), time.perf_counter()
        result = transport(self, light, *rest)
        if len(traced) > before:
            spent.append((light.name, time.perf_counter() - started))
        return result

    def last(*words, **named):
        nonlocal ended
        result = trace_as(*words, **named)
        ended = time.perf_counter()
        return result

    Job._picture, Job.transport, render.compare.trace_as = noted, timed, last  # type: ignore[method-assign]
    started = time.perf_counter()
    render.compare.compare(make_grid(Path(scene), [parse_variation(variation)]), Path(folder))
    now = time.perf_counter()
    sys.stdout.write(json.dumps({"seconds": now - started, "after_s": now - ended, "lights": spent}) + "\n")


def _process(variation: str) -> dict:
    with tempfile.TemporaryDirectory() as folder:
        code = "import sys; from tests.bench.sheets import _compare_timed; _compare_timed(*sys.argv[1:])"
        run = subprocess.run(
            [sys.executable, "-c", code, str(SCENE), variation, f"{folder}/o"],
            env=os.environ | {"KEYFALL_CACHE_DIR": f"{folder}/cache"}, cwd=ROOT, capture_output=True, text=True,
            check=False,
        )  # fmt: skip
    if run.returncode:
        raise SystemExit(run.stderr)
    return json.loads(run.stdout.splitlines()[-1])


def sheets(repeats: int) -> dict[str, object]:
    """Processes with an empty cache at 512 x 640, four lights, sheets as PDF and PNG.

    Twelve gels: seconds after the one trace has ended. Twelve places of the key: what was traced, and how much of the
    time went into tracing and denoising those lights.
    """
    gels = [_process(GELS) for _ in range(repeats)]
    places = _process(PLACES)
    names = [name for name, _ in places["lights"]]
    return {
        "twelve_gels_s": spread([told["seconds"] for told in gels]),
        "twelve_gels_after_the_trace_s": spread([told["after_s"] for told in gels]),
        "twelve_places_s": places["seconds"],
        "twelve_places_traces": {name: names.count(name) for name in dict.fromkeys(names)},
        "twelve_places_share_spent_on_those_lights": sum(s for _, s in places["lights"]) / places["seconds"],
    }
