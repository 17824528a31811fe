"""A walk round the set before anything is traced: what stands in what, and what the camera takes in.

Every function takes what could be resolved and yields problems; a part of the scene that is faulty is left out,
so one mistake hides no other.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np

from materials.errors import KeyfallError

from . import stage
from .bodies import exit_outline, in_fixture, in_frame, project
from .confines import behind_background, beyond, wall_name
from .far import resolve_far
from .findings import Problem
from .kit import Equipment
from .model import Background, Camera, Light, Room, Sitter
from .model.light_checks import STRENGTHS
from .numbers import significant
from .parts import Parts, Survey
from .piece_checks import piece_problems
from .placing import FACE_POINTS, PlacedSitter, place_sitter, point_in_sitter
from .resolve import Unresolved, aim_places, resolve_camera, resolve_fixture, resolve_piece
from .rigging.on_set import problems_of_rigging
from .strength import DarkAxis, output_of
from .sunlit import dark_windows, sun_problems
from .windows import places_of, window_problems

TALLEST_M = 3.0
SMALLEST_M = 0.05
SMALLEST_USABLE_M, TALLEST_USABLE_M = 0.001, 100.0
"""Heights of a mesh beyond which nothing sensible can be traced, metres."""

CAMERA_CLEARANCE_M = 0.02
OWN_STRENGTH_MARGIN = 0.05
"""Share by which a stated strength may differ from a photometric file's without a word."""

_UNITS = ((0.001, "millimetres"), (0.01, "centimetres"), (0.0254, "inches"))


def survey(
    parts: Parts, equipment: dict[str, Equipment], before: Survey | None = None, standing: bool = False
) -> Survey:
    """Resolve what can be resolved and look at it.

    Parameters
    ----------
    equipment : that of every light made of kit that can be used.
    before : of an error-free set with the same sitter; `standing` says whether everything stands as it did there.
    """
    found = Survey(equipment=equipment)
    if parts.camera is not None:
        found.problems += [p.within("camera") for p in parts.camera.doubts()]
    if parts.background is not None and parts.room is not None:
        found.problems += _background_in_room(parts.background, parts.room)
    if parts.room is not None:
        found.problems += [p.within("room") for p in window_problems(parts.room, parts.background)]
        found.problems += dark_windows(parts.room, parts.lights)
    if parts.sitter is None:
        return found
    try:
        found.sitter = before.sitter if before is not None else place_sitter(parts.sitter, parts.folder)
    except KeyfallError as problem:
        key = "figure" if parts.sitter.figure is not None else "mesh"
        found.problems.append(Problem(("sitter", key), str(problem)))
        return found
    assert found.sitter is not None
    if found.sitter.materials:
        found.problems.append(_unread_materials(parts.sitter))
    unit = _size(parts.sitter, found.sitter)
    found.places = aim_places(found.sitter, parts.background, parts.room)
    stuck = _resolve(parts, found)
    if unit is not None:
        named = [p for p in stuck if p.path[-1:] in (("aim",), ("look_at",))]
        severity = "error" if len(stuck) > len(named) else unit.severity
        found.problems += [replace(unit, severity=severity), *named]
        return found
    solid = found.sitter
    found.problems += [*stuck, *_sitter_in_place(parts, solid)]
    if found.camera is not None:
        found.problems += _camera(parts, found.camera, solid)
    for name, far in found.far.items():
        found.problems += [
            p.within("light", name) for p in sun_problems(far.distant, found.places["face"], parts.room, parts.ground,
                                                          found.camera)
        ]  # fmt: skip
    for name, fixture in found.fixtures.items():
        if fixture is not None:
            found.problems += light_problems(parts, found, name, fixture, solid)
    if before is not None and standing and before.of_standing is not None and not has_errors(found.problems):
        found.of_standing = before.of_standing
    else:
        found.of_standing = [*problems_of_rigging(parts, found, solid), *pieces_problems(parts, found, solid)]
    found.problems += found.of_standing
    return found


def has_errors(problems: Iterable[Problem]) -> bool:
    """Whether any of them is an error."""
    return any(problem.severity == "error" for problem in problems)


