"""Locks that end with the process that holds them, so that what a killed process left behind can be told from what a
live one is writing.

On Windows an open file cannot be removed, which serves as well there.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

OWNER = "owner"
SURELY_DEAD_S = 86_400.0

fcntl: ModuleType | None
try:
    import fcntl
except ImportError:  # Windows
    fcntl = None


def hold(handle: int, wait: bool = False) -> bool:
    """Lock an open file (or, outside Windows, folder) for this process; whether it is locked now, or needs no lock
    because the system or the file's place knows none."""
    return fcntl is None or _locked(handle, wait) is not False


def _locked(handle: int, wait: bool = False) -> bool | None:
    """Whether an open file is locked now; None where its place knows no locks, as some network drives do."""
    assert fcntl is not None
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
    except BlockingIOError:
        return False
    except OSError:
        return None
    return True


def abandoned(path: Path) -> bool:
    """Whether no live process holds a file that it would hold while writing; where there are no locks, whether nothing
    has happened to it for a day."""
    if fcntl is None:
        return True  # Windows: removing it fails where one does
    try:
        handle = os.open(path, os.O_RDONLY | os.O_NONBLOCK)
    except OSError:
        return False
    try:
        locked = _locked(handle)
        return time.time() - os.fstat(handle).st_mtime > SURELY_DEAD_S if locked is None else locked
    finally:
        os.close(handle)


def hold_folder(folder: Path) -> Callable[[], None]:
    """Mark a new folder as this process's, until the function that is returned is called or the process ends."""
    if fcntl is None:
        owner = (folder / OWNER).open("wb")
        return owner.close
    handle = os.open(folder, os.O_RDONLY)
    hold(handle)

    def let_go() -> None:
        os.close(handle)

    return let_go


def folder_abandoned(folder: Path) -> bool:
    """Whether the process that held a folder by `hold_folder` has ended."""
    if fcntl is not None:
        return abandoned(folder)
    try:
        (folder / OWNER).unlink(missing_ok=True)
    except OSError:
        return False
    return True
