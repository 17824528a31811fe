"""What each modifier does to the light, against closed forms and counted rays."""

from __future__ import annotations

import math

import numpy as np
import pytest
from PIL import Image

from scenes.cell_walls import cell_table
from scenes.cells import transmission
from scenes.field import angular_value, axial_illuminance_per_lumen, illuminance, luminance, source_area_m2
from scenes.modifiers import Bulb, ModifierMismatch
from scenes.modifiers.attachments import open_share
from scenes.modifiers.base import FLAT
from scenes.modifiers.linings import passes
from scenes.modifiers.patterns import PATTERNS
from scenes.modifiers.tables import glow_picture, profile, within
from scenes.modifiers.windows import GROUND, outside

from .modified import STOCK, around, chain, fixture, full_angle, stock

# --- tables and pictures --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("power", [1, 4, 20])
def test_profile_of_a_cosine_power(power):
    """A lumen with I ~ cos^m has (m + 1) / 2 pi on its axis; as a luminance cos^m, (m + 2) / 2 pi."""
    theta = np.linspace(0, math.pi / 2, 361)
    values = np.cos(theta).clip(0) ** power
    assert profile(values, math.pi / 2, "intensity").values[0, 0] == pytest.approx(
        (power + 1) / (2 * math.pi), rel=1e-4
    )
    assert profile(values, math.pi / 2, "luminance").values[0, 0] == pytest.approx(
        (power + 2) / (2 * math.pi), rel=1e-4
    )


def test_profile_of_nothing_is_refused():
    with pytest.raises(ValueError, match="emits nothing"):
        profile(np.zeros(4), 1.0, "intensity")


@pytest.mark.parametrize("shape", FLAT)
def test_glow_keeps_its_share_of_every_brightness(shape):
    radii = (np.arange(20) + 0.5) / 20
    glow = 2 * (1 - radii**2)  # by area evenly between 0 and 2, so its quartiles are 0.5, 1 and 1.5
    picture = glow_picture(radii, glow, shape)
    middle = (np.arange(64) + 0.5) / 32 - 1
    inside = within(shape, *np.meshgrid(middle, middle))
    assert picture[inside].mean() == pytest.approx(1, abs=1e-5)
    assert np.quantile(picture[inside], [0.25, 0.5, 0.75]) == pytest.approx([0.5, 1, 1.5], abs=0.03)
    assert np.array_equal(picture, picture[::-1])
    assert np.array_equal(picture, picture[:, ::-1])


# --- grids ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("meaning", ["cutoff", "half", "tenth"])
@pytest.mark.parametrize("degrees", [10, 20, 30, 40])
def test_label_of_round_cells(meaning, degrees):
    """The overlap of two circles: T = 2/pi (acos u - u sqrt(1 - u^2)) is 0, 1/2, 1/10 at u = 1, .403973, .805384."""
    u = {"cutoff": 1.0, "half": 0.403973, "tenth": 0.805384}[meaning]
    grid = {"kind": "grid", "degrees": degrees, "meaning": meaning, "cells": "round"}
    cells = chain({"kind": "panel", "size_m": 0.2}, grid).optics.cells
    assert cells.ratio == pytest.approx(u / math.tan(math.radians(degrees / 2)), rel=1e-5)


def test_open_share_of_walls():
    """Hexagons with walls of 1, 2, 5 and 10 % of the pitch leave .9801, .9604, .9025, .81; tubes pi / (2 sqrt 3)."""
    for wall, expected in ((0.01, 0.9801), (0.02, 0.9604), (0.05, 0.9025), (0.1, 0.81)):
        assert open_share("hexagon", 1 - wall, wall) == pytest.approx(expected, abs=1e-9)
    assert open_share("round", 1.0, 0.0) == pytest.approx(0.9069, abs=1e-4)


@pytest.mark.parametrize("degrees", [0.0, 4.0, 8.0, 12.0])
def test_grid_on_a_panel_against_counted_rays(degrees):
    """Rays through explicit hexagons of a lattice cut round, of all those from the rear face at one angle."""
    cell, depth, radius = 0.0065, 0.02, 0.09
    grid = {"kind": "grid", "cell_m": cell, "depth_m": depth, "wall_m": 0.0}
    made = fixture(chain({"kind": "panel", "size_m": 2 * radius}, grid))
    rng, slope = np.random.default_rng(3), math.tan(math.radians(degrees))
    count = 400_000
    r, turn = radius * np.sqrt(rng.random(count)), 2 * math.pi * rng.random(count)
    front = np.stack([r * np.cos(turn), r * np.sin(turn)], axis=1)
    azimuth = 2 * math.pi * rng.random(count)
    shift = depth * slope * np.stack([np.cos(azimuth), np.sin(azimuth)], axis=1)
    rear, offset = front - shift, rng.random((count, 2))
    free = (np.hypot(*rear.T) <= radius) & (_cell_of(front, offset, cell) == _cell_of(rear, offset, cell)).all(axis=1)
    model = luminance(made, *front.T, slope * np.cos(azimuth), slope * np.sin(azimuth))
    full = 1 / (math.pi * source_area_m2(made))
    # 400 000 rays: one standard error is below 0.4 % of the light where a quarter or more passes
    assert model.mean() / full == pytest.approx(free.mean(), rel=0.02)


