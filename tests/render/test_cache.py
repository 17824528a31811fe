"""The cache: whole records or none, bounded, shared by processes."""

from __future__ import annotations

import multiprocessing
import os

import numpy as np
import pytest

from materials import KeyfallError
from render.cache import Cache, content_hash
from render.half import Half


def _record(value: float = 1.0, size: int = 1000) -> dict[str, np.ndarray]:
    return {"values": np.full(size, value, np.float32)}


def test_a_record_comes_back(tmp_path):
    cache = Cache(tmp_path)
    cache.save("light", "k", _record(3.0))
    loaded = cache.load("light", "k")
    assert loaded is not None
    np.testing.assert_array_equal(loaded["values"], _record(3.0)["values"])
    assert cache.load("light", "other") is None


@pytest.mark.parametrize("damage", [b"", b"not a record", None])
def test_a_damaged_record_counts_as_absent_and_goes(tmp_path, damage):
    cache = Cache(tmp_path)
    cache.save("light", "k", _record())
    path = next(tmp_path.iterdir())
    path.write_bytes(path.read_bytes()[:200] if damage is None else damage)
    assert cache.load("light", "k") is None
    assert not path.exists()


def test_a_crash_while_writing_leaves_no_record(tmp_path, monkeypatch):
    cache = Cache(tmp_path)

    def crash(*_args, **_kwargs):
        raise KeyboardInterrupt

    monkeypatch.setattr(np, "savez", crash)
    with pytest.raises(KeyboardInterrupt):
        cache.save("light", "k", _record())
    assert list(tmp_path.iterdir()) == []


def test_the_size_is_bounded_and_the_oldest_go_first(tmp_path):
    cache = Cache(tmp_path, limit_bytes=25_000)
    for age, key in enumerate("abcdef"):
        cache.save("light", key, _record(size=1000))
        path = tmp_path / f"light-{key}.npz"
        if path.exists():
            os.utime(path, (1000 + age, 1000 + age))
    assert cache.size_bytes() <= 25_000
    assert cache.load("light", "a") is None
    assert cache.load("light", "f") is not None


def test_use_keeps_a_record_young(tmp_path):
    cache = Cache(tmp_path, limit_bytes=10_000)
    for key in "ab":
        cache.save("light", key, _record(size=1000))
        os.utime(tmp_path / f"light-{key}.npz", (1000, 1000 + ord(key)))
    assert cache.load("light", "a") is not None
    cache.save("light", "c", _record(size=1000))
    assert cache.load("light", "a") is not None
    assert cache.load("light", "b") is None


def test_a_folder_that_cannot_be_written_is_no_error(tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("")
    Cache(blocked / "inside").save("light", "k", _record())


def test_a_wrong_limit_is_an_error(monkeypatch, tmp_path):
    monkeypatch.setenv("KEYFALL_CACHE_GB", "lots")
    with pytest.raises(KeyfallError, match="KEYFALL_CACHE_GB is 'lots'"):
        Cache(tmp_path)


def _write_many(folder, start):
    cache = Cache(folder, limit_bytes=60_000)
    for n in range(60):
        cache.save("light", str(n % 7), _record(float(n % 7)))
        loaded = cache.load("light", str((n + start) % 7))
        if loaded is not None and not np.all(loaded["values"] == (n + start) % 7):
            os._exit(3)
    os._exit(0)


def test_two_processes_share_a_folder(tmp_path):
    context = multiprocessing.get_context("spawn")
    workers = [context.Process(target=_write_many, args=(tmp_path, n)) for n in range(2)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join(60)
    assert [worker.exitcode for worker in workers] == [0, 0]
    assert not list(tmp_path.glob("writing-*"))


def test_half_precision_keeps_eleven_bits_over_29_stops():
    values = 2.0 ** np.linspace(-28, 0, 2000) * 1e-9
    back = Half.from_record(Half.of(values).to_record("x"), "x").unpack()
    np.testing.assert_allclose(back, values, rtol=2**-11)


def test_half_precision_of_nothing_is_nothing():
    np.testing.assert_array_equal(Half.of(np.zeros(4)).unpack(), np.zeros(4))


def test_hashes_tell_content_types_and_shapes_apart():
    parts = [np.zeros(4), np.zeros((2, 2)), np.zeros(4, np.float32), (0, 0), ((0,), 0), "0", 0, 0.0, {"a": 1}, {"a": 2}]
    assert len({content_hash(part) for part in parts}) == len(parts)
    assert content_hash(np.arange(3), "x") == content_hash(np.arange(3), "x")
