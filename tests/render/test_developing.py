"""From numbers to a picture: tone, gamut, profile, maps, noise, denoising."""

from __future__ import annotations

import io
import struct
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image, ImageCms

from materials import KeyfallError, default_bands, display_matrix
from render.denoise import channel_weights, denoise_light
from render.develop import develop, encode_srgb
from render.gamut import to_oklab
from render.half import Half
from render.icc import icc_profile
from render.maps import ExposureMap, summarise, surface_edges
from render.meterset import MeterSet
from render.noise import noise_stops
from render.olat import Guides, LightTransport, assemble
from render.palette import FROM_STOPS, TO_STOPS, colours
from render.plot import smooth_inside
from scenes.stage import REGIONS
from tests.render.sets import fixture, light, stage

pytestmark = pytest.mark.quick


def test_srgb_transfer_curve():
    """IEC 61966-2-1: 18 % is code 117.65, and the two branches meet."""
    assert encode_srgb(np.array(0.18)) * 255 == pytest.approx(117.65, abs=0.01)
    assert encode_srgb(np.array(0.0031308)) == pytest.approx(encode_srgb(np.array(0.0031309)), abs=1e-5)


@pytest.mark.parametrize("gamut", ["srgb", "p3"])
def test_the_profile_is_whole_to_a_strict_reader(gamut):
    """ICC.1:2010 sections 7.2 and 7.3: the declared size is the file's own and a multiple of four; every tag lies inside
    it, behind the table, on a four-byte border, and has the type that section 9.2 asks for; padding is zero."""
    profile = icc_profile(gamut)
    size, count = struct.unpack(">I", profile[:4])[0], struct.unpack(">I", profile[128:132])[0]
    assert size == len(profile)
    assert size % 4 == 0
    assert profile[36:40] == b"acsp"
    assert profile[8] == 4
    assert profile[12:24] == b"mntrRGB XYZ "
    wanted = {
        "desc": "mluc", "cprt": "mluc", "wtpt": "XYZ ", "chad": "sf32",
        **{f"{c}XYZ": "XYZ " for c in "rgb"}, **{f"{c}TRC": "para" for c in "rgb"},
    }  # fmt: skip
    found, ends = {}, [132 + 12 * count]
    for index in range(count):
        name, start, length = struct.unpack(">4sII", profile[132 + 12 * index : 144 + 12 * index])
        assert start % 4 == 0
        assert 132 + 12 * count <= start <= start + length <= size
        assert profile[start + 4 : start + 8] == bytes(4)
        found[name.decode()] = profile[start : start + 4].decode()
        ends.append(start + length)
    assert found == wanted
    assert size - max(ends) < 4
    assert profile[max(ends) :] == bytes(size - max(ends))


def test_colours_come_back_from_each_profile():
    """Through Little CMS: white is the white of the connection space, and colours come back within two codes."""
    image = Image.fromarray(np.random.default_rng(8).integers(40, 256, (48, 48, 3), dtype=np.uint8))  # 8 bits are coarse below
    wide = ImageCms.ImageCmsProfile(io.BytesIO(icc_profile("p3")))
    for gamut in ("srgb", "p3"):
        ours = ImageCms.ImageCmsProfile(io.BytesIO(icc_profile(gamut)))
        to_lab = ImageCms.buildTransform(ours, ImageCms.createProfile("LAB"), "RGB", "LAB")
        white = ImageCms.applyTransform(Image.new("RGB", (1, 1), (255, 255, 255)), to_lab)
        assert white.getpixel((0, 0)) in ((255, 0, 0), (255, 128, 128))  # L* 100, a* b* 0; Pillows differ
        through = ImageCms.profileToProfile(image, ours, wide)
        back = np.asarray(ImageCms.profileToProfile(through, wide, ours), int)
        assert np.abs(back - np.asarray(image, int)).max() <= 2


def test_the_srgb_profile_agrees_with_a_reference_profile():
    """Little CMS's built-in sRGB, through Pillow: colours pass through both unchanged within a code."""
    ours = ImageCms.ImageCmsProfile(io.BytesIO(icc_profile("srgb")))
    rng = np.random.default_rng(3)
    image = Image.fromarray(rng.integers(0, 256, (32, 32, 3), dtype=np.uint8))
    through = ImageCms.profileToProfile(image, ours, ImageCms.createProfile("sRGB"))
    difference = np.asarray(through, int) - np.asarray(image, int)
    assert np.abs(difference).max() <= 1


