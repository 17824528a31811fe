"""The LLVM library behind the CPU path: where it may be, which versions work, and what a file that is named really is.

Dr.Jit loads the library into this process, and some versions then abort it; so every library that is not known by its
name is asked for its version in a process of its own first.
"""

from __future__ import annotations

import functools
import glob
import os
import platform
import re
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from materials import KeyfallError
from materials.plain import visible
from materials.reading import why_unreadable

OLDEST_LLVM, NEWEST_LLVM = 17, 22
VARIABLE = "DRJIT_LIBLLVM_PATH"
PROBE_S = 60.0
"""How long a library may take to say its version, seconds: a fraction of one, unless the machine is very busy."""

_SEARCH = {
    "Linux": (
        "/usr/lib/*/libLLVM*.so*",
        "/usr/lib64/libLLVM*.so*",
        "/usr/lib/libLLVM*.so*",
        "/usr/lib/llvm-*/lib/libLLVM*.so*",
        "/usr/lib64/llvm*/lib*/libLLVM*.so*",
    ),
    "Darwin": (
        "/opt/homebrew/opt/llvm*/lib/libLLVM*.dylib",
        "/usr/local/opt/llvm*/lib/libLLVM*.dylib",
        "/opt/local/libexec/llvm-*/lib/libLLVM*.dylib",
    ),
    "Windows": ("{ProgramFiles}/LLVM/bin/LLVM-C.dll", "{LocalAppData}/Programs/LLVM/bin/LLVM-C.dll"),
}
_INSTALL = {
    "Linux": "on Debian or Ubuntu: sudo apt-get install libllvm19",
    "Darwin": "brew install llvm@21",
    "Windows": "the LLVM project's own installer for Windows, version 17 to 22, 64 bit",
}
_MAGIC = (b"\x7fELF", b"MZ", b"\xfe\xed\xfa\xcf", b"\xcf\xfa\xed\xfe", b"\xca\xfe\xba\xbe", b"\xca\xfe\xba\xbf")
_ASK = """
import ctypes, sys
library = ctypes.CDLL(sys.argv[1])
if not hasattr(library, "LLVMContextCreate"):
    sys.exit(3)
if not hasattr(library, "LLVMGetVersion"):
    sys.exit(4)
parts = [ctypes.c_uint(0) for _ in range(3)]
library.LLVMGetVersion(*(ctypes.byref(part) for part in parts))
print(parts[0].value)
"""
_NO_LLVM, _BEFORE_16 = 3, 4


class BackendError(KeyfallError):
    """No usable compute device."""


@dataclass(frozen=True, slots=True)
class LlvmLibrary:
    """A libLLVM file and its major version (None when it cannot be told)."""

    path: Path
    major: int | None

    @property
    def usable(self) -> bool:
        """Whether Keyfall has run on this major version."""
        return self.major is not None and OLDEST_LLVM <= self.major <= NEWEST_LLVM


def find_llvm() -> list[LlvmLibrary]:
    """Every libLLVM in the usual places of this system, newest first, each real file once."""
    found: dict[Path, LlvmLibrary] = {}
    for pattern in _SEARCH.get(platform.system(), ()):
        for name in glob.glob(_place(pattern)):
            path = Path(name).resolve()
            if path not in found and _is_library(path):
                found[path] = LlvmLibrary(path, version_in_name(path) or asked_version(path)[0])
    return sorted(found.values(), key=lambda library: (-(library.major or 0), str(library.path)))


def _place(pattern: str) -> str:
    """A pattern with the folders of Windows put in."""
    homes = {"ProgramFiles": "C:/Program Files", "LocalAppData": "C:/Users/none"}
    return pattern.format(**{name: os.environ.get(name, home).replace("\\", "/") for name, home in homes.items()})


def version_in_name(path: Path) -> int | None:
    """Major version by a file's name, or by that of its folder; None where neither tells."""
    match = re.search(r"LLVM[-.]?(?:so\.|C\.)?(\d+)", path.name) or re.search(
        r"llvm[-@/](\d+)(?=[./\\]|$)", path.parent.as_posix()
    )
    return int(match.group(1)) if match else None


def _is_library(path: Path) -> bool:
    """Whether a file begins as shared libraries do."""
    try:
        if why_unreadable(path) is not None:
            return False
        with path.open("rb") as file:
            return file.read(4).startswith(_MAGIC)
    except OSError:
        return False


def asked_version(path: Path) -> tuple[int | None, str]:
    """Major version that a library itself tells, and what is wrong with it where it tells none."""
    try:
        facts = path.stat()
    except OSError:
        return None, "cannot be read"
    return _asked(str(path), facts.st_size, facts.st_mtime_ns)


@functools.lru_cache(maxsize=16)
def _asked(path: str, size: int, changed: int) -> tuple[int | None, str]:
    """`asked_version` of a file as it is now, in a process of its own, which it may bring down."""
    if not sys.executable:
        return version_in_name(Path(path)), ""
    try:
        done = subprocess.run(
            [sys.executable, "-I", "-S", "-c", _ASK, path], capture_output=True, text=True, timeout=PROBE_S, check=False
        )
    except (OSError, subprocess.TimeoutExpired):
        return None, "does not load"
    if done.returncode == 0 and done.stdout.strip().isdigit():
        return int(done.stdout), ""
    if done.returncode == _NO_LLVM:
        return None, "is a library, but not LLVM"
    if done.returncode == _BEFORE_16:
        told = version_in_name(Path(path).resolve())
        return told if told is not None and told < 16 else None, "is LLVM of a version before 16"
    return None, "does not load as a library on this machine"


def choose_llvm() -> Path:
    """The libLLVM to use: the one named by DRJIT_LIBLLVM_PATH, else the newest usable one.

    Raises
    ------
    BackendError
        When the one named cannot be used, or none is usable; the message lists what was found and the cure.
    """
    named = os.environ.get(VARIABLE)
    if named:
        reason = _unusable(named)
        if reason:
            raise BackendError(f"{VARIABLE} names '{visible(named)}', which {reason}. {_cure()}")
        return Path(named)
    libraries = find_llvm()
    for library in libraries:
        if library.usable:
            return library.path
    seen = ", ".join(f"{lib.path} (version {lib.major or 'unknown'})" for lib in libraries) or "none"
    raise BackendError(
        f"The CPU path needs a libLLVM of version {OLDEST_LLVM} to {NEWEST_LLVM}. Found: {seen}. "
        f"Install one ({_INSTALL.get(platform.system(), 'LLVM 19')}), or set {VARIABLE} to one you have."
    )


def _unusable(named: str) -> str:
    """What keeps a named library from being used; empty for a good one."""
    absent = why_unreadable(named)
    if absent is not None:
        return absent.reason
    path = Path(named)
    if not _is_library(path):
        return "is no shared library"
    major, wrong = asked_version(path)
    if major is not None and not LlvmLibrary(path, major).usable:
        return f"is LLVM {major}; versions {OLDEST_LLVM} to {NEWEST_LLVM} work, and others can end the program"
    return wrong


def _cure() -> str:
    other = next((library.path for library in find_llvm() if library.usable), None)
    if other is not None:
        return f"Unset it, and Keyfall takes {other}."
    install = _INSTALL.get(platform.system(), "LLVM 19")
    return f"Install one of version {OLDEST_LLVM} to {NEWEST_LLVM} ({install}) and unset it, or name that one."
