"""Flags, nets, silks and boards through the traced path: they block, let through and bounce what they say."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from materials import default_bands, make_finish, make_source
from render.merge import merge
from render.meterset import direction_to
from render.silks import silks_before
from render.tracer import Tracer
from scenes.aiming import look_frame
from scenes.model import Piece
from scenes.pieces import Sheet, piece_net, piece_shapes, set_piece
from scenes.stage import Distant, Light, Output

from .sets import far_speck, finish, fixture, light, probe, quad, stage

UP = np.array([0.0, 1.0, 0.0])
BANDS = default_bands()
WHITE = BANDS.xyz_weights(make_source("E").spd)


def _sheet(at, toward, size, is_round=False) -> Sheet:
    centre = np.asarray(at, float)
    right, up, forward = look_frame(centre, centre + np.asarray(toward, float))
    return Sheet(centre, right, up, forward, np.array(size, float), is_round)


def _readings(pieces: list[tuple[Piece, Sheet]], lamp: Light, positions, normals, samples=4096, seeds=4) -> np.ndarray:
    """(B, M) lux a band of unit output."""
    shapes = [s for n, (piece, sheet) in enumerate(pieces) for s in piece_shapes(str(n), piece, sheet)]
    nets = [net for piece, sheet in pieces if (net := piece_net("net", piece, sheet)) is not None]
    return _metered(shapes, nets, lamp, positions, normals, samples, seeds)


def _metered(shapes, nets, lamp: Light, positions, normals, samples: int, seeds: int) -> np.ndarray:
    built = replace(stage([far_speck(), *shapes], [lamp]), nets=tuple(nets))
    tracer = Tracer(built, merge(built), BANDS, "auto", None)
    positions, normals = np.atleast_2d(np.asarray(positions, float)), np.atleast_2d(np.asarray(normals, float))
    placement = (positions, normals, np.zeros(len(positions), bool))
    return np.mean([tracer.meters((lamp,), placement, samples, seed)[0] for seed in range(seeds)], axis=0)


def _luminous(bands: np.ndarray) -> float:
    """Lux from lux a band, of one lumen of equal energy."""
    return float(bands @ WHITE[:, 1])


def _chromaticity(bands: np.ndarray) -> np.ndarray:
    xyz = bands @ WHITE
    return xyz[:2] / xyz.sum()


def _sun(toward: np.ndarray = UP) -> Light:
    sun = Distant("sun", toward, 0.53, None)
    return replace(light(None), distant=sun, output=Output(lumens=1.0, reading_lux=None))


def _square_above(side_m: float, height_m: float) -> float:
    """Share of a level meter's view that a square overhead fills, weighted by the cosine (Modest, appendix D)."""
    x = side_m / 2 / height_m
    return 4 / (2 * math.pi) * 2 * x / math.sqrt(1 + x * x) * math.atan(x / math.sqrt(1 + x * x))


@pytest.mark.parametrize("is_round", [False, True])
def test_a_flag_takes_the_light_away_where_its_shadow_falls(is_round: bool) -> None:
    lamp = light(fixture("disk", (0.02, 0.02), at=(0, 2, 0)))
    flag = Piece(kind="flag", size_m=0.4, round=is_round, at_m=[0, 1, 0])
    # the shadow of a lamp twice as high is twice as wide: 0.4 m to the side and, of a square, 0.57 to its corner
    places = np.array([[0, 0, 0], [0.37, 0, 0], [0.43, 0, 0], [0.37, 0, 0.37]])
    open_ = _readings([], lamp, places, np.tile(UP, (4, 1))).mean(axis=0)
    cut = _readings([(flag, _sheet((0, 1, 0), UP, (0.4, 0.4), is_round))], lamp, places, np.tile(UP, (4, 1)))
    assert cut.mean(axis=0) / open_ == pytest.approx([0, 0, 1, float(is_round)], abs=2e-3)


