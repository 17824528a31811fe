"""Modifiers of the stock kit, and what they throw, for tests."""

from __future__ import annotations

import math
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import TypeAdapter

from scenes.emission import Emission
from scenes.field import axial_illuminance_per_lumen, illuminance, luminance
from scenes.interior import Interior
from scenes.interior_mouth import mouth
from scenes.modifiers import Bulb, Modifier, Shaped, assemble
from scenes.optics import Optics, Source
from scenes.stage import Fixture

_ROOT = Path(__file__).parents[2]
STOCK = tomllib.loads((_ROOT / "scenes/data/stock-modifiers.toml").read_text(encoding="utf-8"))["modifier"]
HEAD_TO_SITTER_M = 1.5


def table(**keys: Any) -> Any:
    return TypeAdapter(Modifier).validate_python(keys)


@cache
def stock(*names: str) -> Shaped:
    return assemble([table(**STOCK[name]) for name in names], Bulb(), Path())


def chain(*tables: dict, folder: Path = Path(), bulb: Bulb | None = None) -> Shaped:
    return assemble([table(**keys) for keys in tables], bulb or Bulb(), folder)


def fixture(shaped: Shaped) -> Fixture:
    """It at the origin, shining along +z."""
    x, y, z = np.eye(3)
    return Fixture(
        shaped.shape, shaped.size_m, np.zeros(3), x, y, z, shaped.beam_deg, shaped.field_deg, False,
        shaped.body_depth_m, shaped.hole_m, shaped.optics,
    )  # fmt: skip


def on_head(*names: str) -> float:
    """Axial illuminance (lx per lamp lumen) at the sitter, the head 1.5 m away whatever is on it."""
    shaped = stock(*names)
    return axial_illuminance_per_lumen(fixture(shaped), HEAD_TO_SITTER_M - shaped.body_depth_m)


def in_front(*names: str) -> float:
    """Axial illuminance (lx per lamp lumen) 2 m from the front of whatever is on the head."""
    return axial_illuminance_per_lumen(fixture(stock(*names)), 2.0)


def stops(*names: str, over: tuple[str, ...] = ("standard-reflector",)) -> float:
    return math.log2(on_head(*names) / on_head(*over))


def around(shaped: Shaped, distance_m: float = 10.0, widest_deg: float = 88.0) -> tuple[np.ndarray, np.ndarray]:
    """Angles off the axis (degrees) and illuminance along an arc, facing the light, relative to the axis."""
    angle = np.linspace(0, widest_deg, 353)
    place = np.radians(angle)
    points = distance_m * np.stack([np.sin(place), np.zeros_like(place), np.cos(place)], axis=1)
    lux = illuminance(fixture(shaped), points, -points / distance_m)
    return angle, lux / lux[0]


def full_angle(shaped: Shaped, share: float, distance_m: float = 10.0) -> float:
    angle, lux = around(shaped, distance_m)
    under = int(np.flatnonzero(lux < share)[0])
    return 2 * float(np.interp(-share, -lux[under - 1 : under + 1], angle[under - 1 : under + 1]))


def lumens_out(shaped: Shaped) -> float:
    """Lumens through the exit for one of the lamp: luminance x cos over exit and half space, by a product rule."""
    made = fixture(shaped)
    share = (np.arange(24) + 0.5) / 24 - 0.5
    x, y = (np.ravel(a) for a in np.meshgrid(share * shaped.size_m[0], share * shaped.size_m[1]))
    cell = float(np.prod(shaped.size_m)) / 24**2
    sine2 = (np.arange(400) + 0.5) / 400
    slope = np.sqrt(sine2 / (1 - sine2))
    total = 0.0
    for turn in (np.arange(36) + 0.5) / 36 * 2 * math.pi:
        total += float(luminance(made, x[:, None], y[:, None], slope * math.cos(turn), slope * math.sin(turn)).sum())
    return total * cell * math.pi / 400 / 36


def stock_inside(name: str) -> Interior:
    """The inside of an open stock modifier on a bare lamp."""
    made = table(**STOCK[name])
    return made.into(Bulb()) if made.kind == "umbrella" else made.interior(Bulb())


def mouth_fixture(emission: Emission, efficiency: float = 1.0) -> Fixture:
    """A mouth at the origin that shines along +z."""
    x, y, z = np.eye(3)
    size = 2 * emission.half_m
    optics = Optics(efficiency, emission=emission, source=Source(emission.outline, size, 0.0))
    return Fixture(emission.outline, size, np.zeros(3), x, y, z, None, None, False, 0.1, 0.0, optics)


def round_mouth(inside: Interior) -> Fixture:
    """The mouth of an inside, as traced into its table."""
    efficiency, emission = mouth(inside, "disk", np.full(2, 2 * inside.exit_radius_m))
    return mouth_fixture(emission, efficiency)


def revolved(profile: np.ndarray, sides: int) -> tuple[np.ndarray, np.ndarray]:
    """Vertices (n * sides, 3) and triangles of a profile (n, 2) of (z, r) turned about z; the polygons have the area of
    their circles."""
    turn = np.arange(sides) / sides * 2 * math.pi
    grow = math.sqrt(2 * math.pi / sides / math.sin(2 * math.pi / sides))
    z, r = profile.T[:, :, None]
    vertices = np.stack([r * grow * np.cos(turn), r * grow * np.sin(turn), z + 0 * turn], axis=2)
    here, circle = np.meshgrid(np.arange(sides), np.arange(len(profile) - 1) * sides)
    first, after = here + circle, (here + 1) % sides + circle
    quads = [(first, after, first + sides), (after, after + sides, first + sides)]
    faces = np.concatenate([np.stack(corner, axis=-1).reshape(-1, 3) for corner in quads])
    return vertices.reshape(-1, 3), faces
