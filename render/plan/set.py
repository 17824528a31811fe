"""What the lighting plan draws: lights with their numbers, supports and beams, and what stands on the set."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from scenes.beams import spread
from scenes.bodies import in_frame
from scenes.stage import Fixture, Light, Stage

from ..light_table import LightRow, light_rows
from ..report import Report
from ..rigged.stands import support_of
from ..white import scene_white, settled
from .forms import Form, form_of
from .outline import SitterOutline, sitter_outline
from .tint import Tint, tint_of

LOW_STAND_M, TALL_STAND_M = 0.6, 2.6
"""Heights under which a light stands on a floor stand, and over which it takes a tall one (common practice)."""


@dataclass(frozen=True, slots=True)
class Support:
    """What holds a light.

    Attributes
    ----------
    kind : "floor stand", "stand", "tall stand", "boom", or "none" where it is part of the place or on the camera.
    foot_m : (3,) on the floor, where its column stands; None for "none".
    top_m : (3,) upper end of the column. held_m : (3,) where it holds the light.
    reach_m : of a boom's arm, level; 0 without. seen : whether some of its column would be in the picture.
    """

    kind: str
    foot_m: np.ndarray | None
    top_m: np.ndarray | None
    held_m: np.ndarray | None
    reach_m: float
    seen: bool


@dataclass(frozen=True, slots=True)
class PlanLight:
    """A light as the plan draws it.

    Attributes
    ----------
    aim_m : (3,) what it is aimed at; None for light from no place.
    beam_sides_m : how far its beam goes to the right, left, up and down of its axis, in metres, to half of the peak, on
        a wall square to the light where it is aimed; None where it is too wide to say, or for light from no place.
    """

    row: LightRow
    light: Light
    form: Form
    tint: Tint
    support: Support
    aim_m: np.ndarray | None
    beam_sides_m: tuple[float, ...] | None

    @property
    def beam_m(self) -> tuple[float, float] | None:
        """Width and height of its beam there, metres."""
        sides = self.beam_sides_m
        return None if sides is None else (sides[0] + sides[1], sides[2] + sides[3])

    @property
    def gels(self) -> list[str]:
        """Sheets of gel in front of it, by name."""
        return list(self.light.gels)

    @property
    def tilt_deg(self) -> float | None:
        """Of its axis, degrees; positive shines upward."""
        return None if self.row.tilt_down_deg is None else 0.0 - self.row.tilt_down_deg


@dataclass(frozen=True, slots=True)
class PlanPiece:
    """A piece of the set: kind "flag", "net", "silk" or "board", and its outline (n, 3)."""

    name: str
    kind: str
    corners_m: np.ndarray
    size_m: tuple[float, float]
    stops: float | None


@dataclass(frozen=True, slots=True)
class PlanSet:
    """Everything the plan draws."""

    stage: Stage
    report: Report
    lights: tuple[PlanLight, ...]
    sitter: SitterOutline | None
    pieces: tuple[PlanPiece, ...]

    def placed(self) -> list[tuple[PlanLight, Fixture]]:
        """Lights that stand on the set, with their fixtures."""
        return [(li, li.light.fixture) for li in self.lights if li.light.fixture is not None]


def plan_set(stage: Stage, report: Report) -> PlanSet:
    """Collect what the plan of a stage draws."""
    rows = {row.name: row for row in light_rows(stage, report)}
    reports = {light.name: light for light in report.lights}
    lights = {light.name: light for light in stage.lights}
    found = []
    white = scene_white(settled(stage).exposure)
    for name, row in sorted(rows.items(), key=lambda pair: pair[1].number):
        light = lights[name]
        tint = tint_of(reports[name], white)
        fixture = light.fixture
        aim = beam = None
        if fixture is not None and row.distance_to_aim_m is not None:
            aim = fixture.centre_m + row.distance_to_aim_m * fixture.forward
            beam = _beam_sides(fixture, row.distance_to_aim_m)
        found.append(PlanLight(row, light, form_of(light), tint, _support(light, stage), aim, beam))
    return PlanSet(stage, report, tuple(found), sitter_outline(stage), tuple(_pieces(stage)))


def _support(light: Light, stage: Stage) -> Support:
    from ..rigged.housing import rear_m

    if light.fixture is None:
        return Support("none", None, None, None, 0.0, False)
    held = light.fixture.centre_m - rear_m(light) * light.fixture.forward
    foot = support_of(light, stage)
    if foot is None:
        return Support("none", None, None, held, 0.0, False)
    reach = float(np.hypot(*(foot.floor_m - held)[[0, 2]])) if foot.boom else 0.0
    column = foot.floor_m + np.linspace(0, 1, 25)[:-1, None] * (foot.top_m - foot.floor_m)
    height = float(held[1])
    kind = "boom" if foot.boom else "stand"
    if not foot.boom and height < LOW_STAND_M:
        kind = "floor stand"
    elif not foot.boom and height > TALL_STAND_M:
        kind = "tall stand"
    return Support(kind, foot.floor_m, foot.top_m, held, reach, bool(in_frame(stage.camera, column).any()))


def _beam_sides(fixture: Fixture, distance_m: float) -> tuple[float, ...] | None:
    if fixture.shape == "sphere":
        return None
    try:
        sides = spread(fixture, distance_m).beam_sides_m
    except (ValueError, ZeroDivisionError):
        return None
    known = tuple(side for side in sides if side is not None)
    return known if len(known) == len(sides) else None


def _pieces(stage: Stage) -> list[PlanPiece]:
    found = []
    for piece in stage.pieces:
        x, y = piece.size_m[0] / 2 * piece.right, piece.size_m[1] / 2 * piece.up
        if piece.round:
            turn = np.linspace(0, 2 * np.pi, 49)[:-1, None]
            outline = piece.centre_m + np.cos(turn) * x + np.sin(turn) * y
        else:
            outline = piece.centre_m + np.array([x + y, -x + y, -x - y, x - y])
        size = (float(piece.size_m[0]), float(piece.size_m[1]))
        found.append(PlanPiece(piece.name, piece.kind, outline, size, piece.stops))
    return found