@pytest.mark.slow
def test_the_edge_of_a_flags_shadow_is_as_soft_as_the_lamp_is_wide() -> None:
    """A disk 2 m up, cut by a straight edge halfway: its shadow runs out over the lamp's own width, as the segment of
    the disk that the edge leaves open."""
    lamp = light(fixture("disk", (0.04, 0.04), at=(0, 2, 0)))
    flag = Piece(kind="flag", size_m=0.4, at_m=[0, 1, 0])
    along = np.array([-1.1, -0.5, 0.0, 0.5, 1.1])
    places = np.array([[0.4 + 0.02 * t, 0, 0] for t in along])
    normals = np.tile(UP, (len(along), 1))
    open_ = _readings([], lamp, places, normals).mean(axis=0)
    cut = _readings([(flag, _sheet((0, 1, 0), UP, (0.4, 0.4)))], lamp, places, normals).mean(axis=0)
    t = np.clip(along, -1, 1)
    segment = 0.5 + (np.arcsin(t) + t * np.sqrt(1 - t * t)) / math.pi
    assert cut / open_ == pytest.approx(segment, abs=0.016)  # 4 standard errors of a half


@pytest.mark.slow
@pytest.mark.parametrize("stops", [0.5, 1, 2])
@pytest.mark.parametrize("face", [1, -1])
def test_a_silk_lets_its_stops_through_and_glows_on_both_sides(stops: float, face: int) -> None:
    """Sunlight straight down on a wide silk, 1 lx: below it glows with exitance 2^-stops, above with what it sends
    back; a meter 1 m away gets that times how much of its view the silk fills. 1 % for noise."""
    silk = Piece(kind="silk", size_m=20, stops=stops, at_m=[0, 1, 0])
    places, normals = np.array([[0.0, 0, 0], [0, 2, 0]]), np.array([UP, -UP])
    sheet = _sheet((0, 1, 0), face * UP, (20, 20))
    below, above = _readings([(silk, sheet)], _sun(), places, normals, 16384).T / _square_above(20, 1)
    cloth = BANDS.project(make_finish("white-silk").reflectance[0])
    assert -math.log2(below @ WHITE[:, 1]) == pytest.approx(stops, abs=0.02)
    assert below + above == pytest.approx(cloth, rel=0.01)
    assert below / cloth == pytest.approx(np.full(len(cloth), below[0] / cloth[0]), rel=1e-3)


def test_a_silk_scatters_alike_to_all_sides() -> None:
    """Sun from 50 degrees off a silk as wide as the sky: meters below it, turned b off it toward the sun or along its
    way, get (1 + cos b)/2 of what the silk glows with, as under an even sky, less 0.25 % past its rim; noise 0.04 %."""
    slant, turns = math.radians(50), np.radians([-90, -60, 0, 60, 90])
    sun = _sun(np.array([-math.sin(slant), math.cos(slant), 0]))
    silk = Piece(kind="silk", size_m=100, stops=1, at_m=[0, 0.1, 0])
    normals = np.stack([np.sin(turns), np.cos(turns), np.zeros(5)], axis=1)
    read = _readings([(silk, _sheet((0, 0.1, 0), -UP, (100, 100)))], sun, np.zeros((5, 3)), normals, 16384)
    assert read.T @ WHITE[:, 1] == pytest.approx(0.5 * math.cos(slant) * (1 + np.cos(turns)) / 2, rel=0.005)


def _bounce(of: str, to) -> np.ndarray:
    """(B,) lux at `to`, turned to the board's middle, of a spot that hits only the board, from 45 degrees."""
    lamp = light(fixture("spot", (0.05, 0.05), at=(-1, 1, 0), toward=(1, -1, 0), beam=15, field=25))
    board = Piece(kind="board", size_m=1.0, finish=of, at_m=[0, 0, 0])
    to = np.asarray(to, float)
    return _readings([(board, _sheet((0, 0, 0), UP, (1, 1)))], lamp, to, -to / np.linalg.norm(to), 16384)[:, 0]


