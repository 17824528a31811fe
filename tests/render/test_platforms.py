"""Windows and macOS on fakes: what can be tested of them here."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from typer.testing import CliRunner

from materials import reading
from materials.reading import NotRead, device_name, read_bounded
from render import platforms
from render.cli import app
from render.platforms import drawing_settings, file_stems, how_to_get_gl, replace
from scenes import check_scene
from scenes.names import LANDMARKS


def test_names_that_windows_keeps_for_devices_are_known():
    """Microsoft, "Naming Files, Paths, and Namespaces": reserved with any ending, in any case."""
    kept = ("CON", "con.toml", "C:\\sets\\nul.txt", "aux.tar.gz", "COM1", "lpt9.ies", "prn ", "a/b/NUL")
    assert [device_name(name) for name in kept] == [True] * len(kept)
    free = ("console.toml", "com0", "com10.toml", "lpt", "null", "context", "nul-1")
    assert [device_name(name) for name in free] == [False] * len(free)


def test_a_device_is_not_read_on_windows(monkeypatch, tmp_path):
    (tmp_path / "nul.csv").write_text("x")
    assert read_bounded(tmp_path / "nul.csv", 10) == b"x"
    monkeypatch.setattr(reading.sys, "platform", "win32")
    with pytest.raises(NotRead, match="name of a device"):
        read_bounded(tmp_path / "nul.csv", 10)


def test_file_names_differ_whatever_the_case_and_suit_every_system():
    names = ["snoot", "Snoot", "con", "a" * 300, "a" * 301, "grid. ", "snoot-2", ""]
    stems = file_stems(names)
    assert stems[2] == "con_"
    assert stems[5] == "grid"
    assert len({stem.lower() for stem in stems}) == len(names)
    assert all(stem == stem.rstrip(" .") and not device_name(stem) and 0 < len(stem) < 120 for stem in stems)
    assert file_stems(["a", "b"]) == ["a", "b"]


def test_a_file_that_another_program_holds_is_tried_again_on_windows_alone(monkeypatch, tmp_path):
    source, target = tmp_path / "new", tmp_path / "old"
    source.write_text("new")
    target.write_text("old")
    real, calls = os.replace, []

    def held(a: Path, b: Path) -> None:
        calls.append(a)
        if len(calls) < 3:
            raise PermissionError(13, "being used by another process")
        real(a, b)

    monkeypatch.setattr(platforms.os, "replace", held)
    with pytest.raises(PermissionError):
        replace(source, target)
    monkeypatch.setattr(platforms.sys, "platform", "win32")
    replace(source, target)
    assert (target.read_text(), len(calls)) == ("new", 3)
    calls.clear()
    monkeypatch.setattr(platforms, "PATIENCE_S", 0.1)
    monkeypatch.setattr(platforms.os, "replace", lambda a, b: _refuse())
    with pytest.raises(PermissionError):
        replace(source, target)


def _refuse() -> None:
    raise PermissionError(13, "being used by another process")


def test_each_system_draws_off_screen_in_its_own_way(monkeypatch):
    told = {}
    for system in ("Linux", "Darwin", "Windows"):
        monkeypatch.setattr(platforms.platform, "system", lambda system=system: system)
        told[system] = (drawing_settings(), how_to_get_gl())
    assert told["Linux"][0] == {"PYOPENGL_PLATFORM": "egl"}
    assert told["Darwin"][0] == told["Windows"][0] == {}
    assert "apt-get" in told["Linux"][1]
    assert "macOS" in told["Darwin"][1]
    assert "graphics driver" in told["Windows"][1]


def test_a_windows_path_in_double_quotes_is_told_with_its_line(tmp_path):
    scene = tmp_path / "scene.toml"
    scene.write_text('format = 1\r\nkit = "C:\\Users\\me\\kit.toml"\r\n')
    (finding,) = check_scene(scene)
    assert finding.line == 2
    assert "backslash" in finding.message
    assert "single quotes: kit = 'C:\\Users\\me\\kit.toml'" in finding.fix


def test_meter_takes_a_quality_and_landmarks_are_listed(tmp_path):
    runner = CliRunner()
    assert runner.invoke(app, ["meter", str(tmp_path / "none.toml"), "-q", "draft"]).exit_code == 1  # 2 is a wrong option
    listed = runner.invoke(app, ["list", "landmarks"])
    assert listed.exit_code == 0
    assert all(name in listed.output for name in LANDMARKS)