def test_the_p3_profile_shows_its_red_outside_srgb():
    """A red that both gamuts hold comes out as the matrices of the two standards say."""
    p3 = ImageCms.ImageCmsProfile(io.BytesIO(icc_profile("p3")))
    image = Image.fromarray(np.full((1, 1, 3), (200, 40, 40), np.uint8))
    linear = np.array([200, 40, 40]) / 255
    linear = np.where(linear <= 0.04045, linear / 12.92, ((linear + 0.055) / 1.055) ** 2.4)
    expected = encode_srgb(display_matrix("srgb") @ np.linalg.inv(display_matrix("p3")) @ linear) * 255
    through = np.asarray(ImageCms.profileToProfile(image, p3, ImageCms.createProfile("sRGB")))[0, 0]
    np.testing.assert_allclose(through, np.clip(expected, 0, 255), atol=1.5)


def test_the_map_scale_gets_steadily_lighter():
    rgb = colours(np.linspace(FROM_STOPS, TO_STOPS, 200)).astype(float) / 255
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    lightness = to_oklab(linear.T, np.linalg.inv(display_matrix("srgb")))[0]
    assert np.all(np.diff(lightness) > 0)


@pytest.mark.filterwarnings("ignore:.*tritanomaly")
def test_the_map_scale_survives_colour_blindness():
    """Machado, Oliveira and Fernandes 2009 (through colour-science): a stop's step stays visible, dE00 of 4 or more."""
    import colour

    rgb = colours(np.arange(FROM_STOPS, TO_STOPS + 0.5)).astype(float) / 255
    for deficiency in ("Protanomaly", "Deuteranomaly", "Tritanomaly"):
        matrix = colour.matrix_cvd_Machado2009(deficiency, 1.0)
        linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
        seen = np.clip(linear @ matrix.T, 0, 1)
        lab = colour.XYZ_to_Lab(seen @ np.linalg.inv(display_matrix("srgb")).T)
        assert colour.delta_E(lab[1:], lab[:-1], method="CIE 2000").min() > 4


def test_map_numbers():
    stops = np.array([[-6.0, -2.0, 0.0, 3.0]], np.float32)
    lost = np.array([[False, False, False, True]])
    numbers = summarise(ExposureMap("exposure", "t", stops, np.ones((1, 4), bool), lost))
    assert (numbers.minimum, numbers.median, numbers.maximum) == (-6, -1, 3)
    assert (numbers.share_no_detail, numbers.share_dark) == (0.25, 0.25)
    empty = summarise(ExposureMap("face", "t", stops, np.zeros((1, 4), bool), lost))
    assert empty.median is None


def test_noise_is_what_was_put_in():
    """Pixels of relative noise 0.32 in each half: a patch mean of both has 0.32 / sqrt(2 * 64), 0.0283."""
    rng = np.random.default_rng(5)
    halves = 1 + 0.32 * rng.standard_normal((2, 512, 512))
    measured = noise_stops(halves[0], halves[1], np.ones((512, 512), bool))
    assert measured == pytest.approx(np.log2(1 + 0.32 / np.sqrt(128)), rel=0.06)


def test_noise_of_an_unlit_mask_is_none():
    assert noise_stops(np.zeros((16, 16)), np.zeros((16, 16)), np.ones((16, 16), bool)) is None
    assert noise_stops(np.ones((16, 16)), np.ones((16, 16)), np.zeros((16, 16), bool)) is None


def test_channel_weights_are_a_partition():
    np.testing.assert_allclose(channel_weights(14).sum(axis=0), 1)


def _noisy_picture(rng):
    y, x = np.mgrid[0:96, 0:96] / 96
    clean = np.stack([0.05 + x * (1 + 0.3 * b) * np.exp(-3 * (y - 0.5) ** 2) for b in range(8)])
    grain = rng.gamma(4, 0.25, (96, 96))
    return clean, clean * grain


