"""Reading and checking scene files: every finding at once, each with its line."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from pydantic import ValidationError

from .explain import Format, problems_of
from .findings import Finding, Problem, SceneError
from .hidden import with_hidden
from .locate import located
from .model import FORMAT, Background, Camera, Exposure, Ground, Haze, Light, Piece, Room, Scene, Sitter, Table
from .parts import Parts
from .reader import Unreadable, format_problem, parse, read_text
from .walk import Walk, look_over

_EXAMPLES = {"light": "[light.key]", "piece": "[piece.flag]", "window": "[room.window.north]"}
SCENE_FORMAT = Format(Scene, "the scene", _EXAMPLES)
_Entry = TypeVar("_Entry", bound=Table)
_TABLES: dict[str, type[Table]] = {
    "camera": Camera,
    "exposure": Exposure,
    "sitter": Sitter,
    "room": Room,
    "ground": Ground,
    "background": Background,
    "haze": Haze,
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
    try:
        checked, findings = read_checked(path)
    except Unreadable as problem:
        return None, [problem.finding]
    return checked.scene, findings


def read_checked(path: str | Path) -> tuple[Checked, list[Finding]]:
    """A scene file, read and checked, and all findings with their lines.

    Raises
    ------
    Unreadable
        When it is no TOML document.
    """
    shown = str(path)
    text = read_text(path)
    checked = check_tables(parse(shown, text), Path(path).parent)
    return checked, located(shown, text, checked.problems)


@dataclass(frozen=True, slots=True)
class Checked:
    """The tables of a scene, checked; `scene` is None where they hold any error, and `walk` where they are of another
    format."""

    tables: dict[str, Any]
    scene: Scene | None
    problems: list[Problem]
    walk: Walk | None


def check_data(data: dict[str, Any], folder: Path) -> tuple[Scene | None, list[Problem]]:
    """A scene from the tables of a file, or None when there is any error; and all problems.

    Parameters
    ----------
    data : as a TOML reader gives it.
    folder : where the files it names are looked for.
    """
    checked = check_tables(data, folder)
    return checked.scene, checked.problems


def check_tables(data: dict[str, Any], folder: Path, before: Walk | None = None) -> Checked:
    """As `check_data`; `before` as for `look_over`."""
    tables = data
    version = format_problem(data, FORMAT)
    if version is not None and data.get("format") is not None:
        return Checked(tables, None, [version], None)
    if data.keys() & {"head", "modifier", "reading"} and not data.keys() & {"camera", "sitter", "light"}:
        fix = 'Check it with keyfall kit; a scene names it with kit = "FILE".'
        return Checked(tables, None, [Problem((), "this is a kit file, not a scene file", fix=fix)], None)
    problems = [version] if version is not None else []
    data = {"format": FORMAT, **data}
    scene: Scene | None = None
    try:
        scene = Scene.model_validate(data).in_folder(folder)
    except ValidationError as error:
        problems += problems_of(error, data, SCENE_FORMAT)
    walk = look_over(data, _sound_parts(data, folder) if scene is None else parts_of(scene), before)
    problems = with_hidden(problems + walk.problems, data)
    if any(p.severity == "error" for p in problems):
        scene = None
    return Checked(tables, scene, problems, walk)


def _sound_parts(data: dict[str, Any], folder: Path) -> Parts:
    """The tables that are valid by themselves."""
    tables: dict[str, Any] = {}
    for name, model in _TABLES.items():
        if name in data:
            tables[name] = _sound(model, data[name])
    return Parts(
        folder, **tables, lights=_sound_entries(Light, data, "light"), pieces=_sound_entries(Piece, data, "piece")
    )


def _sound_entries(model: type[_Entry], data: dict[str, Any], key: str) -> dict[str, _Entry]:
    given = data.get(key)
    sound = {str(name): _sound(model, table) for name, table in (given if isinstance(given, dict) else {}).items()}
    return {name: table for name, table in sound.items() if table is not None}


def _sound(model: type[_Entry], table: Any) -> _Entry | None:
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
        dict(scene.piece),
        scene.haze,
    )