def _cell_of(points: np.ndarray, offset: np.ndarray, width: float) -> np.ndarray:
    """Centre (row, column) of the hexagon around points: the nearest of a triangular lattice, shifted at random."""
    rows = np.array([[math.sqrt(3) / 2, 0.5], [0.0, 1.0]]) * width
    moved = points + offset @ rows
    base = np.floor(moved @ np.linalg.inv(rows))
    candidates = base[:, None] + np.array([[0, 0], [0, 1], [1, 0], [1, 1]])
    nearest = np.linalg.norm(candidates @ rows - moved[:, None], axis=2).argmin(axis=1)
    return candidates[np.arange(len(points)), nearest]


def test_grid_sits_in_the_mouth_of_a_recess_and_in_front_of_a_flush_exit():
    box, reflector = stock("softbox-60x90"), stock("standard-reflector")
    shallow = {"kind": "fabric-grid", "cell_m": 0.04, "depth_m": 0.03}
    assert chain(STOCK["softbox-60x90"], shallow).body_depth_m == box.body_depth_m
    deep = chain(STOCK["standard-reflector"], {"kind": "grid", "cell_m": 0.006, "depth_m": 0.02})
    assert deep.body_depth_m == pytest.approx(reflector.body_depth_m + 0.02)
    assert deep.optics.source.depth_m == pytest.approx(0.02)


# --- snoot, doors, frame, sock --------------------------------------------------------------------------------------


def test_snoot_is_dark_beyond_the_penumbra_of_its_cup():
    """Similar triangles: dark beyond b + (a + b) D / s for a source a behind an aperture b at s, from the lamp's front."""
    made, keys = fixture(stock("snoot")), STOCK["snoot"]
    a, b, s, distance = 0.05, keys["mouth_diameter_m"] / 2, keys["length_m"] - Bulb().radius_m, 2.0
    dark = b + (a + b) * distance / s
    points = np.array([[dark * share, 0, distance] for share in (0.97, 1.03)])
    lux = illuminance(made, points, np.array([0, 0, -1.0]))
    assert lux[0] > 0
    assert lux[1] == 0


def test_bare_lamp_in_a_snoot_keeps_its_light_on_the_axis():
    """Far away the whole lamp shows, 1 / 4 pi, and the cup adds less than as much again."""
    shaped = stock("snoot")
    far = axial_illuminance_per_lumen(fixture(shaped), 100.0) * 100.0**2
    assert 1.0 < far * 4 * math.pi < 1.6


@pytest.mark.slow
def test_bright_walls_of_a_snoot_spill():
    bright = chain({**STOCK["snoot"], "walls": "white"})
    angle, lux = around(bright)
    assert lux[np.searchsorted(angle, 30)] > 0.005
    assert around(stock("snoot"))[1][np.searchsorted(angle, 30)] == 0


def test_doors_cut_where_the_tip_of_a_leaf_says():
    """A ray along the axis plane from the far rim past the tip of the right leaf marks the end of the light."""
    shaped = chain(
        {"kind": "panel", "size_m": [0.2, 0.2]}, {"kind": "doors", "length_m": 0.15, "angles_deg": [10, 90, 90, 90]}
    )
    out, off = 0.15 * math.cos(math.radians(10)), 0.1 + 0.15 * math.sin(math.radians(10))
    assert shaped.optics.edges[0] == pytest.approx([out, off])
    distance = 2.0
    dark = -0.1 + (off + 0.1) / out * distance
    points = np.array([[dark - 0.05, 0, distance], [dark + 0.05, 0, distance], [-dark - 1, 0, distance]])
    lux = illuminance(fixture(shaped), points, np.array([0, 0, -1.0]))
    assert lux[0] > 0
    assert lux[1] == 0
    assert lux[2] > 0


