"""CPU time to equal error of every kind of modifier over that of a plain light of the same area in its place: a disk,
one that shines to both sides for thin sheets that do, or a ball for lamps that shine all around.

The set is the demo scene `full-length`. The error is the variance over independent seeds relative to the mean square
of the picture, so that it weighs noise where there is light, however narrow the beam.
"""

from __future__ import annotations

import math
import tomllib
from dataclasses import replace

import numpy as np

from materials import default_bands
from render.backend import init
from render.merge import merge
from render.tracer import Tracer
from scenes import build_stage
from scenes.check import check_data
from scenes.fixtures import exit_area_m2
from scenes.optics import PLAIN
from scenes.stage import Fixture, Light, Stage

from .peer import BAND, SEEDS, cpu_seconds
from .runs import ROOT

SCENE = ROOT / "demo" / "scenes" / "full-length.toml"
WIDTH, HEIGHT, SAMPLES = 256, 320, 8
CHAINS = (
    "bare-bulb", "standard-reflector", "standard-reflector+grid-20", "standard-reflector+grid-10",
    "standard-reflector+doors-narrow", "snoot", "snoot+snoot-grid", "dish-white", "softbox-60x90",
    "softbox-60x90+fabric-grid-40", "octabox-90", "umbrella-white-100", "umbrella-shoot-through-100", "ring",
    "led-tube", "fresnel-spot", "projector-iris", "projector-dapple", "window-clear",
)  # fmt: skip


def _stage(chain: str) -> Stage:
    data = tomllib.loads(SCENE.read_text(encoding="utf-8"))
    data["light"]["key"]["modifiers"] = chain.split("+")
    scene, problems = check_data(data, SCENE.parent)
    if scene is None:
        raise SystemExit(f"{chain}: " + " ".join(p.message for p in problems))
    stage = build_stage(scene)
    return replace(stage, camera=replace(stage.camera, width_px=WIDTH, height_px=HEIGHT))


def plain_light(of: Fixture) -> Fixture:
    """A diffuse disk of the same exit area in the same place, as bright at the back as the light is there; a ball that
    shows the same area for lights all round."""
    around = of.shape in ("sphere", "tube")
    area = exit_area_m2(of) / {"sphere": 4.0, "tube": math.pi}.get(of.shape, 1.0)
    size = np.full(2, math.sqrt(4 * area / math.pi))
    shape = "sphere" if around else "disk"
    optics = replace(PLAIN, back_share=of.optics.back_share)
    return replace(of, shape=shape, size_m=size, beam_deg=None, field_deg=None, hole_m=0.0, optics=optics)


def _cost(tracer: Tracer, light: Light, samples: int) -> float:
    """Error times CPU seconds of one light."""
    run = tracer.pass_runner(light, [], 1)
    run(0, 2)
    pictures, started = [], cpu_seconds()
    for seed in range(SEEDS):
        pictures.append(tracer.pass_runner(light, [], seed)(0, samples).radiance[BAND] / samples)
    seconds = (cpu_seconds() - started) / SEEDS
    stack = np.stack(pictures).astype(float)
    return float(stack.var(axis=0, ddof=1).mean() / (stack.mean(axis=0) ** 2).mean()) * seconds


def compare_modifiers() -> dict[str, object]:
    """Ratio to the plain light for each chain, and the largest."""
    factor = 16 if init("auto") == "cuda" else 1
    ratios = {}
    for chain in CHAINS:
        stage = _stage(chain)
        tracer = Tracer(stage, merge(stage), default_bands(), "auto", None)
        light = stage.lights[0]
        assert light.fixture is not None
        plain = replace(light, fixture=plain_light(light.fixture))
        costs = [_cost(tracer, lit, SAMPLES * factor) for lit in (light, plain, light, plain)]
        ratios[chain] = (costs[0] + costs[2]) / (costs[1] + costs[3])
    return {"ratio_to_plain_light": ratios, "largest": max(ratios.values())}
