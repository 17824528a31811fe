"""What a comparison costs over the tracing it needs: twelve gels, and twelve places of one light."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time

from .runs import ROOT, SCENE, spread

GELS = (
    "light.key.gels=none,amber,teal,magenta,half-cto,full-cto,half-ctb,full-ctb,rose,violet,plus-green,quarter-cto"
)
PLACES = "light.key.azimuth_deg=" + ",".join(str(20 + 4 * k) for k in range(12))
_TRACE = """
import sys
from pathlib import Path
from render import trace
from scenes import build_stage, load_scene
trace(build_stage(load_scene(Path(sys.argv[1]))))
"""
_PLACES = """
import json, sys, time
from pathlib import Path
from render.job import Job
from render.trace import TraceSettings
from render.variants import make_grid
from scenes.variations import parse_variation
import render.compare

spent = []
original = Job._picture
def timed(self, light, *rest):
    started = time.perf_counter()
    try:
        return original(self, light, *rest)
    finally:
        spent.append((light.name, time.perf_counter() - started))
Job._picture = timed
started = time.perf_counter()
grid = make_grid(Path(sys.argv[1]), [parse_variation(sys.argv[2])])
render.compare.compare(grid, Path(sys.argv[3]))
print(json.dumps({"seconds": time.perf_counter() - started, "traces": spent}))
"""


def _process(words: list[str], cache: str) -> tuple[float, str]:
    started = time.perf_counter()
    run = subprocess.run(
        [sys.executable, "-c", *words], env=os.environ | {"KEYFALL_CACHE_DIR": cache}, cwd=ROOT, capture_output=True,
        text=True, check=False,
    )  # fmt: skip
    if run.returncode:
        raise SystemExit(run.stderr)
    return time.perf_counter() - started, run.stdout


def sheets(repeats: int) -> dict[str, object]:
    """Whole processes with an empty cache at 512 x 640: a compare of twelve gels against one that only traces; and of
    twelve places of the key, with the time spent in each light's trace."""
    import json

    over, whole = [], []
    for _ in range(repeats):
        with tempfile.TemporaryDirectory() as folder:
            alone, _ = _process([_TRACE, str(SCENE)], f"{folder}/a")
            compared, _ = _process(
                ["from render.cli import app; app()", "compare", str(SCENE), "--vary", GELS, "-o", f"{folder}/o"],
                f"{folder}/b",
            )
            whole.append(compared)
            over.append(compared - alone)
    with tempfile.TemporaryDirectory() as folder:
        _, printed = _process([_PLACES, str(SCENE), PLACES, f"{folder}/o"], f"{folder}/c")
    told = json.loads(printed.splitlines()[-1])
    names = [name for name, _ in told["traces"]]
    tracing = sum(seconds for _, seconds in told["traces"])
    return {
        "twelve_gels_s": spread(whole),
        "twelve_gels_over_one_trace_s": spread(over),
        "twelve_places_s": told["seconds"],
        "twelve_places_traces": {name: names.count(name) for name in dict.fromkeys(names)},
        "twelve_places_share_spent_tracing_lights": tracing / told["seconds"],
    }
