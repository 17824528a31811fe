"""Locks that end with the process that holds them, so that what a killed process left behind can be told from what a
live one is writing.

On Windows an open file cannot be removed, which serves as well there.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

OWNER = "owner"

fcntl: ModuleType | None
try:
    import fcntl
except ImportError:  # Windows
    fcntl = None


def hold(handle: int, wait: bool = False) -> bool:
    """Lock an open file (or, outside Windows, folder) for this process; whether it is locked now, or needs no lock
    because the system or the file's place knows none."""
    if fcntl is None:
        return True
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
    except BlockingIOError:
        return False
    except OSError:  # some network drives have no locks
        return True
    return True


def abandoned(path: Path) -> bool:
    """Whether no live process holds a file that it would hold while writing."""
    if fcntl is None:
        return True  # Windows: removing it fails where one does
    try:
        handle = os.open(path, os.O_RDONLY | os.O_NONBLOCK)
    except OSError:
        return False
    try:
        return hold(handle)
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
