"""Broken scene files and what is said of them: every finding with its line, and nothing else."""

from __future__ import annotations

import contextlib
import itertools
import tomllib
from pathlib import Path

import pytest

from scenes import Finding, SceneError, check_scene, load_scene

pytestmark = pytest.mark.quick

FOLDER = Path(__file__).parent / "broken"
EXPECTED = tomllib.loads((FOLDER / "expected.toml").read_text("utf-8"))
SAID = ("severity", "where", "message", "fix")


def test_every_broken_file_has_its_expectation_and_there_are_at_least_forty() -> None:
    names = {path.stem for path in FOLDER.glob("*.toml")} - {"expected"}
    assert names == set(EXPECTED)
    assert len(names) >= 40


@pytest.fixture(scope="module")
def found() -> dict[str, list[Finding]]:
    with contextlib.chdir(FOLDER):
        return {name: list(check_scene(f"{name}.toml")) for name in EXPECTED}


def test_every_broken_file_gives_its_findings_and_no_others(found: dict[str, list[Finding]]) -> None:
    wanted = {name: [(*map(e.get, ("line", *SAID)),) for e in EXPECTED[name]["findings"]] for name in EXPECTED}
    said = {name: [(f.line, f.severity, f.where, f.message, f.fix) for f in found[name]] for name in EXPECTED}
    assert said == wanted


def test_loading_fails_for_errors_only_and_says_all(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(FOLDER)
    for name in EXPECTED:
        messages = [e["message"] for e in EXPECTED[name]["findings"]]
        if all(e["severity"] == "warning" for e in EXPECTED[name]["findings"]):
            load_scene(f"{name}.toml")
            continue
        with pytest.raises(SceneError) as caught:
            load_scene(f"{name}.toml")
        assert [f.message for f in caught.value.findings] == messages, name
        assert all(message in str(caught.value) for message in messages), name


def test_messages_are_in_plain_words(found: dict[str, list[Finding]]) -> None:
    jargon = ("pydantic", "validat", "union", "literal", "constrained", "NoneType", "dict", "float", "Traceback", "ctx")
    for finding in itertools.chain.from_iterable(found.values()):
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
