"""`report.json` and the picture files: every number agrees with arithmetic done anew here."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import OpenEXR
import pytest
import tifffile
from PIL import Image

from materials import colour_matching, make_source
from render import Cache, PictureSettings, Report, TraceSettings, all_readings, preview, trace
from render.denoise import denoise_plane
from render.develop import encode_srgb, scene_rgb
from render.icc import icc_profile
from render.readings import find
from scenes import build_stage, load_scene
from scenes.field import axial_illuminance_per_lumen
from scenes.fixtures import spot_intensity
from scenes.stage import REGIONS

from .cli_scene import write_scene

ISO, SHUTTER_S, F_NUMBER = 100, 1 / 125, 2**2.5
DAY = {"shape": "ambient", "source": "daylight", "cct_k": 6000, "lux": 40}
OFF = {"shape": "sphere", "size_m": 0.2, "azimuth_deg": 150, "elevation_deg": 30, "distance_m": 1.5, "energy_ws": 50}


class Run:
    """One preview, and what it was made of."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        path = write_scene(folder / "scene.toml", light__day=DAY, light__rim={**OFF, "on": False})
        cache = Cache(folder / "cache")
        self.report = preview(
            path, folder, TraceSettings("preview", 4), PictureSettings("linear", "srgb", 16, True, True), cache=cache
        )
        self.stage = build_stage(load_scene(path))
        self.olat = trace(self.stage, quality="preview", samples=4, cache=cache)
        self.json = json.loads((folder / "report.json").read_text(), parse_constant=_refuse)
        self.lights = {light.name: light for light in self.report.lights}


def _refuse(constant: str) -> float:
    raise AssertionError(f"{constant} in the report")


@pytest.fixture(scope="module")
def run(tmp_path_factory) -> Run:
    return Run(tmp_path_factory.mktemp("report"))


def test_the_report_comes_back_from_its_file(run):
    assert Report.model_validate(run.json) == run.report
    assert Report.model_validate_json(run.report.model_dump_json()) == run.report


def _numbers(tree: Any) -> list[float]:
    if isinstance(tree, dict):
        return [n for value in tree.values() for n in _numbers(value)]
    if isinstance(tree, list):
        return [n for value in tree for n in _numbers(value)]
    return [tree] if isinstance(tree, (int, float)) else []


def test_every_number_is_finite(run):
    numbers = _numbers(run.json)
    assert len(numbers) > 500
    assert all(math.isfinite(n) for n in numbers)


def test_readings_follow_from_their_exposures(run):
    """ISO 2720: N = sqrt(H S / C), C 250 for a flat and 340 for a dome."""
    assert len(run.report.readings) == 5 * 17 * 5
    for reading in run.report.readings:
        constant = 340 if reading.aim == "dome" else 250
        if reading.stops is None:
            assert reading.f_number == 0
            assert reading.exposure_lx_s <= 1e-9
            continue
        assert reading.f_number == pytest.approx(math.sqrt(reading.exposure_lx_s * ISO / constant))
        wanted = constant * F_NUMBER**2 / ISO
        assert reading.stops == pytest.approx(math.log2(reading.exposure_lx_s / wanted), abs=1e-9)


def test_all_together_is_the_sum_of_each_alone(run):
    readings = run.report.readings
    for together in (r for r in readings if r.light == "all"):
        alone = [r.exposure_lx_s for r in readings if (r.probe, r.aim) == (together.probe, together.aim)]
        assert together.exposure_lx_s == pytest.approx(sum(alone) - together.exposure_lx_s)


def test_ratios_follow_from_the_two_lights_alone(run):
    key, fill = (run.lights[name].at_face.exposure_lx_s for name in ("key", "fill"))
    assert run.lights["key"].at_face.aim == "flat:key"
    assert run.report.ratio.key_to_fill == pytest.approx(key / fill)
    assert run.report.ratio.lit_to_shadow == pytest.approx((key + fill) / fill)


