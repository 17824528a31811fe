"""How a set of files takes the place of an earlier one, so that no kill at any moment leaves files of two runs there.

The new set lies complete in a folder of its own, `.writing-…`, inside the output folder. A plan is written there, last.
Then every file of the earlier set goes into that folder, its manifest first; only then the new files come out of it,
their manifest last. A process killed on the way leaves the plan behind, and whoever writes to the folder next goes on
from there: without a plan the set was not complete and is dropped, with one it is put in its place.

A manifest is the set's JSON, whose `checksums` name every other file of the set. What the user has changed since, or
put there himself, is no longer what the manifest says, and stays.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
import stat
import time
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path

from materials import KeyfallError

from .locks import OWNER, SURELY_DEAD_S, folder_abandoned
from .platforms import replace

ASIDE = ".writing-"
_NEW, _OLD, _PLAN = "new", "old", "plan.json"
_OURS = re.compile(r"\.writing-[a-z0-9_]{8}")
_SINGLE = re.compile(r"\.writing-[a-z0-9_]{8}(\.\w+)?")  # a file as earlier versions wrote it aside
_BLOCK = 1 << 20


class OutputError(KeyfallError):
    """A result cannot be written."""


def checksum(path: Path) -> str:
    """Checksum of a file's content: BLAKE2b of 20 bytes, in hexadecimal digits (RFC 7693)."""
    digest = hashlib.blake2b(digest_size=20)
    with path.open("rb") as file:
        while block := file.read(_BLOCK):
            digest.update(block)
    return digest.hexdigest()


@dataclass(frozen=True, slots=True)
class Plan:
    """What is to happen: files of the output folder that go, in this order, and those that come, in this order."""

    go: tuple[str, ...]
    come: tuple[str, ...]


def staging_parts(staging: Path) -> tuple[Path, Path]:
    """The folders inside a staging folder for the new files, and for those that make place."""
    return staging / _NEW, staging / _OLD


def publish(folder: Path, staging: Path, plan: Plan) -> None:
    """Declare the set in `staging` complete, and put it in its place in `folder`.

    Raises
    ------
    OSError
        When a file cannot be moved; everything is then as it was before.
    """
    _write_plan(staging, plan)
    carry_out(folder, staging, plan)
    (staging / _PLAN).unlink()  # what is carried out must not be carried out again


def _write_plan(staging: Path, plan: Plan) -> None:
    aside = staging / f"{_PLAN}.part"
    aside.write_text(json.dumps(asdict(plan)), encoding="utf-8")
    replace(aside, staging / _PLAN)


def _read_plan(staging: Path) -> Plan | None:
    """The plan of a set; None where there is none, so that the set was not complete.

    Raises
    ------
    OutputError
        When it is damaged.
    """
    try:
        listed = json.loads((staging / _PLAN).read_bytes())
        plan = Plan(tuple(listed["go"]), tuple(listed["come"]))
        if not all(name and name == os.path.basename(name) for name in (*plan.go, *plan.come)):
            raise ValueError("no names of files")
    except FileNotFoundError:
        return None
    except (ValueError, TypeError, KeyError, RecursionError):
        raise OutputError(
            f"'{staging}' holds the results of a run that was cut off, and what was to be done with them cannot be "
            "read. Take from its folders what you need, and remove it."
        ) from None
    return plan


def drop(staging: Path) -> None:
    """Remove a folder in which a set was collected, unless a set in it is yet to be put in its place."""
    if not (staging / _PLAN).exists():
        shutil.rmtree(staging, ignore_errors=True)


def carry_out(folder: Path, staging: Path, plan: Plan) -> None:
    """Put the set in `staging` in its place in `folder`; goes on where a killed process stopped.

    Raises
    ------
    OSError
        When a file cannot be moved; everything is then as it was before.
    """
    new, old = staging_parts(staging)
    moved: list[tuple[Path, Path]] = []

    def move(source: Path, target: Path) -> None:
        replace(source, target)
        moved.append((source, target))

    try:
        for name in plan.go:
            still_old = name not in plan.come or (new / name).exists()
            if still_old and not _there(old / name) and _there(folder / name):
                move(folder / name, old / name)
        for name in plan.come:
            if (new / name).exists():
                move(new / name, folder / name)
    except OSError:
        for source, target in reversed(moved):
            with suppress(OSError):
                target.replace(source)
        if all(_there(source) for source, _ in moved):  # else whoever writes here next goes on from there
            with suppress(OSError):
                (staging / _PLAN).unlink()
        raise