def light_problems(
    parts: Parts, found: Survey, name: str, fixture: stage.Fixture, sitter: PlacedSitter
) -> Iterator[Problem]:
    """What is wrong with the place of one light, apart from its stand and what it runs into."""
    yield from (p.within("light", name) for p in _light(parts, parts.lights[name], fixture, sitter))
    if found.camera is not None and in_fixture(fixture, found.camera.origin_m[None])[0]:
        yield Problem(("light", name), "the camera is inside this light's housing", fix="Move the light or the camera.")


def pieces_problems(parts: Parts, found: Survey, sitter: PlacedSitter) -> Iterator[Problem]:
    """What is wrong with the places of all pieces."""
    for name, sheet in found.sheets.items():
        of = parts.pieces[name], sheet, parts.room, parts.background, sitter, found.camera, found.fixtures
        yield from (p.within("piece", name) for p in piece_problems(*of))


def _resolve(parts: Parts, found: Survey) -> list[Problem]:
    """Put camera, fixtures and pieces on the set; returns what cannot be placed."""
    problems: list[Problem] = []
    if parts.camera is not None:
        try:
            found.camera = resolve_camera(parts.camera, found.places)
        except Unresolved as stuck:
            problems.append(stuck.problem.within("camera"))
    found.far, stuck_far = resolve_far(parts.lights)
    problems += stuck_far
    for name, light in parts.lights.items():
        kit, far = found.equipment.get(name), found.far.get(name)
        if (kit is None and light.from_kit()) or (light.shape in ("sun", "sky") and far is None):
            continue
        try:
            fixture = resolve_fixture(light, found.places, kit.shaped if kit is not None else None)
        except Unresolved as stuck:
            problems.append(stuck.problem.within("light", name))
            continue
        try:
            output = output_of(light, fixture, kit, far)
        except ValueError as trouble:
            problems.append(_unmeasurable(light, fixture, trouble).within("light", name))
            continue
        if kit is not None and kit.shaped.own_lumens is not None and output.lumens is not None:
            own = kit.shaped.own_lumens
            problems += [p.within("light", name) for p in _contradicted(light, output.lumens, own)]
        found.fixtures[name] = fixture
    for name, piece in parts.pieces.items():
        try:
            found.sheets[name] = resolve_piece(piece, found.places)
        except Unresolved as stuck:
            problems.append(stuck.problem.within("piece", name))
    return problems


def _contradicted(light: Light, lumens: float, own_lumens: float) -> Iterator[Problem]:
    """Whether what a scene states of a measured luminaire's strength is not what its file says."""
    full = lumens / light.power_fraction()
    if abs(full / own_lumens - 1) <= OWN_STRENGTH_MARGIN:
        return
    told = "head" if light.head is not None else next(iter(light.set_keys(*STRENGTHS)), "lumens")
    yield Problem(
        (told,),
        f"its lamp gives {full:.0f} lm at full power by {told}, and {own_lumens:.0f} lm by the photometric file; "
        f"{told} counts, so the file's candelas are taken times {significant(full / own_lumens, 2)}",
        fix=f"Remove {told} to take the file's own candelas, or leave it if you mean it.",
        severity="warning",
    )


def _unmeasurable(light: Light, fixture: stage.Fixture | None, trouble: ValueError) -> Problem:
    """A strength measured where it says nothing."""
    key = ("lux_distance_m",) if light.lux is not None else ("meters", "distance_m") if light.meters is not None else ()
    if fixture is None or isinstance(trouble, DarkAxis):
        message = "the strength is measured on the axis, where these modifiers let no light through"
        return Problem(key, message, fix="Give the strength by energy_ws or lumens, or correct the modifiers.")
    message = "the strength is measured at a distance inside the light itself"
    allowed = f"Allowed: more than its radius, {fixture.size_m[0] / 2:g} m."
    return Problem(key, message, allowed, "Correct the distance.")


def _unread_materials(sitter: Sitter) -> Problem:
    message = f"the mesh file describes materials or colours, which are not read: all of it is {sitter.finish}"
    fix = "Choose its one finish under [sitter]; keyfall list surfaces shows them."
    return Problem(("sitter", "mesh"), message, fix=fix, severity="warning")


