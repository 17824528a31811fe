"""Where set pieces stand, and what they stand in the way of."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

import numpy as np

from . import stage
from .bodies import in_fixture, in_frame
from .confines import behind_background, beyond, wall_name
from .findings import Problem
from .model import Background, Piece, Room
from .pieces import Sheet
from .placing import FACE_POINTS, PlacedSitter, point_in_sitter

CLEARANCE_M = 0.02
"""Least distance between a piece and the lens, metres."""

_TOUCH_M = 0.001
_AWAY_M = tuple(0.05 * k for k in range(1, 61))


def piece_problems(
    piece: Piece,
    sheet: Sheet,
    room: Room | None,
    background: Background | None,
    sitter: PlacedSitter,
    camera: stage.Camera | None,
    fixtures: Mapping[str, stage.Fixture | None],
) -> Iterator[Problem]:
    """What is wrong with, or worth a look at, the place of a piece; paths begin at its table."""
    key = "at_m" if piece.at_m is not None else "distance_m"
    yield from _bounds(piece, sheet, key, room, background)
    if cuts_sitter(sheet, sitter):
        yield _cut(piece, sheet, key, sitter)
    points = sheet.points()
    for name, fixture in fixtures.items():
        if fixture is not None and in_fixture(fixture, points, -_TOUCH_M).any():
            message = f"the {piece.kind} stands inside the housing of the light '{name}'"
            yield Problem((key,), message, fix="Move one of the two.")
    if camera is not None:
        yield from _before_the_camera(piece, sheet, key, background, sitter, camera)


def _bounds(
    piece: Piece, sheet: Sheet, key: str, room: Room | None, background: Background | None
) -> Iterator[Problem]:
    side = beyond(sheet.centre_m, room)
    if side == "floor":
        yield Problem(
            ("height_m" if piece.height_m is not None else key,),
            f"the {piece.kind} would be {-sheet.centre_m[1]:.2f} m under the floor",
            fix="Raise it: height_m counts from the floor.",
        )
    elif side:
        yield Problem(
            (key,),
            f"the {piece.kind} stands {wall_name(side)}, outside the room",
            fix="Move it inside, or enlarge the room.",
            severity="warning",
        )
    elif (sheet.points()[:, 1] < 0).any():
        yield Problem(
            ("size_m",),
            f"the lower edge of the {piece.kind} reaches under the floor",
            fix="Raise it or make it smaller.",
            severity="warning",
        )
    if not side and behind_background(sheet.centre_m, background):
        yield Problem(
            (key,),
            f"the {piece.kind} stands behind the background",
            fix="Move it in front, or the background back.",
            severity="warning",
        )


def cuts_sitter(sheet: Sheet, sitter: PlacedSitter) -> bool:
    """Whether a piece goes through the sitter: an edge of its meshes through the piece, or the centre inside it."""
    reach = float(np.hypot(*sheet.size_m)) / 2
    if (sheet.centre_m < sitter.low - reach).any() or (sheet.centre_m > sitter.high + reach).any():
        return False
    for part in sitter.parts:
        side = (np.asarray(part.vertices, float) - sheet.centre_m) @ sheet.forward > 0
        split = part.faces[(side[part.faces] != side[part.faces[:, :1]]).any(axis=1)]
        corners = np.asarray(part.vertices, float)[split]
        if any(sheet.crossing(corners[:, k], corners[:, (k + 1) % 3]).any() for k in range(3)):
            return True
    return point_in_sitter(sheet.centre_m, sitter)


def _cut(piece: Piece, sheet: Sheet, key: str, sitter: PlacedSitter) -> Problem:
    """A piece through the sitter, and how far it has to go to be clear: out along its distance, or level away."""
    placed = piece.distance_m is not None and piece.at_m is None
    way = -sheet.forward
    if not placed:
        level = (sheet.centre_m - (sitter.low + sitter.high) / 2) * [1, 0, 1]
        level = level if np.linalg.norm(level) > _TOUCH_M else way * [1, 0, 1]
        way = level / max(float(np.linalg.norm(level)), 1e-9)
    moved = ((step, replace(sheet, centre_m=sheet.centre_m + step * way)) for step in _AWAY_M)
    away = next((step for step, there in moved if not cuts_sitter(there, sitter)), None)
    message = f"the {piece.kind} cuts through the sitter"
    if away is None:
        return Problem((key,), message, fix="Move it away from the sitter, or make it smaller.")
    message += f"; {away:.2f} m farther away it is clear"
    if placed:
        fix = f"Write distance_m = {(piece.distance_m or 0.0) + away:.2f} or more, or make it smaller."
    else:
        fix = f"Move it {away:.2f} m away from the sitter, or make it smaller."
    return Problem((key,), message, fix=fix)


def _before_the_camera(
    piece: Piece,
    sheet: Sheet,
    key: str,
    background: Background | None,
    sitter: PlacedSitter,
    camera: stage.Camera,
) -> Iterator[Problem]:
    points = sheet.points()
    lens = sheet.local(camera.origin_m)
    if abs(lens[2]) < CLEARANCE_M and bool(sheet.holds(lens[0], lens[1])):
        yield Problem((key,), f"the {piece.kind} touches the camera", fix="Move one of the two.")
        return
    face = np.array([sitter.landmarks[name].position_m for name in FACE_POINTS if name in sitter.landmarks])
    veiled = sheet.crossing(camera.origin_m, face)
    if veiled.any():
        what = "hides" if piece.kind in ("flag", "board") else "veils"
        part = "the face" if veiled.all() else "part of the face"
        yield Problem(
            (key,),
            f"the {piece.kind} stands between camera and sitter and {what} {part}",
            fix="Move it out of the camera's way.",
            severity="warning",
        )
    elif not piece.visible:
        seen = points[in_frame(camera, points)]
        if any(not behind_background(point, background) for point in seen):
            yield Problem(
                (key,),
                f"the {piece.kind} shows in the picture",
                fix="Move it out of the frame, or write visible = true if it may be seen.",
                severity="warning",
            )
