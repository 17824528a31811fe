"""Denoising hands light out and never makes any; what must hold of it is checked on pictures made to break it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from render import denoise
from render.denoise import denoise_haze, denoise_light
from render.guard import hold
from render.shares import channel_weights, share_out
from render.smoothing import BLOCK_PX, block_maxima, block_means, nearby_maxima, smooth, spread_blocks, wide_smooth

pytestmark = pytest.mark.quick

BANDS = 16


def flat_guides(height: int, width: int) -> tuple[np.ndarray, np.ndarray]:
    normal = np.zeros((3, height, width), np.float32)
    normal[2] = 1
    return np.full((BANDS, height, width), 0.5, np.float32), normal


def a_light(seed: int, height: int, width: int) -> tuple[np.ndarray, np.ndarray]:
    """A light as traced: a spot with an edge that leaves most of the frame dark, few hits around it, one firefly, on
    surfaces of several colours; and those colours."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0:height, 0:width]
    middle, radius = rng.uniform(-0.2, 1.2, 2) * (height, width), rng.uniform(0.05, 0.6) * height
    lit = (np.hypot(y - middle[0], x - middle[1]) < radius) * rng.gamma(3, 1 / 3, (height, width))
    lit += (rng.random((height, width)) < rng.choice([0.0, 0.002, 0.05])) * rng.gamma(1, 10 ** rng.uniform(-9, 0))
    lit[rng.integers(height), rng.integers(width)] += 10 ** rng.uniform(-6, 3)
    albedo = rng.uniform(0.01, 0.9, (5, BANDS))[(x // 13 + y // 17) % 5].transpose(2, 0, 1).astype(np.float32)
    return (lit * albedo * 10 ** rng.uniform(-12, 6)).astype(np.float32), albedo


@settings(max_examples=25)
@given(seed=st.integers(0, 2**32), height=st.integers(20, 90), width=st.integers(20, 90), haze=st.booleans())
def test_any_light_stays_bounded_and_keeps_its_energy(seed, height, width, haze):
    """A light that hardly reaches the frame once came out 8 million times its traced maximum, and negative."""
    picture, albedo = a_light(seed, height, width)
    _, normal = flat_guides(height, width)
    halves = picture.mean(axis=0) * np.random.default_rng(seed).choice([-2, 2], (height, width))
    out = denoise_haze(picture, "draft") if haze else denoise_light(picture, albedo, normal, "draft", halves)
    assert out.shape == picture.shape
    assert np.isfinite(out).all()
    assert out.min() >= 0
    assert (block_maxima(out) <= nearby_maxima(picture) * 1.25 + 1e-4 * picture.max()).mean() > 0.97
    kept, share = hold(out, picture)
    assert share == pytest.approx(0, abs=0.03) or share == 1
    np.testing.assert_allclose(kept.mean(axis=(1, 2)), picture.mean(axis=(1, 2)), rtol=0.011)


def test_dark_stays_dark():
    """Where nothing was traced for blocks around, nothing comes out."""
    albedo, normal = flat_guides(96, 96)
    picture = np.zeros((BANDS, 96, 96), np.float32)
    picture[:, :30, :30] = np.random.default_rng(1).gamma(2, 1, (30, 30)).astype(np.float32)
    out = denoise_light(picture, albedo, normal, "preview")
    assert out[:, 64:, 64:].max() == 0


def test_a_pixel_keeps_its_own_surface_colour():
    """Two colours side by side, lit alike with heavy noise: a pixel's spectrum is its own surface's, within 6 % at the very edge."""
    rng = np.random.default_rng(2)
    albedo, normal = flat_guides(64, 64)
    albedo[:, :, 32:] = np.linspace(0.05, 0.8, BANDS, dtype=np.float32)[:, None, None]
    picture = albedo * rng.gamma(1, 1, (64, 64)).astype(np.float32)
    out = denoise_light(picture, albedo, normal, "preview")
    for column, pair in ((31, albedo[:, 0, 31]), (32, albedo[:, 0, 32])):
        spectrum = out[:, 8:56, column].mean(axis=1)
        np.testing.assert_allclose(spectrum / spectrum.sum(), pair / pair.sum(), rtol=0.06)


def test_shares_hand_out_all_of_the_light():
    rng = np.random.default_rng(3)
    picture = rng.gamma(1, 1, (BANDS, 40, 40)).astype(np.float32)
    channels = np.tensordot(channel_weights(BANDS), picture, 1)
    out = share_out(channels, picture, None)
    np.testing.assert_allclose(out.sum(axis=0), picture.sum(axis=0), rtol=0.02)


def test_an_outline_keeps_within_what_was_traced_near_it():
    """Bright paper seen through a pixel whose guide is mostly dark red hair: no band above the paper's."""
    albedo, _ = flat_guides(48, 48)
    albedo[:, :, 24:] = np.linspace(0.01, 0.3, BANDS, dtype=np.float32)[:, None, None]
    picture = np.full((BANDS, 48, 48), 0.5, np.float32)
    picture[:, :, 25:] = albedo[:, :, 25:]
    out = share_out(np.tensordot(channel_weights(BANDS), picture, 1), picture, albedo)
    assert hold(out, picture)[1] == 0
    assert out[:, :, 24].max() < 0.52


def strands(seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """A rim on hair: a tenth of the pixels of a band hold a bright strand; traced once finely and once with noise."""
    rng = np.random.default_rng(seed)
    among = np.zeros((96, 96), bool)
    among[30:60, 20:76] = True
    truth = np.where(among & (rng.random((96, 96)) < 0.1), 20.0, 0.05)
    even, odd = (truth * rng.gamma(4, 0.25, truth.shape) for _ in range(2))
    bands = np.ones((BANDS, 1, 1), np.float32)
    return bands * truth, bands * ((even + odd) / 2), (odd - even), among


def test_a_rim_on_strands_keeps_its_light():
    """Within 0.1 stop, where the denoiser alone takes strands for noise and loses more."""
    truth, noisy, halves, among = strands(4)
    albedo, normal = flat_guides(96, 96)
    kept = denoise_light(noisy, albedo, normal, "preview", halves, among)
    assert abs(np.log2(kept[0][among].mean() / truth[0][among].mean())) < 0.1


def test_stray_paths_leave_no_blots():
    """One pixel in 500, a hundred times as bright as the even light around, holds a fifth of it all: the result is as
    even as without, and in the traced colour."""
    rng = np.random.default_rng(9)
    albedo, normal = flat_guides(128, 128)
    even, odd = (rng.gamma(4, 0.25, (128, 128)) for _ in range(2))
    picture = np.ones((BANDS, 1, 1)) * ((even + odd) / 2)
    stray = rng.random((128, 128)) < 0.002
    picture += np.linspace(0, 200, BANDS)[:, None, None] * stray
    out = denoise_light(picture, albedo, normal, "preview", odd - even + 200 * stray)
    brightness = out.mean(axis=0)
    assert brightness.mean() == pytest.approx(picture.mean(), rel=0.01)
    assert brightness.std() / brightness.mean() < 0.08
    shares = out / brightness
    assert (shares.std(axis=(1, 2)) / shares.mean(axis=(1, 2))).max() < 0.05


def test_noise_alone_is_not_given_back():
    """On an evenly lit field the halves tell that all differences are noise: the result is as smooth as without."""
    rng = np.random.default_rng(5)
    albedo, normal = flat_guides(96, 96)
    even, odd = (rng.gamma(4, 0.25, (96, 96)) for _ in range(2))
    noisy = np.ones((BANDS, 1, 1), np.float32) * ((even + odd) / 2)
    out = denoise_light(noisy, albedo, normal, "preview", odd - even)
    assert out[0].std() < 0.05
    assert noisy[0].std() > 0.3


@pytest.mark.parametrize("fault", [-0.14, np.nan, np.inf, 50.0])
def test_the_guard_puts_faulty_pixels_back(fault):
    rng = np.random.default_rng(6)
    traced = rng.gamma(4, 0.25, (BANDS, 50, 70)).astype(np.float32)
    clean = np.ones_like(traced) * traced.mean(axis=(1, 2), keepdims=True)
    clean[5, 49, 69] = fault
    kept, share = hold(clean, traced)
    assert share == pytest.approx(1 / (50 * 70))
    np.testing.assert_array_equal(kept[:, 49, 69], traced[:, 49, 69])
    assert np.isfinite(kept).all()


def test_the_guard_shows_the_traced_light_where_energy_is_lost():
    traced = np.random.default_rng(7).gamma(4, 0.25, (BANDS, 40, 40)).astype(np.float32)
    kept, share = hold(traced * 0.98, traced)
    assert share == 1
    np.testing.assert_array_equal(kept, traced)
    assert hold(traced * 0.995, traced)[1] == 0


def test_blocks_against_a_plain_loop():
    picture = np.random.default_rng(8).random((3, 37, 53)).astype(np.float32)
    most, mean = block_maxima(picture), block_means(picture, BLOCK_PX)
    around = nearby_maxima(picture)
    for i in range(most.shape[1]):
        for j in range(most.shape[2]):
            block = picture[:, i * 16 : i * 16 + 16, j * 16 : j * 16 + 16]
            np.testing.assert_array_equal(most[:, i, j], block.max(axis=(1, 2)))
            np.testing.assert_allclose(mean[:, i, j], block.mean(axis=(1, 2)), rtol=1e-5)
            wide = picture[:, max(i * 16 - 16, 0) : i * 16 + 32, max(j * 16 - 16, 0) : j * 16 + 32]
            np.testing.assert_array_equal(around[:, i, j], wide.max(axis=(1, 2)))
    assert spread_blocks(most, 37, 53).shape == picture.shape


def test_smoothing_keeps_light_and_leaves_no_residue():
    """Far from what is lit there is exactly nothing, whatever the brightness elsewhere."""
    picture = np.zeros((64, 64), np.float32)
    picture[10, 10] = 1e6
    for out in (smooth(picture, 4), wide_smooth(picture, 2.83)):
        assert out.sum() == pytest.approx(1e6, rel=1e-5)
        assert out[40:, 40:].max() == 0
        assert out.min() == 0


@pytest.mark.parametrize("quality", ["draft", "preview"])
def test_a_large_picture_is_denoised_in_strips_as_at_once(monkeypatch, quality):
    """A light over 500 rows, at once and in strips of 48 rows with their surroundings: no seam, the same picture."""
    picture, albedo = a_light(7, 500, 40)
    _, normal = flat_guides(500, 40)
    whole = denoise_light(picture, albedo, normal, quality)
    monkeypatch.setattr(denoise, "AT_ONCE_PX", 40 * (48 + 2 * denoise._OVERLAP_PX))
    assert len(denoise._strips(500, 40)) == 11
    strips = denoise_light(picture, albedo, normal, quality)
    np.testing.assert_allclose(strips, whole, rtol=2e-3, atol=1e-4 * whole.max())
