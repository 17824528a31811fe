"""A bounded folder of traced results, safe against crashes and against a second process.

A record is one file (see `render.records`) named by the hash of all that went into it. Records are written aside and
renamed, so a reader sees a whole record or none; whatever else lies in a record's place counts as absent, and is
removed unless it is a folder. The oldest unused records go first.
"""

from __future__ import annotations

import hashlib
import os
import secrets
import stat
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import fields, is_dataclass
from pathlib import Path

import numpy as np

from materials import KeyfallError
from scenes.cache_folder import cache_folder, cache_limit_bytes

from .interrupts import at_exit
from .locks import abandoned, hold
from .platforms import replace
from .records import Form, fits, read_record, write_record

_SUFFIX, _EARLIER, _ASIDE = ".record", ".npz", ".tmp"


def content_hash(*parts: object) -> str:
    """Hash of arrays, numbers, strings, and nested dataclasses, tuples and mappings of them."""
    digest = hashlib.blake2b(digest_size=20)
    for part in parts:
        _feed(digest, part)
    return digest.hexdigest()


def _feed(digest: hashlib.blake2b, part: object) -> None:
    if isinstance(part, np.ndarray):
        digest.update(f"{part.dtype.str}{part.shape}".encode())
        digest.update(np.ascontiguousarray(part).data)
    elif is_dataclass(part) and not isinstance(part, type):
        digest.update(type(part).__name__.encode())
        for field in fields(part):
            _feed(digest, getattr(part, field.name))
    elif isinstance(part, dict):
        _feed(digest, tuple(sorted(part.items())))
    elif isinstance(part, (tuple, list)):
        digest.update(f"({len(part)}".encode())
        for item in part:
            _feed(digest, item)
    else:
        digest.update(f"{type(part).__name__}:{part!r};".encode())


class Cache:
    """Traced results by content hash.

    Parameters
    ----------
    folder : where records lie; by default the user's cache folder, or KEYFALL_CACHE_DIR.
    limit_bytes : size kept; by default 4 GB, or KEYFALL_CACHE_GB. 0 keeps nothing.
    """

    def __init__(self, folder: Path | None = None, limit_bytes: int | None = None) -> None:
        self.folder = folder if folder is not None else cache_folder()
        self.limit_bytes = limit_bytes if limit_bytes is not None else cache_limit_bytes()

    def load(self, kind: str, key: str, form: Form, *, mapped: bool = False) -> dict[str, np.ndarray] | None:
        """The record, or None when there is none that is whole and of the form; one that is not goes.

        `mapped` : leave its larger arrays in the file until they are used.
        """
        path = self._path(kind, key)
        try:
            record = read_record(path, f"{kind}-{key}", form, mapped)
        except OSError:
            if path.is_symlink():  # to itself, or to where nothing can be read
                _remove(path)
            return None
        except Exception:  # whatever a damaged file makes the readers raise
            _remove(path)
            return None
        with suppress(OSError):  # another process may have removed it, or the folder may be read-only
            os.utime(path)
        return record

    def save(self, kind: str, key: str, form: Form, record: dict[str, np.ndarray]) -> bool:
        """Keep a record; whether it is kept. A folder that cannot be written is no error, nor a record that does not
        fit its form, such as one that holds what is not a number: it is simply not kept."""
        if self.limit_bytes == 0 or not fits(record, form):
            return False
        aside = self.folder / f"writing-{secrets.token_hex(8)}{_ASIDE}"
        with at_exit(lambda: _remove(aside)):
            try:
                self.folder.mkdir(parents=True, exist_ok=True)
                with aside.open("xb") as file:
                    hold(file.fileno())
                    write_record(file, f"{kind}-{key}", record)
                replace(aside, self._path(kind, key))
            except OSError:
                _remove(aside)
                return False
            except BaseException:
                _remove(aside)
                raise
        self._trim()
        return True

    def discard(self, kind: str, key: str) -> None:
        """Remove a record, if there."""
        _remove(self._path(kind, key))

    def clear(self) -> int:
        """Remove every record; returns the bytes freed.

        Raises
        ------
        KeyfallError
            When a record cannot be removed.
        """
        freed = 0
        for path, size, _ in self._records():
            if not _remove(path):
                raise KeyfallError(f"'{path}' cannot be removed. Check the permissions of its folder.")
            freed += size
        return freed

    def size_bytes(self) -> int:
        """Bytes in use."""
        return sum(size for _, size, _ in self._records())

    def _path(self, kind: str, key: str) -> Path:
        return self.folder / f"{kind}-{key}{_SUFFIX}"

    def _records(self) -> Iterable[tuple[Path, int, float]]:
        """Records, those of earlier versions, and what a killed process left of one."""
        try:
            paths = list(self.folder.iterdir())
        except OSError:
            return
        for path in paths:
            try:
                status = path.lstat()
            except OSError:
                continue
            if path.suffix not in (_SUFFIX, _EARLIER, _ASIDE) or not stat.S_ISREG(status.st_mode):
                continue
            if path.suffix != _ASIDE or abandoned(path):
                yield path, status.st_size, status.st_mtime

    def _trim(self) -> None:
        records = sorted(self._records(), key=lambda record: record[2])
        for path, _, _ in records:
            if path.suffix == _ASIDE:
                _remove(path)
        records = [record for record in records if record[0].suffix != _ASIDE]
        excess = sum(size for _, size, _ in records) - self.limit_bytes
        for path, size, _ in records:
            if excess <= 0:
                return
            _remove(path)
            excess -= size


def _remove(path: Path) -> bool:
    """Remove a file; whether it is gone now."""
    try:
        path.unlink(missing_ok=True)
    except OSError:
        return False
    return True
