"""Open modifiers against the same inside built as a mesh, its lamp a ball in it, and traced by our own tracer.

The tracer knows nothing of tables, rings or profiles: it looks into the mesh from where a meter would stand, and the sum
over its picture, weighted by cosine and solid angle, is what the meter reads. Its finishes have no lobe like that of a
satin lining, so the linings here are matt, with the reflectance they have; silver is compared with another renderer in
`test_interior_against_mitsuba`.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from materials import default_bands
from render.merge import merge
from render.tracer import Tracer
from scenes.field import illuminance
from scenes.interior import Interior
from scenes.stage import Light, Shape
from tests.scenes.modified import revolved, round_mouth, stock_inside

from .sets import camera, finish, fixture, light, mesh, stage

pytestmark = pytest.mark.slow

DISTANCES_M, ANGLES_DEG = (0.3, 0.6, 1.0, 3.0), (0.0, 20.0, 40.0, 60.0)
SIDES, STEPS = 96, 33
PIXELS, SPP, METER_SAMPLES = 32, 64, 1 << 17
NEAR = 2.0  # radii of the mouth
NAMES = ("standard-reflector", "dish-white", "deep-open-box-120", "umbrella-white-100")


def _matt(name: str) -> Interior:
    inside = stock_inside(name)
    return replace(inside, walls=tuple(replace(wall, gloss=0.0) for wall in inside.walls))


def _shapes(inside: Interior) -> list[Shape]:
    shapes = []
    for wall in inside.walls:
        profile = wall.profile(STEPS if wall.bulge else 2)
        vertices, faces = revolved(profile, SIDES)
        rise = np.gradient(profile, axis=0)
        along = np.hypot(vertices[:, 0], vertices[:, 1])
        turn = np.arctan2(vertices[:, 1], vertices[:, 0])
        turn = np.where(along > 1e-9, turn, np.tile(np.arange(SIDES) / SIDES * 2 * math.pi, len(profile)))
        r, z = np.repeat(rise[:, 0], SIDES), -np.repeat(rise[:, 1], SIDES)
        normals = np.stack([r * np.cos(turn), r * np.sin(turn), z], axis=1)
        normals /= np.linalg.norm(normals, axis=1, keepdims=True)
        shapes.append(mesh(vertices, faces, normals, finish(wall.reflectance), name=f"wall {len(shapes)}"))
    return shapes


def _readings(inside: Interior, places: np.ndarray) -> np.ndarray:
    """Lux of one lumen at places that face the middle of the mouth: near it by a meter, far from it by a picture."""
    lamp, away = inside.lamp, np.linalg.norm(places, axis=1)
    ball = fixture(
        "sphere", (2 * lamp.radius_m, 2 * lamp.radius_m), at=(0, 0, lamp.z_m), toward=(0, 0, 1), visible=True
    )
    lit, shapes = light(ball), _shapes(inside)
    near = away < NEAR * inside.exit_radius_m
    read = np.array(
        [0.0 if close else _by_picture(shapes, lit, inside, at) for close, at in zip(near, places, strict=True)]
    )
    if near.any():
        built = stage(shapes, [lit])
        placement = (places[near], -places[near] / away[near, None], np.zeros(int(near.sum()), bool))
        tracer = Tracer(built, merge(built), default_bands(), "auto", None)
        read[near] = tracer.meters((lit,), placement, METER_SAMPLES)[0].mean(axis=0)
    return read


def _by_picture(shapes: list[Shape], lit: Light, inside: Interior, place: np.ndarray) -> float:
    half = math.asin(inside.exit_radius_m / np.linalg.norm(place)) * 1.02
    built = stage(shapes, [lit], camera(place, (0, 0, 0), math.degrees(half), (PIXELS, PIXELS)))
    tracer = Tracer(built, merge(built), default_bands(), "auto", None)
    picture = tracer.pass_runner(lit, [], 1)(0, SPP).radiance.mean(axis=0) / SPP
    across = ((np.arange(PIXELS) + 0.5) / PIXELS * 2 - 1) * math.tan(half)
    cosine4 = (1 + across[:, None] ** 2 + across[None, :] ** 2) ** -2
    return float((picture * cosine4).mean() * (2 * math.tan(half)) ** 2)


@pytest.mark.parametrize("name", NAMES)
def test_meters_read_what_the_mesh_gives(name: str) -> None:
    """Within 0.05 stop, near and far, on the axis and off it."""
    inside = _matt(name)
    angles, distances = (part.ravel() for part in np.meshgrid(np.radians(ANGLES_DEG), DISTANCES_M))
    places = np.stack([distances * np.sin(angles), 0 * angles, distances * np.cos(angles)], axis=1)
    modelled = illuminance(round_mouth(inside), places, -places / distances[:, None])
    apart = np.log2(modelled / _readings(inside, places))
    assert np.abs(apart).max() < 0.05, np.round(apart.reshape(len(DISTANCES_M), -1), 3)
