"""Whole previews as a user runs them, and developing from a loaded set."""

from __future__ import annotations

import os
import re
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
SCENE = ROOT / "demo" / "scenes" / "classic-loop.toml"


def spread(values: list[float]) -> dict[str, float]:
    """Minimum, median and maximum."""
    return {"min": min(values), "median": statistics.median(values), "max": max(values)}


def _five_lights(text: str) -> str:
    kicker = '[light.kicker]\nshape = "spot"\nsize_m = 0.12\nbeam_deg = 30\nfield_deg = 50\nazimuth_deg = -140\nelevation_deg = 20\ndistance_m = 1.5\nenergy_ws = 400\npower = "1/32"\n'
    return text.replace("long_side_px = 640", "long_side_px = 1350") + "\n" + kicker


def _other_gels(text: str) -> str:
    return re.sub(r"(\[light\.\w+\]\n)", r'\1gels = ["half-cto"]\n', text).replace('power = "1/16"', 'power = "1/8"')


def _run(scene_text: str, quality: str, cache: Path) -> tuple[float, float]:
    """Seconds and peak megabytes of one `keyfall preview` process."""
    with tempfile.TemporaryDirectory() as folder:
        scene = Path(folder) / "scene.toml"
        scene.write_text(scene_text)
        command = [
            sys.executable,
            "-c",
            "from render.cli import app; app()",
            "preview",
            str(scene),
            "-o",
            f"{folder}/out",
            "-q",
            quality,
        ]
        started = time.perf_counter()
        child = subprocess.Popen(
            command,
            env=os.environ | {"KEYFALL_CACHE_DIR": str(cache)},
            cwd=ROOT,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
        )
        _, errors = child.communicate()
        seconds = time.perf_counter() - started
        if child.returncode:
            raise SystemExit(errors.decode())
    return seconds, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024


def previews(repeats: int) -> dict[str, object]:
    """512 x 640, four lights, a stock sitter with hair; and 1080 x 1350 with five lights, for memory."""
    text = SCENE.read_text()
    found: dict[str, object] = {}
    cold: dict[str, list[float]] = {"draft": [], "preview": []}
    again: list[float] = []
    peak = 0.0
    for _ in range(repeats):
        for quality, times in cold.items():
            with tempfile.TemporaryDirectory() as cache:
                seconds, peak = _run(text, quality, Path(cache))
                times.append(seconds)
                if quality == "preview":
                    again.append(_run(_other_gels(text), quality, Path(cache))[0])
    found["cold_draft_s"], found["cold_preview_s"] = spread(cold["draft"]), spread(cold["preview"])
    found["second_run_other_gels_and_power_s"] = spread(again)
    found["peak_mb"] = peak
    with tempfile.TemporaryDirectory() as cache:
        seconds, peak = _run(_five_lights(text), "preview", Path(cache))
    found["large_1080x1350_five_lights"] = {"seconds": seconds, "peak_mb": peak}
    return found


def development(repeats: int) -> dict[str, object]:
    """One look from a loaded set of four lights at 512 x 640, to 8-bit codes."""
    from materials import make_gel
    from render import Cache, develop, relight, trace
    from scenes import build_stage, load_scene

    with tempfile.TemporaryDirectory() as cache:
        stage = build_stage(load_scene(SCENE))
        olat = trace(stage, samples=2, cache=Cache(Path(cache)))
        develop(olat, stage).to_8_bit()
        plain, gelled = [], []
        for _ in range(max(repeats, 5) * 2):
            for times, gel in ((plain, None), (gelled, make_gel("violet"))):
                look = relight(stage, "key", gel=gel)
                started = time.perf_counter()
                develop(olat, look).to_8_bit()
                times.append((time.perf_counter() - started) * 1000)
    return {"one_look_ms": spread(plain), "one_look_saturated_gel_ms": spread(gelled)}