@pytest.mark.parametrize("quality", ["draft", "preview", "final"])
def test_denoising_keeps_energy_and_spectrum_and_removes_noise(quality):
    clean, noisy = _noisy_picture(np.random.default_rng(6))
    normal = np.zeros((3, 96, 96), np.float32)
    normal[2] = 1
    out = denoise_light(noisy, np.full_like(noisy, 0.5), normal, quality)
    assert np.isfinite(out).all()
    assert out.min() >= 0
    np.testing.assert_allclose(out.mean(axis=(1, 2)), noisy.mean(axis=(1, 2)), rtol=0.01)
    error_before, error_after = np.abs(noisy / clean - 1).mean(), np.abs(out / clean - 1).mean()
    assert error_after < error_before / 4
    spectrum_error = np.abs(out[7] / out[0] / (noisy[7] / noisy[0]) - 1)
    assert np.median(spectrum_error) < 0.03


def test_denoising_black_gives_black():
    black = np.zeros((8, 32, 32), np.float32)
    assert not denoise_light(black, black, np.zeros((3, 32, 32), np.float32)).any()


def test_unknown_names_are_said():
    with pytest.raises(KeyfallError, match="srgb"):
        display_matrix("cinema")


def test_light_that_is_none_is_developed_as_traced():
    """A denoised light damaged to no number, infinity and negative light: the traced pixels stand and it is said."""
    bands = default_bands()
    rng = np.random.default_rng(3)
    traced = Half.of(rng.gamma(4, 0.01, (len(bands.nodes_nm), 6, 8)).astype(np.float32))
    lit = LightTransport("key", traced, traced, traced, 8, 0.1)
    meters = MeterSet(bands, ("key",), (), np.zeros((1, len(bands.nodes_nm), 0)), np.zeros((1, len(bands.nodes_nm))))
    built = stage([], [light(fixture("disk", (0.3, 0.3)), lumens=4000.0)])
    olat = assemble((lit,), None, meters)
    good = develop(olat, built)
    assert good.put_back == 0
    assert good.warnings == ()
    for fault in (np.nan, np.inf, -5.0):
        radiance = np.array(olat.radiance)
        radiance[0, :, 2, 3] = fault
        bad = develop(replace(olat, stack=radiance), built)
        assert np.isfinite(bad.linear).all()
        assert bad.put_back == pytest.approx(1 / radiance[0, 0].size)
        assert "Developing failed" in bad.warnings[0]
        np.testing.assert_allclose(bad.linear[:, 2, 3], develop(olat.noisy(), built).linear[:, 2, 3], atol=1e-6)


def test_contours_end_at_the_edge_of_a_surface():
    """A sitter 1 m before a wall, and a floor seen at a slant: edges between the two, none on the floor."""
    rows, columns = np.indices((40, 60))
    depth = np.where(columns < 30, 2.0, 3.0)
    depth[30:] = 40.0 / (rows[30:] - 12)  # 1 / depth runs straight up to the horizon: a plane
    region = np.where(columns < 30, REGIONS.index("cloth"), REGIONS.index("wall")).astype(np.uint8)
    region[30:] = REGIONS.index("floor")
    guides = Guides(np.zeros((1, 40, 60)), np.zeros((3, 40, 60)), depth, np.zeros((3, 40, 60)), region)
    edges = surface_edges(guides)
    assert edges[:29, 29:31].all()
    assert not edges[:28, :29].any()
    assert not edges[:28, 31:].any()
    assert not edges[32:].any()
    arm = replace(guides, region=np.full((40, 60), REGIONS.index("cloth"), np.uint8))
    assert surface_edges(arm)[:28, 29:31].all()
    bare = replace(guides, depth_m=np.full((40, 60), 2.0), region=np.where(columns < 30, REGIONS.index("face"), REGIONS.index("skin")))
    assert not surface_edges(bare).any()

    stops = np.where(columns < 30, -6.0, 0.0) + 0.1 * (rows % 2)  # with grain
    smooth = smooth_inside(stops, ~edges)
    assert np.nanmax(np.abs(smooth[:29, :29] + 5.95)) < 0.03
    assert np.nanmax(np.abs(smooth[:29, 31:] - 0.05)) < 0.03
    assert np.isnan(smooth[:29, 29:31]).all()
    spot = smooth_inside(np.where((rows == 20) & (columns == 30), 1.0, 0.0), np.ones((40, 60), bool))
    assert spot.sum() == pytest.approx(1.0, abs=1e-4)
    assert np.sqrt((spot * (columns - 30) ** 2).sum()) == pytest.approx(2.5, rel=0.02)  # the blur that is meant
