"""Broken scene files and what is said of them: every finding with its line, and nothing else."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from scenes import SceneError, check_scene, load_scene

FOLDER = Path(__file__).parent / "broken"
EXPECTED = tomllib.loads((FOLDER / "expected.toml").read_text("utf-8"))


def test_every_broken_file_has_its_expectation_and_there_are_at_least_forty() -> None:
    names = {path.stem for path in FOLDER.glob("*.toml")} - {"expected"}
    assert names == set(EXPECTED)
    assert len(names) >= 40


@pytest.mark.parametrize("name", sorted(EXPECTED))
def test_broken_file(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(FOLDER)
    findings = check_scene(f"{name}.toml")
    said = [(f.line, f.severity, f.where, f.message, f.fix) for f in findings]
    expected = [(e.get("line"), e["severity"], e["where"], e["message"], e["fix"]) for e in EXPECTED[name]["findings"]]
    assert said == expected


@pytest.mark.parametrize("name", sorted(EXPECTED))
def test_loading_fails_for_errors_only_and_says_all(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(FOLDER)
    if all(e["severity"] == "warning" for e in EXPECTED[name]["findings"]):
        load_scene(f"{name}.toml")
        return
    with pytest.raises(SceneError) as caught:
        load_scene(f"{name}.toml")
    for expected in EXPECTED[name]["findings"]:
        assert expected["message"] in str(caught.value)
    assert [f.message for f in caught.value.findings] == [e["message"] for e in EXPECTED[name]["findings"]]


@pytest.mark.parametrize("name", sorted(EXPECTED))
def test_messages_are_in_plain_words(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(FOLDER)
    jargon = ("pydantic", "validat", "union", "literal", "constrained", "NoneType", "dict", "float", "Traceback", "ctx")
    for finding in check_scene(f"{name}.toml"):
        text = finding.format()
        assert not [word for word in jargon if word in text]
        assert len(text.splitlines()) <= 2
        assert finding.fix or finding.allowed or finding.message.endswith(".")


def test_a_folder_a_missing_and_a_forbidden_file(tmp_path: Path) -> None:
    for path, words in ((tmp_path, "folder"), (tmp_path / "no.toml", "no such file"), ("a\0b", "cannot be read")):
        (finding,) = check_scene(path)
        assert (finding.severity, finding.line) == ("error", None)
        assert words in finding.message


def test_a_huge_file_is_refused_unread(tmp_path: Path) -> None:
    path = tmp_path / "huge.toml"
    path.write_bytes(b"# " + b"x" * 5_000_000)
    (finding,) = check_scene(path)
    assert "larger than 4 MB" in finding.message


def test_a_mesh_with_the_right_scale_is_quiet(tmp_path: Path) -> None:
    text = (FOLDER / "mesh-in-millimetres.toml").read_text()
    mesh = FOLDER / "tall-box.obj"
    path = tmp_path / "scene.toml"
    path.write_text(text.replace('mesh = "tall-box.obj"', f'mesh = "{mesh}"\nscale = 0.001'))
    assert check_scene(path) == []
