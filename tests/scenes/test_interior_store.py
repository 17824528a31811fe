"""What was traced of insides: the shipped numbers are those the code makes, and no damaged file is believed."""

from __future__ import annotations

import os
import zipfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from scenes import interior_store, make_insides
from scenes.interior import Interior, Lamp, Wall, emergent
from scenes.interior_mouth import _kept_mouth, mouth
from scenes.kit import stock_kit
from scenes.modifiers import Bulb

BOWL = Interior((Wall(-0.1, 0.05, 0.0, 0.1, 0.5), Wall(-0.1, 0.0, -0.1, 0.05, 0.5)), (), Lamp(-0.05, 0.02), 0.1)
KINDS = ("reflector", "dish", "snoot", "softbox", "umbrella")
INSIDES = tuple(name for name, m in stock_kit().modifiers.items() if m.kind in KINDS)


@pytest.fixture(autouse=True)
def _forgotten():
    for memory in (emergent, _kept_mouth):
        memory.cache_clear()
    yield
    for memory in (emergent, _kept_mouth):
        memory.cache_clear()


def _folder() -> Path:
    return Path(os.environ["KEYFALL_CACHE_DIR"])


def _made_again(names: tuple[str, ...], monkeypatch: pytest.MonkeyPatch) -> None:
    """Half a part in a thousand is the rounding of half precision; processors differ by less."""
    with zipfile.ZipFile(interior_store.STOCK) as archive:
        shipped = {name: archive.read(name) for name in archive.namelist()}
    monkeypatch.setattr(interior_store, "_stock", lambda name: b"")
    for name in names:
        stock_kit().shaped([name], Bulb(), Path())
    made = {path.name: path.read_bytes() for path in _folder().glob(interior_store.PATTERN)}
    assert len(made) >= len(names)
    for name, content in made.items():
        assert name in shipped, "an inside has changed: run python -m scenes.make_insides"
        count = 13 if len(content) > 4096 else (len(content) - 16) // 8
        ours, theirs = (interior_store._opened(name, c, count) for c in (content, shipped[name]))
        assert ours is not None
        assert theirs is not None
        assert ours.numbers == pytest.approx(theirs.numbers, rel=1e-3, abs=1e-6)
        assert np.allclose(ours.table.astype(float), theirs.table.astype(float), rtol=1e-3, atol=1.0)


def test_the_shipped_numbers_are_those_the_code_makes(monkeypatch):
    """A bowl that one looks into, and a box behind cloth."""
    _made_again(("standard-reflector", "octabox-90"), monkeypatch)


@pytest.mark.slow
def test_all_shipped_numbers_are_those_the_code_makes(monkeypatch):
    """Those for a lamp without a head; the others differ only by its size."""
    _made_again(INSIDES, monkeypatch)


def test_the_stock_kit_is_traced_by_nobody():
    """All of its insides are shipped: nothing is written to the cache folder."""
    for name in INSIDES:
        stock_kit().shaped([name], Bulb(), Path())
    for diameter in make_insides.bulbs(stock_kit()):
        stock_kit().shaped(["standard-reflector", "sock"], Bulb(diameter), Path())
    assert not list(_folder().glob("*"))


def test_an_inside_is_traced_once_and_read_back(monkeypatch):
    size = np.full(2, 0.2)
    first, light = mouth(BOWL, "disk", size), emergent(BOWL)
    assert len(list(_folder().glob(interior_store.PATTERN))) == 2
    for memory in (emergent, _kept_mouth):
        memory.cache_clear()
    monkeypatch.setattr("scenes.interior.trace_emergent", None)
    monkeypatch.setattr("scenes.interior_mouth.trace_mouth", None)
    again, lit = mouth(BOWL, "disk", size), emergent(BOWL)
    assert again[0] == first[0]
    assert np.array_equal(again[1].values, first[1].values)
    assert replace(again[1], values=0, half_m=0) == replace(first[1], values=0, half_m=0)
    assert np.array_equal(lit.intensity, light.intensity)
    assert lit.efficiency == light.efficiency


def test_a_record_is_of_its_inside_and_source_alone(monkeypatch):
    name = interior_store.record_name(BOWL, ("disk", 0.2))
    others = [
        (replace(BOWL, exit_radius_m=0.1001), ("disk", 0.2)),
        (replace(BOWL, lamp=Lamp(-0.05, 0.0201)), ("disk", 0.2)),
        (replace(BOWL, walls=BOWL.walls[:1]), ("disk", 0.2)),
        (BOWL, ("octagon", 0.2)),
        (BOWL, ("disk", 0.3)),
    ]
    assert name not in {interior_store.record_name(*other) for other in others}
    assert name == interior_store.record_name(replace(BOWL, exit_radius_m=0.1 + 1e-13), ("disk", 0.2))
    monkeypatch.setattr(interior_store, "_source_hash", lambda: "changed")
    assert name != interior_store.record_name(BOWL, ("disk", 0.2))


def test_no_damaged_record_is_believed():
    """Cut, bent, empty, another's, too large, a folder, a pipe, or holding what is no number."""
    count = []

    def trace() -> interior_store.Record:
        count.append(1)
        return interior_store.Record(np.array([1.0, 2.0]), np.array([3.0, 4.0], np.float16))

    def read() -> interior_store.Record:
        return interior_store.kept(BOWL, ("x",), 2, trace)

    read()
    path = _folder() / interior_store.record_name(BOWL, ("x",))
    whole = path.read_bytes()
    assert list(read().numbers) == [1, 2]
    assert list(read().table) == [3, 4]
    assert len(count) == 1
    bent = whole[:-1] + bytes([whole[-1] ^ 1])
    nan = np.array([np.nan, 2.0]).tobytes() + whole[-4:]
    unsound = interior_store._checksum(path.name, nan) + nan
    another = interior_store._checksum("another", whole[16:]) + whole[16:]
    for content in (whole[:-1], whole[:20], b"", bent, unsound, another, whole + bytes(2), bytes(2**21)):
        path.write_bytes(content)
        before = len(count)
        assert list(read().numbers) == [1, 2]
        assert len(count) == before + 1
        assert path.read_bytes() == whole
    path.unlink()
    path.mkdir()
    assert list(read().table) == [3, 4]
    path.rmdir()
    if hasattr(os, "mkfifo"):
        os.mkfifo(path)
        assert list(read().table) == [3, 4]
        assert path.read_bytes() == whole
    assert {p.name for p in _folder().iterdir()} == {path.name}


def test_a_folder_that_cannot_be_written_is_no_error(monkeypatch, tmp_path):
    record = interior_store.Record(np.array([1.0]))
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("KEYFALL_CACHE_DIR", str(tmp_path / "file"))
    assert interior_store.kept(BOWL, (), 1, lambda: record) is record
    for limit in ("0", "much"):
        monkeypatch.setenv("KEYFALL_CACHE_DIR", str(tmp_path / "none"))
        monkeypatch.setenv("KEYFALL_CACHE_GB", limit)
        assert interior_store.kept(BOWL, (), 1, lambda: record) is record
        assert not (tmp_path / "none").exists()


def test_a_damaged_archive_is_as_good_as_none(monkeypatch, tmp_path):
    monkeypatch.setattr(interior_store, "STOCK", tmp_path / "stock.zip")
    assert interior_store._stock("README") == b""
    interior_store.STOCK.write_bytes(b"PK\x03\x04 not an archive")
    assert interior_store._stock("README") == b""
