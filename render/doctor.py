"""What this machine offers for tracing, for `keyfall doctor`."""

from __future__ import annotations

import os
import platform
from dataclasses import asdict, dataclass

from materials import KeyfallError

from .backend import cuda_present
from .cache import Cache
from .llvm import NEWEST_LLVM, OLDEST_LLVM, BackendError, choose_llvm, find_llvm
from .report import versions


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """`usable` tells whether tracing can run here; `advice` what to do where it cannot."""

    usable: bool
    device: str
    llvm: str | None
    llvm_found: tuple[str, ...]
    cuda: bool
    cores: int
    system: str
    versions: dict[str, str]
    cache_folder: str
    cache_bytes: int
    cache_limit_bytes: int
    advice: str

    def as_dict(self) -> dict[str, object]:
        """Plain mapping for JSON."""
        return asdict(self)


def diagnose() -> Diagnosis:
    """Look at devices, LLVM libraries, versions and the cache. Starts no device."""
    cuda = cuda_present()
    llvm, advice = None, ""
    try:
        llvm = str(choose_llvm())
    except BackendError as error:
        advice = str(error)
    try:
        cache = Cache()
        folder, used, limit = str(cache.folder), cache.size_bytes(), cache.limit_bytes
    except KeyfallError as error:
        folder, used, limit = "", 0, 0
        advice = " ".join(filter(None, (advice, str(error))))
    found = tuple(
        f"{lib.path} (version {lib.major or 'unknown'}{'' if lib.usable else f', not {OLDEST_LLVM} to {NEWEST_LLVM}'})"
        for lib in find_llvm()
    )
    return Diagnosis(
        usable=(cuda or llvm is not None) and bool(folder),
        device="cuda" if cuda else "cpu",
        llvm=llvm,
        llvm_found=found,
        cuda=cuda,
        cores=os.cpu_count() or 1,
        system=f"{platform.system()} {platform.machine()}",
        versions=versions(),
        cache_folder=folder,
        cache_bytes=used,
        cache_limit_bytes=limit,
        advice=advice,
    )