def test_frame_catches_the_solid_angle_it_covers():
    """A small ball sends the share of the sphere that the frame covers: 4 asin(ab / sqrt((a2+h2)(b2+h2))) / 4 pi."""
    keys = {"kind": "frame", "size_m": [1.2, 0.8], "gap_m": 0.5, "cloth": "thin"}
    shaped = chain({"kind": "bulb"}, keys, bulb=Bulb(0.02))
    a, b, h = 0.6, 0.4, 0.51
    covered = math.asin(a * b / math.sqrt((a * a + h * h) * (b * b + h * h))) / math.pi
    transmittance, reflectance = passes("thin")
    # 32 x 32 points, one lit ball: the middle rule is good to 0.5 %
    assert shaped.optics.efficiency == pytest.approx(covered * transmittance, rel=0.005)
    assert shaped.optics.back_share == pytest.approx(reflectance / transmittance)
    corner = (h * h / (a * a + b * b + h * h)) ** 1.5  # cos / d2, against the middle
    glow = shaped.optics.glow
    assert glow[0, 0] / glow[32, 32] == pytest.approx(corner, rel=0.08)


def test_frame_that_no_light_reaches_is_told():
    """The right leaf reaches across the axis, which shades a small frame on it."""
    panel, closed = {"kind": "panel", "size_m": 0.2}, {"kind": "doors", "length_m": 0.3, "angles_deg": [-55, 60, 0, 0]}
    with pytest.raises(ModifierMismatch, match="no light reaches the frame") as caught:
        chain(panel, closed, {"kind": "frame", "size_m": 0.05, "gap_m": 0.5})
    assert caught.value.index == 2
    assert chain(panel, closed, {"kind": "frame", "size_m": 1.0, "gap_m": 0.5}).optics.efficiency > 0


def test_sock_makes_a_bowl_diffuse_and_recovers_what_it_throws_back():
    sock, bare = stock("dish-white", "sock"), stock("dish-white")
    assert sock.optics.angular is None
    transmittance, _ = passes("thick")
    assert transmittance < sock.optics.efficiency / bare.optics.efficiency < 1
    plain = chain({"kind": "panel", "size_m": 0.3}, {"kind": "sock"})
    assert plain.optics.efficiency == pytest.approx(transmittance)


# --- optics with lenses, windows, files -----------------------------------------------------------------------------

SPOT = {"kind": "projector", "lens_diameter_m": 0.1, "field_deg": 26, "focus_m": 3.0, "efficiency": 0.3}


def picture_lumens(keys: dict, distance_m: float = 3.0) -> float:
    """Lumens on a wall across the axis for one of the lamp."""
    side = (np.arange(81) + 0.5) / 81 * 2.4 - 1.2
    x, y = np.meshgrid(side, side)
    points = np.stack([x, y, np.full_like(x, distance_m)], axis=-1).reshape(-1, 3)
    lux = illuminance(fixture(chain(keys)), points, np.array([0, 0, -1.0]), 24)
    return float(lux.sum()) * (2.4 / 81) ** 2


def test_projector_sends_its_efficiency_through_the_open_gate():
    assert picture_lumens(SPOT) == pytest.approx(0.3, rel=0.01)


def test_iris_and_slot_pass_their_area():
    """Relative to the round gate: an iris s^2, a slot 4 w h / pi (it lies inside); luminance falls as cos^4, under 3 %."""
    open_gate = picture_lumens(SPOT)
    assert picture_lumens({**SPOT, "aperture": 0.5}) / open_gate == pytest.approx(0.25, rel=0.06)
    assert picture_lumens({**SPOT, "aperture": [0.6, 0.2]}) / open_gate == pytest.approx(0.48 / math.pi, rel=0.06)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("distance", "blur"),
    [(3.0, 0.0), *(pytest.param(*case, marks=pytest.mark.slow) for case in ((1.5, 0.05), (6.0, 0.1)))],
)
def test_projector_is_sharp_at_its_focus(distance, blur):
    """Thin lens of diameter d focused at f: an edge at D is blurred over d |1 - D / f|; nine tenths of that lie
    between 2 and 98 %, by the area of a circle's segment. The picture's cells add up to one and a half of them."""
    radius, cell = math.tan(math.radians(13)) * distance, 2 * math.tan(math.radians(13)) * distance / 256
    x = np.linspace(radius - 0.15, radius + 0.15, 1201)
    points = np.stack([x, 0 * x, np.full_like(x, distance)], axis=1)
    lux = illuminance(fixture(chain(SPOT)), points, np.array([0, 0, -1.0]), 128) * (1 + (x / distance) ** 2) ** 2
    lux /= lux[0]
    edge = x[(lux > 0.02) & (lux < 0.98)]
    width = np.ptp(edge) if edge.size else 0.0
    assert width == pytest.approx(0.9 * blur, rel=0.05, abs=1.5 * cell)