@pytest.mark.slow
def test_there_is_no_ratio_without_a_fill(tmp_path):
    path = write_scene(tmp_path / "scene.toml", camera__long_side_px=16, light__fill__on=False)
    ratio = preview(path, tmp_path / "out", TraceSettings("draft", 2)).ratio
    assert (ratio.key_to_fill, ratio.lit_to_shadow) == (None, None)


def test_strengths_follow_from_the_scene(run):
    """Flash: 400 J x 40 lm/J / 32; steady: 20000 lm for 1/125 s; ambient: the dome at the face reads 40 lx."""
    assert run.lights["key"].lumen_seconds == pytest.approx(400 * 40 / 32)
    assert run.lights["fill"].lumen_seconds == pytest.approx(20000 * SHUTTER_S)
    assert run.lights["rim"].lumen_seconds == 0
    assert [run.lights[n].kind for n in ("key", "fill", "day", "rim")] == ["flash", "continuous", "ambient", "flash"]
    # the bodies of key and fill stand in its way, which does not make the rest of it brighter
    assert 0.75 * 40 * SHUTTER_S < run.lights["day"].at_face.exposure_lx_s < 40 * SHUTTER_S
    assert run.lights["rim"].at_face.stops is None
    assert "1/32" in run.lights["key"].power_setting


def test_a_spot_reads_at_the_face_what_its_profile_sends_there(run):
    """Direct light from the profile, less the gel; the grey room adds to it, by less than a third of a stop."""
    light = next(light for light in run.stage.lights if light.name == "key")
    meter_to_lens = run.lights["key"].distance_to_face_m - 0.02
    direct = 500 * axial_illuminance_per_lumen(light.fixture, meter_to_lens) * 2 ** -run.lights["key"].gel.loss_stops
    assert 0.93 < run.lights["key"].at_face.exposure_lx_s / direct < 2 ** (1 / 3)


def test_gel_loss_is_the_photopic_one(run):
    gel = next(light for light in run.stage.lights if light.name == "key").gel
    flash, photopic = make_source("flash").spd, colour_matching()[:, 1]
    passed = np.sum(flash * gel.transmittance * photopic) / np.sum(flash * photopic)
    assert run.lights["key"].gel.loss_stops == pytest.approx(-math.log2(passed), abs=1e-6)
    xyz = colour_matching().T @ (flash * gel.transmittance)
    assert run.lights["key"].gel.chromaticity_xy == pytest.approx(xyz[:2] / xyz.sum(), abs=1e-6)
    lights = tuple(replace(light, gel=None) for light in run.stage.lights)
    bare = find(all_readings(run.olat.meters, replace(run.stage, lights=lights)), "face", "key", "flat:key")
    lost = bare.stops - run.lights["key"].at_face.stops
    assert lost == pytest.approx(run.lights["key"].gel.loss_stops, abs=0.05)  # the room's colour bends it a little
    assert run.lights["fill"].gel is None


def test_a_gel_that_lets_nothing_through_has_no_loss_in_stops(tmp_path):
    (tmp_path / "lid.csv").write_text(
        "wavelength_nm,transmittance\n" + "".join(f"{nm},0\n" for nm in range(380, 781, 20))
    )
    path = write_scene(tmp_path / "scene.toml", camera__long_side_px=16, light__key__gels=["lid.csv"])
    report = preview(path, tmp_path / "out", TraceSettings("draft", 2))
    assert report.lights[0].gel is not None
    assert (report.lights[0].gel.loss_stops, report.lights[0].gel.chromaticity_xy) == (None, None)
    assert report.lights[0].at_face.stops is None


def test_beam_and_field_lie_on_a_wall_at_the_face(run):
    """On a wall square to the axis a small spot gives I(theta) cos^3(theta) / d^2: half and a tenth of that."""
    key = run.lights["key"]
    light = next(light for light in run.stage.lights if light.name == "key")
    assert key.distance_to_face_m == pytest.approx(1.3, abs=0.01)
    for widths, share in ((key.spread_at_face.beam_m, 0.5), (key.spread_at_face.field_m, 0.1)):
        assert widths[0] == pytest.approx(widths[1], rel=0.01)
        theta = math.atan2(widths[0] / 2, key.distance_to_face_m)
        relative = (
            float(spot_intensity(light.fixture, theta) / spot_intensity(light.fixture, 0.0)) * math.cos(theta) ** 3
        )
        assert relative == pytest.approx(share, rel=0.1)  # the lens is not small
    assert run.lights["day"].spread_at_face is None
    assert run.lights["day"].distance_to_face_m is None


