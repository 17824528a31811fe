"""What was traced of the insides of modifiers, kept: the stock kit's come with Keyfall, others lie in the cache folder.

A record is one file, named by a hash of the inside and of the source of the modules that trace it, so none outlives a
change of either. It is written aside and renamed, and carries a checksum; whatever else lies in its place counts as
absent. Its name ends like those of the tracer's own records, which share the folder and its limit.
"""

from __future__ import annotations

import functools
import hashlib
import os
import stat
import tempfile
import zipfile
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field, fields, is_dataclass
from importlib import resources
from pathlib import Path

import numpy as np

from materials.errors import KeyfallError

from .cache_folder import cache_folder, cache_limit_bytes

STOCK = Path(__file__).parent / "data" / "stock-insides.zip"
"""Records of the stock kit, made by `python -m scenes.make_insides`."""

MODULES = (
    "emission", "interior", "interior_gather", "interior_mouth", "interior_rays", "interior_rings", "interior_store",
    "interior_surfaces",
)  # fmt: skip
"""What decides how an inside is traced and kept."""

PATTERN = "inside-*.record"
_LARGEST_BYTES = 2**20
_DIGEST_BYTES = 16
_DIGITS = 9  # nanometres: what differs between processors in the last place is the same inside


@dataclass(frozen=True, slots=True)
class Record:
    """`numbers` (n,) float64 and `table` (m,) float16, all finite."""

    numbers: np.ndarray
    table: np.ndarray = field(default_factory=lambda: np.zeros(0, np.float16))


def kept(interior: object, more: tuple[str | float, ...], numbers: int, trace: Callable[[], Record]) -> Record:
    """The record of an inside; traced where none is kept.

    Parameters
    ----------
    interior, more : what `trace` depends on: nested dataclasses and tuples of numbers and strings.
    numbers : how many it has.
    """
    name = record_name(interior, more)
    for read in (_stock, _in_folder):
        record = _opened(name, read(name), numbers)
        if record is not None:
            return record
    record = trace()
    _save(name, record)
    for part in (record.numbers, record.table):
        part.setflags(write=False)
    return record


def record_name(interior: object, more: tuple[str | float, ...]) -> str:
    """Name of the file of a record."""
    digest = hashlib.blake2b(digest_size=_DIGEST_BYTES)
    digest.update(f"{_source_hash()};{_told(interior)};{_told(more)}".encode())
    return f"inside-{digest.hexdigest()}.record"


def _told(part: object) -> str:
    if is_dataclass(part) and not isinstance(part, type):
        inner = (_told(getattr(part, f.name)) for f in fields(part))
        return f"{type(part).__name__}({','.join(inner)})"
    if isinstance(part, tuple):
        return f"({','.join(map(_told, part))})"
    return part if isinstance(part, str) else f"{round(float(part), _DIGITS) + 0.0:.{_DIGITS}f}"  # type: ignore[arg-type]


@functools.cache
def _source_hash() -> str:
    digest = hashlib.blake2b(digest_size=_DIGEST_BYTES)
    for module in MODULES:
        text = (resources.files(__package__) / f"{module}.py").read_bytes().replace(b"\r\n", b"\n")
        digest.update(f"{module}:{len(text)};".encode() + text)
    return digest.hexdigest()


def _stock(name: str) -> bytes:
    try:
        with zipfile.ZipFile(STOCK) as file:
            return file.read(name) if file.getinfo(name).file_size <= _LARGEST_BYTES else b""
    except Exception:  # not there, or whatever a damaged archive makes the reader raise
        return b""


def _in_folder(name: str) -> bytes:
    path = cache_folder() / name
    try:
        found = path.stat()
        if not stat.S_ISREG(found.st_mode) or found.st_size > _LARGEST_BYTES:
            return b""
        content = path.read_bytes()
    except OSError:
        return b""
    with suppress(OSError):  # the folder may be read-only
        os.utime(path)
    return content


def _opened(name: str, content: bytes, numbers: int) -> Record | None:
    """The record in a file's content, or None when that is not whole."""
    digest, payload = content[:_DIGEST_BYTES], content[_DIGEST_BYTES:]
    if len(payload) < 8 * numbers or len(payload) % 2 or digest != _checksum(name, payload):
        return None
    record = Record(np.frombuffer(payload, "<f8", numbers), np.frombuffer(payload[8 * numbers :], "<f2"))
    return record if np.isfinite(record.numbers).all() and np.isfinite(record.table).all() else None


def _checksum(name: str, payload: bytes) -> bytes:
    return hashlib.blake2b(name.encode() + payload, digest_size=_DIGEST_BYTES).digest()


def _save(name: str, record: Record) -> None:
    """Keep a record; a folder that cannot be written is no error."""
    payload = record.numbers.astype("<f8").tobytes() + record.table.astype("<f2").tobytes()
    aside: str | None = None
    try:
        if cache_limit_bytes() == 0:
            return
        folder = cache_folder()
        folder.mkdir(parents=True, exist_ok=True)
        handle, aside = tempfile.mkstemp(dir=folder, prefix="writing-", suffix=".tmp")
        with os.fdopen(handle, "wb") as file:
            file.write(_checksum(name, payload) + payload)
        os.replace(aside, folder / name)
        aside = None
    except (OSError, KeyfallError):
        return
    finally:
        if aside is not None:
            with suppress(OSError):
                os.unlink(aside)
