"""What the lights of a set, their stands and booms run into: walls, paper, the sitter, the picture, each other.

Stands and booms are where Keyfall draws them (`support_of`); whoever rigs may find a better place, so all of this is
told as warnings.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from ..bodies import exit_outline
from ..confines import wall_name
from ..findings import Problem
from ..model import Light, Room
from ..placing import PlacedSitter, point_in_sitter
from ..stage import Fixture
from .housing import Look, solids_of
from .picture import HIDDEN_SHARE, SHOWN_SHARE, Frame, frame_of, points_on
from .solid import Solid
from .stands import Foot, Place, legs_at, support_of

TOLD_M = 0.02
"""Less than this is not told of, metres: housings differ by more from make to make."""

COLUMN_GAP_M = 0.03
BLOCKED_SHARE = 0.2
"""Share of the way to its aim that another light may take, a third of a stop, before it is told."""
CLOSE_M = 0.12
"""Nearer than this to the sitter the column of a stand is told of, metres."""

_CAMERA_M = 0.08
_WALLS = {"left": (0, -1), "right": (0, 1), "ceiling": (1, 1), "back": (2, -1), "front": (2, 1)}
_SOFT = ("hair", "brow", "lash")


@dataclass(frozen=True)
class Rigged:
    """A light that stands on the set, as this package sees it.

    `aim_m` (3,) is what it is pointed at; `moved` gives its fixture with some keys of its table changed, None where
    that cannot be.
    """

    name: str
    table: Light
    fixture: Fixture
    look: Look
    aim_m: np.ndarray
    moved: Callable[[dict[str, float]], Fixture | None]

    @functools.cached_property
    def solids(self) -> tuple[Solid, ...]:
        """Its bodies."""
        return solids_of(self.fixture, self.look)

    def key(self) -> str:
        """The key that says how far away it stands."""
        return "at_m" if self.table.at_m is not None else "distance_m"


def rigging_problems(
    rigged: list[Rigged], place: Place, sitter: PlacedSitter, room: Room | None, only: str | None = None
) -> Iterator[Problem]:
    """Everything the lights and their stands run into, each with the light's name before its path; or only what the
    light of the name `only` has to do with."""
    stands: dict[str, Foot | None] = {}
    frame = frame_of(place.camera, sitter)
    body = _hard(sitter)
    for light in rigged:
        stands[light.name] = support_of(light.fixture, light.look, place)
        if only is not None and light.name != only:
            continue
        for problem in (
            *_walls(light, place, room),
            *_through_paper(light, place),
            *_sitter(light, sitter, body),
            *_stand(light, stands[light.name], place, sitter, body, room),
            *_in_picture(light, stands[light.name], place, frame),
            *_camera(light, stands[light.name], place),
            *_picture(light, place, frame),
        ):
            yield problem.within("light", light.name)
    lit = [light for light in rigged if light.table.on]
    pairs = [pair for pair in combinations(lit, 2) if only is None or only in (pair[0].name, pair[1].name)]
    yield from _each_other(pairs, stands)
    yield from _in_the_light(pairs)


def _warning(light: Rigged, message: str, fix: str, key: str = "", allowed: str = "") -> Problem:
    return Problem((key or light.key(),), message, allowed, fix, "warning")


def _over(points: np.ndarray, room: Room | None) -> dict[str, float]:
    """How far points (n, 3) reach through each closed side of the room, metres; sides that they keep are left out."""
    if room is None:
        return {}
    width, _, top = room.size_m
    back, front = room.back_z_m(), room.front_z_m()
    limits = {"left": -width / 2, "right": width / 2, "ceiling": top, "back": back, "front": front}
    found = {}
    for side, (axis, way) in _WALLS.items():
        past = float((way * (points[:, axis] - limits[side])).max())
        if side not in room.open and past > TOLD_M:
            found[side] = past
    return found


def _points(solids: tuple[Solid, ...]) -> np.ndarray:
    return np.concatenate([solid.surface for solid in solids]) if solids else np.zeros((0, 3))


def _walls(light: Rigged, place: Place, room: Room | None) -> Iterator[Problem]:
    points = _points(light.solids)
    if not len(points) or _over(light.fixture.centre_m[None], room):
        return  # the light itself is outside, which is told elsewhere
    for side, past in _over(points, room).items():
        what = "the ceiling" if side == "ceiling" else f"the {side} wall"
        fix = _way_in(light, lambda fixture: not _over(_points(solids_of(fixture, light.look)), room), side, past)
        yield _warning(light, f"the housing of this light reaches {past:.2f} m through {what}", fix)


def _through_paper(light: Rigged, place: Place) -> Iterator[Problem]:
    paper = place.paper
    if paper is None or not light.solids or paper.hides(light.fixture.centre_m):
        return
    past = paper.reached_through(_points(light.solids))
    if past > TOLD_M:
        fix = f"Move it {past:.2f} m away from the background, or turn it."
        yield _warning(light, f"the housing of this light reaches {past:.2f} m through the background", fix)


def _way_in(light: Rigged, free: Callable[[Fixture], bool], side: str, past: float) -> str:
    """How to move a light so that it is free: the smallest change of one key that does it."""
    table = light.table
    tries: list[tuple[str, list[float]]] = []
    if table.elevation_deg is not None and table.at_m is None:
        tries.append(("elevation_deg", [table.elevation_deg - step for step in range(1, 61)]))
    if table.height_m is not None and side == "ceiling":
        tries.append(("height_m", [round(table.height_m - 0.02 * step, 2) for step in range(1, 61)]))
    if table.distance_m is not None and table.at_m is None:
        tries.append(("distance_m", [round(table.distance_m - 0.02 * step, 2) for step in range(1, 61)]))
    found = []
    for key, values in tries:
        for value in values:
            if key == "distance_m" and value <= 0.3:
                break
            fixture = light.moved({key: value})
            if fixture is not None and free(fixture):
                found.append(f"{key} = {value:g}")
                break
    if found:
        return f"Write {' or '.join(found)}, or take a shorter housing."
    way = "lower" if side == "ceiling" else "into the room"
    return f"Move it {past:.2f} m {way}, or enlarge the room."


def _sitter(light: Rigged, sitter: PlacedSitter, body: np.ndarray) -> Iterator[Problem]:
    solids = light.solids
    if not solids:
        return
    deepest = max((_in_sitter(solid, sitter, body) for solid in solids), default=0.0)
    if deepest > TOLD_M:
        clear = _way_out(light, sitter, body)
        message = f"the housing of this light reaches {deepest:.2f} m into the sitter"
        yield _warning(light, message, clear or "Move it away from the sitter, or turn it.")


def _in_sitter(solid: Solid, sitter: PlacedSitter, body: np.ndarray) -> float:
    """How deep a body and the sitter share room, metres; hair does not count."""
    low, high = solid.surface.min(axis=0), solid.surface.max(axis=0)
    if (high < sitter.low).any() or (low > sitter.high).any():
        return 0.0
    return max(float(solid.depth_in(body).max(initial=0.0)), 0.0)


def _way_out(light: Rigged, sitter: PlacedSitter, body: np.ndarray) -> str:
    if light.table.distance_m is None or light.table.at_m is not None:
        return ""
    for step in range(1, 41):
        distance = round(light.table.distance_m + 0.05 * step, 2)
        fixture = light.moved({"distance_m": distance})
        if fixture is not None and all(_in_sitter(s, sitter, body) <= TOLD_M for s in solids_of(fixture, light.look)):
            return f"Write distance_m = {distance:g} or more."
    return ""


def _hard(sitter: PlacedSitter) -> np.ndarray:
    """Points (n, 3) of the sitter's body, clothes and seat."""
    return points_on([part for part in sitter.parts if part.slot not in _SOFT])