def test_the_power_for_the_aperture_gives_it(run):
    """The key stands at 1/32; so many stops more or less, and it alone reads the set aperture."""
    needed = run.lights["key"].power_for_aperture
    assert needed.stops_from_full == pytest.approx(-5 - run.lights["key"].at_face.stops)
    assert needed.within_range
    assert run.lights["fill"].power_for_aperture is None


@pytest.mark.parametrize(
    ("stops", "lowest", "step", "says"),
    [
        (-3.0, 1 / 128, 0.1, ("1/8 (-3.0)", True)), (-1.66, 1 / 128, 0.1, ("1/4 + 0.3 (-1.7)", True)),
        (-1.6, 1 / 128, 1 / 3, ("1/4 + 0.3 (-1.7)", True)), (1.26, 1 / 128, 0.1, ("over full power by 1.3 stops", False)),
        (-8.5, 1 / 128, 0.1, ("below the lowest setting by 1.5 stops", False)), (-11, None, None, ("1/2048 (-11.0)", True)),
    ],
)  # fmt: skip
def test_settings_in_words(stops, lowest, step, says):
    from render.rigging import needed_setting
    from scenes.stage import HeadInfo

    assert needed_setting(HeadInfo("h", 400, 1.0, lowest, step, None, None, False), stops) == says


def test_spill_is_what_the_meters_say(run):
    key = run.lights["key"]
    by = {r.probe: r.exposure_lx_s for r in run.report.readings if (r.light, r.aim) == ("key", "flat:surface")}
    for place, probe in (("wall", "background_centre"), ("floor", "floor"), ("legs", "legs")):
        assert getattr(key.spill, place) == pytest.approx(math.log2(key.at_face.exposure_lx_s / by[probe]))
    assert run.lights["rim"].spill.wall is None


def test_ambient_audit_counts_all_that_is_not_flash(run):
    """The lamp and the day at the face's dome, C 340: 5 stops under the aperture they would be gone (common practice)."""
    audit = run.report.ambient
    assert audit.lights == ["fill", "day"]
    seen = [r for r in run.report.readings if r.probe == "face" and r.aim == "dome" and r.light in audit.lights]
    stops = math.log2(sum(r.exposure_lx_s for r in seen) * ISO / (340 * F_NUMBER**2))
    assert audit.stops == pytest.approx(stops)
    assert audit.black == (stops <= -5)
    assert audit.flash
    assert audit.metered_shutter_s is None
    if not audit.black:
        assert audit.black_shutter_s <= SHUTTER_S / 2 ** (stops + 5) * 1.02
        assert audit.black_iso is None or audit.black_iso <= ISO / 2 ** (stops + 5) * 1.02


MAP_REGIONS = {
    "exposure": REGIONS,
    "face": ("face", "eye"),
    "background": ("background", "wall", "floor"),
    "incident": REGIONS,
}


def _luminous(run: Run, transport: np.ndarray) -> np.ndarray:
    """Luminance-time (cd s/m2) or exposure (lx s) (H, W) of all lights, band by band."""
    total = np.zeros(transport.shape[2:])
    for light, bands in zip(run.stage.lights, transport, strict=True):
        spectrum = light.source.spd * (1 if light.gel is None else light.gel.transmittance)
        weights = run.olat.meters.bands.xyz_weights(spectrum)[:, 1]
        for weight, picture in zip(weights, bands, strict=True):
            total += weight * run.lights[light.name].lumen_seconds * picture.astype(float)
    return total


