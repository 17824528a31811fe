"""Choice of the compute device, and of the LLVM library behind the CPU path.

Dr.Jit reads the location of libLLVM from the environment when its CPU backend first runs, and aborts the whole
process on some library versions; so the library is chosen here, before Dr.Jit is imported.
"""

from __future__ import annotations

import glob
import os
import platform
import re
import sys
from dataclasses import dataclass
from pathlib import Path

from materials import KeyfallError

OLDEST_LLVM = 17
NEWEST_LLVM = 22
_VARIANTS = {"cuda": "cuda_ad_mono", "metal": "metal_ad_mono", "cpu": "llvm_ad_mono"}
DEVICES = ("auto", *_VARIANTS)
_SEARCH = {
    "Linux": (
        "/usr/lib/*/libLLVM*.so*",
        "/usr/lib64/libLLVM*.so*",
        "/usr/lib/libLLVM*.so*",
        "/usr/lib/llvm-*/lib/libLLVM*.so*",
        "/usr/lib64/llvm*/lib*/libLLVM*.so*",
    ),
    "Darwin": ("/opt/homebrew/opt/llvm*/lib/libLLVM*.dylib", "/usr/local/opt/llvm*/lib/libLLVM*.dylib"),
    "Windows": ("C:/Program Files/LLVM/bin/LLVM-C.dll",),
}
_INSTALL = {
    "Linux": "on Debian or Ubuntu: sudo apt-get install libllvm19",
    "Darwin": "brew install llvm",
    "Windows": "install LLVM 19 from the LLVM project's release page",
}


class BackendError(KeyfallError):
    """No usable compute device."""


@dataclass(frozen=True, slots=True)
class LlvmLibrary:
    """A libLLVM file and its major version (None when the file name does not tell)."""

    path: Path
    major: int | None

    @property
    def usable(self) -> bool:
        """Whether Keyfall has run on this major version."""
        return self.major is not None and OLDEST_LLVM <= self.major <= NEWEST_LLVM


_active: str | None = None


def find_llvm() -> list[LlvmLibrary]:
    """Every libLLVM in the usual places of this system, newest first, each real file once."""
    found: dict[Path, LlvmLibrary] = {}
    for pattern in _SEARCH.get(platform.system(), ()):
        for name in glob.glob(pattern):
            path = Path(name).resolve()
            if path.is_file():
                found.setdefault(path, LlvmLibrary(path, _major(path)))
    return sorted(found.values(), key=lambda library: (-(library.major or 0), str(library.path)))


def _major(path: Path) -> int | None:
    match = re.search(r"LLVM[-.]?(?:so\.|C\.)?(\d+)", path.name) or re.search(r"llvm[-@]?(\d+)", str(path.parent))
    return int(match.group(1)) if match else None


def choose_llvm() -> Path:
    """The libLLVM to use: the one named by DRJIT_LIBLLVM_PATH, else the newest usable one.

    Raises
    ------
    BackendError
        When none is usable; the message lists what was found and how to install one.
    """
    named = os.environ.get("DRJIT_LIBLLVM_PATH")
    if named:
        if not Path(named).is_file():
            raise BackendError(f"DRJIT_LIBLLVM_PATH names '{named}', which is not a file. Correct it or unset it.")
        return Path(named)
    libraries = find_llvm()
    for library in libraries:
        if library.usable:
            return library.path
    seen = ", ".join(f"{lib.path} (version {lib.major or 'unknown'})" for lib in libraries) or "none"
    raise BackendError(
        f"The CPU path needs a libLLVM of version {OLDEST_LLVM} to {NEWEST_LLVM}. Found: {seen}. "
        f"Install one ({_INSTALL.get(platform.system(), 'LLVM 19')}), or set DRJIT_LIBLLVM_PATH to one you have."
    )


def cuda_present() -> bool:
    """Whether an NVIDIA driver answers on this machine."""
    import ctypes

    name = "nvcuda.dll" if sys.platform == "win32" else "libcuda.so.1"
    try:
        driver = ctypes.CDLL(name)
    except OSError:
        return False
    count = ctypes.c_int(0)
    return driver.cuInit(0) == 0 and driver.cuDeviceGetCount(ctypes.byref(count)) == 0 and count.value > 0


def check_threads(threads: int | None) -> None:
    """Refuse a number of CPU threads that this machine has no cores for.

    Raises
    ------
    BackendError
        Unless it is None, or 1 to the number of cores.
    """
    cores = os.cpu_count() or 1
    if threads is not None and not 1 <= threads <= cores:
        raise BackendError(f"The thread count is {threads}. Allowed: 1 to {cores}, this machine's cores.")


def init(device: str = "auto", threads: int | None = None) -> str:
    """Start the tracing backend once for this process.

    Parameters
    ----------
    device : one of `DEVICES`; "auto" takes CUDA where an NVIDIA driver answers, else the CPU.
    threads : CPU threads; None leaves the choice to the library.

    Returns
    -------
    The device in use: "cuda", "metal" or "cpu".

    Raises
    ------
    BackendError
        For an unknown or absent device, a second device in one process, too many threads, or no usable libLLVM.
    """
    global _active
    check_threads(threads)
    if device not in DEVICES:
        raise BackendError(f"There is no device '{device}'. Allowed: {', '.join(DEVICES)}.")
    wanted = ("cuda" if cuda_present() else "cpu") if device == "auto" else device
    if _active is not None:
        if device not in ("auto", _active):
            raise BackendError(f"This process already traces on '{_active}'; start a new one for '{device}'.")
        return _active
    if wanted == "cuda" and not cuda_present():
        raise BackendError("No NVIDIA driver answers on this machine. Leave --device out, or use --device cpu.")
    if wanted == "cpu":
        os.environ["DRJIT_LIBLLVM_PATH"] = str(choose_llvm())
    _keep_freed_memory()
    import drjit as dr
    import mitsuba as mi

    if _VARIANTS[wanted] not in mi.variants():
        raise BackendError(f"The installed tracing library has no '{wanted}' device. Use --device cpu.")
    mi.set_variant(_VARIANTS[wanted])
    if wanted == "cpu" and threads:
        dr.set_thread_count(threads)
    _active = wanted
    return wanted


def _keep_freed_memory() -> None:
    """Let glibc reuse the memory of freed pictures instead of giving it back: a tenth off a preview's time. Elsewhere
    nothing happens."""
    import ctypes

    trim_threshold, mmap_threshold = -1, -3  # M_TRIM_THRESHOLD, M_MMAP_THRESHOLD of malloc.h
    try:
        mallopt = ctypes.CDLL(None).mallopt
    except (AttributeError, OSError, TypeError):
        return
    mallopt(trim_threshold, 2**30)
    mallopt(mmap_threshold, 2**25)  # the most glibc takes


def active_device() -> str:
    """The device this process traces on; "none" before anything was traced."""
    return _active or "none"
