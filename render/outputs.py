"""Writing results: a set of files appears as a whole or not at all, and never beside files of an earlier set.

See `render.publish` for how, and DEVELOPERS.md for why so.
"""

from __future__ import annotations

import os
import secrets
import stat
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from typing import Any, TypeVar

from pydantic import Field

from .interrupts import at_exit, held, stop_here
from .locks import hold, hold_folder
from .publish import ASIDE, OutputError, Plan, checksum, drop, publish, recover, staging_parts, stale
from .record import Record

_WAIT_S = 20.0


CHECKSUMS: Any = Field(
    default_factory=dict, description="of every other file written with this one, by name: BLAKE2b, 20 bytes"
)
"""Field `checksums` of a record that is the manifest of a set of files."""

_Manifest = TypeVar("_Manifest", bound=Record)


class OutputFolder:
    """Collects files aside, in the folder itself, and puts them in their places at the end.

    Use as a context manager; leaving it by an exception removes what was written aside, and the folder if this made
    it. Nothing is left in the folder while its content is still being made.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._names: list[str] = []
        self._manifest: str | None = None
        self._series: list[str] = []
        self._made: list[Path] = []
        self._staging: Path | None = None
        self._let_go: Callable[[], None] = _nothing
        self._signals = ExitStack()

    def __enter__(self) -> OutputFolder:
        self._signals.enter_context(at_exit(self._clean))
        try:
            with held():
                self._try()
        except BaseException as error:
            self._signals.close()
            if not isinstance(error, OSError):
                raise
            raise OutputError(
                f"Results cannot be written to '{self.folder}': {error.strerror or error}. Name another folder with -o."
            ) from None
        return self

    def _try(self) -> None:
        """Bring to an end what other runs left, and see whether files can be written."""
        if self.folder.exists() and not self.folder.is_dir():
            what = "a file" if self.folder.is_file() else "a device or pipe"
            raise OutputError(f"'{self.folder}' is {what}, so results cannot go there. Name a folder with -o.")
        try:
            self._make_folder()
            with _alone(self.folder):
                recover(self.folder)
                trial = _new_folder(self.folder)
                trial.mkdir()
                trial.rmdir()
        finally:
            self._remove_made()

    def write(self, name: str, writer: Callable[[Path], None]) -> Path:
        """Have `writer` write a file aside; returns where it will lie."""
        final = self.folder / name
        try:
            new, _ = staging_parts(self._stage())
            self._names.append(name)
            writer(new / name)
        except OSError as error:
            raise _unwritable(final, error) from None
        return final

    def write_text(self, name: str, text: str) -> Path:
        """Write a text file aside."""

        def writer(path: Path) -> None:
            path.write_text(text, encoding="utf-8")

        return self.write(name, writer)

    def finish(self, name: str, report: _Manifest) -> _Manifest:
        """Write the set's manifest, once all other files are written: the report, with their checksums, which is
        returned. It is the last file to appear and the first to go when another set takes the place of this one."""
        new, _ = staging_parts(self._stage())
        try:
            sums = {other: checksum(new / other) for other in dict.fromkeys(self._names)}
        except OSError as error:
            raise _unwritable(self.folder / name, error) from None
        report = report.model_copy(update={"checksums": sums})
        self._manifest = name
        self.write_text(name, report.model_dump_json(indent=2) + "\n")
        return report

    def series(self, pattern: str) -> None:
        """Files of one series, by a glob pattern such as ``plan-[0-9].png``: at the end, those that an earlier run left
        and this one did not write go, so that no page of another plan lies among them."""
        self._series.append(pattern)

    def __exit__(self, kind: type | None, *_: object) -> None:
        try:
            if kind is None and self._staging is not None:
                with held():
                    self._publish(self._staging)
        finally:
            self._clean()
            self._signals.close()

    def _stage(self) -> Path:
        """The folder inside the output folder in which the set is collected; made when it is first needed."""
        while self._staging is None:
            with suppress(FileNotFoundError), held():
                self._make_folder()  # another run removes the folder it made too, as long as it is empty
                with _alone(self.folder):
                    staging = _new_folder(self.folder)
                    staging.mkdir()
                    self._let_go = hold_folder(staging)
                    for part in staging_parts(staging):
                        part.mkdir()
                    self._staging = staging
        return self._staging

    def _make_folder(self) -> None:
        missing = [place for place in (self.folder, *self.folder.parents) if not place.exists()]
        self.folder.mkdir(parents=True, exist_ok=True)
        self._made = missing or self._made

    def _publish(self, staging: Path) -> None:
        come = list(dict.fromkeys(self._names))
        for name in come:
            _check_place(self.folder / name)
        try:
            with _alone(self.folder):
                recover(self.folder)  # of those that were killed since this one began
                publish(self.folder, staging, Plan(tuple(self._going(come)), tuple(come)))
        except OSError as error:
            raise _unwritable(Path(error.filename2 or error.filename or self.folder), error) from None
        self._made = []

    def _going(self, come: list[str]) -> list[str]:
        """Files in the folder that make place: an earlier set's, its manifest first, and those of the same names."""
        going = [*stale(self.folder, self._manifest)] if self._manifest else []
        series = (path for pattern in self._series for path in sorted(self.folder.glob(pattern)))
        going += [path.name for path in series if stat.S_ISREG(path.lstat().st_mode)]
        first = [self._manifest] if self._manifest else []
        return [name for name in dict.fromkeys([*first, *going, *come]) if os.path.lexists(self.folder / name)]

    def _clean(self) -> None:
        if self._staging is not None:
            let_go, self._let_go = self._let_go, _nothing  # a signal may come in between, and clean as well
            let_go()
            drop(self._staging)
            self._staging = None
        self._remove_made()

    def _remove_made(self) -> None:
        with suppress(OSError):  # a folder that somebody else has used meanwhile stays
            for place in self._made:
                place.rmdir()
        self._made = []


def _nothing() -> None: ...


def _new_folder(folder: Path) -> Path:
    """A name for a folder aside that nothing has yet."""
    return folder / f"{ASIDE}{secrets.token_hex(4)}"


def _check_place(final: Path) -> None:
    """Refuse a place in which something lies that must not be replaced."""
    try:
        mode = final.lstat().st_mode
        target = final.stat().st_mode if stat.S_ISLNK(mode) else mode
    except OSError:
        return  # nothing there, or a link that leads nowhere
    if stat.S_ISDIR(target):
        what = "a link to a folder" if stat.S_ISLNK(mode) else "a folder"
        raise OutputError(f"'{final}' cannot be written: there is {what} of that name. Remove or rename it.")
    if not stat.S_ISREG(target):
        what = "leads to a device or pipe" if stat.S_ISLNK(mode) else "is a device or pipe"
        raise OutputError(f"'{final}' cannot be written: it {what}, which is never replaced. Choose another name.")


@contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """Keep other runs from putting files in their places in the folder at the same time.

    Raises
    ------
    OutputError
        When another one does not come to its end.
    """
    if os.name != "posix":  # folders can neither be opened nor locked there
        yield
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        give_up = time.monotonic() + _WAIT_S
        while not hold(handle):
            stop_here()
            if time.monotonic() > give_up:
                raise OutputError(f"Another run of Keyfall writes to '{folder}'. Wait for it, or name another folder.")
            time.sleep(0.02)
        yield
    finally:
        os.close(handle)


def _unwritable(path: Path, error: OSError) -> OutputError:
    hint = " If it is open in another program, close it there." if isinstance(error, PermissionError) else ""
    return OutputError(f"'{path}' cannot be written: {error.strerror or error}.{hint}")
