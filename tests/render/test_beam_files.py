"""What `keyfall beam` says and writes: losses by one definition, dark axes, and files that keep the fixture's lumens."""

from __future__ import annotations

import datetime
import math
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import qmc

from render.beam import Setup, beam_report, loss_stops, photometry_of, setup_of
from render.rigging import modifier_loss
from scenes import build_stage, load_scene
from scenes.beams import far_reach_deg
from scenes.field import luminance
from scenes.kit import calibrate, load_kit, stock_kit
from scenes.modifiers.base import Attachment
from scenes.photometric import conserved, flux_lm, gamma_grid, lm63_text, read_photometric

HEAD = "flash-400"


def setup(text: str) -> Setup:
    return setup_of(text, stock_kit(), HEAD)


def lumens_of(made: Setup) -> float:
    """Lumens that leave for one of the lamp, by scattered rays: a place on the exit and a direction within the reach
    by the cosine law, 2^18 Sobol points, error about 0.1 %. A ball or tube sends out all of its efficiency, and so does a
    bare mouth that one looks into, whose bright places near the lamp such points miss by up to 0.7 %."""
    fixture = made.fixture
    optics = fixture.optics
    bare = optics.emission is not None and optics.cells is None and optics.edges is None and optics.slide is None
    if fixture.shape in ("sphere", "tube") or (bare and (optics.source is None or optics.source.depth_m == 0)):
        return optics.efficiency
    u = qmc.Sobol(4, seed=7).random_base2(18)
    x, y = ((u[:, k] - 0.5) * fixture.size_m[k] for k in (0, 1))
    top = math.sin(math.radians(min(far_reach_deg(fixture), 90))) ** 2
    sine2 = u[:, 2] * top
    slope, turn = np.sqrt(sine2 / np.maximum(1 - sine2, 1e-12)), 2 * math.pi * u[:, 3]
    mean = luminance(fixture, x, y, slope * np.cos(turn), slope * np.sin(turn)).mean()
    return float(mean * math.pi * top * np.prod(fixture.size_m)) * (1 + fixture.optics.back_share)


def integral_of_file(path: Path) -> float:
    """Lumens of a file's table by summing it, linear in both angles, on a raster far finer than its own."""
    read = read_photometric(path)
    gamma = np.linspace(read.gamma_deg[0], read.gamma_deg[-1], 36001)
    c = np.append(read.c_deg, 360.0)
    gaps = np.diff(c) / 360
    ends = np.concatenate([read.candela, read.candela[:1]])
    mean = sum(g * (a + b) / 2 for g, a, b in zip(gaps, ends[:-1], ends[1:], strict=True)) if len(c) > 2 else ends[0]
    sine = np.sin(np.radians(gamma))
    return float(2 * math.pi * np.trapezoid(np.interp(gamma, read.gamma_deg, mean) * sine, np.radians(gamma)))


def off(text: str, folder: Path) -> float:
    made = setup(text)
    path = folder / "a.ies"
    path.write_text(lm63_text(photometry_of(made, 1000.0), datetime.date(2025, 1, 31)), encoding="ascii")
    return integral_of_file(path) / (1000 * lumens_of(made)) - 1


@pytest.mark.parametrize("text", ["window-clear", "fresnel-spot", "softbox-60x90+fabric-grid-40", "snoot"])
def test_a_file_holds_the_lumens_of_its_fixture(text, tmp_path):
    assert abs(off(text, tmp_path)) < 0.005


@pytest.mark.slow
def test_files_of_all_stock_modifiers_hold_their_lumens(tmp_path):
    fronts = {"snoot-grid": "snoot", "dish-grid": "dish-white", "fabric-grid-40": "softbox-60x90"}
    found = {}
    for name, modifier in stock_kit().modifiers.items():
        behind = fronts.get(name, "standard-reflector")
        text = f"{behind}+{name}" if isinstance(modifier, Attachment) else name
        found[text] = off(text, tmp_path)
    assert len(found) > 40
    assert {text: round(part, 4) for text, part in found.items() if abs(part) >= 0.005} == {}


