"""What denoising took is given back where it is found, and noise of few, rare paths is never taken for a find."""

from __future__ import annotations

import numpy as np
import pytest

from materials import default_bands
from render.denoise import _MARGIN_PX, _agreed, _mirrored, denoise_light, effort
from render.given_back import given_back
from render.merge import merge
from render.tracer import Tracer

from .sets import camera, finish, quad, stage

pytestmark = pytest.mark.quick


def few_paths(seed: int, shape: tuple[int, int], rare: float = 0.1) -> tuple[np.ndarray, np.ndarray]:
    """An even field of brightness 1 as eight paths a pixel see it, of which a tenth bring ten times the light: the traced
    picture, and the odd samples less the even ones."""
    rng = np.random.default_rng(seed)
    even, odd = ((rng.random((4, *shape)) < rare).mean(axis=0) / rare for _ in range(2))
    return (even + odd) / 2, odd - even


def test_skewed_noise_gives_nothing_back():
    """On rooms lit through a window, one place in fifty once came out as a blot of up to 30 %."""
    for seed in range(2):
        traced, halves = few_paths(seed, (200, 160))
        assert np.abs(given_back(np.ones_like(traced), traced, halves, None) - 1).max() < 0.02


@pytest.mark.parametrize("level", [1e-24, 1e12])
def test_the_level_of_the_light_does_not_matter(level):
    traced, halves = few_paths(7, (48, 48))
    traced[20] *= 4
    traced, halves = np.float32(traced), np.float32(halves)
    factor = given_back(np.ones_like(traced), traced, halves, None)
    scaled = (plane * np.float32(level) for plane in (np.ones_like(traced), traced, halves))
    np.testing.assert_allclose(given_back(*scaled, None), factor, rtol=1e-4)
    assert factor.max() > 1.05


def test_nor_does_it_at_the_edges_of_the_picture():
    """Mirrored surroundings hold the same pixels twice: in small pictures, mostly corners, chance must not grow."""
    worst = []
    for seed in range(200):
        traced, halves = few_paths(seed, (10, 10), rare=0.3)
        worst.append(np.abs(given_back(np.ones_like(traced), traced, halves, None) - 1).max())
    assert np.mean(np.array(worst) > 0.02) < 0.03


def test_a_single_bright_pixel_is_no_find():
    """Both halves may meet something rare in the same pixel."""
    traced, halves = few_paths(1, (64, 64))
    traced[32, 32] = 30.0
    assert given_back(np.ones_like(traced), traced, halves, None).max() < 1.02


def test_what_one_half_alone_saw_is_no_find():
    """Thirty pixels beside each other, however sure their number makes it."""
    traced, halves = np.ones((64, 64)), np.full((64, 64), 0.02)
    traced[30:35, 30:36] += 2
    halves[30:35, 30:36] += 4
    assert given_back(np.ones_like(traced), traced, halves, None).max() < 1.02


def test_among_strands_all_comes_back():
    """One pixel in ten holds a bright strand, of two paths each: far less sure than elsewhere, but never stray light."""
    rng = np.random.default_rng(5)
    among = np.zeros((96, 96), bool)
    among[30:60, 20:76] = True
    truth = np.where(among & (rng.random((96, 96)) < 0.1), 20.0, 0.05)
    even, odd = (truth * rng.gamma(1, 1, truth.shape) for _ in range(2))
    dulled = np.where(among, 0.6 * truth[among].mean(), 0.05)
    kept = [
        (dulled * given_back(dulled, (even + odd) / 2, odd - even, strands))[among].mean() / truth[among].mean()
        for strands in (among, None)
    ]
    assert kept[0] > 0.86
    assert kept[1] < 0.8


