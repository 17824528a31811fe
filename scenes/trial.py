"""One light or piece tried in another place: what is wrong there, the rest of the set as it was surveyed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from pydantic import ValidationError

from .explain import Format, problems_of
from .findings import Problem
from .model import Light, Piece
from .parts import Survey
from .resolve import Unresolved, resolve_fixture, resolve_piece
from .rigging.on_set import problems_of_rigging
from .survey import light_problems, pieces_problems
from .walk import Walk


def tried(walk: Walk, kind: str, name: str, table: dict[str, Any]) -> list[Problem]:
    """Problems of a light ("light") or piece ("piece") whose table is `table`, paths from the whole scene's tables.

    Only what its place can change is looked at; `walk` is round an error-free set.
    """
    try:
        found = _light(walk, name, table) if kind == "light" else _piece(walk, name, table)
        return list(found)
    except ValidationError as error:
        model = Light if kind == "light" else Piece
        return [p.within(kind, name) for p in problems_of(error, table, Format(model, f"the {kind}", {}))]
    except Unresolved as stuck:
        return [stuck.problem.within(kind, name)]


def _light(walk: Walk, name: str, table: dict[str, Any]) -> Iterator[Problem]:
    light = Light.model_validate(table)
    kit, sitter = walk.found.equipment.get(name), walk.found.sitter
    assert sitter is not None
    fixture = resolve_fixture(light, walk.found.places, kit.shaped if kit is not None else None)
    parts = replace(walk.parts, lights={**walk.parts.lights, name: light})
    found: Survey = replace(walk.found, problems=[], fixtures={**walk.found.fixtures, name: fixture})
    if fixture is not None:
        yield from light_problems(parts, found, name, fixture, sitter)
    yield from problems_of_rigging(parts, found, sitter, only=name)
    yield from pieces_problems(parts, found, sitter)


def _piece(walk: Walk, name: str, table: dict[str, Any]) -> Iterator[Problem]:
    piece, found = Piece.model_validate(table), walk.found
    assert found.sitter is not None
    parts = replace(walk.parts, pieces={name: piece})
    alone: Survey = replace(found, sheets={name: resolve_piece(piece, found.places)})
    yield from pieces_problems(parts, alone, found.sitter)
