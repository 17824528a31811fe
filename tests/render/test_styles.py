"""Key styles are read from the traced light: each passes as itself and fails as a clearly different one."""

from __future__ import annotations

import copy
import json
import math
from pathlib import Path
from typing import Any

import pytest

from materials import KeyfallError
from render import backend
from render.cache import Cache
from render.styles.check import StyleReport, check_style, read_face
from render.styles.facts import FaceFacts
from render.styles.rules import checks_of
from render.tracer import Tracer
from scenes import build_stage
from scenes.check import check_data
from scenes.stage import Stage
from scenes.styles import STYLES, apply_style

OTHER = {
    "butterfly": ("loop", "rembrandt", "split", "clamshell"),
    "loop": ("butterfly", "rembrandt", "split", "clamshell"),
    "rembrandt": ("butterfly", "loop", "split", "clamshell"),
    "split": ("butterfly", "loop", "rembrandt", "clamshell"),
    "short": ("butterfly", "rembrandt", "split", "broad"),
    "broad": ("butterfly", "rembrandt", "split", "short"),
    "clamshell": ("loop", "rembrandt", "split"),
    "profile-rim": ("butterfly", "loop", "rembrandt", "split"),
}
FIGURES, TURNS = ("ines", "jonas", "amara"), (10, -25)
HARD, SOFT = "standard-reflector", "octabox-90"
SLOW = [
    (figure, turn, (HARD, SOFT)[(i + j + k) % 2], style)
    for i, figure in enumerate(FIGURES)
    for j, turn in enumerate(TURNS)
    for k, style in enumerate(STYLES)
]

PLAIN: dict[str, Any] = {
    "format": 1,
    "camera": {"focal_length_mm": 135, "distance_m": 2.4, "look_at": "face", "long_side_px": 40, "aspect": "4:5"},
    "sitter": {},
    "room": {"size_m": [6, 7, 3], "walls": "charcoal-paint"},
    "background": {"distance_m": 1.8, "finish": "dark-grey-paper"},
    "light": {"key": {"head": "flash-400", "azimuth_deg": 40, "elevation_deg": 30, "distance_m": 1.2, "power": "1/16"}},
}


@pytest.fixture(scope="module")
def cache(tmp_path_factory) -> Cache:
    return Cache(tmp_path_factory.mktemp("faces"))


def styled(figure: str, turn: float, modifier: str, style: str, azimuth_deg: float = 40) -> Stage:
    """The stage of the plain set with its key in a style."""
    backend.init("auto")
    tables = copy.deepcopy(PLAIN)
    tables["sitter"] = {"figure": figure, "turn_deg": turn}
    tables["light"]["key"] |= {"modifiers": [modifier], "azimuth_deg": azimuth_deg}
    scene, problems = check_data(tables, Path("."))
    assert scene is not None, problems
    built, problems = check_data(apply_style(scene, style).tables, Path("."))
    assert built is not None, problems
    return build_stage(built)


def passes(facts: FaceFacts, style: str) -> bool:
    return all(check.passed for check in checks_of(STYLES[style], facts))


def _agrees(report: StyleReport) -> None:
    failed = [(c.what, c.expected, c.found) for c in report.checks if not c.passed]
    assert report.passed, (failed, report.words)
    for other in OTHER[report.style]:
        assert not passes(report, other), f"{report.style} also passes as {other}: {report.words}"
    if STYLES[report.style].triangle is not None:
        assert (report.triangle_mm2 > 0) == (report.style == "rembrandt")


@pytest.mark.slow
@pytest.mark.parametrize(
    ("figure", "turn", "modifier", "style"),
    [("amara", -25, SOFT, "rembrandt")],
)
def test_a_style_passes_as_itself_and_fails_as_others(figure, turn, modifier, style, cache):
    _agrees(check_style(styled(figure, turn, modifier, style), style, "key", cache=cache))


@pytest.mark.slow
@pytest.mark.parametrize(("figure", "turn", "modifier", "style"), SLOW)
def test_every_style_passes_as_itself_and_fails_as_others(figure, turn, modifier, style, cache):
    _agrees(check_style(styled(figure, turn, modifier, style), style, "key", cache=cache))


@pytest.mark.slow
def test_the_report_is_json_of_finite_numbers_and_its_words_follow_from_them(cache):
    report = check_style(styled("jonas", 10, HARD, "loop"), "loop", "key", cache=cache)
    again = StyleReport.model_validate_json(report.model_dump_json())
    assert again == report
    json.loads(report.model_dump_json(), parse_constant=pytest.fail)
    shadow = report.nose_shadow
    assert shadow.direction_deg is not None
    assert f"{abs(shadow.direction_deg):.0f} degrees from straight down to camera left" in report.words
    assert report.shadow_side == "camera left"
    assert f"{report.ratio:.1f}".removesuffix(".0") + ":1." in report.words
    assert report.ratio_stops == pytest.approx(math.log2(report.ratio), abs=2e-3)
    azimuth, elevation = math.radians(report.azimuth_deg), math.radians(report.elevation_deg)
    assert shadow.tan_deg == pytest.approx(-math.degrees(math.atan(math.sin(azimuth) / math.tan(elevation))), abs=0.2)


@pytest.mark.slow
def test_what_was_read_is_kept(cache, monkeypatch):
    stage = styled("jonas", 10, HARD, "loop")
    first = check_style(stage, "loop", "key", cache=cache)

    def traced(*_args, **_more):
        raise AssertionError("traced again")

    monkeypatch.setattr(Tracer, "meters", traced)
    assert check_style(stage, "loop", "key", cache=cache) == first
    assert not check_style(stage, "butterfly", "key", cache=cache).passed


@pytest.mark.slow
def test_the_nose_shadow_changes_sides_with_the_key(cache):
    right = read_face(styled("jonas", 10, HARD, "loop"), "key", cache=cache)
    left = read_face(styled("jonas", 10, HARD, "loop", azimuth_deg=-40), "key", cache=cache)
    assert right.nose_shadow.direction_deg < -15
    assert left.nose_shadow.direction_deg > 15
    assert (right.shadow_side, left.shadow_side) == ("camera left", "camera right")


def test_errors_name_the_light(cache):
    stage = styled("jonas", 10, HARD, "loop")
    with pytest.raises(KeyfallError, match=r"no light 'rim' on this set. Lights: key"):
        check_style(stage, "loop", "rim", cache=cache)
    with pytest.raises(KeyfallError, match="no key style 'ring'"):
        check_style(stage, "ring", "key", cache=cache)


@pytest.mark.slow
def test_a_key_that_misses_the_face_is_told(cache):
    backend.init("auto")
    tables = copy.deepcopy(PLAIN)
    tables["sitter"] = {"figure": "jonas"}
    tables["light"]["key"] |= {"modifiers": ["standard-reflector", "grid-10"], "aim": "background", "distance_m": 1.5}
    tables["light"]["key"] |= {"azimuth_deg": 60}
    scene, problems = check_data(tables, Path("."))
    assert scene is not None, problems
    with pytest.raises(KeyfallError, match="No light of 'key' reaches the face"):
        check_style(build_stage(scene), "loop", "key", cache=cache)


@pytest.mark.slow
@pytest.mark.parametrize("modifier", [HARD, SOFT])
def test_a_board_under_the_face_is_seen_in_the_light_from_under(modifier, cache):
    with_board = read_face(styled("ines", 0, modifier, "clamshell"), "key", cache=cache)
    without = read_face(styled("ines", 0, modifier, "butterfly"), "key", cache=cache)
    assert with_board.under_stops - without.under_stops > 1.5