def _size(sitter: Sitter, placed: PlacedSitter) -> Problem | None:
    """A mesh whose height gives away another unit."""
    height = placed.height_m
    if placed.figure is not None or SMALLEST_M <= height <= TALLEST_M:
        return None
    guess = next(((f, name) for f, name in _UNITS if 0.15 <= height * f <= 2.3), None)
    message = f"the mesh is {height:.4g} m tall"
    if height > TALLEST_M and guess is not None:
        message += f"; it looks like {guess[1]}"
        fix = f"Set scale = {sitter.scale * guess[0]:.4g}, which makes it {height * guess[0]:.2f} m."
    else:
        fix = f"Set scale so that it gets its true height; scale = {sitter.scale * 1.7 / height:.3g} makes it 1.70 m."
    severity = "warning" if SMALLEST_USABLE_M <= height <= TALLEST_USABLE_M else "error"
    return Problem(("sitter", "mesh"), message, "Expected: 0.05 to 3 m.", fix, severity)


def _sitter_in_place(parts: Parts, sitter: PlacedSitter) -> Iterator[Problem]:
    low, high = sitter.low, sitter.high
    key = ("sitter", "at_m") if parts.sitter is not None and "at_m" in parts.sitter.model_fields_set else ("sitter",)
    sheet = parts.background
    if sheet is not None and low[2] <= -sheet.distance_m and abs(low[0] + high[0]) / 2 < sheet.width_m / 2:
        yield Problem(
            ("background", "distance_m"),
            f"the sitter reaches through the background at {sheet.distance_m:g} m",
            f"Allowed: more than {-low[2]:.2f} m behind the origin.",
            "Move the background back.",
        )
    if parts.room is None:
        return
    room = parts.room
    width, _, top = room.size_m
    if room.back_z_m() > low[2] or room.front_z_m() < high[2] or max(-low[0], high[0]) > width / 2 or high[1] > top:
        yield Problem(
            key,
            "the sitter reaches through a wall or the ceiling of the room",
            fix="Enlarge size_m under [room], or move the sitter.",
        )


def _background_in_room(background: Background, room: Room) -> Iterator[Problem]:
    if "back" not in room.open and background.distance_m >= -room.back_z_m():
        yield Problem(
            ("background", "distance_m"),
            f"the background at {background.distance_m:g} m is behind the back wall at {-room.back_z_m():g} m",
            f"Allowed: less than {-room.back_z_m():g} m.",
            "Bring it nearer, or set back_wall_m under [room].",
        )
    for key, size, limit, what in (
        ("width_m", background.width_m, room.size_m[0], "wide"),
        ("height_m", background.height_m, room.size_m[2], "high"),
    ):
        if size > limit:
            yield Problem(
                ("background", key),
                f"the background does not fit: the room is {limit:g} m {what}",
                f"Allowed: up to {limit:g} m.",
            )


def _light(parts: Parts, light: Light, fixture: stage.Fixture, sitter: PlacedSitter | None) -> Iterator[Problem]:
    key = "at_m" if light.at_m is not None else "distance_m"
    side = beyond(fixture.centre_m, parts.room)
    if side == "floor":
        yield Problem(
            ("height_m" if light.height_m is not None else key,),
            f"the light would be {-fixture.centre_m[1]:.2f} m under the floor",
            fix="Raise it: height_m counts from the floor.",
        )
    elif side and not _through_a_window(parts.room, fixture):
        open_text = f'open = ["{side}"] under [room], or a window there'
        yield Problem(
            (key,), f"the light stands {wall_name(side)}, outside the room, so none of it gets in directly",
            fix=f"Move it inside, or let it in with {open_text}.", severity="warning",
        )  # fmt: skip
    elif not side and (exit_outline(fixture)[:, 1] < 0).any():
        yield Problem(
            ("size_m",),
            "the lower edge of the light reaches under the floor",
            fix="Raise it or make it smaller.",
            severity="warning",
        )
    if behind_background(fixture.centre_m, parts.background):
        yield Problem(
            (key,),
            "the light stands behind the background",
            fix="Move it in front, or the background back.",
            severity="warning",
        )
    if sitter is not None and fixture_in_sitter(fixture, sitter):
        yield Problem((key,), "the light is inside the sitter", *_way_out(light, fixture, sitter))