def _stand(
    light: Rigged, foot: Foot | None, place: Place, sitter: PlacedSitter, body: np.ndarray, room: Room | None
) -> Iterator[Problem]:
    if foot is None or _over(light.fixture.centre_m[None], room):
        return
    what = "the column of its boom" if foot.boom else "its stand"
    aside = "Move the light, or hang it from above or from a longer boom."
    ends = foot.floor_m[None] if _over(_points(light.solids), room) else np.stack([foot.floor_m, foot.top_m])
    for side, past in _over(ends, room).items():
        yield _warning(light, f"{what} would stand {past:.2f} m {wall_name(side)}", aside)
    deep = _through(foot.column(), sitter, body)
    legs = 0.0 if deep > 0 else legs_at(foot, body)[1]
    gap = _gap(foot, body)
    if deep > 0:
        yield _warning(light, f"{what} would stand in the sitter, {deep:.2f} m deep", aside)
    elif legs > 0:
        message = f"the legs of its stand would reach {legs:.2f} m into the sitter, however they are turned"
        yield _warning(light, message, f"Move it {legs:.2f} m away, boom it in, or set it on the floor.")
    elif gap < CLOSE_M:
        message = f"{what} would stand only {gap:.2f} m from the sitter"
        yield _warning(light, message, f"Move it {CLOSE_M - gap:.2f} m away, boom it in, or set it on the floor.")
    yield from _behind_paper(light, foot, place, what, aside)
    yield from _boom(light, foot, place, sitter, body, room)