@pytest.mark.parametrize("name", list(MAP_REGIONS))
def test_map_numbers_are_those_of_the_pixels(run, name):
    wanted = 250 * F_NUMBER**2 / ISO
    if name == "incident":
        lux_seconds = _luminous(run, run.olat.irradiance).astype(np.float32)
        ratio = denoise_plane(lux_seconds, run.olat.guides.normal) / wanted
    else:
        ratio = _luminous(run, run.olat.radiance) * math.pi / wanted / 0.18
    indices = [REGIONS.index(region) for region in MAP_REGIONS[name]]
    mask = np.isin(run.olat.guides.region, indices)
    if name == "background":  # without the sitter's edges: two pixels up, down and sideways, in steps
        sitter = np.isin(run.olat.guides.region, [REGIONS.index(r) for r in ("face", "skin", "hair", "eye", "cloth")])
        for _ in range(2):
            around = np.pad(sitter, 1)
            sitter = around[1:-1, 1:-1] | around[:-2, 1:-1] | around[2:, 1:-1] | around[1:-1, :-2] | around[1:-1, 2:]
        mask &= ~sitter
    stops = np.log2(np.maximum(ratio[mask], 2.0**-8))
    numbers = run.report.maps[name]
    found = numbers.minimum, numbers.median, numbers.maximum
    assert found == pytest.approx((stops.min(), np.median(stops), stops.max()), abs=2e-3)
    assert numbers.floor_stops == -8
    if name == "incident":
        assert (numbers.unit, numbers.share_no_detail) == ("stops from the set aperture", None)
    else:
        one_pixel = 1 / stops.size
        lost = (scene_rgb(run.olat, run.stage) >= 0.995).all(axis=0)[mask]
        assert numbers.share_no_detail == pytest.approx(lost.mean(), abs=one_pixel)
        assert numbers.share_under_minus_5_stops == pytest.approx(np.mean(stops < -5), abs=one_pixel)


def _layers(path: Path) -> dict[str, np.ndarray]:
    with OpenEXR.File(str(path), separate_channels=True) as file:
        return {name: np.array(channel.pixels) for name, channel in file.channels().items()}


def test_exr_layers_add_up_to_the_picture(run):
    layers = _layers(run.folder / "preview.exr")
    names = [light.name for light in run.stage.lights]
    assert set(layers) == {*"RGB", *(f"{name}.{letter}" for name in names for letter in "RGB")}
    for letter in "RGB":
        assert layers[letter].dtype == np.float32
        assert layers[letter].shape == (40, 32)
        assert np.isfinite(layers[letter]).all()
        np.testing.assert_allclose(sum(layers[f"{n}.{letter}"] for n in names), layers[letter], rtol=1e-5, atol=1e-7)
        assert not layers[f"rim.{letter}"].any()
        assert all(layers[f"{name}.{letter}"].any() for name in ("key", "fill", "day"))


def test_the_picture_is_the_linear_one_under_the_transfer_curve(run):
    """With the linear tone curve, wherever a colour is within the display's reach."""
    layers = _layers(run.folder / "preview.exr")
    linear = np.stack([layers[letter] for letter in "RGB"], axis=-1)
    plain = ((linear > 0) & (linear < 0.99)).all(axis=-1)
    assert plain.mean() > 0.5
    deep = tifffile.imread(run.folder / "preview.tif")
    np.testing.assert_allclose(deep[plain], encode_srgb(linear[plain].astype(float)) * 65535, atol=8)
    with Image.open(run.folder / "preview.png") as picture:
        assert np.abs(np.asarray(picture)[plain] - deep[plain] / 257).max() <= 0.6


@pytest.mark.parametrize("name", ["preview.png", "preview-noisy.png", "preview.tif"])
def test_pictures_carry_their_profile(run, name):
    if name.endswith("tif"):
        with tifffile.TiffFile(run.folder / name) as file:
            page = file.pages.first
            assert page.tags[34675].value == icc_profile("srgb")
            assert (page.bitspersample, page.samplesperpixel, page.shape) == (16, 3, (40, 32, 3))
    else:
        with Image.open(run.folder / name) as picture:
            assert (picture.mode, picture.size) == ("RGB", (32, 40))
            assert picture.info["icc_profile"] == icc_profile("srgb")


