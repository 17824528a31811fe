"""Files of named arrays that tell when they are damaged, and what a record of each kind must hold.

A file is a line that names its kind, a checksum and the length of all that follows, a list of names, and one array in
NumPy's own format for each. Nothing in it can run code. Everything behind the first line is covered by the checksum
(CRC-32, which costs less than reading: damage is to be told, not an attack), so what is read is what was written.
"""

from __future__ import annotations

import json
import mmap
import os
import stat
import struct
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, cast

import numpy as np

_FIRST_LINE = b"keyfall record 1\n"
_SUM = struct.Struct("<IQ")
_NAMES = struct.Struct("<I")
_BLOCK = 1 << 20
_MOST_NAMES = 1 << 16
_EXPONENT_BITS = 0x7C00  # of a float16; all set: infinite or not a number


class Damaged(Exception):
    """A file that is no whole record."""


@dataclass(frozen=True, slots=True)
class Part:
    """What one array of a record must be: its type, its shape (None: any length), the values allowed, and whether the
    record may do without it."""

    dtype: str
    shape: tuple[int | None, ...] = ()
    low: float = -np.inf
    high: float = np.inf
    finite: bool = True
    optional: bool = False


Form = Mapping[str, Part]
"""The arrays of a kind of record, by name."""


def fits(record: Mapping[str, np.ndarray], form: Form) -> bool:
    """Whether a record holds what its form asks for and nothing else."""
    needed = {name for name, part in form.items() if not part.optional}
    return needed <= record.keys() <= form.keys() and all(_fits(array, form[name]) for name, array in record.items())


def _fits(array: np.ndarray, part: Part) -> bool:
    if array.dtype != np.dtype(part.dtype) or array.ndim != len(part.shape):
        return False
    if any(wanted is not None and wanted != have for wanted, have in zip(part.shape, array.shape, strict=True)):
        return False
    if not array.size:
        return True
    if part.finite and not _all_finite(array):
        return False
    return (part.low == -np.inf and part.high == np.inf) or bool(((array >= part.low) & (array <= part.high)).all())


def _all_finite(array: np.ndarray) -> bool:
    """Like `np.isfinite(array).all()`, but float16 by its bits, several times faster, and in blocks that stay small."""
    if array.dtype.kind != "f":
        return True
    flat = array.reshape(-1)
    for start in range(0, flat.size, _BLOCK):
        block = flat[start : start + _BLOCK]
        if block.dtype == np.float16:
            if int((block.view(np.uint16) & _EXPONENT_BITS).max()) == _EXPONENT_BITS:
                return False
        elif not np.isfinite(block).all():
            return False
    return True


class _Summed:
    """Passes writes on to a file and keeps their checksum and length."""

    def __init__(self, file: BinaryIO) -> None:
        self._file = file
        self.checksum = 0
        self.length = 0

    def write(self, data: bytes) -> int:
        self.checksum = zlib.crc32(data, self.checksum)
        self.length += len(data)
        return self._file.write(data)


def write_record(file: BinaryIO, title: str, record: Mapping[str, np.ndarray]) -> None:
    """Write a record into an empty file; `title` says whose it is."""
    file.write(_FIRST_LINE)
    file.write(bytes(_SUM.size))
    body = _Summed(file)
    names = json.dumps([title, *record]).encode()
    body.write(_NAMES.pack(len(names)) + names)
    for array in record.values():
        np.lib.format.write_array(cast(BinaryIO, body), np.asarray(array, order="C"), allow_pickle=False)
    file.seek(len(_FIRST_LINE))
    file.write(_SUM.pack(body.checksum, body.length))


def read_record(path: Path, title: str, form: Form, mapped: bool = False) -> dict[str, np.ndarray]:
    """Read a record; with `mapped`, its larger arrays stay in the file until they are used.

    Raises
    ------
    OSError
        When the file is missing or cannot be read.
    Damaged
        When it is no regular file, not the whole record that was written under this title, or not of the form.
    """
    handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    with os.fdopen(handle, "rb") as file:  # a pipe in the record's place would block an ordinary open
        status = os.fstat(file.fileno())
        if not stat.S_ISREG(status.st_mode):
            raise Damaged("no regular file")
        _verify(file, status.st_size)
        names = json.loads(file.read(_NAMES.unpack(file.read(_NAMES.size))[0]))
        if names[0] != title:
            raise Damaged("another record's content")
        pages = mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) if mapped else None
        record = {name: _read_array(file, pages) for name in names[1:]}
        if not fits(record, form):
            raise Damaged("of another form")
        if pages is not None and hasattr(mmap, "MADV_DONTNEED"):
            pages.madvise(mmap.MADV_DONTNEED)  # looking at them has brought them into memory
        return record


def _verify(file: BinaryIO, size: int) -> None:
    """Check everything behind the first line, and stop where the names begin."""
    head = file.read(len(_FIRST_LINE) + _SUM.size)
    if len(head) != len(_FIRST_LINE) + _SUM.size or not head.startswith(_FIRST_LINE):
        raise Damaged("no record")
    checksum, length = _SUM.unpack(head[len(_FIRST_LINE) :])
    if length != size - len(head):
        raise Damaged("cut short")
    found, buffer = 0, memoryview(bytearray(_BLOCK))
    while count := file.readinto(buffer):  # type: ignore[attr-defined]  # missing from BinaryIO alone
        found = zlib.crc32(buffer[:count], found)
    if found != checksum:
        raise Damaged("its checksum is another")
    file.seek(len(head))


def _read_array(file: BinaryIO, pages: mmap.mmap | None) -> np.ndarray:
    start = file.tell()
    if pages is not None:
        np.lib.format.read_magic(file)
        shape, _, dtype = np.lib.format.read_array_header_1_0(file)
        count = int(np.prod(shape, dtype=np.int64))
        if count * dtype.itemsize >= _BLOCK:
            array: np.ndarray = np.frombuffer(pages, dtype, count, file.tell()).reshape(shape)
            file.seek(count * dtype.itemsize, os.SEEK_CUR)
            return array
        file.seek(start)
    return np.lib.format.read_array(file, allow_pickle=False)