def test_pattern_stands_upright(tmp_path):
    """White in the upper left of the file is light toward the fixture's left and up."""
    values = np.zeros((40, 40), np.uint8)
    values[8:16, 8:16] = 255
    Image.fromarray(values).save(tmp_path / "corner.png")
    made = fixture(chain({**SPOT, "aperture": "corner.png"}, folder=tmp_path))
    at = math.tan(math.radians(13)) * 3 * 0.4
    lux = illuminance(made, np.array([[-at, at, 3], [at, at, 3], [-at, -at, 3]]), np.array([0, 0, -1.0]))
    assert lux[0] > 0
    assert lux[1] == lux[2] == 0


@pytest.mark.parametrize("name", PATTERNS)
def test_own_patterns_let_through_a_part(name):
    values = chain({**SPOT, "aperture": name}).optics.slide.values
    assert 0.1 < values.mean() < 0.6
    assert values.max() == 1
    assert values.min() == 0
    assert np.array_equal(values, chain({**SPOT, "aperture": name}).optics.slide.values)


def test_pictures_of_other_depths_and_shapes(tmp_path):
    Image.fromarray(np.full((20, 40), 32768, np.uint16)).save(tmp_path / "deep.png")
    Image.new("RGB", (20, 40), (51, 51, 51)).save(tmp_path / "rgb.png")
    Image.new("1", (8, 8), 1).save(tmp_path / "bits.png")
    deep, rgb, bits = (
        chain({**SPOT, "aperture": f"{n}.png"}, folder=tmp_path).optics.slide.values for n in ("deep", "rgb", "bits")
    )
    assert deep[128, 128] == pytest.approx(0.5, abs=1e-4)
    assert deep[40, 128] == 0  # twice as wide as high
    assert rgb[128, 128] == pytest.approx(0.2)
    assert rgb[128, 40] == 0
    assert bits[128, 128] == 1


@pytest.mark.parametrize(
    ("name", "says"),
    [("missing", "does not exist"), ("text", "no picture that can be read"), ("colour", "is in colour"), ("clear", "transparent"), ("black", "black all over")],
)  # fmt: skip
def test_unusable_pictures(tmp_path, name, says):
    (tmp_path / "text.png").write_text("no picture")
    Image.new("RGB", (8, 8), (200, 40, 40)).save(tmp_path / "colour.png")
    Image.new("LA", (8, 8), (200, 100)).save(tmp_path / "clear.png")
    Image.new("L", (8, 8), 0).save(tmp_path / "black.png")
    with pytest.raises(ModifierMismatch, match=says) as caught:
        chain({**SPOT, "aperture": f"{name}.png"}, folder=tmp_path)
    assert f"{name}.png" in str(caught.value)


def test_fresnel_collects_what_rays_count():
    """Random rays of the lamp against the lens's rim, the lamp where a thin lens sends the rim ray to the field's edge."""
    keys = {"kind": "fresnel", "lens_diameter_m": 0.2, "beam_deg": 30, "field_deg": 50, "focal_m": 0.15}
    a, f = 0.1, 0.15
    s = 1 / (math.tan(math.radians(25)) / a + 1 / f)
    z = 2 * np.random.default_rng(1).random(1_000_000) - 1
    counted = ((z > 0) & (s * np.sqrt(1 - z * z) <= a * z)).mean()
    efficiency = chain(keys).optics.efficiency
    assert efficiency == pytest.approx(1.8 * 0.9 * counted, rel=0.01)
    assert stock("fresnel-spot").optics.efficiency < stock("fresnel-flood").optics.efficiency


def test_window_shows_the_standard_overcast_sky():
    """An open vertical face gets 39.6 % of the horizontal light of the CIE overcast sky (BRE daylight guide), and half
    of what the ground sends: ground over sky = 0.2 x 0.5 / 0.396."""
    view = outside()
    theta, turn = (np.arange(300) + 0.5) * math.pi / 600, (np.arange(720) + 0.5) * math.pi / 360
    t, p = np.meshgrid(theta, turn)
    flux = angular_value(view, t, p) * np.cos(t) * np.sin(t) * math.pi / 600 * math.pi / 360
    assert flux.sum() == pytest.approx(1, abs=2e-3)
    from_sky = flux[np.sin(p) < 0].sum()
    # the horizon is drawn over one step of 3 degrees of azimuth
    assert (1 - from_sky) / from_sky == pytest.approx(GROUND * 0.5 / 0.396, rel=0.04)


