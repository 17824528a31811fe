"""What the code itself contributes to what is traced: a hash of its source, so that no cache outlives its change."""

from __future__ import annotations

import functools
import hashlib
from collections.abc import Iterator
from importlib import resources
from importlib.metadata import PackageNotFoundError, version
from importlib.resources.abc import Traversable

SOURCES: dict[str, tuple[str, ...]] = {
    "materials": ("*",),
    "scenes": (
        "appearance", "cell_walls", "cells", "emission", "field", "field_raster", "fixtures", "optics", "pieces",
        "stage", "window_place",
    ),
    "render": (
        "denoise", "given_back", "guard", "half", "job", "merge", "meterset", "noise", "olat", "passes", "shares",
        "smoothing", "tracer",
    ),
    "render.kernel": ("*",),
}
"""Modules that decide what is traced of a stage, by package; all of a package for "*". What the other modules of
`scenes` make enters the keys of the cache by its values."""

LIBRARIES = ("mitsuba", "drjit", "mitsuba-oidn")


@functools.cache
def trace_version(*more: str) -> str:
    """Hash of the source of every module that decides what is traced, of `more` modules named as "package.module", and
    of the versions of the tracing libraries."""
    digest = hashlib.blake2b(digest_size=16)
    for name, file in (*_files(), *((name, _file(name)) for name in more)):
        text = file.read_bytes().replace(b"\r\n", b"\n")
        digest.update(f"{name}:{len(text)};".encode() + text)
    for library in LIBRARIES:
        try:
            digest.update(f"{library} {version(library)};".encode())
        except PackageNotFoundError:
            digest.update(f"{library} absent;".encode())
    return digest.hexdigest()


def _files() -> Iterator[tuple[str, Traversable]]:
    for package, modules in SOURCES.items():
        for module in _modules(package) if modules == ("*",) else modules:
            name = f"{package}.{module}"
            yield name, _file(name)


def _modules(package: str) -> list[str]:
    names = (file.name for file in resources.files(package).iterdir())
    return sorted(name.removesuffix(".py") for name in names if name.endswith(".py"))


def _file(module: str) -> Traversable:
    package, _, name = module.rpartition(".")
    return resources.files(package) / f"{name}.py"
