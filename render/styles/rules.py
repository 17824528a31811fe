"""What each key style asks of a face, and the face said in words. Every threshold is common practice, no source."""

from __future__ import annotations

from collections.abc import Iterator

from scenes.meters import format_ratio, format_stops
from scenes.styles.style import TURNED_DEG, Style

from ..record import Record
from .facts import FaceFacts

DIRECTION_DEG = 15.0
"""Most by which the traced shadow of the nose may point elsewhere than straight lines from the light say."""

LENGTHS = (0.65, 1.5)
"""Least and most of its traced length over the expected one."""

ALIKE = 0.1
OPEN_CHEEK = 0.35
DARK_HALF, LIT_HALF = 0.15, 0.6
APART = 0.15
"""Lit shares of the halves of a face: most that alike ones differ, least of an open far cheek, most and least of a
split face, least by which a lit half is ahead."""

UNDER_STOPS = -3.5
"""Least light on the chin from below against that on the forehead from above, stops, for a clamshell; without a fill
the floor alone gives four to six stops under."""

PROFILE_DEG = (65.0, 115.0)
EDGE_LIT, FRONT_LIT = 0.5, 0.3
"""Of a rimmed profile: turn from the camera, least lit share of its line, most of the side toward the camera."""


class StyleCheck(Record):
    """One thing looked at: what, what is expected, what was found, and whether that agrees."""

    what: str
    expected: str
    found: str
    passed: bool


def checks_of(style: Style, facts: FaceFacts) -> tuple[StyleCheck, ...]:
    """Everything a style asks for, held against what was found."""
    return tuple(_checks(style, facts))


def _checks(style: Style, facts: FaceFacts) -> Iterator[StyleCheck]:
    lifted = style.name == "clamshell" and facts.nose_shadow.direction_deg is None
    if style.shadow_deg is not None and not lifted:
        yield _direction(style, facts)
        yield _geometry(facts)
    if style.triangle is not None:
        yield _triangle(style, facts)
    yield from _RULES[style.name](facts)


def _direction(style: Style, facts: FaceFacts) -> StyleCheck:
    assert style.shadow_deg is not None
    low, high = style.shadow_deg
    found = facts.nose_shadow.direction_deg
    straight = style.azimuth_deg[1] == 0
    wanted = f"within {high:.0f} degrees of straight down" if straight else (
        f"{low:.0f} to {high:.0f} degrees from straight down, to {facts.shadow_side}"
    )  # fmt: skip
    away = None if found is None else found if straight or facts.azimuth_deg < 0 else -found
    passed = away is not None and low <= away <= high
    return StyleCheck(what="nose shadow", expected=wanted, found=shadow_words(facts), passed=passed)


def _geometry(facts: FaceFacts) -> StyleCheck:
    shadow = facts.nose_shadow
    expected = shadow.expected_direction_deg, shadow.expected_length_mm
    found = shadow.direction_deg, shadow.length_mm
    said, seen = (
        "next to none" if pair[0] is None else f"{abs(pair[0]):.0f} degrees from straight down, {pair[1]:.0f} mm long"
        for pair in (expected, found)
    )
    if found[0] is None or expected[0] is None or found[1] is None or expected[1] is None:
        passed = found[0] is None and expected[0] is None
    else:
        passed = abs(found[0] - expected[0]) <= DIRECTION_DEG and LENGTHS[0] <= found[1] / expected[1] <= LENGTHS[1]
    return StyleCheck(
        what="nose shadow against straight lines from the light", expected=said, found=seen, passed=passed
    )


def _triangle(style: Style, facts: FaceFacts) -> StyleCheck:
    there = facts.triangle_mm2 > 0
    found = f"{facts.triangle_mm2:.0f} mm2, {facts.triangle_width_mm:.0f} mm wide" if there else "none"
    wanted = "a lit patch under the eye, closed off by shadow" if style.triangle else "none"
    return StyleCheck(what="cheek triangle", expected=wanted, found=found, passed=there == style.triangle)


def _cheeks_alike(facts: FaceFacts) -> Iterator[StyleCheck]:
    yield _compared(
        "both halves", f"lit alike, within {100 * ALIKE:.0f} %",
        facts, abs(facts.lit.key_side - facts.lit.shadow_side) <= ALIKE,
    )  # fmt: skip


def _clamshell(facts: FaceFacts) -> Iterator[StyleCheck]:
    yield from _cheeks_alike(facts)
    under = facts.under_stops
    yield StyleCheck(
        what="light from under",
        expected=f"at most {-UNDER_STOPS:g} stops under the light from above",
        found="none" if under is None else f"{format_stops(under)} stops",
        passed=under is not None and under >= UNDER_STOPS,
    )


def _open_cheek(facts: FaceFacts) -> Iterator[StyleCheck]:
    yield _compared(
        "far cheek", f"at least {100 * OPEN_CHEEK:.0f} % of its half lit, the other {100 * ALIKE:.0f} % more",
        facts, facts.lit.shadow_side >= OPEN_CHEEK and facts.lit.key_side - facts.lit.shadow_side > ALIKE,
    )  # fmt: skip