@pytest.mark.slow
@pytest.mark.parametrize(("side_m", "away_m"), [(1.0, 1.0), (0.5, 0.6)])
@pytest.mark.parametrize(("of", "tolerance"), [("lambertian", 0.01), ("white-board", 0.03)])
def test_a_white_board_lifts_the_shadow_side_of_a_grey_card(
    side_m: float, away_m: float, of: str, tolerance: float
) -> None:
    """A card whose back the sun cannot reach, and a board opposite: the back gets the board's reflectance, times the
    cosine at which the sun meets it, times how much of the card's view it fills. The sun's angle keeps the card's
    shadow off the board. 1 % for noise; a real board's sheen of 4 % adds up to 2 %."""
    turn = math.radians(50)
    sun = _sun(np.array([-math.cos(turn), math.sin(turn), 0]))
    card = quad([0, -0.1, -0.1], [0, 0.2, 0], [0, 0, 0.2], finish(0.18))
    board = Piece(kind="board", size_m=side_m, finish="white-board", at_m=[away_m, 0, 0])
    shapes = list(piece_shapes("board", board, _sheet((away_m, 0, 0), (-1, 0, 0), (side_m, side_m))))
    share = BANDS.project(make_finish("white-board").reflectance[0])
    if of == "lambertian":
        shapes, share = [replace(s, finish=finish(0.8)) for s in shapes], np.full(len(share), 0.8)
    placement = np.array([[1e-3, 0, 0]]), np.array([[1.0, 0, 0]])
    bare, lifted = (_metered([card, *more], (), sun, *placement, 8192, 16)[:, 0] for more in ([], shapes))
    assert (bare == 0).all()
    assert lifted == pytest.approx(share * math.cos(turn) * _square_above(side_m, away_m), rel=tolerance)


MIRROR, BACK, ASIDE = (1.4, 1.4, 0), (-1.4, 1.4, 0), (0, 1.4, 1.4)


@pytest.mark.slow
def test_a_silver_board_throws_its_bounce_one_way_and_a_white_one_spreads_it() -> None:
    silver, white = (
        np.array([_luminous(_bounce(b, to)) for to in (MIRROR, BACK)]) for b in ("silver-board", "white-board")
    )
    assert silver[0] / silver[1] > 8
    assert 1 < white[0] / white[1] < 1.6
    assert 1 < math.log2(silver[0] / white[0]) < 2.5  # common practice, no source: a stop or two brighter
    assert silver[1] < 0.4 * white[1]


@pytest.mark.slow
def test_a_gold_board_bounces_warm_light_to_all_sides() -> None:
    """Under equal energy (xy 1/3, 1/3): its bounce has the chromaticity of its reflectance, whichever way it goes."""
    own = _chromaticity(BANDS.project(make_finish("gold-board").reflectance[0]))
    assert own == pytest.approx([0.403, 0.398], abs=0.002)
    for to in (MIRROR, BACK, ASIDE):
        assert _chromaticity(_bounce("gold-board", to)) == pytest.approx(own, abs=0.001)
        assert _chromaticity(_bounce("silver-board", to)) == pytest.approx([1 / 3, 1 / 3], abs=0.002)


@pytest.mark.slow
def test_a_black_board_bounces_next_to_nothing() -> None:
    assert _luminous(_bounce("black-board", BACK)) < 0.08 * _luminous(_bounce("white-board", BACK))
    assert _luminous(_bounce("black-board", MIRROR)) < 0.15 * _luminous(_bounce("white-board", MIRROR))  # its sheen


