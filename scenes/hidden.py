"""Characters in the texts of a document that people cannot see and terminals and files obey."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from materials.plain import hidden_character

from .findings import KeyPath, Problem


def hidden_problems(data: dict[str, Any]) -> Iterator[Problem]:
    """Every key and text in the tables of a document that holds a hidden character, each with its place."""
    waiting: list[tuple[KeyPath, Any]] = [((), data)]
    while waiting:
        path, value = waiting.pop()
        if isinstance(value, str):
            yield from _told(path, value, "this text")
        elif isinstance(value, dict):
            for key in value:
                yield from _told((*path, key), str(key), "this name")
            waiting += [((*path, key), entry) for key, entry in value.items()]
        elif isinstance(value, list):
            waiting += [((*path, index), entry) for index, entry in enumerate(value)]


def with_hidden(problems: Iterable[Problem], data: dict[str, Any]) -> list[Problem]:
    """Problems of a document with those of its hidden characters, which take the place of others at the same key."""
    hidden = list(hidden_problems(data))
    places = {problem.path for problem in hidden}
    return list(dict.fromkeys([*hidden, *(problem for problem in problems if problem.path not in places)]))


def _told(path: KeyPath, text: str, what: str) -> Iterator[Problem]:
    held = hidden_character(text)
    if held is not None:
        allowed = "Allowed: letters, digits, signs and spaces, all on one line."
        yield Problem(path, f"{what} holds {held}", allowed, "Remove it.")
