"""Air before what is far away: a share of the sky at the horizon in place of the surface's own light."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from materials import default_bands
from render.backend import init
from render.merge import merge
from render.tracer import Tracer
from scenes.daylight import sky_luminance
from scenes.stage import Distant

from .sets import camera, finish, light, quad, stage


def seen(reflectance: float, veil: float, lamp=None, at_y: float = 0.0, samples: int = 8) -> np.ndarray:
    """Mean radiance (B,) of a wall that fills the frame and is veiled so far."""
    wall = quad([-30, -30, -5], [60, 0, 0], [0, 60, 0], finish(reflectance))
    wall = replace(wall, veil=np.full(4, veil, np.float32))
    lamp = lamp or light(None)
    built = stage([wall], [lamp], camera(at=(0, 0, 5), look=(0, at_y, -5), half_angle_deg=0.5, size=(16, 16)))
    init("auto")
    tracer = Tracer(built, merge(built), default_bands(), "auto", None)
    sums = tracer.pass_runner(lamp, [], 3)(0, samples)
    return sums.radiance.reshape(len(sums.radiance), -1).mean(axis=1) / samples


def test_under_an_even_sky_a_white_wall_is_as_bright_as_the_sky_whatever_the_air():
    """One lux of ambient light is a radiance of 1/pi from all around."""
    for veil in (0.25, 1.0):
        black = seen(0.0, veil, samples=8)
        assert black == pytest.approx(np.full(len(black), veil / np.pi), rel=1e-4)
    white = seen(1.0, 0.25, samples=8)
    assert white == pytest.approx(np.full(len(white), 1 / np.pi), rel=0.01)


def test_air_is_as_bright_as_the_sky_at_the_horizon():
    """A black wall that hides all but its air, looked at on the level and a little down: the sky's own luminance 1.1
    degrees up, where it meets what is far away."""
    toward = np.array([0.0, 0.6, 0.8])
    luminance = sky_luminance(12, toward)
    sky = replace(light(None), distant=Distant("sky", toward, 0.0, luminance))
    angle = np.degrees(np.arccos(0.02))
    row = np.asarray(luminance.values)[90]  # azimuth 90 degrees from +x toward -z: where the camera looks
    low = int(angle)
    horizon = row[low] + (angle - low) * (row[low + 1] - row[low])
    for down in (0.0, -1.0):
        got = seen(0.0, 0.5, sky, down)
        assert got == pytest.approx(np.full(len(got), 0.5 * horizon), rel=0.01)


def test_the_denoiser_is_told_the_colour_that_air_leaves():
    """Guides of a surface behind air: its colour, and white for the air, by its share."""
    wall = quad([-30, -30, -5], [60, 0, 0], [0, 60, 0], finish(0.2))
    wall = replace(wall, veil=np.full(4, 0.4, np.float32))
    built = stage([wall], [light(None)], camera(at=(0, 0, 5), look=(0, 0, -5), half_angle_deg=0.5, size=(8, 8)))
    init("auto")
    guides = Tracer(built, merge(built), default_bands(), "auto", None).guides([])
    assert guides.albedo == pytest.approx(np.full_like(guides.albedo, 0.4 + 0.6 * 0.2), abs=1e-5)