@pytest.mark.parametrize(("bright", "wide_px"), [(6.0, 1), (0.1, 3)])
def test_a_line_that_was_lost_comes_back(bright, wide_px):
    """A lit edge, or a line of shadow: half of the difference over its surroundings or more is returned."""
    rng = np.random.default_rng(2)
    truth = np.ones((80, 80))
    truth[:, 40 : 40 + wide_px] = bright
    even, odd = (truth * rng.gamma(8, 1 / 8, truth.shape) for _ in range(2))
    factor = given_back(np.ones_like(truth), (even + odd) / 2, odd - even, None)
    wanted = truth[:, 35:47].mean()
    assert (factor[10:70, 35:47].mean() - 1) / (wanted - 1) > 0.5
    assert np.abs(factor[:, 60:] - 1).max() < 0.02


def test_even_walls_stay_even_to_the_edges():
    """Sixteen bands of skewed noise, denoised: no pixel of an even wall off by more than 12 %, at the edges of the picture
    either."""
    traced, halves = few_paths(3, (120, 120))
    flat, normal = np.full((16, 120, 120), 0.5, np.float32), np.zeros((3, 120, 120), np.float32)
    normal[2] = 1
    picture = (np.ones((16, 1, 1)) * traced).astype(np.float32)
    assert effort("draft", picture, halves) == "final"
    out = denoise_light(picture, flat, normal, effort("draft", picture, halves), halves)[0]
    assert np.abs(out / out.mean() - 1).max() < 0.12


def test_a_stray_pixel_does_not_stand_beside_its_own_image():
    """At all four edges the margin goes on with the picture, the image of each pixel a little along."""
    picture = np.zeros((3, 40, 50), np.float32)
    for row, column in ((0, 20), (39, 20), (20, 0), (20, 49)):
        picture[:, row, column] = 1
    wide, margin = _mirrored(picture)[..., 0], _MARGIN_PX
    np.testing.assert_array_equal(wide[margin:-margin, margin:-margin], picture[0])
    for row, column in (
        (margin, margin + 20),
        (margin + 39, margin + 20),
        (margin + 20, margin),
        (margin + 20, margin + 49),
    ):
        close = wide[row - 2 : row + 3, column - 2 : column + 3]
        assert (close.sum(), wide[row - 4 : row + 5, column - 4 : column + 5].sum()) == (1, 2)


def test_among_strands_only_what_both_halves_saw_stays_bright():
    """One bright path in a pixel of hair, of eight, is a sparkle; a glint that all of them meet is not."""
    traced, halves, strands = np.ones((40, 40)), np.full((40, 40), 0.1), np.ones((40, 40), bool)
    traced[10, 10], halves[10, 10] = 20, 38
    traced[30, 30], halves[30, 30] = 20, 4
    kept = traced * _agreed(traced, halves, strands)
    assert kept[10, 10] < 5
    assert kept[30, 30] == 20
    assert kept[20, 20] == 1


def test_sky_is_no_surface_s_colour():
    """The lower half of the picture meets a dark red sheet, the upper nothing: there the guide is white, and at the
    outline in between, so that the light of the sky keeps its colour."""
    red = finish(np.linspace(0.02, 0.1, 401))
    built = stage([quad([-10, -2, 0], [20, 0, 0], [0, 1.95, 0], red)], [], camera(size=(16, 16)))
    albedo = Tracer(built, merge(built), default_bands(), "auto", None).guides([]).albedo
    assert (albedo[:, :8] == 1).all()
    assert (albedo[:, 9:] < 0.11).all()
    assert ((albedo[:, 8] > 0.2) & (albedo[:, 8] < 0.9)).all()


def test_effort_follows_the_noise():
    """A picture whose pixels are known within a tenth is denoised as asked for."""
    rng = np.random.default_rng(4)
    picture = np.ones((16, 64, 64), np.float32)
    assert effort("draft", picture, 0.2 * rng.choice([-1, 1], (64, 64))) == "draft"
    assert effort("draft", picture, 1.4 * rng.choice([-1, 1], (64, 64))) == "final"