def _behind_paper(light: Rigged, foot: Foot, place: Place, what: str, aside: str) -> Iterator[Problem]:
    """A stand behind the background of a light before it, or through the curve of a sweep."""
    paper = place.paper
    if paper is None or paper.hides(light.fixture.centre_m):
        return
    behind = paper.behind(foot.floor_m)
    if behind <= TOLD_M:
        return
    if float(foot.floor_m[2]) < paper.z_m:
        deep = paper.z_m - float(foot.floor_m[2])
        yield _warning(light, f"{what} would stand {deep:.2f} m behind the background", aside)
    else:
        where = f"where it curves onto the floor, {behind:.2f} m into the curve"
        message = f"{what} would go through the background {where}"
        fix = f"Move the light {behind:.2f} m toward the camera, or beside the paper; or hang it from above."
        yield _warning(light, message, fix)


def _gap(foot: Foot, body: np.ndarray) -> float:
    """Least distance of the column from the sitter, metres."""
    beside = body[body[:, 1] < foot.top_m[1]]
    if not len(beside):
        return np.inf
    return float(np.hypot(beside[:, 0] - foot.floor_m[0], beside[:, 2] - foot.floor_m[2]).min())


def _in_picture(light: Rigged, foot: Foot | None, place: Place, frame: Frame) -> Iterator[Problem]:
    """A stand that the picture would show, on the paper or before it."""
    if foot is None or light.table.visible:  # a lamp that may be seen may be seen to stand
        return
    paper = place.paper
    if frame.shows(foot.floor_m[None] + np.array([0.0, 0.01, 0.0]), paper) and paper and paper.carries(foot.floor_m):
        fix = "Move the light, boom it in from beside the paper, or shorten floor_length_m under [background]."
        yield _warning(light, "its stand would stand on the paper, in the picture", fix)
    elif frame.shows(foot.column()[:-2], paper):
        yield _warning(light, "its stand would show in the picture", "Move the light, or hang it from above.")
    elif frame.shows(foot.arm(light.fixture.centre_m)[4:], paper):
        yield _warning(light, "its boom would show in the picture", "Move the light, or hang it from above.")


def _boom(
    light: Rigged, foot: Foot, place: Place, sitter: PlacedSitter, body: np.ndarray, room: Room | None
) -> Iterator[Problem]:
    arm = foot.arm(light.fixture.centre_m)
    if not len(arm):
        return
    fix = "Move the light so that a boom has room, or hang it from above."
    for side, past in _over(arm, room).items():
        what = "the ceiling" if side == "ceiling" else f"the {side} wall"
        yield _warning(light, f"its boom would reach {past:.2f} m through {what}", fix)
    past = 0.0 if place.paper is None else place.paper.crossed(arm[4:])
    if past > 0:
        yield _warning(light, f"its boom would reach {past:.2f} m through the background", fix)
    deep = _through(arm[4:], sitter, body)
    if deep > 0:
        yield _warning(light, f"its boom would go {deep:.2f} m deep through the sitter", fix)


