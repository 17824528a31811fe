"""The one way in which files of the user's are read: regular files only, up to a bound, text in UTF-8."""

from __future__ import annotations

import hashlib
import os
import stat
import sys
from contextvars import ContextVar, Token
from pathlib import Path, PureWindowsPath

from .errors import DataError
from .plain import shortened, visible

MOST_TEXT_BYTES = 4_000_000
"""Largest text file that is read, bytes: a table of numbers or a list of settings is far smaller."""

_DEVICES = {"CON", "PRN", "AUX", "NUL", *(f"{name}{n}" for name in ("COM", "LPT") for n in range(1, 10))}
_KINDS = (
    (stat.S_ISDIR, "is a folder, not a file"),
    (stat.S_ISFIFO, "is a pipe, not a file"),
    (stat.S_ISSOCK, "is a socket, not a file"),
    (stat.S_ISCHR, "is a device, not a file"),
    (stat.S_ISBLK, "is a disk, not a file"),
)
MISSING, FOLDER, FORBIDDEN, LARGE, OTHER = "missing", "folder", "forbidden", "large", "other"


class NotRead(DataError):
    """A file that was not read.

    `kind` is "missing", "folder", "forbidden", "large" or "other"; `reason` goes after the file's name in a sentence.
    """

    def __init__(self, path: str | Path, kind: str, reason: str) -> None:
        super().__init__(f"'{visible(shortened(str(path), 120))}' {reason}")
        self.kind, self.reason = kind, reason


_log: ContextVar[FileLog | None] = ContextVar("files read", default=None)


class FileLog:
    """Checksums of the files that are read within it, by path: of the very bytes that were used.

    A context manager that may be entered again; what is read in a later turn is added.
    """

    def __init__(self) -> None:
        self.checksums: dict[str, str] = {}
        self._tokens: list[Token[FileLog | None]] = []

    def __enter__(self) -> FileLog:
        self._tokens.append(_log.set(self))
        return self

    def __exit__(self, *_: object) -> None:
        _log.reset(self._tokens.pop())

    def note(self, path: str | Path, data: bytes) -> None:
        """Note a file.

        Raises
        ------
        DataError
            When it was read before and held something else.
        """
        sum_ = hashlib.blake2b(data, digest_size=20).hexdigest()
        if self.checksums.setdefault(os.path.abspath(path), sum_) != sum_:
            raise DataError(f"'{visible(shortened(str(path), 120))}' changed while it was read. Run the command again.")


def device_name(path: str | Path) -> bool:
    """Whether Windows takes a name, with any ending, for a device such as CON or NUL."""
    stem = PureWindowsPath(str(path)).name.split(".")[0].split(":")[0].rstrip(" ").upper()
    return stem in _DEVICES


def read_bounded(path: str | Path, most_bytes: int) -> bytes:
    """The bytes of a regular file of at most `most_bytes`.

    A pipe, socket, device or folder is refused without opening it, so nothing hangs and no memory is filled.

    Raises
    ------
    NotRead
        When there is no such file, or it is no regular file, may not be read, or is larger.
    """
    unreadable = why_unreadable(path)
    if unreadable is not None:
        raise unreadable
    # a pipe put in its place meanwhile must not hang either
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)
    try:
        with os.fdopen(os.open(path, flags), "rb") as file:
            _refuse_kind(path, os.fstat(file.fileno()).st_mode)
            data = file.read(most_bytes + 1)
    except OSError as problem:
        raise _not_read(path, problem) from None
    if len(data) > most_bytes:
        raise NotRead(path, LARGE, f"is larger than {size_words(most_bytes)}")
    log = _log.get()
    if log is not None:
        log.note(path, data)
    return data


def why_unreadable(path: str | Path) -> NotRead | None:
    """Why there is no file to read at a path, without opening it; None where there is a regular file."""
    try:
        if sys.platform == "win32" and device_name(path):
            return NotRead(path, OTHER, "is the name of a device, not a file")
        _refuse_kind(path, os.stat(path).st_mode)
    except NotRead as problem:
        return problem
    except (OSError, ValueError) as problem:
        return _not_read(path, problem)
    return None


def _not_read(path: str | Path, problem: OSError | ValueError) -> NotRead:
    """What a failure of the system says of a file."""
    if isinstance(problem, FileNotFoundError):
        return NotRead(path, MISSING, "does not exist")
    if isinstance(problem, NotADirectoryError):
        return NotRead(path, MISSING, "does not exist: a part of its path is a file")
    if isinstance(problem, PermissionError):
        return NotRead(path, FORBIDDEN, "may not be read")
    if isinstance(problem, OSError):
        return NotRead(path, OTHER, f"cannot be read ({problem.strerror or type(problem).__name__})")
    return NotRead(path, OTHER, "cannot be the name of a file")


def _refuse_kind(path: str | Path, mode: int) -> None:
    for test, words in _KINDS:
        if test(mode):
            raise NotRead(path, FOLDER if test is stat.S_ISDIR else OTHER, words)
    if not stat.S_ISREG(mode):
        raise NotRead(path, OTHER, "is no regular file")


def size_words(count: int) -> str:
    """A size as people say it, in MB or GB."""
    return f"{count / 1e9:g} GB" if count >= 1_000_000_000 else f"{count / 1e6:g} MB"
