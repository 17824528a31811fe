"""From scene-linear light to the display: the curve, the way to white, the gamut, and where no detail is left."""

from __future__ import annotations

import colorsys

import numpy as np
import pytest

from materials import GELS, KeyfallError, display_matrix, make_gel, make_source, xyz
from render.develop import scene_rgb_matrix, to_display
from render.gamut import from_oklab, map_to_gamut, to_oklab
from render.look import mid_grey_scale
from render.tone import CURVES, SHOULDER_START, WHITE_FROM, apply_curve, no_detail, whitening
from scenes.stage import Exposure

GAMUTS = ("srgb", "p3")


def _hues(count: int, saturation: float, luminance: np.ndarray) -> np.ndarray:
    """Linear RGB (3, count) around the hue circle; a saturation over 1 lies outside the gamut, at like luminance."""
    pure = np.array([colorsys.hsv_to_rgb(hue, 1, 1) for hue in np.linspace(0, 1, count, endpoint=False)]).T
    grey = luminance @ pure
    return grey + (pure - grey) * saturation if saturation > 1 else 1 + (pure - 1) * saturation


def _shown(rgb: np.ndarray, gamut: str = "srgb") -> np.ndarray:
    """Display-linear RGB, same shape (3, ...), in double precision."""
    display, _ = to_display(np.ascontiguousarray(rgb.reshape(3, -1), np.float32), gamut)
    return display.astype(np.float64).reshape(rgb.shape)


def _lab(rgb: np.ndarray, gamut: str) -> np.ndarray:
    """CIELAB (..., 3) through colour-science of display-linear RGB (3, ...)."""
    import colour

    return colour.XYZ_to_Lab(np.moveaxis(np.tensordot(np.linalg.inv(display_matrix(gamut)), rgb, 1), 0, -1))


def _oklab(rgb: np.ndarray, gamut: str) -> np.ndarray:
    """Oklab (..., 3) through colour-science, which shares no code with ours."""
    import colour

    return colour.XYZ_to_Oklab(np.moveaxis(np.tensordot(np.linalg.inv(display_matrix(gamut)), rgb, 1), 0, -1))


def _steps(lab: np.ndarray) -> float:
    import colour

    return float(np.max(colour.delta_E(lab[..., 1:, :], lab[..., :-1, :], method="CIE 2000")))


@pytest.mark.parametrize("curve", list(CURVES))
def test_tone_curves_rise_keep_mid_grey_and_stay_below_white(curve):
    x = np.linspace(0, 8, 4000)
    y = apply_curve(x, curve)
    assert np.all(np.diff(y) >= 0)
    assert y.max() <= 1
    assert apply_curve(np.array(0.18), curve) == pytest.approx(0.18)


def test_the_shoulder_and_the_way_to_white_start_smoothly():
    h = 1e-6
    assert (apply_curve(np.array(SHOULDER_START + h), "shoulder") - SHOULDER_START) / h == pytest.approx(1, abs=1e-4)
    assert whitening(np.array([0.0, SHOULDER_START])).max() == 0
    assert whitening(np.array(SHOULDER_START + h)) / h < 1e-5
    assert np.all(np.diff(whitening(np.geomspace(0.5, 1e4, 999))) > 0)


def test_a_neutral_follows_the_curve_at_every_brightness():
    grey = np.geomspace(1e-4, 1e4, 5000)
    for gamut in GAMUTS:
        np.testing.assert_allclose(
            _shown(np.tile(grey, (3, 1)), gamut), np.tile(apply_curve(grey, "shoulder"), (3, 1)), atol=2e-5
        )


def test_what_the_display_can_show_below_the_shoulder_is_not_touched():
    rgb = np.random.default_rng(1).uniform(0, SHOULDER_START, (3, 4000)).astype(np.float32)
    np.testing.assert_array_equal(to_display(rgb.copy())[0], rgb)


