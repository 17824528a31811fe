"""What stands at the far side of the ground: outlines, tone and air."""

from __future__ import annotations

import math

import numpy as np
import pytest

from scenes.model import Ground
from scenes.skyline import air_share, outline, skyline, visibility_through_m
from scenes.surroundings import hides


@pytest.mark.parametrize(("kind", "distance", "height"), [("trees", 120.0, 12.0), ("hills", 3000.0, 170.0)])
def test_an_outline_is_uneven_fine_bounded_and_always_the_same(kind, distance, height):
    bands = skyline(kind, distance, height, -0.5, 1.0, 24_000.0)
    turn = np.linspace(-math.pi, math.pi, 20_000)
    top = outline(kind, turn, height / distance)
    assert 0.1 < top.min() < 0.6 < 0.9 < top.max() <= 1
    close = outline(kind, np.linspace(0, math.radians(16), 2000), height / distance)  # a portrait's field
    assert np.ptp(close) > 0.05
    pixel = math.radians(16) / 500
    rough = np.diff(outline(kind, np.arange(0, 0.2, pixel), height / distance)) * height / distance / pixel
    assert 0.03 < rough.std() < 3  # its finest part is about as large as a pixel of a portrait
    again = skyline(kind, distance, height, -0.5, 1.0, 24_000.0)
    for band, same in zip(bands, again, strict=True):
        assert np.array_equal(band.vertices, same.vertices)
        assert band.vertices[:, 1].min() == pytest.approx(-0.5)
        away = np.hypot(band.vertices[:, 0], band.vertices[:, 2])
        assert np.ptp(away) < 1e-3 * away.mean()
        assert np.abs(np.linalg.norm(band.normals, axis=1) - 1).max() < 1e-5
        assert band.tints is not None
        assert band.tints.astype(int).sum(axis=1).max() <= 255
        assert np.ptp(band.tints[:, 0].astype(int)) > 100
        assert np.abs(band.veil - air_share(float(away.mean()), 24_000.0)).max() < 1e-5
        assert len(np.unique(np.sort(band.faces, axis=1), axis=0)) == len(band.faces)
    assert (np.diff([band.veil[0] for band in bands]) > 0).all()


@pytest.mark.parametrize("beyond", ["trees", "hills"])
def test_what_hides_the_sun_is_what_is_drawn(beyond):
    """Just over and just under the highest vertex in a direction."""
    ground = Ground(beyond=beyond)
    distance, height, _ = ground.far_side()
    eye = np.array([0.0, 1.5, 0.0])
    bands = skyline(beyond, distance, height, 0.0, 2.0, 24_000.0)
    vertices = np.concatenate([band.vertices for band in bands]).astype(float) - eye
    bearing = np.arctan2(vertices[:, 0], vertices[:, 2])
    elevation = np.arctan2(vertices[:, 1], np.hypot(vertices[:, 0], vertices[:, 2]))
    for turn in (2.0, 1.7, 2.3, -1.0):
        here = np.abs(bearing - turn) < 0.0021
        top = elevation[here].max()
        for off, hidden in ((0.004, False), (-0.02, True)):
            up = top + off
            toward = np.array([math.cos(up) * math.sin(turn), math.sin(up), math.cos(up) * math.cos(turn)])
            assert hides(ground, (0, 3), eye, toward, 0.0) == hidden


def test_air_pales_by_koschmieder():
    """At the visibility 2 % of the contrast is left; named airs give the visibilities of clean to hazy days."""
    assert air_share(20_000.0, 20_000.0) == pytest.approx(0.98)
    assert air_share(0.0, 20_000.0) == 0
    clean, hazy = visibility_through_m(0.05), visibility_through_m(0.4)
    assert 60_000 < clean < 100_000
    assert 10_000 < hazy < 16_000
    # without aerosol: Rayleigh's 0.012 per km at 550 nm (Bucholtz 1995, from memory)
    assert visibility_through_m(0.0) == pytest.approx(math.log(50) / 1.2e-5)
