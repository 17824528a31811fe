"""The cache: whole records or none, bounded, shared by processes."""

from __future__ import annotations

import ast
import multiprocessing
import os
import signal
from pathlib import Path

import numpy as np
import pytest

import render
from materials import KeyfallError
from render import trace_version as trace_version_module
from render.cache import Cache, content_hash
from render.forms import half_parts
from render.half import Half
from render.interrupts import take_signals
from render.locks import hold
from render.records import Form, Part, write_record

pytestmark = pytest.mark.quick

FORM = {"values": Part("float32", (None,))}


def _record(value: float = 1.0, size: int = 1000) -> dict[str, np.ndarray]:
    return {"values": np.full(size, value, np.float32)}


def _whole() -> tuple[Form, dict[str, np.ndarray]]:
    """A record with a part of every kind: half precision, whole numbers, one that may be infinite, one left out."""
    random = np.random.default_rng(1)
    form = {
        **half_parts("light", (4, 6, 5)), "samples": Part("int64", (), 2, 100), "noise": Part("float64", (), finite=False),
        "depth": Part("float32", (6, 5), 0, finite=False), "more": Part("uint8", (None,), optional=True),
    }  # fmt: skip
    record = {**Half.of(random.random((4, 6, 5))).to_record("light"), "samples": np.array(8), "noise": np.array(np.nan)}
    return form, record | {"depth": np.full((6, 5), np.inf, np.float32)}


def test_a_record_comes_back(tmp_path):
    cache = Cache(tmp_path)
    cache.save("light", "k", FORM, _record(3.0))
    loaded = cache.load("light", "k", FORM)
    assert loaded is not None
    np.testing.assert_array_equal(loaded["values"], _record(3.0)["values"])
    assert cache.load("light", "other", FORM) is None


def test_every_kind_of_part_comes_back(tmp_path):
    cache, (form, record) = Cache(tmp_path), _whole()
    assert cache.save("light", "k", form, record)
    for mapped in (False, True):
        loaded = cache.load("light", "k", form, mapped=mapped)
        assert loaded is not None
        assert loaded.keys() == record.keys()
        for name, array in record.items():
            assert (loaded[name].dtype, loaded[name].shape) == (array.dtype, array.shape)
            np.testing.assert_array_equal(loaded[name], array)


def test_large_parts_stay_on_disk_until_used(tmp_path):
    cache = Cache(tmp_path)
    form = {name: Part("float32", (None,)) for name in ("one", "small", "two")}
    record = {name: np.arange(size, dtype=np.float32) for name, size in zip(form, (400_000, 7, 300_000), strict=True)}
    cache.save("light", "k", form, record)
    loaded = cache.load("light", "k", form, mapped=True)
    assert loaded is not None
    assert [array.flags.owndata or array.base.flags.owndata for array in loaded.values()] == [False, True, False]
    assert not loaded["one"].flags.writeable
    cache.clear()
    for name in form:
        np.testing.assert_array_equal(loaded[name], record[name])