@pytest.mark.slow
def test_a_board_of_two_faces_bounces_by_the_face_that_is_lit() -> None:
    lamp = light(fixture("spot", (0.05, 0.05), at=(0, 1, 0), toward=(0, -1, 0), beam=15, field=25))
    board = Piece(kind="board", size_m=1.0, finish="white-board", back="black-board", at_m=[0, 0, 0])
    place, facing = np.array([[1.0, 1.0, 0]]), np.array([[-1.0, -1.0, 0]]) / math.sqrt(2)
    face, back = (
        _readings([(board, _sheet((0, 0, 0), toward, (1, 1)))], lamp, place, facing).mean() for toward in (UP, -UP)
    )
    assert back < 0.1 * face


@pytest.mark.slow
@pytest.mark.parametrize("stops", [0.5, 1, 1.5])
def test_a_net_dims_by_its_stops(stops: float) -> None:
    lamp = light(fixture("disk", (0.1, 0.1), at=(0, 2, 0)))
    net = Piece(kind="net", size_m=1.0, stops=stops, at_m=[0, 1, 0])
    place = np.zeros((1, 3))
    open_ = _readings([], lamp, place, UP[None]).mean()
    dimmed = _readings([(net, _sheet((0, 1, 0), -UP, (1, 1)))], lamp, place, UP[None]).mean()
    assert -math.log2(dimmed / open_) == pytest.approx(stops, abs=0.002)


@pytest.mark.slow
def test_what_a_silk_is_said_to_take_is_what_the_traced_meter_loses() -> None:
    """A cloth of one stop takes more at the sitter, by what it scatters past; near a lamp and the sitter, no more."""
    sun = _sun(look_frame(np.zeros(3), np.array([0.3, 1.0, 0.1]))[2])
    lamp = light(fixture("disk", (0.4, 0.4), at=(0.3, 2.0, 0.1), toward=(-0.3, -2.0, -0.1)))
    for of, height, size, most in ((sun, 1.0, 0.8, 9.0), (lamp, 1.0, 0.8, 9.0), (lamp, 0.4, 1.2, 1.1)):
        piece = Piece(kind="silk", size_m=size, stops=1.0, at_m=[0, height, 0])
        sheet = _sheet((0, height, 0), UP, (size, size))
        face = stage([far_speck()], [of], probes=(probe("face", (0, 0, 0)),))
        (told,) = silks_before(of, replace(face, pieces=(set_piece("s", piece, sheet),)), "face")
        toward = direction_to(of, np.zeros(3))
        bare, covered = (_luminous(_readings(p, of, np.zeros(3), toward, seeds=1)[:, 0]) for p in ([], [(piece, sheet)]))
        assert told.stops == pytest.approx(math.log2(bare / covered), abs=0.04)
        assert ("its cloth takes 1 stop, and the rest" in told.words) == (told.stops > 1.3) == (most > 2)
        assert told.stops <= most
        assert f"takes {told.stops:.1f} stops" in told.words
        aside = set_piece("s", piece, _sheet((5, 1, 0), UP, (1, 1)))
        assert silks_before(of, replace(face, pieces=(aside,)), "face") == []


def test_a_silk_under_the_sun_takes_what_its_view_factor_says() -> None:
    sun = _sun()
    for height, size in ((1.0, 0.8), (1.2, 2.0), (0.3, 2.0)):
        piece = Piece(kind="silk", size_m=size, stops=1.0, at_m=[0, height, 0])
        set_ = stage([far_speck()], [sun], probes=(probe("face", (0, 0, 0)),))
        silk = set_piece("overhead", piece, _sheet((0, height, 0), UP, (size, size)))
        (told,) = silks_before(sun, replace(set_, pieces=(silk,)), "face")
        assert told.stops == pytest.approx(1 - math.log2(_square_above(size, height)), abs=0.01)
        assert told.words.startswith(f"The silk overhead takes {told.stops:.1f} stops of the direct light of ")
        assert ("its cloth takes 1 stop, and the rest" in told.words) == (told.stops > 1.15)
        assert silks_before(sun, replace(set_, pieces=(replace(silk, kind="flag"),)), "face") == []
