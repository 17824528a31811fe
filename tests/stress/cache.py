"""Cache records damaged at random: each counts as absent or comes back as it was; none raises, hangs or is believed."""

from __future__ import annotations

import io
import os
import struct
import tempfile
import zlib
from collections.abc import Callable
from pathlib import Path

import numpy as np

from render.cache import Cache
from render.forms import Forms
from render.half import Half
from render.records import Form, fits

from .limits import in_time

LIMIT_S = 20
_HEAD = len(b"keyfall record 1\n")
_SUM = struct.Struct("<IQ")


def run(count: int, seed: int) -> list[str]:
    """Damage `count` records; returns what went wrong."""
    rng = np.random.default_rng(seed)
    failures = []
    with tempfile.TemporaryDirectory() as folder:
        cache = Cache(Path(folder), limit_bytes=10**9)
        for number in range(count):
            kind, (form, record) = _any(rng)
            cache.save(kind, "k", form, record)
            path = Path(folder) / f"{kind}-k.record"
            how = DAMAGES[rng.integers(len(DAMAGES))]
            mapped = bool(rng.random() < 0.3)
            try:
                with in_time(LIMIT_S):
                    how(path, rng)
                    found = cache.load(kind, "k", form, mapped=mapped)
            except Exception as error:
                failures.append(f"{seed}+{number}, {kind}, {how.__name__}: {type(error).__name__}: {error}")
                found = None
            if found is not None and not (fits(found, form) if how is forged else _same(found, record)):
                failures.append(f"{seed}+{number}, {kind}, {how.__name__}: believed")
            if found is None and os.path.lexists(path) and not path.is_dir():
                failures.append(f"{seed}+{number}, {kind}, {how.__name__}: left behind")
            _clear(path)
    return failures


def _any(rng: np.random.Generator) -> tuple[str, tuple[Form, dict[str, np.ndarray]]]:
    """A record as a trace makes one, of any kind."""
    bands, height, width = 16, int(rng.integers(2, 40)), int(rng.integers(2, 40))
    forms = Forms(bands, height, width, bool(rng.random() < 0.5))
    picture = (bands, height, width)

    def half(name: str, shape: tuple[int, ...]) -> dict[str, np.ndarray]:
        return Half.of(rng.random(shape, np.float32)).to_record(name)

    def sums(*names: str) -> dict[str, np.ndarray]:
        return {name: rng.random(picture, np.float32) for name in names}

    hazy = ("haze",) if forms.hazy else ()
    light = {"samples": np.array(8), "noise_stops": np.array(rng.choice([np.nan, 0.1])), "put_back": np.array(0.0)}
    for name in ("radiance", "noisy", "irradiance", *hazy):
        light |= half(name, picture)
    counts = {name: np.array(2) for name in ("samples", "pass_size", "rows")}
    kinds = {
        "light": (forms.light, light),
        "guides": (forms.guides, half("albedo", picture) | half("normal", (3, height, width)) | {
            "depth_m": np.full((height, width), np.inf, np.float32), "region": np.zeros((height, width), np.uint8),
            "position_m": np.zeros((3, height, width), np.float32),
        }),
        "partial": (forms.partial, {**counts, "odd": rng.random((height, width)), **sums("radiance", "irradiance", *hazy)}),
        "meters": (forms.meters(2, 9), {"readings": rng.random((2, bands, 9))}),
        "blockers": (forms.blockers(5), {"indices": np.arange(5)}),
    }  # fmt: skip
    kind = str(rng.choice(list(kinds)))
    return kind, kinds[kind]


def _same(found: dict[str, np.ndarray], record: dict[str, np.ndarray]) -> bool:
    return found.keys() == record.keys() and all(
        np.array_equal(found[name], record[name], equal_nan=found[name].dtype.kind == "f") for name in record
    )


def _clear(path: Path) -> None:
    if path.is_dir() and not path.is_symlink():
        path.rmdir()
    else:
        path.unlink(missing_ok=True)


def bits(path: Path, rng: np.random.Generator) -> None:
    """A few bits flip, often in the head."""
    data = bytearray(path.read_bytes())
    reach = len(data) if rng.random() < 0.5 else min(len(data), 400)
    for place in rng.integers(0, reach, rng.integers(1, 9)):
        data[place] ^= 1 << int(rng.integers(8))
    path.write_bytes(data)


def cut(path: Path, rng: np.random.Generator) -> None:
    """The end is missing."""
    data = path.read_bytes()
    path.write_bytes(data[: rng.integers(0, len(data))])


def more(path: Path, rng: np.random.Generator) -> None:
    """Something follows."""
    path.write_bytes(path.read_bytes() + rng.bytes(int(rng.integers(1, 5000))))


def overwritten(path: Path, rng: np.random.Generator) -> None:
    """A block of zeros or noise, as after a crash of the machine."""
    data = bytearray(path.read_bytes())
    first, size = int(rng.integers(0, len(data))), int(rng.integers(1, 4097))
    block = rng.bytes(size) if rng.random() < 0.5 else bytes(size)
    data[first : first + size] = block[: len(data) - first]
    path.write_bytes(data)


def foreign(path: Path, rng: np.random.Generator) -> None:
    """Another program's file, an earlier version's record, a pickle."""
    buffer = io.BytesIO()
    choice = int(rng.integers(4))
    if choice == 0:
        np.savez(buffer, radiance=rng.random((3, 3)))
    elif choice == 1:
        np.save(buffer, np.array([{"a": 1}], object), allow_pickle=True)
    elif choice == 2:
        buffer.write(rng.bytes(int(rng.integers(0, 3000))))
    path.write_bytes(buffer.getvalue())


def no_file(path: Path, rng: np.random.Generator) -> None:
    """A pipe, a folder, a device or a link in the record's place."""
    path.unlink()
    choice = int(rng.integers(5))
    if choice == 0:
        os.mkfifo(path)
    elif choice == 1:
        path.mkdir()
    else:
        path.symlink_to(("/dev/zero", "/dev/full", path.name)[choice - 2])


def forged(path: Path, rng: np.random.Generator) -> None:
    """Damaged behind the checksum, which is made to fit: what only the readers and the form can find."""
    data = path.read_bytes()
    body = bytearray(data[_HEAD + _SUM.size :])
    reach = min(len(body), 600)
    for place in rng.integers(0, reach, rng.integers(1, 6)):
        body[place] = int(rng.integers(256))
    if rng.random() < 0.3:
        body = body[: rng.integers(0, len(body))]
    path.write_bytes(data[:_HEAD] + _SUM.pack(zlib.crc32(body), len(body)) + body)


Damage = Callable[[Path, np.random.Generator], None]
DAMAGES: tuple[Damage, ...] = (bits, cut, more, overwritten, foreign, forged)
if hasattr(os, "mkfifo"):
    DAMAGES = (*DAMAGES, no_file)
