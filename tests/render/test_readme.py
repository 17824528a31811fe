"""What README.md shows works: its scene and kit are sound, its commands parse, its Python runs."""

from __future__ import annotations

import json
import re
import shlex
from pathlib import Path

import pytest
from typer.main import get_command
from typer.testing import CliRunner

from render.cli import app
from render.report import Report
from scenes import check_scene
from scenes.kit import calibrate, check_kit
from scenes.names import LANDMARKS
from scenes.schema import kit_json_schema, scene_json_schema

README = Path(__file__).parents[2] / "README.md"
TEXT = README.read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```(\w+)[^\n]*\n(.*?)^```$", TEXT, re.MULTILINE | re.DOTALL)
TOML = [body for kind, body in BLOCKS if kind == "toml"]


def test_the_scene_is_ready_to_trace(tmp_path):
    scene = tmp_path / "scene.toml"
    scene.write_text(next(body for body in TOML if "[camera]" in body), encoding="utf-8")
    assert check_scene(scene) == []


def test_the_kit_is_sound_and_its_readings_agree(tmp_path):
    path = tmp_path / "my-kit.toml"
    path.write_text(next(body for body in TOML if "[[reading]]" in body), encoding="utf-8")
    kit, findings = check_kit(path)
    assert findings == []
    assert 0 < calibrate(kit).rms_stops < 0.1
    assert all(abs(fit.stops) < 0.6 for fit in calibrate(kit).heads.values())


def test_the_python_without_a_set_runs(capsys):
    code = next(body for kind, body in BLOCKS if kind == "python" and "load_kit" in body)
    exec(compile(code, "README.md", "exec"), {})
    assert "snoot" in capsys.readouterr().out


def test_commands_exist():
    commands = set(re.findall(r"`keyfall ([a-z-]+)", TEXT))
    assert {"preview", "beam", "kit", "check"} <= commands
    for command in commands:
        assert CliRunner().invoke(app, [command, "--help"]).exit_code == 0, command


def test_options_and_keys_are_those_of_the_program():
    """Every option that stands in the text is one of a command, and every key with a unit or two words is in a schema,
    a name of the stock, or a field of a report."""
    commands = get_command(app).commands.values()
    known = {opt for command in commands for p in command.params for opt in (*p.opts, *p.secondary_opts)} | {"--help"}
    named = set(re.findall(r"(?<![\w-])--[a-z][a-z0-9-]*", TEXT))
    assert len(named) > 15
    assert named <= known, named - known
    schemas = json.dumps([scene_json_schema(), kit_json_schema(), Report.model_json_schema()])
    keys = {key for code in re.findall(r"`([^`\n]+)`", TEXT) for key in re.findall(r"\b[a-z]+(?:_[a-z0-9]+)+\b", code)}
    assert len(keys) > 10
    unknown = {key for key in keys if f'"{key}"' not in schemas and key not in LANDMARKS}
    assert not unknown, unknown


@pytest.mark.slow
@pytest.mark.parametrize("line", re.findall(r"^keyfall beam .*$", TEXT, re.MULTILINE))
def test_the_beams_shown_can_be_made(line, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert CliRunner().invoke(app, shlex.split(line)[1:]).exit_code == 0
    assert (tmp_path / "beams" / "beam.png").stat().st_size > 10_000


@pytest.mark.parametrize("picture", re.findall(r"!\[[^\]]*\]\(([^)]+)\)", TEXT))
def test_pictures_are_there(picture):
    assert (README.parent / picture).is_file()
