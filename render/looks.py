"""Looks as the command line names them: a scene file, and what is changed in it."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from materials import KeyfallError
from materials.reading import FileLog
from scenes import Scene, SceneError
from scenes.findings import Finding
from scenes.variations import changed, checked, parse_variation, scene_tables

MARK = "@"


@dataclass(frozen=True, slots=True)
class NamedLook:
    """A scene with its changes made; `path` is the file it came from, and `files` what was read for it."""

    path: Path
    scene: Scene
    files: FileLog = field(default_factory=FileLog)


def read_looks(texts: list[str]) -> list[NamedLook]:
    """Scenes from ``FILE`` or ``FILE@KEY=VALUE@KEY=VALUE``.

    Raises
    ------
    KeyfallError
        When a change cannot be read, or (SceneError) for every error of every scene at once.
    """
    looks, faults = [], []
    for text in texts:
        try:
            looks.append(_look(text))
        except SceneError as error:
            faults += [f for f in error.findings if f.severity == "error"]
    if faults:
        raise SceneError(dict.fromkeys(faults))
    return looks


def _look(text: str) -> NamedLook:
    name, *changes = text.split(MARK)
    path, files = Path(name), FileLog()
    with files:
        tables = scene_tables(path)
    for change in changes:
        if "=" not in change:
            example = f"{name}@light.key.gels=amber"
            raise KeyfallError(f"The look '{text}' has no value for '{change}'. Write e.g. {example}.")
        variation = parse_variation(change)
        if len(variation.values) != 1:
            raise KeyfallError(
                f"The look '{text}' gives {variation.name} {len(variation.values)} values. Allowed: one for each key; "
                f"name the scene again for another look."
            )
        try:
            tables = changed(tables, variation.keys, variation.values[0])
        except KeyfallError as error:
            raise SceneError([Finding(text, None, "error", "", str(error))]) from None
    with files:
        return NamedLook(path, checked(tables, path, ", ".join(changes)), files)