def test_any_damage_counts_as_absent_and_goes(tmp_path):
    """Every bit of the head, bits and cuts all over the rest, foreign content, another record's content."""
    cache, (form, record) = Cache(tmp_path), _whole()
    cache.save("light", "other", form, record)
    cache.save("light", "k", form, record)
    path = tmp_path / "light-k.record"
    whole = path.read_bytes()
    flips = [*range(8 * 60), *range(8 * 60, 8 * len(whole), 53)]
    damaged = [whole[: f // 8] + bytes([whole[f // 8] ^ 1 << f % 8]) + whole[f // 8 + 1 :] for f in flips]
    damaged += [whole[:cut] for cut in range(0, len(whole), 31)] + [whole + b"\0", b"not a record", whole[:20] * 99]
    damaged += [(tmp_path / "light-other.record").read_bytes()]
    for content in damaged:
        path.write_bytes(content)
        assert cache.load("light", "k", form) is None
        assert not path.exists()
    path.write_bytes(whole)
    assert cache.load("light", "k", form) is not None


UNFIT = {
    "a part missing": {"noise": None},
    "a part more": {"colour": np.zeros(3)},
    "another shape": {"depth": np.zeros((5, 6), np.float32)},
    "another type": {"depth": np.zeros((6, 5))},
    "not a number": {"light": np.full((4, 6, 5), np.nan, np.float16)},
    "infinite": {"light": np.full((4, 6, 5), -np.inf, np.float16)},
    "too many": {"samples": np.array(101)},
    "under what is allowed": {"depth": np.full((6, 5), -1, np.float32)},
    "not a number where a bound holds": {"depth": np.full((6, 5), np.nan, np.float32)},
}


@pytest.mark.parametrize("fault", UNFIT)
def test_a_record_that_does_not_fit_is_neither_kept_nor_loaded(tmp_path, fault):
    cache, (form, record) = Cache(tmp_path), _whole()
    wrong = {name: array for name, array in (record | UNFIT[fault]).items() if array is not None}
    assert not cache.save("light", "k", form, wrong)
    path = tmp_path / "light-k.record"
    with path.open("wb") as file:
        write_record(file, "light-k", wrong)
    assert cache.load("light", "k", form) is None
    assert not path.exists()


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs named pipes")
def test_what_is_no_file_in_a_records_place_neither_hangs_nor_stays(tmp_path):
    cache = Cache(tmp_path)
    os.mkfifo(tmp_path / "light-pipe.record")
    (tmp_path / "light-link.record").symlink_to("/dev/zero")
    (tmp_path / "light-loop.record").symlink_to("light-loop.record")
    (tmp_path / "light-folder.record").mkdir()
    for key in ("pipe", "link", "loop", "folder"):
        assert cache.load("light", key, FORM) is None
        assert cache.save("light", key, FORM, _record()) is (key != "folder")
        assert (cache.load("light", key, FORM) is not None) is (key != "folder")
    assert cache.clear() > 0
    assert [path.name for path in tmp_path.iterdir()] == ["light-folder.record"]


def test_what_a_killed_process_left_goes_and_what_a_live_one_writes_stays(tmp_path):
    cache = Cache(tmp_path)
    (tmp_path / "writing-dead.tmp").write_bytes(b"half")
    with (tmp_path / "writing-live.tmp").open("wb") as live:
        assert hold(live.fileno())
        cache.save("light", "k", FORM, _record())
        assert {path.name for path in tmp_path.iterdir()} == {"writing-live.tmp", "light-k.record"}


def test_the_version_covers_every_module_that_decides_what_is_traced():
    """Everything of ours that the kernel, the tracer and the records import, module by module, is hashed."""
    named = {f"{package}.{module}" for package, modules in trace_version_module.SOURCES.items()
             for module in (trace_version_module._modules(package) if modules == ("*",) else modules)}  # fmt: skip
    beside = {
        "render.cache",
        "render.records",
        "render.forms",
        "render.locks",
        "render.interrupts",
        "render.memory",
        "render.backend",
        "render.trace_version",
    }
    seen: set[str] = set()
    ahead = {name for name in named if name.startswith("render.")}
    while ahead:
        name = ahead.pop()
        seen.add(name)
        ahead |= _imports(name) - seen - beside
    assert seen <= named, f"not hashed: {sorted(seen - named)}"


def _imports(module: str) -> set[str]:
    """Modules of ours that a module names in its imports."""
    root = Path(render.__file__).parents[1]
    place = module.split(".")
    tree = ast.parse((root.joinpath(*place).with_suffix(".py")).read_text("utf-8"))
    found = set()
    for node in (n for n in ast.walk(tree) if isinstance(n, ast.ImportFrom)):
        base = place[: len(place) - node.level] if node.level else []
        base += (node.module or "").split(".") if node.module else []
        for name in (base, *([*base, alias.name] for alias in node.names)):
            if (
                name
                and name[0] in ("materials", "scenes", "render")
                and root.joinpath(*name).with_suffix(".py").is_file()
            ):
                found.add(".".join(name))
    return found


def test_the_version_follows_the_source(tmp_path, monkeypatch):
    def versions(change: str) -> str:
        monkeypatch.setattr(trace_version_module.resources, "files", lambda package: tmp_path / package)
        for package in trace_version_module.SOURCES:
            (tmp_path / package).mkdir(exist_ok=True)
            for module in ("noise", "paths", "stage", *trace_version_module.SOURCES[package]):
                if module != "*":
                    (tmp_path / package / f"{module}.py").write_text(f"{module}\n")
        (tmp_path / "render.kernel" / "paths.py").write_text(change)
        trace_version_module.trace_version.cache_clear()
        return trace_version_module.trace_version()

    try:
        assert versions("a = 1\n") == versions("a = 1\r\n") != versions("a = 2\n")
    finally:
        monkeypatch.undo()
        trace_version_module.trace_version.cache_clear()


def test_a_crash_while_writing_leaves_no_record(tmp_path, monkeypatch):
    cache = Cache(tmp_path)

    def crash(*_args, **_kwargs):
        raise KeyboardInterrupt

    monkeypatch.setattr("render.cache.write_record", crash)
    with pytest.raises(KeyboardInterrupt):
        cache.save("light", "k", FORM, _record())
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(not hasattr(os, "fork"), reason="stops a copy of this process")
@pytest.mark.filterwarnings("ignore:This process")
def test_a_signal_while_a_record_is_written_leaves_none(tmp_path, monkeypatch):
    child = os.fork()
    if child == 0:
        os.dup2(os.open(os.devnull, os.O_WRONLY), 2)
        take_signals()
        monkeypatch.setattr("render.cache.write_record", lambda *_: os.kill(os.getpid(), signal.SIGTERM))
        Cache(tmp_path).save("light", "k", FORM, _record())
        os._exit(0)
    _, status = os.waitpid(child, 0)
    assert os.waitstatus_to_exitcode(status) == 143
    assert list(tmp_path.iterdir()) == []


def test_the_size_is_bounded_and_the_oldest_go_first(tmp_path):
    cache = Cache(tmp_path, limit_bytes=25_000)
    for age, key in enumerate("abcdef"):
        cache.save("light", key, FORM, _record(size=1000))
        path = tmp_path / f"light-{key}.record"
        if path.exists():
            os.utime(path, (1000 + age, 1000 + age))
    assert cache.size_bytes() <= 25_000
    assert cache.load("light", "a", FORM) is None
    assert cache.load("light", "f", FORM) is not None


def test_use_keeps_a_record_young(tmp_path):
    cache = Cache(tmp_path, limit_bytes=10_000)
    for key in "ab":
        cache.save("light", key, FORM, _record(size=1000))
        os.utime(tmp_path / f"light-{key}.record", (1000, 1000 + ord(key)))
    assert cache.load("light", "a", FORM) is not None
    cache.save("light", "c", FORM, _record(size=1000))
    assert cache.load("light", "a", FORM) is not None
    assert cache.load("light", "b", FORM) is None


def test_a_folder_that_cannot_be_written_is_no_error(tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("")
    Cache(blocked / "inside").save("light", "k", FORM, _record())


def test_a_wrong_limit_is_an_error(monkeypatch, tmp_path):
    monkeypatch.setenv("KEYFALL_CACHE_GB", "lots")
    with pytest.raises(KeyfallError, match="KEYFALL_CACHE_GB is 'lots'"):
        Cache(tmp_path)


def _write_many(folder, start):
    cache = Cache(folder, limit_bytes=60_000)
    for n in range(60):
        cache.save("light", str(n % 7), FORM, _record(float(n % 7)))
        loaded = cache.load("light", str((n + start) % 7), FORM)
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
