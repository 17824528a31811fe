"""Every fixture near and far, through the traced path: meters and a lit card against `scenes.field`.

Up close as much light is found by scattered rays that meet the fixture as by sampling it; both must see the same fixture.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from materials import default_bands
from render.merge import merge
from render.tracer import Tracer
from scenes import field
from scenes.fixtures import front_m
from scenes.optics import Optics
from scenes.stage import Fixture
from tests.scenes.modified import fixture, stock

from .sets import camera, far_speck, finish, light, quad, stage
from .sets import fixture as plain

BANDS = default_bands()
OUT = {"at": (0, 0, 0), "toward": (0, 0, 1)}
RING = replace(plain("disk", (0.5, 0.5), **OUT), hole_m=0.3)
SHEET = replace(plain("disk", (0.8, 0.8), depth=0.0, **OUT), optics=Optics(back_share=0.6))
KIT = {
    "frame": lambda: fixture(stock("led-panel", "frame-120")),
    "tube": lambda: fixture(stock("led-tube")),
    "ball": lambda: fixture(stock("bare-bulb")),
    "reflector": lambda: fixture(stock("standard-reflector", "grid-40")),
    "ring": lambda: RING,
    "octagon without depth": lambda: plain("octagon", (0.8, 0.8), depth=0.0, **OUT),
}
ON = ("standard-reflector", "led-panel", "projector", "dish-white")
FORMS = (
    "snoot", "dish-silver", "softbox-60x90", "octabox-90", "umbrella-silver-100", "ring", "led-panel",
    "umbrella-shoot-through-100", "fresnel-spot", "projector-blinds", "window-clear", "grid-20", "sock", "doors",
)  # fmt: skip


def _readings(of: Fixture, places: np.ndarray, normals: np.ndarray, samples: int, seeds: int) -> np.ndarray:
    """(seeds, places) lux of one lumen, all bodies standing."""
    lamp = light(of)
    built = stage([far_speck()], [lamp])
    tracer = Tracer(built, merge(built), BANDS, "auto", None)
    placement = (places, normals, np.zeros(len(places), bool))
    return np.array([tracer.meters((lamp,), placement, samples, seed)[0].mean(axis=0) for seed in range(seeds)])


def _places(of: Fixture) -> tuple[np.ndarray, np.ndarray]:
    """Just off the exit, near, far, and aside; meters look at the fixture, a little downward."""
    front, (width, height) = front_m(of), of.size_m / 2
    places = np.array(
        [(0, 0, front + 0.02), (0.2 * width, 0.2 * height, front + 0.3), (0, 0, front + 3), (1.5 * width, 0, front + 0.5)]
    )  # fmt: skip
    facing = -places / np.linalg.norm(places, axis=1, keepdims=True) - [0, 0, 0.8]
    return places, facing / np.linalg.norm(facing, axis=1, keepdims=True)


def _agrees(of: Fixture, samples: int, seeds: int, allowed: float, steps: int) -> None:
    places, facing = _places(of)
    runs = _readings(of, places, facing, samples, seeds)
    expected = field.illuminance(of, places, facing, steps)
    lit = expected > 1e-3 * expected.max()
    error = runs.std(axis=0, ddof=1) / np.sqrt(seeds) / np.where(lit, expected, 1)
    assert lit[:1].all()
    assert (error[lit] < 0.015).all()
    apart = np.abs(runs.mean(axis=0)[lit] / expected[lit] - 1)
    assert (apart < allowed + 3 * error[lit]).all(), (apart, error[lit])


@pytest.mark.slow
@pytest.mark.parametrize("name", KIT)
def test_a_meter_near_and_far_reads_what_the_field_says(name: str) -> None:
    """1 % for the field's raster, and 3 standard errors."""
    _agrees(KIT[name](), 1024, 3, 0.01, 96)


@pytest.mark.slow
@pytest.mark.parametrize("name", FORMS)
def test_every_form_of_the_kit_reads_near_and_far_what_the_field_says(name: str) -> None:
    """As above; 2.5 % on what has hard edges, whose raster is coarse."""
    from scenes.modifiers import ModifierMismatch

    for chain in ((name,), *((head, name) for head in ON)):
        try:
            of = fixture(stock(*chain))
        except ModifierMismatch:
            continue
        silver = name in ("dish-silver", "umbrella-silver-100")
        _agrees(of, 16384 if silver else 2048, 3, 0.025, 128)
        return
    pytest.fail(f"'{name}' goes on nothing")


@pytest.mark.parametrize("name", ["frame", "tube"])
def test_a_card_up_close_is_lit_as_the_field_says(name: str) -> None:
    """A matt card 0.3 m off the fixture, looked at from aside: pi L is its reflectance times the illuminance there."""
    of, reflectance = KIT[name](), 0.5
    away = front_m(of) + 0.3
    card = quad([-0.02, -0.02, away], [0, 0.04, 0], [0.04, 0, 0], finish(reflectance))
    lamp = light(of)
    built = stage([card], [lamp], camera(at=(2, 1, away - 1), look=(0, 0, away), half_angle_deg=0.2, size=(16, 16)))
    tracer = Tracer(built, merge(built), BANDS, "auto", None)
    seen = (
        np.mean([tracer.pass_runner(lamp, [], s)(0, 16).radiance.mean() / 16 for s in range(4)]) * np.pi / reflectance
    )
    expected = field.illuminance(of, np.array([[0, 0, away]]), np.array([[0.0, 0, -1]]))[0]
    assert seen == pytest.approx(expected, rel=0.01)


@pytest.mark.slow
def test_a_thin_sheet_glows_to_its_back_and_stops_what_comes_from_behind() -> None:
    """A sheet without depth is met like any other body: it is as bright behind as it says, and casts a shadow."""
    places, facing = np.array([[0, 0, 0.3], [0, 0, -0.3]]), np.array([[0, 0, -1.0], [0, 0, 1.0]])
    front, back = _readings(SHEET, places, facing, 4096, 4).mean(axis=0)
    assert front == pytest.approx(0.4**2 / (0.4**2 + 0.3**2) / (np.pi * 0.4**2), rel=0.01)
    assert back / front == pytest.approx(0.6, rel=0.02)
    lamp = light(plain("disk", (0.05, 0.05), at=(0, 0, -2), toward=(0, 0, 1)))
    built = stage([far_speck()], [lamp, light(SHEET, "sheet")])
    tracer = Tracer(built, merge(built), BANDS, "auto", None)
    read = tracer.meters(built.lights, (places[:1], facing[:1], np.zeros(1, bool)), 64)
    assert read[0].max() == 0
