"""White balance: by temperature and tint, by a light, a source, and a grey card on the set."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from materials import KeyfallError, correlated_colour_temperature, make_gel, make_source, white_point, xyz
from render import Cache, relight, trace
from render.develop import scene_rgb, scene_rgb_matrix
from render.look import light_spectrum
from render.report import camera_settings
from render.white import scene_white, settled
from scenes import build_stage, check_scene, load_scene
from scenes.stage import Stage, White
from tests.render import sets

from .cli_scene import write_scene


def _as(stage: Stage, white: str | float | White) -> Stage:
    return replace(stage, exposure=replace(stage.exposure, white_balance=white))


def _spread(rgb: np.ndarray) -> float:
    """How far the channels of a colour (3,) differ, relative to their mean."""
    return float(np.ptp(rgb) / rgb.mean())


def test_a_tint_lies_where_the_published_method_puts_it():
    """Ohno 2013 (through colour-science): u, v of a temperature and Duv; and our own measure of both comes back."""
    import colour

    for kelvin in (2000, 3200, 5500, 9000):
        for duv in (-0.02, -0.005, 0.0, 0.01, 0.03):
            white = white_point(kelvin, duv)
            x, y = white[:2] / white.sum()
            wanted = colour.temperature.CCT_to_uv_Ohno2013(np.array([kelvin, duv]))
            np.testing.assert_allclose(colour.xy_to_UCS_uv([x, y]), wanted, atol=1e-4)  # its table is coarser than ours
            assert correlated_colour_temperature(white) == pytest.approx((kelvin, duv), rel=2e-3, abs=1e-5)


def _panel() -> Stage:
    """A grey panel that faces +z under two lights of different colour, with a meter point on it and one behind it."""
    panel = sets.quad([-1, -1, 0], [2, 0, 0], [0, 2, 0], sets.finish(0.4))
    lights = [
        replace(sets.light(sets.fixture(size=(0.3, 0.3), at=at, toward=-np.array(at)), name), source=make_source(kind))
        for name, at, kind in (("key", (1.0, 0.5, 2.0), "tungsten"), ("sky", (-1.0, 0.5, 2.0), "D75"))
    ]
    probes = [sets.probe(at=(0, 0, 0.001), normal=(0, 0, 1)), sets.probe("back", (0, 0, -0.01), (0, 0, -1))]
    return sets.stage([panel], lights, sets.camera(half_angle_deg=1, size=(8, 8)), probes)


@pytest.mark.slow
def test_a_grey_panel_comes_out_neutral_by_a_card_on_it(tmp_path):
    stage = _panel()
    olat = trace(stage, samples=64, cache=Cache(tmp_path))
    card = _as(stage, White("card at face", card="face"))
    for look in (card, relight(card, "key", stops=2, gel=make_gel("half-cto")), relight(card, "sky", on=False)):
        assert _spread(scene_rgb(olat, look).mean(axis=(1, 2))) < 0.02  # two traces of the same light
        assert _spread(scene_rgb(olat, _as(look, "flash")).mean(axis=(1, 2))) > 0.08
    done = settled(card, olat.meters)
    assert settled(relight(done, "key", stops=3), olat.meters).exposure == done.exposure  # worked out once, it stays
    assert settled(card) is card
    with pytest.raises(KeyfallError, match="No light falls on the card at 'back'"):
        settled(_as(stage, White("card at back", card="back")), olat.meters)
    with pytest.raises(KeyfallError, match="no meter point 'nose'"):
        settled(_as(stage, White("card at nose", card="nose")), olat.meters)


def test_a_named_light_is_white_after_its_gels():
    stage = relight(_as(_panel(), White("light key", light="key")), "key", gel=make_gel("full-ctb"))
    seen = xyz(light_spectrum(stage.lights[0]))
    rgb = scene_rgb_matrix(settled(stage).exposure, "srgb") @ seen
    assert _spread(rgb) < 1e-9
    assert _spread(scene_rgb_matrix(settled(stage).exposure, "srgb") @ xyz(make_source("D75").spd)) > 0.05
    assert camera_settings(stage).white_balance == "light key"
    assert camera_settings(stage).white_xy == pytest.approx(tuple(seen[:2] / seen.sum()))
    with pytest.raises(KeyfallError, match="too saturated to be taken as white"):
        settled(relight(stage, "key", gel=make_gel("deep-blue")))
    with pytest.raises(KeyfallError, match="no light 'rim'"):
        settled(_as(stage, White("light rim", light="rim")))


def _white_of(folder, balance, **more) -> Stage:
    return build_stage(load_scene(write_scene(folder / "s.toml", exposure__white_balance=balance, **more)))


def test_scene_files_say_it_in_every_way(tmp_path):
    tungsten = xyz(make_source("tungsten").spd)
    for balance, wanted in (
        ({"source": "tungsten"}, tungsten / tungsten[1]),
        ({"kelvin": 4200, "duv": -0.004}, white_point(4200, -0.004)),
        ({"kelvin": 4200}, white_point(4200)),
        (3200, white_point(3200)),
    ):
        np.testing.assert_allclose(scene_white(_white_of(tmp_path, balance).exposure), wanted, rtol=1e-9)
    assert _white_of(tmp_path, "key").exposure.white_balance == White("light key", light="key")
    assert _white_of(tmp_path, {"card": "chin"}).exposure.white_balance == White("card at chin", card="chin")
    held = _white_of(tmp_path, {"card": [0.3, 1.4, 0.4]})
    card = next(probe for probe in held.probes if probe.name == "card")
    np.testing.assert_allclose(card.position_m, (0.3, 1.4, 0.4))
    assert card.normal @ (held.camera.origin_m - card.position_m) > 0
    board = {"kind": "board", "size_m": [0.2, 0.3], "at_m": [0.4, 1.5, 0.5], "aim": [0, 1.5, 2]}
    stage = _white_of(tmp_path, {"card": "grey"}, piece={"grey": board})
    assert next(p for p in stage.probes if p.name == "grey").normal[2] > 0.9


@pytest.mark.parametrize(
    ("balance", "told"),
    [
        ("kye", "there is no light 'kye' on this set Allowed: flash, key, fill, or kelvin. Did you mean key?"),
        ({"light": "rim"}, "there is no light 'rim' on this set"),
        ({"source": "FL99"}, "there is no source 'FL99'"),
        ({"source": "daylight"}, "needs cct_k"),
        ({"card": "chinn"}, "Did you mean chin?"),
        ({"card": [0, 1.5, 0]}, "the card would be inside the sitter"),
        ({"kelvin": 3200, "light": "key"}, "kelvin and light all set the white balance"),
        ({}, "the white balance names no white"),
        ({"light": "key", "duv": 0.01}, "duv is a tint beside kelvin"),
        ({"kelvin": 3200, "duv": 0.2}, "0.05"),
        (500, "25000"),
        ({"kelvn": 3200}, "kelvin"),
    ],
)
def test_what_cannot_be_white_is_told_with_its_line(tmp_path, balance, told):
    found = [
        f
        for f in check_scene(write_scene(tmp_path / "s.toml", exposure__white_balance=balance))
        if f.severity == "error"
    ]
    assert len(found) >= 1
    assert all(f.where.startswith("exposure.white_balance") for f in found)
    assert told in " ".join(f"{f.message} {f.allowed} {f.fix}" for f in found)


def test_a_light_too_saturated_to_be_white_is_told_before_tracing(tmp_path):
    path = write_scene(tmp_path / "s.toml", exposure__white_balance="key", light__key__gels=["deep-blue"])
    assert any("too saturated" in f.message for f in check_scene(path))
