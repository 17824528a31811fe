"""Reading and checking scene files: every finding at once, each with its line."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

from pydantic import ValidationError

from .explain import Format, problems_of
from .findings import Finding, Problem, SceneError
from .haze import haze_problems
from .hidden import with_hidden
from .kit import Equipment, Kit, calibrate, check_kit, equip, stock_kit
from .light_colour import emitted_by, narrow_problems
from .locate import located
from .model import FORMAT, Background, Camera, Exposure, Ground, Haze, Light, Piece, Room, Scene, Sitter, Table
from .model.scene import scene_problems, set_up_problems
from .reader import Unreadable, format_problem, parse, read_text
from .stock import kit_name_problems, name_problems
from .survey import Parts, Survey, survey
from .sync import sync_problems
from .white import white_problems

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
    shown = str(path)
    try:
        text = read_text(path)
        data = parse(shown, text)
    except Unreadable as problem:
        return None, [problem.finding]
    scene, problems = check_data(data, Path(path).parent)
    return scene, located(shown, text, problems)


def check_data(data: dict[str, Any], folder: Path) -> tuple[Scene | None, list[Problem]]:
    """A scene from the tables of a file, or None when there is any error; and all problems.

    Parameters
    ----------
    data : as a TOML reader gives it.
    folder : where the files it names are looked for.
    """
    version = format_problem(data, FORMAT)
    if version is not None and data.get("format") is not None:
        return None, [version]
    if data.keys() & {"head", "modifier", "reading"} and not data.keys() & {"camera", "sitter", "light"}:
        fix = 'Check it with keyfall kit; a scene names it with kit = "FILE".'
        return None, [Problem((), "this is a kit file, not a scene file", fix=fix)]
    problems = [version] if version is not None else []
    data = {"format": FORMAT, **data}
    scene: Scene | None = None
    try:
        scene = Scene.model_validate(data).in_folder(folder)
    except ValidationError as error:
        problems += problems_of(error, data, SCENE_FORMAT)
    problems += look_over(data, _sound_parts(data, folder))[0]
    problems = with_hidden(problems, data)
    if any(p.severity == "error" for p in problems):
        scene = None
    return scene, problems


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


def look_over(data: dict[str, Any], parts: Parts) -> tuple[list[Problem], Survey]:
    """Problems between tables, with names and files, and on the set itself; and what was found there."""
    problems = [
        *scene_problems(parts.room, parts.ground, parts.lights), *_set_up(data), *name_problems(data, parts.folder)
    ]  # fmt: skip
    if any(p.path[:2] == ("sitter", "figure") for p in problems):
        parts = replace(parts, sitter=None)
    kit, told = _kit_of(data, parts.folder)
    equipment: dict[str, Equipment] = {}
    if kit is not None:
        told += kit_name_problems(data, kit)
        for name, light in parts.lights.items():
            if light.from_kit():
                made, wrong = equip(light, kit, parts.folder)
                told += [p.within("light", name) for p in wrong]
                if made is not None:
                    equipment[name] = made
    if parts.exposure is not None:
        flashes = _sync_times(parts, equipment)
        told += [p.within("exposure") for p in sync_problems(parts.exposure.shutter_s, flashes)]
    if parts.haze is not None:
        told += [p.within("haze") for p in haze_problems(parts.haze, parts.room)]
    found = survey(parts, equipment)
    emitted = emitted_by(parts.lights, equipment, found.far, parts.folder)
    told += [*narrow_problems(emitted), *white_problems(parts, found, emitted)]
    return problems + told + found.problems, found


def _set_up(data: dict[str, Any]) -> Iterator[Problem]:
    order, lights = data.get("set_up"), data.get("light")
    if isinstance(order, list) and isinstance(lights, dict) and all(isinstance(name, str) for name in order):
        yield from set_up_problems(order, lights)


def _sync_times(parts: Parts, equipment: dict[str, Equipment]) -> list[float | None]:
    """Of every flash that is on, the shortest shutter time of its head; None where that is not known."""
    times = []
    for name, light in parts.lights.items():
        kit = equipment.get(name)
        if light.on and (kit.flash if kit is not None and kit.flash is not None else light.is_flash()):
            times.append(kit.head.sync_s if kit is not None and kit.head is not None else None)
    return times


def _kit_of(data: dict[str, Any], folder: Path) -> tuple[Kit | None, list[Problem]]:
    """The kit that a scene names, or the stock kit; None when it cannot be used."""
    given = data.get("kit")
    if given is None:
        return stock_kit(), []
    if not isinstance(given, str) or not given:
        return None, []
    kit, findings = check_kit(folder / given)
    if kit is None:
        return None, [Problem(("kit",), _said(f), f.allowed, f.fix, f.severity) for f in findings]
    doubts = calibrate(kit).warnings
    return kit, [Problem(("kit",), f"{given}: {w.message}", w.allowed, w.fix, w.severity) for w in doubts]


def _said(finding: Finding) -> str:
    """What is wrong in another file, with its place there."""
    place = finding.path if finding.line is None else f"{finding.path}:{finding.line}"
    return f"{place}: {finding.where + ': ' if finding.where else ''}{finding.message}"
