"""Reading and checking kit files, and the stock kit."""

from __future__ import annotations

import functools
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from ..explain import Format, problems_of
from ..findings import Finding, Problem, SceneError
from ..hidden import with_hidden
from ..locate import located
from ..modifiers import ModifierMismatch
from ..reader import Unreadable, format_problem, parse, read_text
from ..stock import absent, source_problems
from ..strength import DarkAxis
from .calibrate import calibrate, predicted_lux
from .kit import Kit
from .model import Head, KitFile, Reading
from .settings import power_problems
from .stock import FORMAT, stock_kit

KIT_FORMAT = Format(
    KitFile, "the kit", {"head": "[head.studio-flash]", "modifier": "[modifier.big-box]", "reading": "[[reading]]"}
)
_START = "format = 1, [head.NAME], [modifier.NAME], [[reading]]"


class KitError(SceneError):
    """A kit file that cannot be used; `findings` carries everything that was found."""


def load_kit(path: str | Path | None = None) -> Kit:
    """The stock kit, with the heads and modifiers of a kit file added; names of the file's own win.

    Raises
    ------
    KitError
        When the file has any error; it carries all findings, and its text is what the user reads.
    """
    if path is None:
        return stock_kit()
    kit, findings = check_kit(path)
    if kit is None:
        raise KitError(findings)
    return kit


def check_kit(path: str | Path) -> tuple[Kit | None, list[Finding]]:
    """A kit from a file, or None when it has any error; and everything wrong with the file, or worth a look.

    Never raises for what is in the file, or for a file that is missing or unreadable.
    """
    try:
        text = read_text(path, "kit", _START)
        kit, findings = _checked(str(path), text, Path.cwd())
    except Unreadable as problem:
        return None, [problem.finding]
    return kit, list(findings)


@functools.lru_cache(maxsize=8)
def _checked(path: str, text: str, at: Path) -> tuple[Kit | None, tuple[Finding, ...]]:
    """A kit by its text; `at` is where a relative path counts from."""
    data = parse(path, text)
    problem = format_problem(data, FORMAT)
    if problem is not None and data.get("format") is not None:
        return None, tuple(located(path, text, [problem]))
    if data.keys() & {"camera", "sitter", "light"}:
        fix = "Check it with keyfall check; a kit holds [head.NAME], [modifier.NAME] and [[reading]]."
        return None, tuple(located(path, text, [Problem((), "this is a scene file, not a kit file", fix=fix)]))
    kit, problems = _check_data({"format": FORMAT, **data}, Path(path))
    problems = [*([problem] if problem is not None else []), *problems]
    if any(p.severity == "error" for p in problems):
        kit = None
    return kit, tuple(located(path, text, problems))


def _check_data(data: dict[str, Any], path: Path) -> tuple[Kit | None, list[Problem]]:
    problems = list(_source_problems(data, path.parent))
    try:
        file = KitFile.model_validate(data)
    except ValidationError as error:
        return None, with_hidden(problems + problems_of(error, data, KIT_FORMAT), data)
    stock = stock_kit()
    kit = Kit(
        path,
        file.title,
        {**stock.heads, **file.head},
        {**stock.modifiers, **file.modifier},
        frozenset(file.head),
        frozenset(file.modifier),
        tuple(file.reading),
    )
    if not (file.head or file.modifier or file.reading):
        fix = "Add a table such as [head.studio-flash] or [modifier.big-box]."
        problems.append(Problem((), "the kit holds nothing of its own", fix=fix, severity="warning"))
    for index, reading in enumerate(kit.readings):
        problems += [p.within("reading", index) for p in _reading_problems(kit, reading)]
    if all(p.severity == "warning" for p in problems):
        problems += calibrate(kit).warnings
    return kit, with_hidden(problems, data)


def _source_problems(data: dict[str, Any], folder: Path) -> Iterator[Problem]:
    heads = data.get("head")
    for name, head in heads.items() if isinstance(heads, dict) else ():
        if isinstance(head, dict):
            yield from source_problems(head, ("head", name), folder, "the kit file")


def _reading_problems(kit: Kit, reading: Reading) -> Iterator[Problem]:
    head = kit.heads.get(reading.head)
    missing = list(absent("head", reading.head, kit.heads, ("head",)))
    for index, name in enumerate(reading.modifiers):
        missing += absent("modifier", name, kit.modifiers, ("modifiers", index))
    yield from missing
    if missing or head is None:
        return
    yield from _shutter_problems(head, reading)
    yield from _power_problem(head, reading)
    try:
        predicted_lux(kit, reading)
    except ModifierMismatch as problem:
        yield chain_problem(problem, len(reading.modifiers))
    except DarkAxis:
        message = "by its sizes, this light sends nothing along its axis to the meter"
        yield Problem((), message, fix="Correct the modifiers, or remove the reading.")
    except ValueError:
        message = "the meter stands inside the light itself"
        yield Problem(("distance_m",), message, fix="Correct distance_m; it counts from the front of the light.")


def chain_problem(problem: ModifierMismatch, count: int) -> Problem:
    """What is wrong with a list of `count` modifiers, at its place in the list."""
    place = ("modifiers", problem.index) if problem.index < count else ("modifiers",)
    return Problem(place, problem.message, problem.allowed, problem.fix)


def _shutter_problems(head: Head, reading: Reading) -> Iterator[Problem]:
    if head.is_flash() and reading.shutter_s is not None:
        yield Problem(("shutter_s",), "a flash reading does not depend on the shutter", fix="Remove shutter_s.")
    if not head.is_flash() and reading.shutter_s is None:
        message = "a reading of continuous light needs the shutter time set on the meter"
        yield Problem((), message, fix='Add shutter_s, e.g. shutter_s = "1/60".')


def _power_problem(head: Head, reading: Reading) -> Iterator[Problem]:
    key = "power" if "power" in reading.model_fields_set else ""
    for problem in power_problems(reading.head, head, reading.power):
        told = replace(problem, fix="Correct power, or lowest_power and step_stops of the head.")
        yield told.within(key) if key else told
