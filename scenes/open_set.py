"""A scene opened once: its file and everything it names read, checked and put on the set a single time."""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from materials.errors import KeyfallError
from materials.plain import visible
from materials.reading import FileLog

from .build import stage_of
from .check import Checked, check_tables, read_checked
from .findings import Finding, SceneError
from .model import Scene
from .parts import Survey
from .reader import Unreadable
from .stage import Stage
from .variations import changed
from .walk import Walk

KeysAndValues = tuple[tuple[tuple[str, ...], ...], tuple[Any, ...]]


@dataclass(frozen=True, eq=False)
class OpenSet:
    """A scene without errors, as one command after another may use it.

    Attributes
    ----------
    path : the file as the user named it, or the folder whose files its tables name.
    scene : its tables, typed. findings : warnings and notes, with their lines.
    files : checksums of every file read for it so far; `stage` reads the rest.
    """

    path: Path
    scene: Scene
    findings: tuple[Finding, ...]
    files: FileLog
    _checked: Checked

    @property
    def tables(self) -> dict[str, Any]:
        """Its tables, as a TOML reader gives them; not to be changed."""
        return self._checked.tables

    @property
    def walk(self) -> Walk:
        """What the look over it found."""
        assert self._checked.walk is not None
        return self._checked.walk

    @property
    def survey(self) -> Survey:
        """What stands where."""
        return self.walk.found

    @property
    def name(self) -> str:
        """Its title, else the name of its file."""
        return self.scene.title or visible(self.path.stem)

    @functools.cached_property
    def stage(self) -> Stage:
        """Meshes, camera, lights and meter points, resolved when first asked for.

        Raises
        ------
        KeyfallError
            When a file that it names cannot be used, or changes meanwhile.
        """
        with self.files:
            return stage_of(self.scene, self.survey, self.walk.problems)

    def changed(self, changes: Sequence[KeysAndValues], what: str = "") -> OpenSet:
        """The set with keys changed, all at once; what stays the same is neither read nor resolved again.

        Parameters
        ----------
        changes : keys, as tuples of names, and the values that they take; None takes a key away.
        what : the changes in words, for messages.

        Raises
        ------
        SceneError
            When a key cannot be changed, or the changes make an error; each finding names `what` in place of a line.
        """
        tables = self.tables
        try:
            for keys, values in changes:
                tables = changed(tables, keys, values)
        except KeyfallError as error:
            raise SceneError([Finding(self._with(what), None, "error", "", str(error))]) from None
        return self.with_tables(tables, what)

    def with_tables(self, tables: dict[str, Any], what: str = "") -> OpenSet:
        """The set with other tables; as `changed`."""
        files = FileLog()
        files.checksums.update(self.files.checksums)
        with files:
            checked = check_tables(tables, self.scene.folder, self.walk)
        place = self._with(what)
        findings = tuple(problem.at(place) for problem in checked.problems)
        if checked.scene is None:
            raise SceneError(f for f in findings if f.severity == "error")
        return OpenSet(self.path, checked.scene, findings, files, checked)

    def _with(self, what: str) -> str:
        return f"{self.path}, with {what}" if what else str(self.path)


def open_set(source: str | Path | dict[str, Any], folder: str | Path = Path(".")) -> OpenSet:
    """Open a scene file, or the tables of one.

    Parameters
    ----------
    source : path of a scene file; files it names are looked for beside it. Or tables, as a TOML reader gives them.
    folder : where the files that tables name are looked for.

    Raises
    ------
    SceneError
        When there is any error; it carries all findings, and its text is what the user reads.
    """
    files = FileLog()
    if isinstance(source, dict):
        with files:
            checked = check_tables(source, Path(folder))
        shown = visible(str(source.get("title", "")) or "the scene")
        findings = [problem.at(shown) for problem in checked.problems]
        path = Path(folder)
    else:
        path = Path(source)
        try:
            with files:
                checked, findings = read_checked(source)
        except Unreadable as problem:
            raise SceneError([problem.finding]) from None
    if checked.scene is None:
        raise SceneError(findings)
    return OpenSet(path, checked.scene, tuple(findings), files, checked)
