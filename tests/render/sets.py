"""Small sets whose answers are known, built straight as stages."""

from __future__ import annotations

import numpy as np

from materials import Finish, make_source
from scenes.stage import Camera, Exposure, Fixture, Light, Output, Probe, Shape, Stage

GREY_POINTS = 401


def finish(reflectance=0.5, *, f0=0.0, roughness=1.0, transmission=0.0) -> Finish:
    """A finish with the same spectrum (a number, or (401,)) in all four slots."""
    spectrum = np.broadcast_to(np.asarray(reflectance, float), (GREY_POINTS,))
    return Finish(
        name="test", description="test", reflectance=np.tile(spectrum, (4, 1)), f0=f0, roughness=roughness,
        gloss_roughness=roughness, coat=1.0, transmission=transmission,
    )  # fmt: skip


def mesh(vertices, faces, normals, of: Finish, region="prop", name="mesh") -> Shape:
    vertices = np.asarray(vertices, np.float32)
    return Shape(
        name=name, region=region, vertices=vertices, faces=np.asarray(faces, np.int32),
        normals=np.asarray(normals, np.float32), finish=of,
        tints=np.zeros((len(vertices), 3), np.uint8), gloss=np.zeros(len(vertices), np.uint8),
    )  # fmt: skip


def quad(corner, edge_a, edge_b, of: Finish, region="prop") -> Shape:
    """Parallelogram from a corner and two edges; its normal is a x b."""
    corner, a, b = (np.asarray(v, float) for v in (corner, edge_a, edge_b))
    normal = np.cross(a, b)
    normals = np.tile(normal / np.linalg.norm(normal), (4, 1))
    return mesh([corner, corner + a, corner + a + b, corner + b], [[0, 1, 2], [0, 2, 3]], normals, of, region)


def box(low, high, of: Finish) -> list[Shape]:
    """Six inward-facing walls."""
    low, high = np.asarray(low, float), np.asarray(high, float)
    x, y, z = np.diag(high - low)
    return [
        quad(low, y, z, of), quad(low, z, x, of), quad(low, x, y, of),
        quad(high, -z, -y, of), quad(high, -x, -z, of), quad(high, -y, -x, of),
    ]  # fmt: skip


def far_speck() -> Shape:
    """A black speck far below: ray queries need something in the set."""
    return quad([-0.01, -500, -0.01], [0.02, 0, 0], [0, 0, 0.02], finish(0.0))


def frame(forward) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """right, up, forward (unit, orthogonal)."""
    forward = np.asarray(forward, float) / np.linalg.norm(forward)
    helper = np.array([0.0, 1.0, 0.0]) if abs(forward[1]) < 0.99 else np.array([0.0, 0.0, 1.0])
    right = np.cross(forward, helper)
    right /= np.linalg.norm(right)
    return right, np.cross(right, forward), forward


def fixture(
    shape="disk", size=(1.0, 1.0), at=(0, 1, 0), toward=(0, -1, 0), beam=None, field=None, visible=False, depth=0.05
):
    right, up, forward = frame(toward)
    return Fixture(
        shape=shape, size_m=np.asarray(size, float), centre_m=np.asarray(at, float), right=right, up=up,
        forward=forward, beam_deg=beam, field_deg=field, visible=visible, body_depth_m=depth,
    )  # fmt: skip


def light(of: Fixture | None, name="key", *, lumens=1.0, lux=None, source="E", gel=None, on=True) -> Light:
    output = Output(lumens=None, reading_lux=lux or 1.0) if of is None else Output(lumens=lumens, reading_lux=None)
    return Light(
        name=name, role="key", fixture=of, source=make_source(source), gel=gel, output=output,
        flash=of is not None, on=on, power_setting=None,
    )  # fmt: skip


def camera(at=(0, 0, 5), look=(0, 0, 0), half_angle_deg=10.0, size=(32, 32)) -> Camera:
    right, up, forward = frame(np.asarray(look, float) - np.asarray(at, float))
    half = np.tan(np.radians(half_angle_deg))
    return Camera(np.asarray(at, float), right, up, forward, half, half * size[1] / size[0], size[0], size[1])


def stage(shapes, lights, view: Camera | None = None, probes=(), f_number=8.0, iso=100.0, shutter_s=1 / 125) -> Stage:
    return Stage(
        title="test set", shapes=tuple(shapes) or (far_speck(),), camera=view or camera(), lights=tuple(lights),
        probes=tuple(probes), exposure=Exposure(iso, f_number, shutter_s, "flash"),
        landmarks={"face": np.zeros(3)}, warnings=(),
    )  # fmt: skip


def probe(name="face", at=(0, 0, 0), normal=(0, 1, 0)) -> Probe:
    return Probe(name, np.asarray(at, float), np.asarray(normal, float), "face")
