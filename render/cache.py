"""A bounded folder of traced results, safe against crashes and against a second process.

A record is one uncompressed `.npz` file named by the hash of all that went into it. Records are written aside and
renamed, so a reader sees a whole record or none; a damaged one counts as absent. The oldest unused records go first.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
import zipfile
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import fields, is_dataclass
from pathlib import Path

import numpy as np

from materials import KeyfallError

_ENV_FOLDER = "KEYFALL_CACHE_DIR"
_ENV_LIMIT = "KEYFALL_CACHE_GB"
_DEFAULT_LIMIT_GB = 4.0


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


def _default_folder() -> Path:
    named = os.environ.get(_ENV_FOLDER)
    if named:
        return Path(named)
    import platformdirs

    return Path(platformdirs.user_cache_dir("keyfall", appauthor=False))


def _default_limit_bytes() -> int:
    text = os.environ.get(_ENV_LIMIT, str(_DEFAULT_LIMIT_GB))
    try:
        limit = float(text)
    except ValueError:
        limit = -1.0
    if not 0 <= limit < 1e6:
        raise KeyfallError(f"{_ENV_LIMIT} is '{text}'. Allowed: a number of gigabytes, 0 or more; 0 keeps nothing.")
    return int(limit * 1e9)


class Cache:
    """Traced results by content hash.

    Parameters
    ----------
    folder : where records lie; by default the user's cache folder, or KEYFALL_CACHE_DIR.
    limit_bytes : size kept; by default 4 GB, or KEYFALL_CACHE_GB. 0 keeps nothing.
    """

    def __init__(self, folder: Path | None = None, limit_bytes: int | None = None) -> None:
        self.folder = folder if folder is not None else _default_folder()
        self.limit_bytes = limit_bytes if limit_bytes is not None else _default_limit_bytes()

    def load(self, kind: str, key: str) -> dict[str, np.ndarray] | None:
        """The record, or None when absent or damaged (a damaged one is removed)."""
        path = self._path(kind, key)
        try:
            with path.open("rb") as file, np.load(file, allow_pickle=False) as stored:
                record = {name: stored[name] for name in stored.files}
        except (ValueError, EOFError, KeyError, zipfile.BadZipFile):
            _remove(path)
            return None
        except OSError:
            return None
        with suppress(OSError):  # another process may have removed it, or the folder may be read-only
            os.utime(path)
        return record

    def save(self, kind: str, key: str, record: dict[str, np.ndarray]) -> None:
        """Keep a record; a folder that cannot be written is no error, the result is simply not kept."""
        if self.limit_bytes == 0:
            return
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            handle, name = tempfile.mkstemp(dir=self.folder, prefix="writing-", suffix=".tmp")
        except OSError:
            return
        aside = Path(name)
        try:
            with os.fdopen(handle, "wb") as file:
                np.savez(file, **record)  # type: ignore[arg-type]  # the stubs take any keyword for theirs
            aside.replace(self._path(kind, key))
        except OSError:
            aside.unlink(missing_ok=True)
            return
        except BaseException:
            aside.unlink(missing_ok=True)
            raise
        self._trim()

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
        return self.folder / f"{kind}-{key}.npz"

    def _records(self) -> Iterable[tuple[Path, int, float]]:
        try:
            paths = list(self.folder.iterdir())
        except OSError:
            return
        for path in paths:
            try:
                status = path.stat()
            except OSError:
                continue
            if path.suffix in (".npz", ".tmp"):
                yield path, status.st_size, status.st_mtime

    def _trim(self) -> None:
        records = sorted(self._records(), key=lambda record: record[2])
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
