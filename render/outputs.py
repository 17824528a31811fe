"""Writing results: every file is written aside and renamed, and a set of files appears only when all are ready."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from materials import KeyfallError


class OutputError(KeyfallError):
    """A result cannot be written."""


class OutputFolder:
    """Collects files aside, in the folder itself, and renames them all at the end.

    Use as a context manager; leaving it by an exception removes what was written aside, and the folder if this made
    it.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._ready: list[tuple[Path, Path]] = []
        self._made: list[Path] = []
        self._series: list[str] = []

    def __enter__(self) -> OutputFolder:
        if self.folder.exists() and not self.folder.is_dir():
            raise OutputError(f"'{self.folder}' is a file, so results cannot go there. Name a folder with -o.")
        try:
            self._made = [place for place in (self.folder, *self.folder.parents) if not place.exists()]
            self.folder.mkdir(parents=True, exist_ok=True)
            probe = tempfile.NamedTemporaryFile(dir=self.folder, prefix=".writing-")
            probe.close()
        except OSError as error:
            self._clean()
            raise OutputError(
                f"Results cannot be written to '{self.folder}': {error.strerror or error}. Name another folder with -o."
            ) from None
        return self

    def write(self, name: str, writer: Callable[[Path], None]) -> Path:
        """Have `writer` write a file aside; returns where it will lie."""
        final = self.folder / name
        try:
            handle, aside_name = tempfile.mkstemp(dir=self.folder, prefix=".writing-", suffix=final.suffix)
            aside = Path(aside_name)
            self._ready.append((aside, final))
            os.close(handle)
            writer(aside)
            aside.chmod(0o644)
        except OSError as error:
            raise _unwritable(final, error) from None
        return final

    def series(self, pattern: str) -> None:
        """Files of one series, by a glob pattern such as ``plan-[0-9].png``: at the end, those that an earlier run left
        and this one did not write go, so that no page of another plan lies among them."""
        self._series.append(pattern)

    def write_text(self, name: str, text: str) -> Path:
        """Write a text file aside."""

        def writer(path: Path) -> None:
            path.write_text(text, encoding="utf-8")

        return self.write(name, writer)

    def __exit__(self, kind: type | None, *_: object) -> None:
        failed = True
        try:
            if kind is None:
                self._publish()
                failed = False
        finally:
            if failed:
                self._clean()

    def _publish(self) -> None:
        for _, final in self._ready:
            if final.is_dir():
                raise OutputError(f"'{final}' cannot be written: there is a folder of that name. Remove or rename it.")
        for aside, final in self._ready:
            try:
                aside.replace(final)
            except OSError as error:
                raise _unwritable(final, error) from None
        written = {final for _, final in self._ready}
        for pattern in self._series:
            for left in set(self.folder.glob(pattern)) - written:
                with suppress(OSError):
                    left.unlink()

    def _clean(self) -> None:
        for aside, _ in self._ready:
            with suppress(OSError):
                aside.unlink(missing_ok=True)
        with suppress(OSError):  # a folder that somebody else has used meanwhile stays
            for place in self._made:
                place.rmdir()


def _unwritable(path: Path, error: OSError) -> OutputError:
    return OutputError(f"'{path}' cannot be written: {error.strerror or error}.")