def test_an_edge_anywhere_on_the_grid_keeps_its_flux():
    """A cone of even light has 2 pi (1 - cos) of flux, wherever its edge lies between two angles a quarter degree apart:
    within 0.6 of what half such a step is of it. Planes 15 degrees apart keep the flux of a beam that turns with them."""
    for edge in 13 + np.arange(7) * 0.3:

        def cone(off_axis, turn, edge=edge):
            return np.ones((len(turn), 1)) * (off_axis <= math.radians(edge))

        gamma = np.append(np.arange(0, 20, 0.25), 90.0)
        table = conserved(cone, np.zeros(1), gamma, 1)
        assert flux_lm(table, np.zeros(1), gamma) == pytest.approx(
            2 * math.pi * (1 - math.cos(math.radians(edge))), rel=1.2e-2
        )
    turn = np.arange(24) * 15.0
    table = conserved(lambda off, t: np.cos(off)[None] * (1 + np.cos(2 * t[:, None])), turn, np.arange(91.0), 4)
    assert flux_lm(table, turn, np.arange(91.0)) == pytest.approx(math.pi, rel=1e-6)
    assert table[0, 40] > 20 * table[6, 40]


def test_grids_of_angles_reach_their_end():
    for reach in (0.4, 3, 13.93, 44.9, 89.8, 90):
        gamma = gamma_grid(reach, 90)
        assert (gamma[0], gamma[-1]) == (0, 90)
        assert (np.diff(gamma) > 0).all()
        assert gamma[1] <= 0.5


def test_a_dark_axis_is_told_as_none_and_the_peak_is_not():
    report = beam_report([setup("projector-panes")], stock_kit(), HEAD, [2.5])
    at = report.setups[0].at[0]
    assert (at.f_number, at.loss_stops, at.inverse_square_error, at.under_axis_stops) == (None,) * 4
    assert at.exposure_lx_s == 0 < at.peak_exposure_lx_s
    assert None in report.setups[0].axis_f_number
    report.model_dump_json()


@pytest.mark.slow
def test_the_loss_is_what_the_meter_loses_at_the_same_distance_from_the_front():
    """And the reference itself loses nothing."""
    texts = ["standard-reflector", "standard-reflector+grid-20", "snoot"]
    report = beam_report([setup(text) for text in texts], stock_kit(), HEAD, [1.0, 2.5])
    bare, *others = report.setups
    for number in (0, 1):
        assert bare.at[number].loss_stops == 0
        for other in others:
            read = 2 * math.log2(bare.at[number].f_number / other.at[number].f_number)
            assert other.at[number].loss_stops == pytest.approx(read, abs=1e-6)
    assert others[0].at[0].attachment_loss_stops == others[0].at[0].loss_stops
    assert loss_stops(setup("snoot").fixture, setup("projector-panes").fixture, 2.5) is None


def test_a_report_and_the_beam_sheet_tell_the_same_loss(tmp_path):
    """On a head with a lamp of its own size and a kit with readings; the head's own reading is no modifier's."""
    (tmp_path / "kit.toml").write_text(_KIT, encoding="utf-8")
    (tmp_path / "set.toml").write_text(_SET, encoding="utf-8")
    light = build_stage(load_scene(tmp_path / "set.toml")).lights[0]
    kit = load_kit(tmp_path / "kit.toml")
    chain = ["standard-reflector", "grid-20"]
    assert calibrate(kit).heads["own"].stops != 0
    at = beam_report([setup_of("+".join(chain), kit, "own")], kit, "own", [1.3]).setups[0].at[0]
    assert modifier_loss(light, 1.3) == pytest.approx(at.loss_stops, abs=1e-9)
    assert at.loss_stops == pytest.approx(
        loss_stops(light.bare(), light.fixture, 1.3) - calibrate(kit).modifiers["grid-20"].stops, abs=1e-9
    )


_KIT = """format = 1
[head.own]
energy_ws = 300
bulb_diameter_m = 0.04
[[reading]]
head = "own"
modifiers = ["standard-reflector"]
distance_m = 2.0
f_number = 16
[[reading]]
head = "own"
modifiers = ["standard-reflector", "grid-20"]
distance_m = 2.0
f_number = 11
"""
_SET = """format = 1
kit = "kit.toml"
[sitter]
figure = "kofi"
[camera]
distance_m = 3.0
focal_length_mm = 85
[exposure]
iso = 100
f_number = 8
shutter_s = 0.008
[light.key]
head = "own"
modifiers = ["standard-reflector", "grid-20"]
azimuth_deg = 30
distance_m = 1.3
"""
