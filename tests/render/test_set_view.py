"""The set view: it draws every set, nothing leaves the frame, and where there is no OpenGL one sentence says so."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from materials import KeyfallError
from render.rigged.framing import fitted
from render.rigged.housing import look_of
from render.rigged.model import beam_parts, set_parts
from render.rigged.stands import support_of
from render.rigged.view import SetView, SetViewError, draw_set_view
from scenes import build_stage, load_scene
from scenes.bodies import in_frame
from scenes.stage import Stage

from . import sets

DEMO = Path(__file__).parents[2] / "demo" / "scenes"


def _demo(name: str) -> Stage:
    return build_stage(load_scene(DEMO / f"{name}.toml"))


@pytest.fixture(scope="module")
def ember() -> Stage:
    return _demo("ember-and-tide")


@pytest.fixture(scope="module")
def drawn(ember) -> SetView:
    try:
        return draw_set_view(ember, (480, 320))
    except SetViewError as problem:
        if "no off-screen OpenGL" in str(problem):
            pytest.skip("no off-screen OpenGL on this machine")
        raise


@pytest.mark.slow
def test_the_picture_has_the_size_asked_for_on_a_paper_border(drawn):
    assert drawn.picture.shape == (320, 480, 3)
    assert drawn.picture.dtype == np.uint8
    rim = np.concatenate([drawn.picture[0], drawn.picture[-1], drawn.picture[:, 0], drawn.picture[:, -1]])
    assert np.ptp(rim, axis=0).max() == 0  # the set ends inside the frame
    assert rim[0].min() > 225
    assert 0.15 < (np.abs(drawn.picture.astype(int) - rim[0]).max(axis=2) > 6).mean() < 0.9


@pytest.mark.slow
def test_gels_show_their_colour(drawn):
    """The rim light of this scene is behind teal: somewhere green and blue outdo red by far."""
    red, green, blue = drawn.picture.astype(int).transpose(2, 0, 1)
    assert ((green - red > 60) & (blue - red > 60)).sum() > 50


@pytest.mark.slow
def test_every_light_and_the_camera_has_a_label_inside(ember, drawn):
    assert set(drawn.labels) == {light.name for light in ember.lights} | {"camera"}
    places = np.array(list(drawn.labels.values()))
    assert ((places > 0) & (places < [480, 320])).all()
    apart = np.linalg.norm(places[:, None] - places[None], axis=2) + 1e3 * np.eye(len(places))
    assert apart.min() > 10


def test_every_point_is_in_the_frame_and_the_frame_is_tight():
    rng = np.random.default_rng(3)
    for bearing in (-50.0, 20.0, 35.0):
        points = rng.normal(size=(200, 3)) * [2, 1, 3] + [1, 1.5, -1]
        seen = fitted(points, bearing, 26.0, 1.5).seen(points)
        assert np.abs(seen[:, :2]).max() == pytest.approx(0.93, abs=1e-6)


@pytest.mark.parametrize(
    "name",
    ["courtyard-evening", *(pytest.param(n, marks=pytest.mark.slow) for n in ("classic-loop", "prompt-corner"))],
)
def test_every_part_of_a_demo_set_is_a_sound_mesh(name):
    stage = _demo(name)
    parts = [*set_parts(stage, coarseness=3), *beam_parts(stage)]
    assert len({part.name for part in parts}) == len(parts)
    for part in parts:
        mesh = part.mesh
        assert np.isfinite(mesh.vertices).all()
        assert len(mesh.faces)
        assert mesh.faces.max() < len(mesh.vertices) == len(mesh.vertex_normals)
        assert np.abs(np.linalg.norm(mesh.vertex_normals, axis=1) - 1).max() < 1e-3
    owners = {part.owner for part in parts if part.kind == "front"}
    assert owners == {light.name for light in stage.lights if light.fixture is not None}


def test_a_housing_ends_where_the_stage_says(ember):
    """The front lies in the exit plane, as large as the exit."""
    parts = {part.name: part for part in set_parts(ember, coarseness=9)}
    for light in ember.lights:
        front = parts[f"light.{light.name}.front"]
        away = front.mesh.vertices - light.fixture.centre_m
        assert np.abs(away @ light.fixture.forward).max() < 0.03
        assert 2 * np.abs(away @ light.fixture.right).max() == pytest.approx(light.fixture.size_m[0], rel=0.11)


def test_looks_follow_modifiers_then_shapes():
    stage = _demo("prompt-corner")
    assert {light.name: look_of(light) for light in stage.lights} == {
        "key": "snoot", "rim": "bowl", "background": "bowl",
    }  # fmt: skip
    assert look_of(sets.light(sets.fixture("octagon", (0.9, 0.9), depth=0.4))) == "box"
    assert look_of(sets.light(sets.fixture("sphere"))) == "bulb"


def test_stands_stay_out_of_the_picture_where_a_boom_can():
    stage = _demo("classic-loop")
    hair = next(light for light in stage.lights if light.name == "hair")
    foot = support_of(hair, stage)
    assert foot.boom
    column = foot.floor_m + np.linspace(0, 0.99, 40)[:, None] * (foot.top_m - foot.floor_m)
    assert not in_frame(stage.camera, column).any()
    key = next(light for light in stage.lights if light.name == "key")
    assert not support_of(key, stage).boom


def test_beams_stop_at_the_floor_and_off_lights_have_none():
    fixture = sets.fixture("spot", (0.1, 0.1), (0, 2, 0), (0.3, -1, 0), beam=20.0, field=30.0)
    floor = sets.quad([-4, 0, 4], [8, 0, 0], [0, 0, -8], sets.finish(0.3), "floor")
    (beam,) = beam_parts(sets.stage([floor], [sets.light(fixture), sets.light(fixture, "off", on=False)]))
    assert beam.owner == "key"
    low = beam.mesh.vertices[:, 1].min()
    assert 0 <= low < 0.05
    end = beam.mesh.vertices[-64:]
    off_axis = end - fixture.centre_m
    angle = np.degrees(np.arccos(off_axis @ fixture.forward / np.linalg.norm(off_axis, axis=1)))
    assert angle.max() == pytest.approx(10, abs=1.5)  # half of the beam angle, the lens itself is 5 cm wide


def test_without_opengl_one_sentence_says_what_to_install(ember, tmp_path, monkeypatch):
    """The child alone is kept from finding EGL: a module of its own hides the library."""
    (tmp_path / "sitecustomize.py").write_text(
        "import ctypes, ctypes.util\n"
        "find, load = ctypes.util.find_library, ctypes.CDLL.__init__\n"
        "def gone(self, name=None, *a, **k):\n"
        "    if name and 'EGL' in str(name): raise OSError('hidden')\n"
        "    return load(self, name, *a, **k)\n"
        "ctypes.util.find_library = lambda name: None if 'EGL' in name else find(name)\n"
        "ctypes.CDLL.__init__ = gone\n"
    )
    path = os.pathsep.join([str(tmp_path), str(Path(__file__).parents[2])])
    with pytest.raises(SetViewError, match=r"no off-screen OpenGL on this machine.*apt-get install libegl1") as caught:
        draw_set_view(ember, (96, 64), environment={"PYTHONPATH": path})
    assert "\n" not in str(caught.value)
    assert isinstance(caught.value, KeyfallError)
    assert "PYOPENGL_PLATFORM" not in os.environ


@pytest.mark.slow
def test_a_drawing_process_that_dies_or_hangs_is_one_sentence(ember, monkeypatch):
    with pytest.raises(SetViewError, match=r"took longer than 0\.05 s.*--no-view"):
        draw_set_view(ember, (96, 64), time_limit_s=0.05)

    def killed(words, *_):
        return subprocess.CompletedProcess(words, -11, "", "")

    monkeypatch.setattr("render.rigged.view._child", killed)
    with pytest.raises(SetViewError, match="ended with status -11"):
        draw_set_view(ember, (96, 64))


STOPPED_WHILE_DRAWING = """
import os, signal, sys, threading, time
from pathlib import Path
from render.interrupts import take_signals
from render.rigged import view
told = Path(sys.argv[1])
def stop():
    while not told.exists() or not told.read_text():
        time.sleep(0.01)
    os.kill(os.getpid(), signal.SIGTERM)
