"""Broken kit files and what is said of them: every finding with its line, and nothing else."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from scenes.kit import KitError, check_kit, load_kit

FOLDER = Path(__file__).parent / "broken_kits"
EXPECTED = tomllib.loads((FOLDER / "expected.toml").read_text("utf-8"))
JARGON = ("pydantic", "validat", "union", "literal", "constrained", "NoneType", "dict", "float", "Traceback", "ctx")
TEXT = (FOLDER / "readings-that-disagree.toml").read_text("utf-8")


def test_every_broken_kit_has_its_expectation() -> None:
    names = {path.stem for path in FOLDER.glob("*.toml")} - {"expected"}
    assert names == set(EXPECTED)
    assert len(names) >= 30


@pytest.mark.parametrize("name", sorted(EXPECTED))
def test_broken_kit(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(FOLDER)
    kit, findings = check_kit(f"{name}.toml")
    said = [(f.line, f.severity, f.where, f.message, f.fix) for f in findings]
    expected = [(e.get("line"), e["severity"], e["where"], e["message"], e["fix"]) for e in EXPECTED[name]["findings"]]
    assert said == expected
    assert (kit is None) == any(f.severity == "error" for f in findings)
    for finding in findings:
        text = finding.format()
        assert not [word for word in JARGON if word in text]
        assert len(text.splitlines()) <= 2
        assert "scene" not in text
        assert finding.fix or finding.allowed or finding.message.endswith(".")
    if kit is None:
        with pytest.raises(KitError) as caught:
            load_kit(f"{name}.toml")
        assert list(caught.value.findings) == findings


def test_a_folder_and_a_missing_file(tmp_path: Path) -> None:
    for path, words in ((tmp_path, "not a kit file"), (tmp_path / "no.toml", "no such file")):
        kit, (finding,) = check_kit(path)
        assert kit is None
        assert (finding.severity, finding.line) == ("error", None)
        assert words in finding.message


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.integers(0, len(TEXT)),
    st.integers(0, 30),
    st.sampled_from(["", "[", "]", '"', "=", ",", "nan", "{", "\n", "-", "é", "[["]),
)
def test_no_slip_of_the_pen_makes_it_raise(tmp_path: Path, at: int, cut: int, put: str) -> None:
    path = tmp_path / "kit.toml"
    path.write_text(TEXT[:at] + put + TEXT[at + cut :], "utf-8")
    for finding in check_kit(path)[1]:
        assert 1 <= (finding.line or 1) <= path.read_text("utf-8").count("\n") + 1