KEYS = """
format title scene_hash versions device quality settings picture lights ratio ambient haze backdrop readings maps bands_nm warnings notes cautions checksums
settings.iso settings.f_number settings.shutter_s settings.white_balance settings.white_xy
picture.width_px picture.height_px picture.traced_px picture.gamut picture.tone_curve picture.share_no_detail picture.share_gamut_mapped picture.warnings
lights.name lights.role lights.on lights.kind lights.source lights.source_xy lights.gel lights.lumen_seconds
lights.power_setting lights.distance_to_face_m lights.at_face lights.head lights.modifiers lights.modifier_loss_stops
lights.power_for_aperture lights.power_for_aperture.stops_from_full lights.power_for_aperture.setting
lights.power_for_aperture.within_range lights.spread_at_face lights.beam_on_background lights.spill
lights.spread_at_face.distance_m lights.spread_at_face.beam_m lights.spread_at_face.field_m
lights.beam_on_background.distance_m lights.beam_on_background.beam_m lights.beam_on_background.field_m
lights.beam_on_background.beam_cut lights.beam_on_background.field_cut lights.power lights.blocked_by lights.read_at
lights.silks
lights.read_at.probe lights.read_at.light lights.read_at.aim lights.read_at.exposure_lx_s lights.read_at.f_number
lights.read_at.stops lights.gel.sheets backdrop.light_stops backdrop.seen_stops backdrop.share
lights.spill.wall lights.spill.floor lights.spill.legs
ambient.lights ambient.stops ambient.black ambient.black_shutter_s ambient.black_iso ambient.beyond_sync ambient.sync_s ambient.words
ambient.flash ambient.metered_shutter_s ambient.metered_iso ambient.metered_f_number
lights.samples lights.noise_stops lights.gel.name lights.gel.loss_stops lights.gel.chromaticity_xy
lights.at_face.probe lights.at_face.light lights.at_face.aim lights.at_face.exposure_lx_s lights.at_face.f_number
lights.at_face.stops
ratio.key_to_fill ratio.lit_to_shadow
readings.probe readings.light readings.aim readings.exposure_lx_s readings.f_number readings.stops
maps.exposure maps.face maps.background maps.incident
"""
MAP_KEYS = {
    "title", "unit", "minimum", "median", "maximum", "share_no_detail", "share_under_minus_5_stops", "floor_stops",
    "left_out",
}  # fmt: skip


def _keys(tree: Any, above: str = "") -> set[str]:
    if isinstance(tree, list):
        return {key for item in tree for key in _keys(item, above)}
    if not isinstance(tree, dict) or above in ("versions.", "checksums."):
        return set()
    return {f"{above}{key}" for key in tree}.union(*(_keys(value, f"{above}{key}.") for key, value in tree.items()))


def test_keys_of_format_3_stay_as_they_are(run):
    """A key added, renamed or gone is a change of format."""
    maps = run.json.pop("maps")
    keys = _keys(run.json) | {"maps"} | {f"maps.{name}" for name in maps}
    run.json["maps"] = maps
    assert run.json["format"] == 3
    assert keys == set(KEYS.split())
    assert all(set(numbers) == MAP_KEYS for numbers in maps.values())
    assert set(run.json["versions"]) == {
        "python", "keyfall", "mitsuba", "drjit", "mitsuba-oidn", "colour-science", "numpy",
    }  # fmt: skip


def test_the_scene_hash_tells_scenes_apart(run, tmp_path):
    path = write_scene(tmp_path / "scene.toml", camera__long_side_px=16, light__fill=None)
    first = preview(path, tmp_path / "a", TraceSettings("draft", 2)).scene_hash
    assert first == preview(path, tmp_path / "b", TraceSettings("draft", 2)).scene_hash
    assert first != run.report.scene_hash
    assert len(first) == 40