def run(folder, *_):
    child = f"import os, time; open({str(told)!r}, 'w').write(str(os.getpid()) + ' {folder}'); time.sleep(600)"
    view._child([sys.executable, "-c", child], dict(os.environ), 600)
view._write_order, view._run = lambda *_: None, run
take_signals()
threading.Thread(target=stop, daemon=True).start()
view._drawn([], None, 0.0, (64, 64), 600, {})
"""


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="looks for the process as Linux shows it")
def test_a_signal_while_the_set_is_drawn_takes_the_drawing_process_and_its_folder_along(tmp_path):
    told = tmp_path / "told"
    run = subprocess.run(
        [sys.executable, "-c", STOPPED_WHILE_DRAWING, told], capture_output=True, text=True, cwd=Path(__file__).parents[2]
    )
    assert (run.returncode, run.stderr) == (143, "Stopped by the system.\n")
    child, folder = told.read_text().split()
    assert not Path(folder).exists()
    status = Path(f"/proc/{child}/stat")
    assert not status.exists() or status.read_text().rpartition(")")[2].split()[0] in "ZX"


@pytest.mark.parametrize("size", [(10, 800), (1200, 9000), (1200.5, 800)])
def test_a_size_out_of_range_is_refused(ember, size):
    with pytest.raises(KeyfallError, match="Allowed: whole numbers from 64 to 4000"):
        draw_set_view(ember, size)


def test_an_unknown_view_is_refused(ember):
    with pytest.raises(KeyfallError, match="Allowed: three-quarter"):
        draw_set_view(ember, view="plan")


def test_this_process_never_loads_opengl():
    code = "import render.rigged.view, render.rigged.gltf, sys; print([m for m in ('pyrender', 'OpenGL', 'trimesh') if m in sys.modules])"
    run = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, cwd=Path(__file__).parents[2], check=True
    )
    assert run.stdout.strip() == "[]"
