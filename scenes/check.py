"""Reading and checking scene files: every finding at once, each with its line."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from .explain import problems_of
from .findings import Finding, Problem, SceneError, dotted, ordered
from .locate import key_lines, line_of
from .model import FORMAT, Background, Camera, Exposure, Ground, Light, Room, Scene, Sitter, Table
from .model.scene import scene_problems
from .reader import Unreadable, parse, read_text
from .stock import name_problems
from .survey import Parts, Survey, survey

_TABLES: dict[str, type[Table]] = {
    "camera": Camera,
    "exposure": Exposure,
    "sitter": Sitter,
    "room": Room,
    "ground": Ground,
    "background": Background,
}


def check_scene(path: str | Path) -> list[Finding]:
    """Everything wrong with, or worth a look in, a scene file; an empty list when there is nothing.

    Never raises for what is in the file, or for a file that is missing or unreadable.

    Parameters
    ----------
    path : the scene file. Files it names are looked for beside it.
    """
    return _check(path)[1]


def load_scene(path: str | Path) -> Scene:
    """The scene in a file, checked.

    Raises
    ------
    SceneError
        When the file has any error; it carries all findings, and its text is what the user reads.
    """
    scene, findings = _check(path)
    if scene is None:
        raise SceneError(findings)
    return scene


def _check(path: str | Path) -> tuple[Scene | None, list[Finding]]:
    shown = str(path)
    try:
        text = read_text(path)
        data = parse(shown, text)
    except Unreadable as problem:
        return None, [problem.finding]
    lines = key_lines(text.replace("\r\n", "\n"))
    scene, problems = check_data(data, Path(path).parent)
    findings = [
        Finding(shown, line_of(lines, p.path), p.severity, dotted(p.path), p.message, p.allowed, p.fix)
        for p in problems
    ]
    return scene, ordered(findings)


def check_data(data: dict[str, Any], folder: Path) -> tuple[Scene | None, list[Problem]]:
    """A scene from the tables of a file, or None when there is any error; and all problems.

    Parameters
    ----------
    data : as a TOML reader gives it.
    folder : where the files it names are looked for.
    """
    version = _format_problem(data)
    if version is not None and data.get("format") is not None:
        return None, [version]
    problems = [version] if version is not None else []
    data = {"format": FORMAT, **data}
    if "haze" in data:
        fix = "Remove the haze table; the rest of the scene works without it."
        problems.append(Problem(("haze",), "this version does not trace haze", fix=fix))
        data.pop("haze")
    scene: Scene | None = None
    try:
        scene = Scene.model_validate(data).in_folder(folder)
    except ValidationError as error:
        problems += problems_of(error, data)
    problems += look_over(data, _sound_parts(data, folder))[0]
    if any(p.severity == "error" for p in problems):
        scene = None
    return scene, list(dict.fromkeys(problems))


def _format_problem(data: dict[str, Any]) -> Problem | None:
    given = data.get("format")
    allowed = f"Allowed: format = {FORMAT}."
    if given is None:
        return Problem((), "the file does not say its format", allowed, f"Write format = {FORMAT} as the first line.")
    if isinstance(given, int) and not isinstance(given, bool):
        if given == FORMAT:
            return None
        if given > FORMAT:
            message = f"the file is of format {given}, which is newer than this version of Keyfall can read"
            return Problem(("format",), message, allowed, "Update Keyfall.")
    return Problem(("format",), f"there is no format {given!r}", allowed, "Write the bare number, without quotes.")


def _sound_parts(data: dict[str, Any], folder: Path) -> Parts:
    """The tables that are valid by themselves."""
    tables: dict[str, Any] = {}
    for name, model in _TABLES.items():
        if name in data:
            tables[name] = _sound(model, data[name])
    given = data.get("light")
    lights = given if isinstance(given, dict) else {}
    sound = {str(name): _sound(Light, table) for name, table in lights.items()}
    return Parts(folder, **tables, lights={n: light for n, light in sound.items() if isinstance(light, Light)})


def _sound(model: type[Table], table: Any) -> Table | None:
    try:
        return model.model_validate(table)
    except ValidationError:
        return None


def parts_of(scene: Scene) -> Parts:
    """The tables of a valid scene."""
    return Parts(
        scene.folder,
        scene.camera,
        scene.exposure,
        scene.sitter,
        scene.room,
        scene.ground,
        scene.background,
        dict(scene.light),
    )


def look_over(data: dict[str, Any], parts: Parts) -> tuple[list[Problem], Survey]:
    """Problems between tables, with names and files, and on the set itself; and what was found there."""
    problems = [*scene_problems(parts.room, parts.ground, parts.lights), *name_problems(data, parts.folder)]
    if any(p.path[:2] == ("sitter", "figure") for p in problems):
        parts = replace(parts, sitter=None)
    found = survey(parts)
    return problems + found.problems, found
