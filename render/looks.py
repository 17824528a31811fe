"""Looks as the command line names them: a scene file, and what is changed in it."""

from __future__ import annotations

from materials import KeyfallError
from scenes import OpenSet, SceneError, open_set
from scenes.variations import parse_variation

MARK = "@"


def read_looks(texts: list[str]) -> list[OpenSet]:
    """Sets from ``FILE`` or ``FILE@KEY=VALUE@KEY=VALUE``.

    Raises
    ------
    KeyfallError
        When a change cannot be read, or (SceneError) for every error of every scene at once.
    """
    looks, faults = [], []
    opened: dict[str, OpenSet] = {}
    for text in texts:
        try:
            looks.append(_look(text, opened))
        except SceneError as error:
            faults += [f for f in error.findings if f.severity == "error"]
    if faults:
        raise SceneError(dict.fromkeys(faults))
    return looks


def _look(text: str, opened: dict[str, OpenSet]) -> OpenSet:
    """A look; scene files that were `opened` before are not read again."""
    name, *changes = text.split(MARK)
    if name not in opened:
        opened[name] = open_set(name)
    asked = []
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
        asked.append((variation.keys, variation.values[0]))
    return opened[name].changed(asked, ", ".join(changes)) if asked else opened[name]