def _there(path: Path) -> bool:
    return os.path.lexists(path)


def stale(folder: Path, manifest: str) -> list[str]:
    """Files of the set that a manifest in the folder names, the manifest first, as far as they are still what it says;
    none when there is no such manifest."""
    try:
        listed = _listed(folder / manifest)
    except (OSError, ValueError):
        return []
    names = [name for name in listed if name == os.path.basename(name)]
    return [manifest, *(name for name in names if _is(folder / name, listed[name]))]


def _is(path: Path, sum_: str) -> bool:
    with suppress(OSError, ValueError):
        return stat.S_ISREG(path.lstat().st_mode) and checksum(path) == sum_
    return False


def faults_of(manifest: Path) -> list[str]:
    """What is wrong with a published set, in sentences; nothing when every file is the one its manifest names.

    Raises
    ------
    OSError, ValueError
        When the manifest cannot be read, or is none.
    """
    return _faults(manifest.parent, manifest.name, _listed(manifest))


def sets_in(folder: Path) -> dict[str, list[str]]:
    """The manifests in a folder by name, and what is wrong with each set."""
    found = {}
    for path in sorted(folder.glob("*.json")):
        with suppress(OSError, ValueError):
            found[path.name] = _faults(folder, path.name, _listed(path))
    return found


def _listed(manifest: Path) -> dict[str, str]:
    """The checksums of a manifest's files."""
    if not stat.S_ISREG(manifest.stat().st_mode):
        raise ValueError("no regular file")
    try:
        content = json.loads(manifest.read_text(encoding="utf-8"))
    except RecursionError:
        raise ValueError("no manifest") from None
    listed = content.get("checksums") if isinstance(content, dict) else None
    if not isinstance(listed, dict) or not all(isinstance(sum_, str) for sum_ in listed.values()):
        raise ValueError("no manifest")
    return listed


def _faults(folder: Path, manifest: str, listed: dict[str, str]) -> list[str]:
    faults = []
    for name, sum_ in listed.items():
        if not (folder / name).is_file():
            faults.append(f"{name} is missing.")
        elif not _is(folder / name, sum_):
            faults.append(f"{name} is not the file that was written with {manifest}.")
    return faults


def recover(folder: Path) -> None:
    """Bring to an end what killed processes left in the folder: complete sets are put in their place, others dropped.

    Raises
    ------
    OSError, OutputError
        When a complete set cannot be put in its place.
    """
    with suppress(FileNotFoundError):
        for path in sorted(folder.iterdir()):
            if path.is_dir() and not path.is_symlink():
                if _OURS.fullmatch(path.name):
                    with suppress(FileNotFoundError):  # whoever made it may remove it at the same time
                        _recover_set(folder, path)
            elif _SINGLE.fullmatch(path.name) and _old_file(path):
                with suppress(OSError):
                    path.unlink()


def _recover_set(folder: Path, staging: Path) -> None:
    if {path.name for path in staging.iterdir()} - {_NEW, _OLD, _PLAN, f"{_PLAN}.part", OWNER}:
        return  # a folder of the user's own
    if not folder_abandoned(staging):
        return
    plan = _read_plan(staging)
    if plan is not None:
        carry_out(folder, staging, plan)
        (staging / _PLAN).unlink()
    drop(staging)


def _old_file(path: Path) -> bool:
    """Whether a file was written aside so long ago that its process has ended."""
    with suppress(OSError):
        status = path.lstat()
        return stat.S_ISREG(status.st_mode) and time.time() - status.st_mtime > SURELY_DEAD_S
    return False
