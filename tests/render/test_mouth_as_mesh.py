"""Modifiers against the same inside built as a mesh, its lamp a ball in it, and traced by our own tracer.

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
from scenes.modifiers import Bulb
from scenes.modifiers.insides import covered_bowl
from scenes.modifiers.linings import sheet
from scenes.stage import Fixture, Light, Shape
from tests.scenes.modified import STOCK, chain, revolved, round_mouth, stock, stock_inside, table
from tests.scenes.modified import fixture as modified

from .sets import camera, finish, fixture, light, mesh, stage

pytestmark = pytest.mark.slow

SIDES, STEPS = 96, 33
PIXELS, SPP, METER_SAMPLES = 32, 64, 1 << 17
NEAR = 2.0  # radii of the mouth
DISTANCES_M, ANGLES_DEG = (0.3, 0.6, 1.0, 3.0), (0.0, 20.0, 40.0, 60.0)
OPEN = {"standard-reflector": 1, "dish-white": 1, "deep-open-box-120": 1, "umbrella-white-100": 4}
"""And how many times the usual samples each needs to be quiet."""


def _matt(inside: Interior) -> Interior:
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


def _sheets(inside: Interior) -> list[Shape]:
    shapes = []
    for cloth in inside.sheets:
        kept = cloth.reflectance + cloth.transmittance
        of = finish(kept, transmission=cloth.transmittance / kept)
        vertices, faces = revolved(np.array([(cloth.z_m, 0.0), (cloth.z_m, cloth.radius_m)]), SIDES)
        shapes.append(mesh(vertices, faces, np.tile([0.0, 0, 1], (len(vertices), 1)), of, name=f"cloth {len(shapes)}"))
    return shapes


def _rim(inside: Interior, recess_m: float) -> list[Shape]:
    """The black edge of a front that lies behind it."""
    vertices, faces = revolved(np.array([(0.0, inside.exit_radius_m), (recess_m, inside.exit_radius_m)]), SIDES)
    normals = vertices / inside.exit_radius_m * [-1, -1, 0]
    return [mesh(vertices, faces, normals, finish(0.0), name="rim")]


def _readings(inside: Interior, places: np.ndarray, effort: int, recess_m: float) -> np.ndarray:
    """Lux of one lumen at places that face the middle of the exit, from which they are told: near it by a meter, far
    from it by a picture."""
    lamp, away = inside.lamp, np.linalg.norm(places, axis=1)
    ball = fixture(
        "sphere", (2 * lamp.radius_m, 2 * lamp.radius_m), at=(0, 0, lamp.z_m), toward=(0, 0, 1), visible=True
    )
    lit, shapes = light(ball), _shapes(inside) + _sheets(inside) + (_rim(inside, recess_m) if recess_m else [])
    near = away < NEAR * inside.exit_radius_m
    exit_m = np.array([0, 0, recess_m])
    read = np.array(
        [
            0.0 if close else _by_picture(shapes, lit, inside, at, exit_m, effort * SPP)
            for close, at in zip(near, places, strict=True)
        ]
    )
    if near.any():
        built = stage(shapes, [lit])
        placement = (places[near] + exit_m, -places[near] / away[near, None], np.zeros(int(near.sum()), bool))
        tracer = Tracer(built, merge(built), default_bands(), "auto", None)
        read[near] = tracer.meters((lit,), placement, effort * METER_SAMPLES)[0].mean(axis=0)
    return read


def _by_picture(
    shapes: list[Shape], lit: Light, inside: Interior, place: np.ndarray, exit_m: np.ndarray, spp: int
) -> float:
    half = math.asin(inside.exit_radius_m / np.linalg.norm(place)) * 1.02
    built = stage(shapes, [lit], camera(place + exit_m, exit_m, math.degrees(half), (PIXELS, PIXELS)))
    tracer = Tracer(built, merge(built), default_bands(), "auto", None)
    picture = tracer.pass_runner(lit, [], 1)(0, spp).radiance.mean(axis=0) / spp
    across = ((np.arange(PIXELS) + 0.5) / PIXELS * 2 - 1) * math.tan(half)
    cosine4 = (1 + across[:, None] ** 2 + across[None, :] ** 2) ** -2
    return float((picture * cosine4).mean() * (2 * math.tan(half)) ** 2)


def _at(distances_m: tuple[float, ...], angles_deg: tuple[float, ...]) -> np.ndarray:
    """(n, 3) places at distances from the middle of the exit, each at its angle off the axis."""
    away, turn = np.array(distances_m), np.radians(angles_deg)
    return np.stack([away * np.sin(turn), 0 * turn, away * np.cos(turn)], axis=1)


def _apart_stops(
    of: Fixture, inside: Interior, places: np.ndarray, effort: int = 1, recess_m: float = 0.0
) -> np.ndarray:
    modelled = illuminance(of, places, -places / np.linalg.norm(places, axis=1)[:, None])
    return np.log2(modelled / _readings(inside, places, effort, recess_m))


@pytest.mark.parametrize("name", OPEN)
def test_meters_before_an_open_modifier_read_what_its_mesh_gives(name: str) -> None:
    """Within 0.05 stop, near and far, on the axis and off it."""
    inside = _matt(stock_inside(name))
    apart = _apart_stops(round_mouth(inside), inside, _at(DISTANCES_M * 4, np.repeat(ANGLES_DEG, 4)), OPEN[name])
    assert np.abs(apart).max() < 0.05, np.round(apart, 3)


def _socked() -> tuple[Fixture, Interior, float]:
    inside = stock_inside("dish-white")
    covered = replace(inside, sheets=(sheet("thick", 0.0, inside.exit_radius_m),))
    return modified(chain(STOCK["dish-white"], STOCK["sock"])), covered, 0.0


def _box(recess_m: float) -> tuple[Fixture, Interior, float]:
    of = {"kind": "softbox", "form": "disk", "size_m": 0.7, "depth_m": 0.35, "recess_m": recess_m, "walls": "white"}
    return modified(chain(of)), table(**of).interior(Bulb()), recess_m


def _shot_through() -> tuple[Fixture, Interior, float]:
    made = stock("umbrella-shoot-through-100")
    inside = table(**STOCK["umbrella-shoot-through-100"]).through(Bulb())
    optics = replace(covered_bowl(_matt(inside), "disk"), back_share=made.optics.back_share)
    return replace(modified(made), optics=optics), inside, 0.0


COVERED = {
    "dish with a sock": _socked, "box": lambda: _box(0.0), "box with a recessed front": lambda: _box(0.12),
    "umbrella shot through": _shot_through,
}  # fmt: skip


@pytest.mark.parametrize("name", COVERED)
def test_meters_before_a_cloth_read_what_its_mesh_gives(name: str) -> None:
    """As above, where a cloth closes the modifier."""
    of, inside, recess_m = COVERED[name]()
    apart = _apart_stops(of, _matt(inside), _at((0.25, 0.25, 0.5, 0.5, 1.4, 1.4), (0, 50, 0, 28, 0, 50)), 4, recess_m)
    assert np.abs(apart).max() < 0.05, np.round(apart, 3)