def _mostly_shadow(facts: FaceFacts) -> Iterator[StyleCheck]:
    yield _compared(
        "far half", f"less lit than the other by {100 * APART:.0f} % or more",
        facts, facts.lit.key_side - facts.lit.shadow_side >= APART,
    )  # fmt: skip


def _half_and_half(facts: FaceFacts) -> Iterator[StyleCheck]:
    yield _compared(
        "halves", f"one at least {100 * LIT_HALF:.0f} % lit, the other at most {100 * DARK_HALF:.0f} %",
        facts, facts.lit.shadow_side <= DARK_HALF and facts.lit.key_side >= LIT_HALF,
    )  # fmt: skip
    yield StyleCheck(
        what="turn of the face",
        expected=f"under {PROFILE_DEG[0]:.0f} degrees from the camera, so that both halves are seen",
        found=f"{abs(facts.turn_deg):.0f} degrees",
        passed=abs(facts.turn_deg) < PROFILE_DEG[0],
    )


def _compared(what: str, expected: str, facts: FaceFacts, passed: bool) -> StyleCheck:
    lit = facts.lit
    found = f"{100 * lit.key_side:.0f} % lit toward the key, {100 * lit.shadow_side:.0f} % on the other half"
    return StyleCheck(what=what, expected=expected, found=found, passed=passed)


def _turned(facts: FaceFacts) -> StyleCheck:
    return StyleCheck(
        what="turn of the face",
        expected=f"at least {TURNED_DEG:.0f} degrees from the camera",
        found=f"{abs(facts.turn_deg):.0f} degrees",
        passed=abs(facts.turn_deg) >= TURNED_DEG - 0.5,
    )


def _by_camera(facts: FaceFacts, wanted: str, passed: bool) -> StyleCheck:
    lit = facts.lit
    found = f"{100 * lit.camera_side:.0f} % lit toward the camera, {100 * lit.far_side:.0f} % on the far half"
    return StyleCheck(what="side toward the camera", expected=wanted, found=found, passed=passed)


def _short(facts: FaceFacts) -> Iterator[StyleCheck]:
    yield _turned(facts)
    wanted = f"less lit than the far half by {100 * APART:.0f} % or more"
    yield _by_camera(facts, wanted, facts.lit.far_side - facts.lit.camera_side >= APART)


def _broad(facts: FaceFacts) -> Iterator[StyleCheck]:
    yield _turned(facts)
    wanted = f"more lit than the far half by {100 * APART:.0f} % or more"
    yield _by_camera(facts, wanted, facts.lit.camera_side - facts.lit.far_side >= APART)


def _profile(facts: FaceFacts) -> Iterator[StyleCheck]:
    low, high = PROFILE_DEG
    yield StyleCheck(
        what="turn of the face",
        expected=f"{low:.0f} to {high:.0f} degrees from the camera",
        found=f"{abs(facts.turn_deg):.0f} degrees",
        passed=low <= abs(facts.turn_deg) <= high,
    )
    wanted = f"at most {100 * FRONT_LIT:.0f} % lit"
    yield _by_camera(facts, wanted, facts.lit.camera_side <= FRONT_LIT)
    yield StyleCheck(
        what="line of the profile",
        expected=f"at least {100 * EDGE_LIT:.0f} % lit",
        found=f"{100 * facts.lit.profile_edge:.0f} % lit",
        passed=facts.lit.profile_edge >= EDGE_LIT,
    )


_RULES = {
    "butterfly": _cheeks_alike,
    "loop": _open_cheek,
    "rembrandt": _mostly_shadow,
    "split": _half_and_half,
    "short": _short,
    "broad": _broad,
    "clamshell": _clamshell,
    "profile-rim": _profile,
}


def shadow_words(facts: FaceFacts) -> str:
    """Where the shadow of the nose falls, in words."""
    found = facts.nose_shadow.direction_deg
    if found is None:
        return "next to none"
    if round(abs(found)) <= 3:
        return "straight down"
    to_key = (found > 0) == (facts.azimuth_deg > 0)
    return f"{abs(found):.0f} degrees from straight down to {facts.key_side if to_key else facts.shadow_side}"


def in_words(facts: FaceFacts) -> str:
    """The face in one sentence, each part of it from a number of the report."""
    ratio = "no light on the darker cheek" if facts.ratio is None else format_ratio(facts.ratio)
    return f"{pattern_words(facts)}, {ratio}."


def pattern_words(facts: FaceFacts) -> str:
    """What the key draws on the face, without the ratio and the full stop."""
    shadow = shadow_words(facts)
    first = f"Nose shadow {shadow}" if shadow != "next to none" else "Next to no nose shadow"
    if facts.triangle_mm2 > 0:
        return f"{first}, lit triangle on the cheek to {facts.shadow_side}"
    toward, other = (f"{100 * share:.0f} %" for share in (facts.lit.key_side, facts.lit.shadow_side))
    return f"{first}, {toward} of the half toward the key lit, {other} of the other"
