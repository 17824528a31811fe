"""Widths of beams on a wall against geometry: similar triangles, closed forms, and the whole wall read finely."""

from __future__ import annotations

import math

import numpy as np
import pytest

from scenes.beams import WIDEST_DEG, spread, wall
from scenes.modifiers.tables import profile
from scenes.optics import Angular, Optics
from scenes.stage import Fixture

from .modified import STOCK, chain, fixture, stock


def of(shape: str, size_m: float, angular: Angular) -> Fixture:
    right, up, forward = np.eye(3)
    size = np.array([size_m, size_m])
    return Fixture(shape, size, np.zeros(3), right, up, forward, None, None, False, 0.0, 0.0, Optics(angular=angular))


@pytest.mark.parametrize("distance", [2.5, 3.0, 4.0])
def test_a_projected_picture_is_as_wide_as_similar_triangles_say(distance):
    """Half of the light passes the edge where the ray through the lens's middle does: gate times distance over focus.
    Within 0.6 %: the gate's picture has 256 cells a side, its edges are drawn to a quarter of one."""
    gate = 2 * distance * math.tan(math.radians(STOCK["projector"]["field_deg"] / 2))
    slot, iris = (spread(fixture(stock(f"projector-{name}")), distance) for name in ("slot", "iris"))
    assert np.divide(slot.beam_m, gate) == pytest.approx(STOCK["projector-slot"]["aperture"], rel=6e-3)
    assert np.divide(iris.beam_m, gate) == pytest.approx([STOCK["projector-iris"]["aperture"]] * 2, rel=6e-3)
    assert slot.peak_lx_per_lm == pytest.approx(slot.axis_lx_per_lm, rel=0.01)


def test_a_beam_with_bars_is_as_wide_as_the_whole_of_it():
    """The panes' axis lies behind a bar; their outermost edges stand at 0.5 and 0.78 of the gate."""
    found = spread(fixture(stock("projector-panes")), 3.0)
    radius = 3 * math.tan(math.radians(13))
    assert found.axis_lx_per_lm == 0
    assert found.peak_lx_per_lm > 0
    assert found.beam_sides_m == pytest.approx([0.5 * radius] * 2 + [0.78 * radius] * 2, rel=6e-3)


@pytest.mark.parametrize("power", [2, 20, 1000, 100_000])
@pytest.mark.parametrize("lopsided", [False, True])
def test_a_power_of_the_cosine_has_the_width_of_its_closed_form(power, lopsided):
    """From a point, I = cos^n lights a flat wall with cos^(n + 3): half of it at acos(2^(-1 / (n + 3))). Within 0.2 %
    of it, which is what straight lines between the table's angles leave."""
    widest = math.acos(1e-4 ** (1 / power))
    table = profile(np.cos(np.linspace(0, widest, 400)) ** power, widest, "intensity")
    if lopsided:
        table = Angular(np.repeat(table.values, 4, axis=0), table.widest_rad)
    found = spread(of("disk", 1e-4, table), 2.0)
    for share, sides in ((0.5, found.beam_sides_m), (0.1, found.field_sides_m)):
        assert sides == pytest.approx([2 * math.tan(math.acos(share ** (1 / (power + 3))))] * 4, rel=2e-3)
    half, tenth = (math.degrees(math.acos(share ** (1 / (power + 3)))) for share in (0.5, 0.1))
    assert found.beam_to_field_stops_per_deg == pytest.approx(math.log2(5) / (tenth - half), rel=6e-3)


def test_a_narrow_beam_to_one_side_is_found_where_it_is():
    """A patch of half a degree, 30 degrees to the right and so 0.05 degrees wide in the table's steps."""
    values = np.zeros((360, 901), np.float32)
    values[0, 299:303] = 1
    found = spread(of("disk", 1e-3, Angular(values, math.radians(90))), 2.0)
    right, left, _, _ = found.beam_sides_m
    assert found.axis_lx_per_lm == 0
    assert 2 * math.tan(math.radians(29.7)) < -left < right < 2 * math.tan(math.radians(30.4))
    assert 0 < found.beam_m[1] < 2 * 2 / math.cos(math.radians(30)) * math.radians(1)


@pytest.mark.slow
def test_a_window_lights_more_below_than_above():
    """Against the whole wall, read every 3 cm: each side by itself, the peak wherever it lies."""
    made = fixture(stock("window-clear"))
    found = spread(made, 2.5)
    x, y = np.arange(-4.5, 4.5, 0.03), np.arange(-4.5, 1.5, 0.06)
    lux = wall(made, 2.5, x, y)
    assert found.peak_lx_per_lm == pytest.approx(lux.max(), rel=2e-3)
    rows, columns = np.nonzero(lux >= lux.max() / 2)
    right, left, up, down = found.beam_sides_m
    assert [right, left] == pytest.approx([x[columns.max()], -x[columns.min()]], abs=0.04)
    assert [up, down] == pytest.approx([y[rows.max()], -y[rows.min()]], abs=0.07)
    assert down > 3 * up
    assert found.beam_m == (right + left, up + down)


def test_a_frame_lit_from_one_side_glows_so():
    """A frame behind closed leaves on one side is brighter on the other, and its beam leans there."""
    doors = {"kind": "doors", "length_m": 0.16, "angles_deg": [60, -35, 30, 30]}
    frame = {"kind": "frame", "size_m": [1.2, 1.2], "gap_m": 0.6}
    right, left, _, _ = spread(fixture(chain(STOCK["standard-reflector"], doors, frame)), 0.6).beam_sides_m
    assert right > left + 0.05


def test_a_beam_too_wide_has_no_width():
    found = spread(of("disk", 4.0, profile(np.ones(2), math.pi / 2, "luminance")), 0.1)
    assert (found.beam_m, found.beam_sides_m) == ((None, None), (None,) * 4)
    assert found.beam_to_field_stops_per_deg is None
    assert WIDEST_DEG == 80
