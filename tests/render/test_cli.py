"""The command line: what it writes, says and returns, and that nothing ends in a traceback."""

from __future__ import annotations

import importlib
import json
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image

from materials import KeyfallError
from render.catalogue import catalogue
from render.passes import PassState, PassSums
from render.report import MeterReport, Report
from scenes import scene_json_schema
from scenes.meters import aperture_mark

from .cli_scene import keyfall, write_scene

MAPS = {"map-exposure.png", "map-face.png", "map-background.png", "map-incident.png"}
ALWAYS = {"preview.png", "report.json", *MAPS}
PREVIEW = importlib.import_module("render.preview")  # the package's attribute of that name is the function
FAST = ("--samples", "2", "--quality", "draft")


@pytest.fixture(scope="module")
def store(tmp_path_factory) -> dict[str, str]:
    """Environment with one cache for all tests here."""
    return {"KEYFALL_CACHE_DIR": str(tmp_path_factory.mktemp("store")), "COLUMNS": "80"}


@pytest.fixture(scope="module")
def scene(tmp_path_factory) -> Path:
    return write_scene(tmp_path_factory.mktemp("scene") / "look.toml")


def pixels(path: Path) -> np.ndarray:
    with Image.open(path) as picture:
        return np.asarray(picture)


def files_in(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


def test_preview_writes_what_it_promises_and_nothing_else(scene, store, tmp_path):
    out = tmp_path / "deep" / "look"
    result = keyfall("preview", scene, "-o", out, *FAST, env=store)
    assert result.exit_code == 0, result.output
    assert files_in(out) == ALWAYS
    report = Report.model_validate_json((out / "report.json").read_text())
    with Image.open(out / "preview.png") as picture:
        assert picture.size == (report.picture.width_px, report.picture.height_px) == (32, 40)
    for name in MAPS:
        with Image.open(out / name) as picture:
            picture.verify()
    assert result.stderr == ""
    assert max(len(line) for line in result.stdout.splitlines() if str(out) not in line) <= 80
    for said in ("key", "half-cto", "1/32", "f/5.6", "Lighting ratio: key to fill", "usual cautions", str(out)):
        assert said in result.stdout


def test_everything_asked_for_is_written(scene, store, tmp_path):
    result = keyfall(
        "preview", scene, "-o", tmp_path, *FAST, "--depth", 16, "--exr", "--noisy", "--tone", "linear",
        "--gamut", "p3", "--json", "--device", "cpu", "--threads", 1, env=store,
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    assert files_in(tmp_path) == ALWAYS | {"preview.tif", "preview.exr", "preview-noisy.png"}
    report = Report.model_validate_json(result.stdout)
    assert report == Report.model_validate_json((tmp_path / "report.json").read_text())
    assert (report.picture.gamut, report.picture.tone_curve, report.quality) == ("p3", "linear", "draft")
    assert {light.samples for light in report.lights} == {2}
    deep, shallow = tifffile.imread(tmp_path / "preview.tif"), pixels(tmp_path / "preview.png")
    assert deep.dtype == np.uint16
    assert np.abs(deep / 257 - shallow).max() <= 1


@pytest.mark.slow
def test_until_goes_on_to_the_noise_asked_for(tmp_path, store):
    scene = write_scene(tmp_path / "look.toml", camera__long_side_px=48)
    result = keyfall("preview", scene, "-o", tmp_path / "o", "--until", 0.5, "--samples", 64, "--json", env=store)
    assert result.exit_code == 0, result.output
    lights = Report.model_validate_json(result.stdout).lights
    assert all(light.samples == 64 or (light.noise_stops or 0) <= 0.5 for light in lights)


def test_a_second_preview_replaces_the_first_and_traces_nothing(scene, store, tmp_path):
    (tmp_path / "preview.png").write_text("old")
    (tmp_path / "mine.txt").write_text("kept")
    assert keyfall("preview", scene, "-o", tmp_path, *FAST, env=store).exit_code == 0
    assert files_in(tmp_path) == ALWAYS | {"mine.txt"}
    assert pixels(tmp_path / "preview.png").shape == (40, 32, 3)


@pytest.mark.slow
def test_results_depend_on_the_scene_alone(scene, store, tmp_path):
    for name in ("a", "b"):
        own = {**store, "KEYFALL_CACHE_DIR": str(tmp_path / "cache" / name)}
        assert keyfall("preview", scene, "-o", tmp_path / name, *FAST, env=own).exit_code == 0
    for name in ALWAYS:
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes(), name


WRONG_VALUES = {
    "quality": (("--quality", "best"), 2, "draft"),
    "no value": (("--quality",), 2, "Nothing stands after --quality"),
    "odd samples": (("--samples", "3"), 1, "Allowed: an even number from 2"),
    "no samples": (("--samples", "0"), 1, "Allowed: an even number from 2"),
    "samples in words": (("--samples", "many"), 2, "samples"),
    "no noise": (("--until", "0"), 1, "Allowed: stops between 0 and 10"),
    "not a number": (("--until", "nan"), 1, "Allowed: stops between 0 and 10"),
    "endless": (("--until", "inf"), 1, "Allowed: stops between 0 and 10"),
    "tone": (("--tone", "film"), 2, "shoulder"),
    "gamut": (("--gamut", "cmyk"), 2, "p3"),
    "depth": (("--depth", "12"), 1, "Allowed: 8 or 16"),
    "device": (("--device", "abacus"), 2, "cpu"),
    "absent device": (("--device", "metal"), 1, "'metal'"),
    "no threads": (("--threads", "0"), 2, "threads"),
    "threads": (("--threads", "1000000"), 1, "Allowed: 1 to"),
    "unknown option": (("--colour", "red"), 2, "There is no option --colour."),
    "extra word": (("more",), 2, "'more' is one word too many"),
}


@pytest.mark.parametrize("words", WRONG_VALUES)
def test_a_wrong_value_is_said_and_leaves_nothing_behind(scene, tmp_path, words):
    if words == "absent device" and sys.platform == "darwin":
        pytest.skip("Metal is not absent here")
    options, code, said = WRONG_VALUES[words]
    result = keyfall("preview", scene, "-o", tmp_path / "new" / "out", *options, env={"COLUMNS": "200"})
    assert result.exit_code == code, result.output
    assert said in result.stderr
    assert result.stdout == ""
    assert not (tmp_path / "new").exists()


def test_the_output_folder_is_needed(scene):
    result = keyfall("preview", scene)
    assert result.exit_code == 2
    assert "Add -o and its name" in result.stderr


def test_a_command_line_that_cannot_be_read_gets_one_sentence_in_plain_words():
    for words, said in (
        (("preview", "a.toml", "-o", "b", "-q", "high"), "'high' is not allowed for --quality. Allowed: draft, preview, final."),
        (("preview", "a.toml", "-o", "b", "--quality=drafft"), "Did you mean draft?"),
        (("beam", "snoot", "--distance", "2m"), "'2m' is not allowed for --distance, which takes a distance in metres: write --distance 2."),
        (("beam", "snoot", "-d", "2", "-d", "0,6"), "'0,6' is not allowed for --distance, which takes a distance in metres: write --distance 0.6."),
        (("preview", "a.toml", "-o", "b", "--samples", "1.5"), "write --samples 64."),
        (("preview", "a.toml", "-o", "b", "--quailty", "draft"), "There is no option --quailty. Did you mean --quality?"),
        (("preview", "a.toml", "-o"), "Nothing stands after -o."),
        (("preview",), "No scene file is named. Name a scene file, e.g. keyfall preview scene.toml -o look."),
        (("beam",), "No modifiers are named."),
        (("list", "gel"), "'gel' is not among what can be listed. Did you mean gels?"),
        (("plna", "a.toml"), "There is no command 'plna'. Did you mean plan?"),
    ):  # fmt: skip
        result = keyfall(*words)
        assert result.exit_code == 2
        assert said in result.stderr, (words, result.stderr)
        assert result.stderr.count("\n") == 1, result.stderr
        assert not re.search("Invalid value|Value error|Input should|Usage|[─│]", result.stderr)


@pytest.mark.parametrize("inside", ["", "sub/look"])
def test_an_output_folder_that_is_a_file_is_said(scene, store, tmp_path, inside):
    (tmp_path / "taken").write_text("mine")
    result = keyfall("preview", scene, "-o", tmp_path / "taken" / inside, *FAST, env=store)
    assert result.exit_code == 1
    assert "taken" in result.stderr
    assert "-o" in result.stderr
    assert (tmp_path / "taken").read_text() == "mine"


@pytest.mark.skipif(not Path("/proc/version").exists(), reason="needs a folder nobody may write to")
def test_an_output_folder_that_cannot_be_written_is_said(scene, store):
    result = keyfall("preview", scene, "-o", "/proc/look", *FAST, env=store)
    assert result.exit_code == 1
    assert "cannot be written to '/proc/look'" in result.stderr


def test_a_folder_in_the_place_of_a_result_is_said_before_anything_changes(scene, store, tmp_path):
    (tmp_path / "report.json").mkdir()
    result = keyfall("preview", scene, "-o", tmp_path, *FAST, env=store)
    assert result.exit_code == 1
    assert "there is a folder of that name" in result.stderr
    assert files_in(tmp_path) == {"report.json"}


@pytest.mark.slow
@pytest.mark.parametrize(
    "error", [KeyfallError("no such thing"), RuntimeError("odd"), KeyboardInterrupt(), MemoryError()]
)
@pytest.mark.parametrize("where", ["write_png", "write_map", "all_readings"])
def test_a_failure_half_way_leaves_nothing_behind(scene, store, tmp_path, monkeypatch, error, where):
    def fail(*_args, **_kwargs):
        raise error

    monkeypatch.setattr(PREVIEW, where, fail)
    (tmp_path / "old").mkdir()
    (tmp_path / "old" / "preview.png").write_text("old")
    for name, left in (("old", {"preview.png"}), ("new", None)):
        result = keyfall("preview", scene, "-o", tmp_path / name, *FAST, env=store)
        assert result.exit_code == (130 if isinstance(error, KeyboardInterrupt) else 1)
        assert len(result.stderr.strip().splitlines()) == 1
        assert (files_in(tmp_path / name) if left else (tmp_path / name).exists()) == (left or False)
    assert (tmp_path / "old" / "preview.png").read_text() == "old"


def test_a_fault_of_our_own_is_owned_and_can_be_traced(scene, store, tmp_path, monkeypatch):
    monkeypatch.setattr(PREVIEW, "all_readings", lambda *_: 1 / 0)
    result = keyfall("preview", scene, "-o", tmp_path / "o", *FAST, env=store)
    assert result.exit_code == 1
    assert "a fault in Keyfall, not in your scene: ZeroDivisionError: division by zero (test_cli.py:" in result.stderr
    with pytest.raises(AssertionError, match="division by zero"):
        keyfall("preview", scene, "-o", tmp_path / "o", *FAST, env={**store, "KEYFALL_TRACEBACK": "1"})


@pytest.mark.parametrize("command", ["check", "meter", "preview"])
@pytest.mark.parametrize("given", ["absent", "folder", "binary", "empty", "no toml", "faulty", "not mine"])
def test_a_scene_that_cannot_be_used_is_said(tmp_path, command, given):
    path = tmp_path / "scene.toml"
    if given == "folder":
        path.mkdir()
    elif given == "faulty":
        write_scene(path, camera__focal_length_mm=-3, light__key__gels=["mauve-ish"], light__fill__on="yes")
    elif given != "absent":
        content = {"binary": b"\x00\x01\xff", "empty": b"", "no toml": b"format = = 1\n", "not mine": b"format = 7\n"}
        path.write_bytes(content[given])
    words = ("-o", tmp_path / "out") if command == "preview" else ()
    result = keyfall(command, path, *words)
    assert result.exit_code == 1
    text = result.stdout + result.stderr
    assert "scene.toml" in text
    assert "error" in text
    if given == "faulty":
        assert all(key in text for key in ("camera.focal_length_mm", "light.key.gels", "light.fill.on"))
    assert not (tmp_path / "out").exists()


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="root may read every file")
def test_a_scene_that_may_not_be_read_is_said(tmp_path):
    path = write_scene(tmp_path / "scene.toml")
    path.chmod(0)
    result = keyfall("check", path)
    assert result.exit_code == 1
    assert "may not be read" in result.stdout


def test_check_says_ready_and_lists_findings_as_json(scene, tmp_path):
    result = keyfall("check", scene)
    assert result.exit_code == 0
    said = result.stdout.replace("\n", "")
    assert re.fullmatch(
        re.escape(f"{scene}: ready to trace: 32 x 40 pixels, 2 lights, about ") + r"0\.\d GB of memory\.", said
    )
    assert json.loads(keyfall("check", scene, "--json").stdout) == []
    faulty = write_scene(tmp_path / "faulty.toml", exposure__iso="fast", light__key__on=False, light__fill__on=False)
    result = keyfall("check", faulty, "--json")
    assert result.exit_code == 1
    rows = json.loads(result.stdout)
    assert all(set(row) == {"file", "line", "severity", "where", "message", "allowed", "fix"} for row in rows)
    assert {(row["severity"], row["where"]) for row in rows} >= {("error", "exposure.iso")}
    dark = write_scene(tmp_path / "dark.toml", light__key__on=False, light__fill__on=False)
    result = keyfall("check", dark)
    assert result.exit_code == 0
    assert "warning: light: every light is off" in result.stdout


def test_meter_prints_a_table_or_json(scene, store):
    result = keyfall("meter", scene, env=store)
    assert result.exit_code == 0, result.output
    lines = result.stdout.splitlines()
    assert lines[0] == "Two lamps and a gel: ISO 100, f/5.6, 1/125 s"
    assert lines[1].split("  ")[0] == "meter held at"
    assert max(map(len, lines)) <= 80
    assert any(line.startswith("cheek L ") for line in lines)
    report = MeterReport.model_validate_json(keyfall("meter", scene, "--json", env=store).stdout)
    alone = [r for r in report.readings if (r.probe, r.light, r.aim) == ("face", "key", "flat:key")]
    assert len(alone) == 1
    assert alone[0].stops is not None
    row = next(line for line in lines if line.startswith("face "))
    assert f"{abs(alone[0].stops):.1f} {'over' if alone[0].stops > 0 else 'under'}" in row


@pytest.mark.slow
def test_many_lights_are_shown_in_tables_one_under_the_other(tmp_path, store):
    lamp = {"shape": "disk", "size_m": 0.3, "distance_m": 1.5, "elevation_deg": 20, "energy_ws": 100}
    lamps = {f"a-lamp-of-many-{n}": {**lamp, "azimuth_deg": 20 * n - 70} for n in range(7)}
    path = write_scene(tmp_path / "many.toml", light=lamps, title="[/red] many [bold]")
    result = keyfall("meter", path, env=store)
    assert result.exit_code == 0, result.output
    assert result.stdout.startswith("[/red] many [bold]: ISO 100")
    assert max(map(len, result.stdout.splitlines())) <= 80
    assert all(name in result.stdout for name in lamps)
    assert result.stdout.count("meter held at") == 4


def test_apertures_are_said_as_they_were_set():
    assert [aperture_mark(n) for n in (2**2.5, 8, 2 ** (19 / 6), 6, 0.5, 200)] == ["5.6", "8", "9", "6", "0.5", "200"]


def test_list_gives_every_name():
    everything = catalogue("all")
    assert json.loads(keyfall("list", "--json").stdout) == everything
    for section, entries in everything.items():
        result = keyfall("list", section)
        assert result.exit_code == 0
        assert all(name in result.stdout for name in entries)
        assert json.loads(keyfall("list", section, "--json").stdout) == {section: entries}
    assert keyfall("list", "birds").exit_code == 2


def test_schema_is_written_or_printed(tmp_path):
    assert json.loads(keyfall("schema").stdout) == json.loads(json.dumps(scene_json_schema()))
    path = tmp_path / "new" / "scene.schema.json"
    assert keyfall("schema", "-o", path).exit_code == 0
    assert json.loads(path.read_text())["title"]
    before = files_in(tmp_path)
    result = keyfall("schema", "-o", tmp_path / "new")
    assert result.exit_code == 1
    assert "folder" in result.stderr
    assert files_in(tmp_path) == before


def test_doctor_says_what_was_found(store, monkeypatch):
    result = keyfall("doctor", env=store)
    assert result.exit_code == 0, result.output
    assert "ready to trace  yes" in result.stdout
    found = json.loads(keyfall("doctor", "--json", env=store).stdout)
    assert found["usable"] is True
    assert found["versions"]["numpy"] == np.__version__
    for trouble in ({"DRJIT_LIBLLVM_PATH": "/nowhere/libLLVM.so"}, {"KEYFALL_CACHE_GB": "lots"}):
        if found["cuda"] and "DRJIT_LIBLLVM_PATH" in trouble:
            continue
        result = keyfall("doctor", env={**store, **trouble})
        assert result.exit_code == 1
        assert next(iter(trouble)) in result.stdout


def test_cache_is_shown_and_cleared(tmp_path):
    store = {"KEYFALL_CACHE_DIR": str(tmp_path / "store")}
    assert " 0 MB of at most 4000 MB" in keyfall("cache", env=store).stdout
    (tmp_path / "store").mkdir()
    (tmp_path / "store" / "light-x.npz").write_bytes(b"0" * 3_000_000)
    (tmp_path / "store" / "notes.txt").write_text("mine")
    assert "3 MB of at most" in keyfall("cache", env=store).stdout
    assert "Removed 3 MB" in keyfall("cache", "--clear", env=store).stdout
    assert files_in(tmp_path / "store") == {"notes.txt"}
    result = keyfall("cache", env={**store, "KEYFALL_CACHE_GB": "lots"})
    assert result.exit_code == 1
    assert "KEYFALL_CACHE_GB is 'lots'" in result.stderr


def test_a_cache_folder_that_is_a_file_only_keeps_nothing(scene, tmp_path):
    (tmp_path / "taken").write_text("mine")
    store = {"KEYFALL_CACHE_DIR": str(tmp_path / "taken")}
    assert keyfall("meter", scene, env=store).exit_code == 0
    assert keyfall("cache", "--clear", env=store).exit_code == 0
    assert (tmp_path / "taken").read_text() == "mine"


def test_help_names_every_command():
    result = keyfall("--help")
    assert result.exit_code == 0
    assert all(word in result.stdout for word in ("preview", "check", "meter", "doctor", "list", "schema", "cache"))
    assert keyfall("frobnicate").exit_code == 2
    assert keyfall().exit_code in (0, 2)


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="sends a signal as a terminal does")
def test_ctrl_c_stops_cleanly_and_leaves_nothing_half_written(tmp_path):
    scene = write_scene(tmp_path / "long.toml", camera__long_side_px=64, light__fill=None)
    store = tmp_path / "cache"
    store.mkdir()
    command = [sys.executable, "-c", "from render.cli import app; app()", "preview", scene, "-o", tmp_path / "out"]
    many = ["--samples", str(2**20), "--threads", "1"]
    env = {**os.environ, "KEYFALL_CACHE_DIR": str(store)}
    with subprocess.Popen([*command, *many], env=env, stderr=subprocess.PIPE, text=True) as process:
        deadline = time.monotonic() + 60
        while not list(store.glob("guides-*")) and time.monotonic() < deadline:
            time.sleep(0.05)
        time.sleep(1.5)
        process.send_signal(signal.SIGINT)
        _, stderr = process.communicate(timeout=60)
    assert process.returncode == 130, stderr
    assert "Interrupted." in stderr
    assert "Traceback" not in stderr
    assert not (tmp_path / "out").exists()
    assert not list(store.glob("writing-*"))


def test_an_interrupt_while_adding_keeps_nothing_half_added():
    state = PassState(pass_size=2)
    state.add((0, 2), 2, PassSums(np.ones((3, 2, 2)), np.ones((3, 2, 2)), np.ones((2, 2))))
    assert PassState.from_record(state.to_record()).samples == 2
    with pytest.raises(ValueError, match="broadcast"):  # stops after the radiance, before the irradiance
        state.add((0, 2), 2, PassSums(np.ones((3, 2, 2)), np.ones((3, 9, 9)), np.ones((2, 2))))
    assert state.to_record() == {}