def test_photometric_file_as_a_modifier(tmp_path):
    """A Lambertian disk of 1000 cd emits 1000 pi lm; rated 4000 lm, it gives 1000 / 4000 cd per lamp lumen on its axis."""
    gamma = np.arange(0, 91, 5)
    candela = " ".join(f"{1000 * math.cos(math.radians(g)):.3f}" for g in gamma)
    head = "IESNA:LM-63-2002\n[TEST] own\n[TESTLAB] own\n[ISSUEDATE] 2024\n[MANUFAC] none\nTILT=NONE\n"
    body = f"1 4000 1 {len(gamma)} 1 1 2 -0.3 -0.3 0\n1 1 100\n{' '.join(map(str, gamma))}\n0\n{candela}\n"
    (tmp_path / "disk.ies").write_text(head + body)
    shaped = chain({"kind": "photometric", "file": "disk.ies"}, folder=tmp_path)
    assert shaped.shape == "disk"
    assert shaped.size_m == pytest.approx([0.3, 0.3])
    far = axial_illuminance_per_lumen(fixture(shaped), 100.0) * 100.0**2
    assert far == pytest.approx(0.25, rel=0.005)
    with pytest.raises(ModifierMismatch, match=r"missing\.ies"):
        chain({"kind": "photometric", "file": "missing.ies"}, folder=tmp_path)


def test_panel_falls_to_half_at_its_angle():
    assert full_angle(stock("led-panel"), 0.5) == pytest.approx(100, abs=0.5)
    assert chain({"kind": "panel", "size_m": 0.3}).optics.angular is None


def test_transmission_seen_through_the_whole_chain():
    """On the axis, far away, the grid costs its open share alone."""
    bare, grid = (fixture(stock(*n)) for n in (("standard-reflector",), ("standard-reflector", "grid-20")))
    loss = axial_illuminance_per_lumen(grid, 200.0) / axial_illuminance_per_lumen(bare, 200.0)
    cells = grid.optics.cells
    assert loss == pytest.approx(cells.open_share, rel=0.01)
    assert transmission(cells.kind, cells.ratio, 0.0, 0.0) == pytest.approx(1)


@pytest.mark.parametrize("kind", ["hexagon", "round"])
def test_light_off_mirroring_cell_walls(kind):
    """Random rays that go across a cell in small steps and turn back at its walls, counting how often."""
    rng = np.random.default_rng(4)
    count, flats = 4000, 6 if kind == "hexagon" else 48
    turn = np.pi / 2 + np.arange(flats) * 2 * np.pi / flats
    normals = np.stack([np.cos(turn), np.sin(turn)])
    place = rng.uniform(-0.6, 0.6, (4 * count, 2))
    place = place[(place @ normals <= 0.5).all(axis=1)][:count]
    way = np.tile([math.cos(0.35), math.sin(0.35)], (len(place), 1))
    met, step = np.zeros(len(place)), 0.01
    table, shares = cell_table(kind, 0.56), {}
    for k in range(1, 301):
        place = place + step * way
        out = place @ normals - 0.5
        wall = out.argmax(axis=1)
        hit = out[np.arange(len(place)), wall] > 0
        normal = normals.T[wall[hit]]
        way[hit] -= 2 * (way[hit] * normal).sum(axis=1)[:, None] * normal
        place[hit] -= 2 * out[hit, wall[hit]][:, None] * normal
        met += hit
        if k % 50 == 0:
            shares[k * step] = (0.56**met).mean()
    got = table.passed(np.array(list(shares)), np.full(len(shares), 0.35))
    assert got == pytest.approx(np.array(list(shares.values())), rel=0.025)
    assert table.passed(np.array([0.0, table.widest + 0.01]), np.zeros(2)) == pytest.approx([1, 0])


def test_bright_cells_lose_less_and_spill_more():
    """Of the same grid: as bright on the axis far away, no darker near, half the light where dark cells end."""
    near, far = {}, {}
    for finish in ("dark", "bright"):
        grid = fixture(chain(STOCK["standard-reflector"], {"kind": "grid", "degrees": 20, "finish": finish}))
        near[finish], far[finish] = (axial_illuminance_per_lumen(grid, d) for d in (0.3, 10))
        side = illuminance(grid, np.array([[2.0, 0.0, 3.0]]), np.array([0.0, 0, -1]))
        assert (side[0] > 0) == (finish == "bright")
    assert far["bright"] == pytest.approx(far["dark"], rel=0.03)
    assert near["bright"] > 1.05 * near["dark"]