@pytest.mark.parametrize("gamut", GAMUTS)
def test_brighter_is_never_darker_and_ends_white_through_the_same_hue(gamut):
    """72 hues, four saturations, one of them outside the gamut, over 17 stops in steps of a thirtieth. L* may fall by
    0.001, which is rounding. Hue holds within half a degree of Oklab, and within 5 for what lies barely outside the
    gamut, which is cut off (in sRGB near blue, where a degree of hue is hardly a colour)."""
    luminance = np.linalg.inv(display_matrix(gamut))[1]
    stops = np.arange(-7, 10.01, 1 / 30)
    for saturation in (1.25, 1.0, 0.7, 0.25):
        scene = _hues(72, saturation, luminance)
        shown = _shown(0.18 * scene[:, :, None] * 2.0**stops, gamut)
        assert shown[:, :, -1].min() > WHITE_FROM
        lab = _lab(shown, gamut)
        assert np.diff(lab[..., 0], axis=1).min() > -0.001
        kept, asked = _oklab(shown, gamut), _oklab(0.18 * scene, gamut)
        turn = np.arctan2(kept[..., 2], kept[..., 1]) - np.arctan2(asked[:, 2], asked[:, 1])[:, None]
        coloured = np.hypot(kept[..., 1], kept[..., 2]) > 0.02
        assert np.degrees(np.abs(np.angle(np.exp(1j * turn)))[coloured]).max() < (5 if saturation > 1 else 0.5)
        assert np.diff(np.hypot(kept[..., 1], kept[..., 2])[:, stops > 3.7], axis=1).max() < 1e-4  # and only ever pales


@pytest.mark.parametrize("gamut", GAMUTS)
def test_nothing_jumps(gamut):
    """Ramps in brightness, in saturation across the gamut's border and around the hues: eight times finer, the largest
    step is less than a quarter. Before, the border alone was a step of dE00 5.7, however fine the ramp."""
    luminance = np.linalg.inv(display_matrix(gamut))[1]
    hues = _hues(24, 1.0, luminance)[:, :, None]
    grey = (luminance @ hues[:, :, 0])[None, :, None]

    def brighter(count: int) -> np.ndarray:
        return 0.18 * (grey + (hues - grey) * 1.25) * 2.0 ** np.linspace(-6, 7, count)

    def deeper(count: int, brightness: float) -> np.ndarray:
        return brightness * (grey + (hues - grey) * np.linspace(0.8, 1.25, count))

    def around(count: int, brightness: float) -> np.ndarray:
        circle = np.array([colorsys.hsv_to_rgb(hue, 1, 1) for hue in np.linspace(0, 1, count)]).T
        return brightness * (luminance @ circle + (circle - luminance @ circle) * 1.2)

    def steps(scene: np.ndarray) -> float:
        return _steps(_lab(_shown(scene, gamut), gamut))

    ramps = [(brighter, 390)]
    for level in (0.02, 0.18, 0.8, 3.0):
        ramps += [(lambda n, b=level: deeper(n, b), 100), (lambda n, b=level: around(n, b), 720)]
    for ramp, count in ramps:
        coarse, fine = steps(ramp(count)), steps(ramp(8 * count))
        assert fine < 0.5
        assert fine < coarse / 4 + 0.02


def test_gelled_light_at_ordinary_exposure_keeps_its_hue_and_chroma():
    """White paper under flash through every stock gel, from 4 stops under mid-grey to mid-grey: what sRGB can show keeps
    its hue within half a degree of Oklab and 96 % of its chroma; what it cannot keeps its hue within 5 degrees."""
    exposure = Exposure(100.0, 8.0, 1 / 125, "flash")
    to_rgb = scene_rgb_matrix(exposure, "srgb") / mid_grey_scale(exposure)
    flash = make_source("flash").spd
    seen = np.stack([to_rgb @ xyz(flash * make_gel(gel).transmittance) for gel in GELS], axis=1)
    seen /= np.linalg.inv(display_matrix("srgb"))[1] @ seen
    scene = 0.18 * seen[:, :, None] * 2.0 ** np.arange(-4, 0.1, 0.5)
    kept, asked = _oklab(_shown(scene), "srgb"), _oklab(scene, "srgb")
    chroma, wanted = (np.hypot(lab[..., 1], lab[..., 2]) for lab in (kept, asked))
    turn = np.arctan2(kept[..., 2], kept[..., 1]) - np.arctan2(asked[..., 2], asked[..., 1])
    coloured = chroma > 0.02
    off = np.degrees(np.abs(np.angle(np.exp(1j * turn))))
    assert off[coloured].max() < 5
    held = (scene.min(axis=0) >= 0) & (scene.max(axis=0) <= 0.9) & (wanted > 0.02)
    assert held.mean() > 0.25
    assert (chroma / wanted)[held].min() > 0.96
    assert off[held].max() < 0.5


