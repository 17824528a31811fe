"""Choice of the compute device, and of the LLVM library behind the CPU path.

Dr.Jit reads the location of libLLVM from the environment when its CPU backend first runs, and aborts the whole
process on some library versions; so the library is chosen here, before Dr.Jit is imported.
"""

from __future__ import annotations

import os
import sys
from contextlib import suppress
from pathlib import Path

from scenes.cache_folder import cache_folder

from .llvm import VARIABLE, BackendError, choose_llvm

__all__ = ["DEVICES", "BackendError", "active_device", "check_threads", "choose_llvm", "cuda_present", "init"]

_VARIANTS = {"cuda": "cuda_ad_mono", "metal": "metal_ad_mono", "cpu": "llvm_ad_mono"}
DEVICES = ("auto", *_VARIANTS)
_ENV_KERNELS = "DRJIT_CACHE_DIR"
_active: str | None = None


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
        os.environ[VARIABLE] = str(choose_llvm())
    _keep_freed_memory()
    _choose_kernel_folder()
    import drjit as dr
    import mitsuba as mi

    if _VARIANTS[wanted] not in mi.variants():
        raise BackendError(f"The installed tracing library has no '{wanted}' device. Use --device cpu.")
    mi.set_variant(_VARIANTS[wanted])
    if wanted == "cpu" and threads:
        dr.set_thread_count(threads)
    _active = wanted
    return wanted


def _choose_kernel_folder() -> None:
    """Keep compiled kernels beside Keyfall's own cache where the user has no home folder that can be written: the
    library would complain on standard error."""
    if os.name != "posix" or _ENV_KERNELS in os.environ:
        return
    home = os.environ.get("HOME")
    if home and _can_be_written(Path(home, ".drjit")):
        return
    ours = cache_folder() / "kernels"
    if _can_be_written(ours):
        os.environ[_ENV_KERNELS] = str(ours)


def _can_be_written(folder: Path) -> bool:
    with suppress(OSError):
        folder.mkdir(parents=True, exist_ok=True)
    return os.access(folder, os.W_OK | os.X_OK)


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
