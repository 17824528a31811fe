"""Equal-error CPU time against Mitsuba's stock `path` integrator.

Both trace the same clothed sitter in the same room from the same mesh, all surfaces diffuse in one band's reflectance,
four lights, one render a light. The error of a renderer is its variance over independent seeds, averaged over the
picture relative to the squared mean; error times CPU seconds does not depend on the sample count, so its ratio is that
of the CPU time to equal error. The peer renders one band and we trace all, which favours the peer. Octagons and
spots are disks of the same width for the peer; the lit fixture's body is the only one for both. Twelve gel looks
are one trace and twelve developments for us, twelve renders for the peer.
"""

from __future__ import annotations

import resource
import time
from dataclasses import replace

import numpy as np

from materials import default_bands
from render.backend import init
from render.merge import MergedSet, merge
from render.tracer import Tracer
from scenes import build_stage, load_scene
from scenes.stage import Light, Stage

from .runs import SCENE

WIDTH, HEIGHT, SEEDS, BAND, LOOKS = 256, 320, 6, 8, 12
OUR_SAMPLES, PEER_SAMPLES = 8, 16  # on the CPU; sixteen times as many on a card, which is idle otherwise


def cpu_seconds() -> float:
    """Processor time of this process so far."""
    usage = resource.getrusage(resource.RUSAGE_SELF)
    return usage.ru_utime + usage.ru_stime


def diffuse(stage: Stage) -> Stage:
    """The stage with every surface diffuse and of one spectrum, at the size of the comparison."""
    finishes = {id(s.finish): replace(s.finish, f0=0.0, transmission=0.0) for s in stage.shapes}
    shapes = tuple(replace(s, finish=finishes[id(s.finish)], tints=0 * s.tints) for s in stage.shapes)
    return replace(stage, shapes=shapes, camera=replace(stage.camera, width_px=WIDTH, height_px=HEIGHT))


def _error(pictures: np.ndarray) -> float:
    return float(pictures.var(axis=0, ddof=1).mean() / pictures.mean() ** 2)


def compare_with_peer() -> dict[str, object]:
    """Ratios of CPU time to equal error, ours over the peer's, a light and in all."""
    stage = diffuse(build_stage(load_scene(SCENE)))
    merged = merge(stage)
    tracer = Tracer(stage, merged, default_bands(), "auto", None)
    factor = 16 if init("auto") == "cuda" else 1
    ours, peers, lights = 0.0, 0.0, {}
    develop_s = _develop_seconds(stage)
    for index, light in enumerate(stage.lights):
        our_cost = _measure(_our_renderer(tracer, light, OUR_SAMPLES * factor))
        peer_cost = _measure(_peer_renderer(stage, merged, index, PEER_SAMPLES * factor))
        lights[light.name] = {"ratio": our_cost["cost"] / peer_cost["cost"], "ours": our_cost, "peer": peer_cost}
        ours += our_cost["cost"]
        peers += peer_cost["cost"]
    unit = min(entry["ours"]["error"] for entry in lights.values())
    return {
        "one_picture_ratio": ours / peers,
        "twelve_gel_looks_ratio": (ours / unit + LOOKS * develop_s) / (LOOKS * peers / unit),
        "lights": lights,
    }


def _measure(render) -> dict[str, float]:
    render(1000)
    pictures, started, wall = [], cpu_seconds(), time.perf_counter()
    for seed in range(SEEDS):
        pictures.append(np.asarray(render(seed)))
    cpu, wall = (cpu_seconds() - started) / SEEDS, (time.perf_counter() - wall) / SEEDS
    error = _error(np.stack(pictures))
    return {"error": error, "cpu_s": cpu, "wall_s": wall, "cost": error * cpu, "mean": float(np.mean(pictures))}


def _our_renderer(tracer: Tracer, light: Light, samples: int):
    return lambda seed: tracer.pass_runner(light, [], seed)(0, samples).radiance[BAND] / samples


def _develop_seconds(stage: Stage) -> float:
    bands, pixels = len(default_bands().nodes_nm), WIDTH * HEIGHT
    transport = np.random.default_rng(0).random((len(stage.lights) * bands, pixels), np.float32)
    weights = np.ones((3, len(stage.lights) * bands), np.float32)
    started = time.perf_counter()
    for _ in range(20):
        weights @ transport
    return (time.perf_counter() - started) / 20


def peer_set(stage: Stage, merged: MergedSet | None = None) -> dict:
    """The set without lights and integrator, as the peer describes it, in one band."""
    import mitsuba as mi

    bands = default_bands()
    merged = merge(stage) if merged is None else merged
    camera = stage.camera
    scene = {
        "type": "scene",
        "sensor": {
            "type": "perspective", "fov": float(2 * np.degrees(np.arctan(camera.tan_half_width))), "fov_axis": "x",
            "near_clip": 1e-2, "far_clip": 100.0,
            "to_world": mi.ScalarTransform4f().look_at(
                origin=[float(v) for v in camera.origin_m],
                target=[float(v) for v in camera.origin_m + camera.forward], up=[0, 1, 0],
            ),
            "film": {"type": "hdrfilm", "width": WIDTH, "height": HEIGHT, "pixel_format": "luminance", "rfilter": {"type": "box"}},
            "sampler": {"type": "independent"},
        },
    }  # fmt: skip
    for number, finish in enumerate(merged.finishes):
        faces = merged.faces[merged.material == number]
        used, index = np.unique(faces, return_inverse=True)
        properties = mi.Properties()
        value = float(bands.project(finish.reflectance[0])[BAND])
        properties["bsdf"] = mi.load_dict(
            {"type": "twosided", "bsdf": {"type": "diffuse", "reflectance": {"type": "uniform", "value": value}}}
        )
        mesh = mi.Mesh(f"part{number}", len(used), len(faces), has_vertex_normals=True, props=properties)
        parameters = mi.traverse(mesh)
        parameters["vertex_positions"] = merged.vertices[used].ravel()
        parameters["vertex_normals"] = merged.normals[used].ravel()
        parameters["faces"] = index.reshape(-1).astype(np.uint32)
        parameters.update()
        scene[f"part{number}"] = mesh
    return scene


def _peer_renderer(stage: Stage, merged: MergedSet, lit: int, samples: int):
    import mitsuba as mi

    scene = peer_set(stage, merged)
    scene["integrator"] = {"type": "path", "max_depth": -1, "rr_depth": 3, "hide_emitters": True}
    fixture = stage.lights[lit].fixture
    width, height = (float(s) / 2 for s in fixture.size_m)
    area = 4 * width * height if fixture.shape == "rectangle" else np.pi * width**2
    scene["light"] = {
        "type": "rectangle" if fixture.shape == "rectangle" else "disk",
        "to_world": mi.ScalarTransform4f().look_at(
            origin=[float(v) for v in fixture.centre_m],
            target=[float(v) for v in fixture.centre_m + fixture.forward], up=[float(v) for v in fixture.up],
        ) @ mi.ScalarTransform4f().scale([width, height, 1.0]),
        "bsdf": {"type": "diffuse", "reflectance": {"type": "uniform", "value": 0.0}},
        "emitter": {"type": "area", "radiance": {"type": "uniform", "value": float(1 / (np.pi * area))}},
    }  # fmt: skip
    loaded = mi.load_dict(scene)
    return lambda seed: np.array(mi.render(loaded, spp=samples, seed=seed))[..., 0]
