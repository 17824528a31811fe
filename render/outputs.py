"""Writing results: every file is written aside and renamed, and a set of files appears only when all are ready."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from pathlib import Path

from materials import KeyfallError


class OutputError(KeyfallError):
    """A result cannot be written."""


class OutputFolder:
    """Collects files aside, in the folder itself, and renames them all at the end.

    Use as a context manager; leaving it by an exception removes what was written aside.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._ready: list[tuple[Path, Path]] = []

    def __enter__(self) -> OutputFolder:
        if self.folder.exists() and not self.folder.is_dir():
            raise OutputError(f"'{self.folder}' is a file, so results cannot go there. Name a folder with -o.")
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            probe = tempfile.NamedTemporaryFile(dir=self.folder, prefix=".writing-")
            probe.close()
        except OSError as error:
            raise OutputError(f"Results cannot be written to '{self.folder}': {error.strerror}. Name another with -o.") from None
        return self

    def write(self, name: str, writer: Callable[[Path], None]) -> Path:
        """Have `writer` write a file aside; returns where it will lie."""
        final = self.folder / name
        handle, aside_name = tempfile.mkstemp(dir=self.folder, prefix=".writing-", suffix=final.suffix)
        os.close(handle)
        aside = Path(aside_name)
        self._ready.append((aside, final))
        try:
            writer(aside)
        except OSError as error:
            raise OutputError(f"'{final}' cannot be written: {error.strerror or error}.") from None
        aside.chmod(0o644)
        return final

    def write_text(self, name: str, text: str) -> Path:
        """Write a text file aside."""
        return self.write(name, lambda path: path.write_text(text, encoding="utf-8") and None)

    def __exit__(self, kind: type | None, *_: object) -> None:
        for aside, final in self._ready:
            if kind is None:
                try:
                    aside.replace(final)
                except OSError as error:
                    raise OutputError(f"'{final}' cannot be written: {error.strerror or error}.") from None
            else:
                aside.unlink(missing_ok=True)