def test_a_bright_globe_outshines_the_wall_beside_it():
    """A warm globe of (40.9, 24.5, 12.1) is white with a breath of its colour, lighter than a wall at 2.0."""
    globe, wall = _shown(np.array([[40.9, 2.0], [24.5, 2.0], [12.1, 2.0]])).T
    assert globe.min() > wall.max()
    assert globe[0] >= globe[1] >= globe[2] > 0.98


def test_the_linear_curve_measures_and_clips_each_channel():
    rgb = np.array([[0.2, 40.9, -0.1, 0.97], [0.4, 24.5, 0.5, 0.2], [0.9, 0.7, 1.5, 0.0]], np.float32)
    shown, mapped = to_display(rgb.copy(), "srgb", "linear")
    np.testing.assert_array_equal(shown, np.clip(rgb, 0, 1))
    assert mapped.tolist() == [False, False, True, False]
    with pytest.raises(KeyfallError, match="shoulder, linear"):
        to_display(rgb, "srgb", "log")


def test_no_detail_means_plain_white():
    """Neutral light loses its detail where the curve reaches 99.5 %, 4.0 stops over mid-grey; a saturated colour later,
    since it still pales there."""
    stops = np.linspace(3, 10, 1401)
    lost = stops[np.argmax(no_detail(_shown(np.tile(0.18 * 2**stops, (3, 1)))))]
    assert lost == pytest.approx(np.log2((SHOULDER_START - 0.55 * np.log(0.005 / 0.55)) / 0.18), abs=0.01)
    red = np.array([[1.0], [0.0], [0.0]]) * 0.18 * 2**stops
    assert stops[np.argmax(no_detail(_shown(red)))] > lost + 1


@pytest.mark.parametrize("gamut", GAMUTS)
def test_saturated_colours_keep_hue_and_lightness(gamut):
    matrix = np.linalg.inv(display_matrix(gamut))
    rng = np.random.default_rng(2)
    lightness, chroma, hue = rng.uniform(0.15, 0.9, 4000), rng.uniform(0, 0.45, 4000), rng.uniform(-np.pi, np.pi, 4000)
    rgb = from_oklab(np.stack([lightness, chroma * np.cos(hue), chroma * np.sin(hue)]), matrix)
    mapped, moved = map_to_gamut(rgb.copy(), matrix)
    assert mapped.min() >= 0
    assert mapped.max() <= 1
    lab = to_oklab(mapped, matrix)
    turn = np.angle(np.exp(1j * (np.arctan2(lab[2], lab[1]) - hue)))
    off = np.degrees(np.abs(turn[np.hypot(lab[1], lab[2]) > 0.02]))
    assert off.max() < 7
    assert np.percentile(off, 95) < 0.5
    assert np.abs(lab[0] - lightness).max() < 0.02
    assert 0.3 < moved.mean() < 0.95  # the test reaches both sides


@pytest.mark.parametrize("gamut", GAMUTS)
def test_the_border_of_the_gamut_moves_nowhere(gamut):
    matrix = np.linalg.inv(display_matrix(gamut))
    rng = np.random.default_rng(4)
    rgb = rng.random((3, 20_000))
    rgb[rng.integers(0, 3, 20_000), np.arange(20_000)] = rng.integers(0, 2, 20_000)
    outward = rgb + 1e-7 * np.sign(rgb - 0.5) * ((rgb == 0) | (rgb == 1))
    np.testing.assert_allclose(map_to_gamut(outward.copy(), matrix)[0], rgb, atol=1e-5)


def test_oklab_of_white_is_one():
    """Ottosson 2020: D65 white has L = 1 and no chroma."""
    lab = to_oklab(np.ones((3, 1)), np.linalg.inv(display_matrix("srgb")))
    np.testing.assert_allclose(lab[:, 0], [1, 0, 0], atol=1e-6)