def _through(line: np.ndarray, sitter: PlacedSitter, body: np.ndarray) -> float:
    """How deep a thin rod along points (n, 3) goes into the sitter's body, metres; 0 when it passes clear."""
    near = ((line > sitter.low - COLUMN_GAP_M) & (line < sitter.high + COLUMN_GAP_M)).all(axis=1)
    if not near.any():
        return 0.0
    deepest = 0.0
    for at in line[near][:: max(1, int(near.sum()) // 10)]:
        gap = float(np.sqrt(np.square(body - at).sum(axis=1).min()))
        if point_in_sitter(at, sitter):
            deepest = max(deepest, gap + COLUMN_GAP_M)
        elif gap < COLUMN_GAP_M:
            deepest = max(deepest, COLUMN_GAP_M - gap)
    return deepest


def _camera(light: Rigged, foot: Foot | None, place: Place) -> Iterator[Problem]:
    lens = place.camera.origin_m
    ball = lens + _CAMERA_M * np.concatenate([np.eye(3), -np.eye(3), np.zeros((1, 3))])
    deep = max((float(solid.depth_in(ball).max()) for solid in light.solids), default=0.0)
    if deep > TOLD_M:
        fix = "Move the light or the camera."
        yield _warning(light, f"the camera is inside the housing of this light, {deep:.2f} m deep", fix)
    elif foot is not None:
        line = np.concatenate([foot.column(), foot.arm(light.fixture.centre_m)[4:]])
        gap = float(np.sqrt(np.square(line - lens).sum(axis=1).min()))
        if gap < _CAMERA_M:
            yield _warning(light, f"its stand would be {gap:.2f} m from the lens", "Move the light or the camera.")


def _picture(light: Rigged, place: Place, frame: Frame) -> Iterator[Problem]:
    """Whether the camera would see the light's body: before the sitter, or beside."""
    solids = light.solids
    if not solids:
        return
    share = frame.hidden_share(solids)
    if share > HIDDEN_SHARE:
        hidden = "" if light.table.visible else "; hidden fixtures never show, so the picture will not tell"
        message = f"this light stands between camera and sitter and would hide {_percent(share)} of the sitter{hidden}"
        fix = "Move it out of the camera's way, or move the camera in front of it."
        yield _warning(light, message, fix)
        return
    seen = 0.0 if light.table.visible else frame.shown_share(solids, place.paper)
    if seen > SHOWN_SHARE:
        message = f"this light would show in the picture, over {_percent(seen)} of the frame; the preview leaves it out"
        fix = "Move it out of the frame, or write visible = true if it may be seen."
        yield _warning(light, message, fix)


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %" if share >= 0.02 else f"{100 * share:.1f} %"


def _each_other(pairs: list[tuple[Rigged, Rigged]], stands: Mapping[str, Foot | None]) -> Iterator[Problem]:
    for first, second in pairs:
        apart = float(np.linalg.norm(first.fixture.centre_m - second.fixture.centre_m))
        if apart < 6:
            deep = max(
                (max(_shared(a, b), _shared(b, a)) for a in first.solids for b in second.solids), default=0.0
            )
            if deep > TOLD_M:
                message = f"this light and '{first.name}' stand in each other, {deep:.2f} m deep"
                yield _warning(second, message, "Move one of the two.").within("light", second.name)
                continue
        for one, other in ((first, second), (second, first)):
            foot = stands[one.name]
            column = foot.column()[:-2] if foot is not None else np.zeros((0, 3))
            deep = max((float(s.depth_in(column).max()) for s in other.solids), default=0.0) if len(column) else 0.0
            if deep > TOLD_M:
                message = f"its stand would go through the light '{other.name}', {deep:.2f} m deep"
                yield _warning(one, message, "Move one of the two.").within("light", one.name)


def _shared(one: Solid, other: Solid) -> float:
    return float(one.depth_in(other.surface).max())


def _in_the_light(pairs: list[tuple[Rigged, Rigged]]) -> Iterator[Problem]:
    """Lights whose way to their aim another one stands in."""
    for light, other in (pair for one, two in pairs for pair in ((one, two), (two, one))):
        starts = 0.9 * exit_outline(light.fixture) + 0.1 * light.fixture.centre_m
        starts = np.concatenate([starts, (starts + light.fixture.centre_m) / 2, light.fixture.centre_m[None]])
        starts = starts + 0.005 * light.fixture.forward
        ends = np.broadcast_to(light.aim_m, starts.shape)
        cut = np.zeros(len(starts), bool)
        for solid in other.solids:
            cut |= solid.stops(starts, ends)
        share = float(cut.mean())
        if share > BLOCKED_SHARE:
            taken = f"it takes {_percent(share)} of what goes to its aim"
            message = f"the light '{other.name}' stands in this one's way: {taken}"
            fix = "Move one of the two; meter readings of this light are low, or none."
            yield _warning(light, message, fix).within("light", light.name)