def _through_a_window(room: Room | None, fixture: stage.Fixture) -> bool:
    """Whether the axis of a light outside the room comes in by a window."""
    end = fixture.centre_m + 100 * fixture.forward
    return any(place.passes(fixture.centre_m, end) for place in places_of(room).values())


def fixture_in_sitter(fixture: stage.Fixture, sitter: PlacedSitter) -> bool:
    """Whether a fixture's housing and the sitter share room: a vertex in the housing, or its centre in the body."""
    low, high = sitter.low, sitter.high
    reach = float(np.linalg.norm([fixture.body_depth_m, *(fixture.size_m / 2)]))
    if (fixture.centre_m < low - reach).any() or (fixture.centre_m > high + reach).any():
        return False
    if any(in_fixture(fixture, part.vertices).any() for part in sitter.parts):
        return True
    return point_in_sitter(fixture.centre_m, sitter)


def _way_out(light: Light, fixture: stage.Fixture, sitter: PlacedSitter) -> tuple[str, str]:
    """The nearest distance along its own axis at which the light is clear, for the message."""
    if light.at_m is None and light.distance_m is not None:
        for step in range(1, 61):
            away = 0.05 * step
            moved = replace(fixture, centre_m=fixture.centre_m - away * fixture.forward)
            if not fixture_in_sitter(moved, sitter):
                return (
                    f"Allowed in this direction: a distance_m of {light.distance_m + away:.2f} m or more.",
                    "Move it away.",
                )
    return "", "Move it away from the sitter."


def _camera(parts: Parts, camera: stage.Camera, sitter: PlacedSitter | None) -> Iterator[Problem]:
    assert parts.camera is not None
    key = ("camera", "at_m" if parts.camera.at_m is not None else "distance_m")
    side = beyond(camera.origin_m, parts.room)
    if side == "floor":
        yield Problem(key, "the camera would be under the floor", fix="Raise it: height_m counts from the floor.")
    elif side:
        yield Problem(
            key, f"the camera is {wall_name(side)}, outside the room",
            fix=f'Move it nearer, enlarge the room, or set open = ["{side}"] under [room].',
        )  # fmt: skip
    if behind_background(camera.origin_m, parts.background):
        yield Problem(key, "the camera is behind the background", fix="Move it in front.", severity="warning")
    if sitter is None:
        return
    if _camera_in_sitter(camera, sitter):
        yield Problem(key, "the camera is inside the sitter, or touches it", fix="Move it away.")
    else:
        yield from _framing(parts.camera, camera, sitter)


def _camera_in_sitter(camera: stage.Camera, sitter: PlacedSitter) -> bool:
    point = camera.origin_m
    low, high = sitter.low, sitter.high
    if (point < low - CAMERA_CLEARANCE_M).any() or (point > high + CAMERA_CLEARANCE_M).any():
        return False
    nearest = min(float(np.square(part.vertices - point).sum(axis=1).min()) for part in sitter.parts)
    return nearest < CAMERA_CLEARANCE_M**2 or point_in_sitter(point, sitter)


def _framing(table: Camera, camera: stage.Camera, sitter: PlacedSitter) -> Iterator[Problem]:
    """Whether the sitter is in the picture at all and, when the camera looks at the face, all of the face."""
    names = list(sitter.landmarks)
    points = np.array([sitter.landmarks[name].position_m for name in names])
    seen = in_frame(camera, points)
    if not seen.any():
        fix = 'Set look_at = "face", or check at_m and turn it toward the sitter.'
        yield Problem(("camera", "look_at"), "the sitter is out of the frame", fix=fix, severity="warning")
        return
    face = [names.index(name) for name in FACE_POINTS if name in names]
    if table.look_at not in ("face", "eyes", *FACE_POINTS) or seen[face].all():
        return
    depth = float(np.nanmean(project(camera, points[face])[:, 2]))
    width, height = 2 * depth * camera.tan_half_width, 2 * depth * camera.tan_half_height
    yield Problem(
        ("camera", "focal_length_mm"),
        f"the face does not fit in the frame, which takes in {100 * width:.0f} x {100 * height:.0f} cm at the face",
        fix="Move the camera back or take a shorter focal_length_mm.",
        severity="warning",
    )
