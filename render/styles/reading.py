"""What a traced light does to a face: which skin it reaches, and what the nose keeps from it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from materials import Bands, Finish, default_bands
from scenes.field import illuminance
from scenes.stage import Fixture, Light, Shape, Stage
from scenes.styles.frame import FaceFrame, face_frame
from scenes.styles.pattern import BRIGHTEST, DARK_SHARE, FaceLight, told_apart
from scenes.styles.relief import Relief, face_relief, nose_zone

from ..cache import Cache, content_hash
from ..job import Job
from ..merge import merge
from ..meterset import Meter, MeterPlacement, MeterSet
from ..records import Part
from ..trace_version import trace_version
from ..tracer import Tracer

SHADOW_SAMPLES = 128
LIFT_M = 0.0008
"""How far off the skin the meters lie, metres."""

_STEPS = 24
_UNREACHED = 0.02
_PATCH = 0.2
_OFF_FACE_M = 0.03
_UNDER_DEG = 60.0

_Placement = tuple[np.ndarray, np.ndarray, np.ndarray]


@dataclass(frozen=True, slots=True)
class FaceReading:
    """The key alone on a face, each (rows, columns) of the relief.

    Attributes
    ----------
    light : what is lit, turned away, and in the shadow of the nose, by tracing.
    visible : share of the light that reaches each cell, 0 to 1, relative to what nothing on the face shades.
    reached : whether any of it gets to the face.
    """

    relief: Relief
    light: FaceLight
    visible: np.ndarray
    reached: bool


@dataclass(frozen=True, slots=True)
class SkinLevels:
    """All lights together, lx s: flat meters lying on the sitter's left and right cheek, one before the forehead that
    looks up and out, and one before the chin that looks down and out."""

    left: float
    right: float
    over: float
    under: float


def relief_of(stage: Stage) -> Relief:
    """The front view of the sitter's face on a stage.

    Raises
    ------
    KeyfallError
        When the sitter has no landmarks of a face.
    """
    skin = [(s.vertices, s.faces, s.normals) for s in stage.shapes if s.region == "face"]
    return face_relief(face_frame(stage.landmarks), skin)


def read_key(stage: Stage, key: Light, relief: Relief, device: str, threads: int | None, cache: Cache) -> FaceReading:
    """Trace the key alone to a flat meter on every cell of the face, with the nose and without it.

    All surfaces are black, so a reading over what the key would give with nothing in between (in double precision,
    `scenes.field.illuminance`) is the share of the key that is seen from there. What is dark with the nose and lit
    without it lies in the shadow of the nose.
    """
    assert key.fixture is not None
    seen = relief.seen
    places, normals = _on_skin(relief, seen)
    facing = (places, normals, np.zeros(len(places), bool))
    black = _blackened(stage)
    content = content_hash(
        trace_version(__name__), [(s.vertices, s.faces, s.finish) for s in black.shapes],
        [light.fixture for light in stage.lights], key.fixture, facing, SHADOW_SAMPLES,
    )  # fmt: skip
    form = {name: Part("float64", (len(places),)) for name in ("bare", "whole", "cut")}
    record = cache.load("face", content, form)
    if record is None:
        cut = replace(black, shapes=tuple(_cut(shape, relief.frame) for shape in black.shapes))
        record = {
            "bare": illuminance(key.fixture, places, normals, _STEPS),
            "whole": _direct(black, key, facing, device, threads),
            "cut": _direct(cut, key, facing, device, threads),
        }
        cache.save("face", content, form, record)
    return _judged(relief, key.fixture, record["bare"], record["whole"], record["cut"])


def _judged(relief: Relief, fixture: Fixture, bare: np.ndarray, whole: np.ndarray, cut: np.ndarray) -> FaceReading:
    able = bare > DARK_SHARE * float(np.quantile(bare, BRIGHTEST))
    shares = np.where(able, whole / np.maximum(bare, 1e-12), 0.0)
    clear = float(np.quantile(shares[able], 0.9)) if able.any() else 0.0
    reached = clear > _UNREACHED
    scale = 1 / clear if reached else 0.0
    toward_left = bool(relief.frame.local(fixture.centre_m)[0] >= 0)
    full, lit, without = (_on_raster(relief, values) for values in (bare, scale * whole, scale * cut))
    light = told_apart(relief, full, lit, without, toward_left)
    return FaceReading(relief, light, _on_raster(relief, np.clip(scale * shares, 0, 1)), reached)


def _on_raster(relief: Relief, values: np.ndarray) -> np.ndarray:
    raster = np.zeros(relief.seen.shape)
    raster[relief.seen] = values
    return raster


def _on_skin(relief: Relief, chosen: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """World places (n, 3) just off the chosen cells, and their world normals (n, 3)."""
    frame = relief.frame
    normals = relief.normals[chosen] @ np.stack([frame.left, frame.up, frame.forward])
    return frame.world(relief.points()[chosen]) + LIFT_M * normals, normals


def _blackened(stage: Stage) -> Stage:
    """The stage with nothing that bounces light, no nets and clear air; silks stay as they are."""
    black: dict[int, Finish] = {}

    def of(shape: Shape) -> Shape:
        finish = shape.finish
        if finish.transmission > 0:
            return shape
        if not black:
            black[0] = replace(finish, name="black", reflectance=np.zeros_like(finish.reflectance), f0=0.0, coat=0.0)
        return replace(shape, finish=black[0])

    shapes = tuple(of(shape) for shape in stage.shapes)
    return replace(stage, shapes=shapes, nets=(), panes=(), surroundings=(), haze=None)


def _cut(shape: Shape, frame: FaceFrame) -> Shape:
    """A shape with the nose pushed into the head."""
    if shape.region != "face":
        return shape
    inside = nose_zone(frame, frame.local(shape.vertices))
    vertices = np.array(shape.vertices)
    vertices[inside] -= (frame.eye_span_m * frame.forward).astype(vertices.dtype)
    return replace(shape, vertices=vertices)


def _direct(stage: Stage, key: Light, facing: _Placement, device: str, threads: int | None) -> np.ndarray:
    """Readings (M,) of the key at unit output, among the bodies of the other lights that stand in its way."""
    bands: Bands = default_bands()
    tracer = Tracer(stage, merge(stage), bands, device, threads)
    others = [light for light in stage.lights if light is not key and light.fixture is not None]
    fixtures = [light.fixture for light in others if light.fixture is not None]
    blocking = [others[i] for i in tracer.blockers(key, fixtures, facing[0])] if others else []
    readings = tracer.meters((key, *blocking), facing, SHADOW_SAMPLES)
    alone: np.ndarray = readings[0].mean(axis=0)
    return alone


def read_skin(stage: Stage, relief: Relief, device: str, threads: int | None, cache: Cache) -> SkinLevels:
    """Trace all lights, as bright as they are set, to flat meters on both cheeks and before forehead and chin.

    A cheek is the mean of meters on the skin within a fifth of the distance between the pupils from its landmark.
    """
    from ..look import xyz_weights
    from ..meterset import FACE_PROBE

    frame = relief.frame
    patches = [_on_skin(relief, _patch(relief, stage.landmarks[name])) for name in ("cheek_L", "cheek_R")]
    along = np.radians(_UNDER_DEG)
    looks = [np.cos(along) * frame.forward + sign * np.sin(along) * frame.up for sign in (1, -1)]
    spots = [stage.landmarks[name] + _OFF_FACE_M * frame.forward for name in ("forehead", "chin")]
    probe = next(p for p in stage.probes if p.name == FACE_PROBE)
    to_camera = stage.camera.origin_m - probe.position_m
    places = np.concatenate([probe.position_m[None], spots, patches[0][0], patches[1][0]])
    normals = np.concatenate(
        [to_camera[None] / np.linalg.norm(to_camera), looks, patches[0][1], patches[1][1]]
    )  # fmt: skip
    domes = np.arange(len(places)) == 0
    held = (Meter(FACE_PROBE, "dome"), *(Meter("skin", "flat:surface") for _ in places[1:]))
    job = Job(stage, cache, device, threads)
    transport = job.meters(MeterPlacement(held, places, normals, domes))
    meters = MeterSet(job.bands, tuple(light.name for light in stage.lights), held, transport, job.clear_face())
    exposure = np.einsum("lb,lbm->m", xyz_weights(meters, stage)[:, :, 1], transport)
    split = 3 + len(patches[0][0])
    means = [float(part.mean()) if len(part) else 0.0 for part in (exposure[3:split], exposure[split:])]
    return SkinLevels(means[0], means[1], float(exposure[1]), float(exposure[2]))


def _patch(relief: Relief, place_m: np.ndarray) -> np.ndarray:
    u, v, _ = relief.frame.local(place_m)
    away = np.hypot(relief.u_m[None, :] - u, relief.v_m[:, None] - v)
    near: np.ndarray = relief.seen & (away < _PATCH * relief.frame.eye_span_m)
    return near
