"""CPU time to equal error in haze: over clear air on the same set, and over Mitsuba's stock `volpath`.

The set is the demo scene `haze-after-rehearsal` with all surfaces diffuse; the light is its narrow beam from behind. Error is
variance over seeds relative to the mean square of the picture. The peer renders one band, a disk of the beam's
width as a spot of the same half angle, one haze, no bodies.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from materials import default_bands
from render.backend import init
from render.merge import merge
from render.tracer import Tracer
from scenes import build_stage, load_scene
from scenes.stage import Light, Stage

from .peer import BAND, SEEDS, cpu_seconds, diffuse, peer_set
from .runs import ROOT

SCENE = ROOT / "demo" / "scenes" / "haze-after-rehearsal.toml"
LIGHT = "back"
OUR_SAMPLES, PEER_SAMPLES = 16, 32


def _cost(render) -> dict[str, float]:
    render(1000)
    pictures, started = [], cpu_seconds()
    for seed in range(SEEDS):
        pictures.append(np.asarray(render(seed), float))
    seconds = (cpu_seconds() - started) / SEEDS
    stack = np.stack(pictures)
    error = float(stack.var(axis=0, ddof=1).mean() / (stack.mean(axis=0) ** 2).mean())
    return {"error": error, "cpu_s": seconds, "cost": error * seconds, "mean": float(stack.mean())}


def _ours(stage: Stage, light: Light, samples: int):
    tracer = Tracer(stage, merge(stage), default_bands(), "auto", None)
    return lambda seed: tracer.pass_runner(light, [], seed)(0, samples).radiance[BAND] / samples


def _seconds(render) -> float:
    render(1000)
    started = cpu_seconds()
    for seed in range(SEEDS):
        render(seed)
    return (cpu_seconds() - started) / SEEDS


def compare_haze() -> dict[str, object]:
    """Ratios of CPU time: haze over clear air for the same samples, each light; and to equal error over the peer."""
    factor = 16 if init("auto") == "cuda" else 1
    stage = diffuse(build_stage(load_scene(SCENE)))
    clear = replace(stage, haze=None)
    times = {
        light.name: _seconds(_ours(stage, light, OUR_SAMPLES * factor))
        / _seconds(_ours(clear, light, OUR_SAMPLES * factor))
        for light in stage.lights
    }
    beam = next(light for light in stage.lights if light.name == LIGHT)
    ours = _cost(_ours(stage, beam, OUR_SAMPLES * factor))
    peer = _cost(_peer(stage, beam, PEER_SAMPLES * factor))
    return {"time_over_clear": times, "ratio_to_volpath": ours["cost"] / peer["cost"], "ours": ours, "peer": peer}


def _peer(stage: Stage, light: Light, samples: int):
    import mitsuba as mi

    fixture, haze = light.fixture, stage.haze
    assert fixture is not None
    assert haze is not None
    scene = peer_set(stage)
    scene["integrator"] = {"type": "volpath", "max_depth": -1, "rr_depth": 3, "hide_emitters": True}
    medium = haze.medium
    scene["haze"] = {
        "type": "homogeneous",
        "sigma_t": math.log(50) / medium.visibility_m,
        "albedo": 0.9999,
        "phase": {"type": "hg", "g": medium.phase.mean_cosine()},
    }
    scene["sensor"]["medium"] = {"type": "ref", "id": "haze"}
    scene["sensor"]["near_clip"] = 1e-4
    scene["lamp"] = {
        "type": "spot", "cutoff_angle": 24.0, "beam_width": 8.0, "intensity": {"type": "uniform", "value": 1.0},
        "medium": {"type": "ref", "id": "haze"},
        "to_world": mi.ScalarTransform4f().look_at(
            origin=[float(v) for v in fixture.centre_m],
            target=[float(v) for v in fixture.centre_m + fixture.forward], up=[0, 0, 1],
        ),
    }  # fmt: skip
    loaded = mi.load_dict(scene)
    return lambda seed: np.array(mi.render(loaded, spp=samples, seed=seed))[..., 0]
