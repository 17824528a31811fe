"""Key styles are placed inside their windows, from the sitter's own face, on scenes that still load."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from materials import KeyfallError
from scenes import SceneError, build_stage
from scenes.check import check_data
from scenes.stage import Stage
from scenes.styles import apply_style
from scenes.styles.frame import face_frame
from scenes.styles.relief import CELL_M, face_relief, shadowed
from scenes.styles.style import STYLES, UNDER_DEG, StyledScene

from .examples import scene

FIGURES = ("ines", "jonas", "amara")
TURNS = (12, -35)
ROUNDING_DEG = 0.2
CASES = [(f, t, s) for i, f in enumerate(FIGURES) for t in TURNS for j, s in enumerate(STYLES)]


def _default(figure: str, turn: float, style: str) -> bool:
    """A sixth of all, every style and every sitter on either turn among them; the others are slow."""
    return (FIGURES.index(figure) + list(STYLES).index(style) + 3 * TURNS.index(int(turn))) % 6 == 0


def _marked(case: tuple[str, int, str]):
    return pytest.param(*case, marks=() if _default(*case) else pytest.mark.slow)


def _set(figure: str = "jonas", turn: float = 12, **changes):
    plain = {
        "sitter": {"figure": figure, "turn_deg": turn}, "light__key__shape": None, "light__key__size_m": None,
        "light__key__energy_ws": None, "light__key__head": "flash-400",
        "light__key__modifiers": ["standard-reflector"], "camera__focal_length_mm": 135,
    }  # fmt: skip
    return scene(**{**plain, **changes})


def _stage(styled: StyledScene) -> Stage:
    built, problems = check_data(styled.tables, Path("."))
    assert built is not None, problems
    return build_stage(built)


def _from_nose(stage: Stage, key: str = "key") -> tuple[float, float, float, float]:
    """Azimuth, elevation and distance of a light from the nose axis, and the turn of the face from the camera."""
    frame = face_frame(stage.landmarks)
    centre = next(light.fixture.centre_m for light in stage.lights if light.name == key)
    azimuth, elevation = frame.angles_deg(centre)
    away = float(np.linalg.norm(centre - frame.origin_m))
    return azimuth, elevation, away, frame.turn_from_deg(stage.camera.origin_m)


@pytest.mark.slow
@pytest.mark.parametrize(("figure", "turn", "style"), [_marked(case) for case in CASES])
def test_the_key_stands_in_the_window_on_the_right_side(figure, turn, style):
    styled = apply_style(_set(figure, turn), style)
    stage = _stage(styled)
    azimuth, elevation, distance, turned = _from_nose(stage)
    window = STYLES[style]
    assert window.azimuth_deg[0] - ROUNDING_DEG <= abs(azimuth) <= window.azimuth_deg[1] + ROUNDING_DEG
    assert window.elevation_deg[0] - ROUNDING_DEG <= elevation <= window.elevation_deg[1] + ROUNDING_DEG
    assert distance == pytest.approx(1.2, abs=2e-3) or any("m from the face" in note for note in styled.notes)
    if style == "short":
        assert abs(turned) > 14
        assert azimuth * turned > 0
    elif style == "broad":
        assert abs(turned) > 14
        assert azimuth * turned < 0
    elif style == "profile-rim":
        assert abs(turned) == pytest.approx(90, abs=2)
        assert azimuth * turned > 0
    elif window.azimuth_deg[1] > 0:
        assert azimuth > 0  # the scene has it at 45 degrees camera right


def test_the_key_keeps_what_it_is_and_its_side_of_the_face():
    base = _set(light__key__azimuth_deg=-60, light__key__gels=["half-cto"], light__key__power="1/16")
    styled = apply_style(base, "loop")
    key = styled.tables["light"]["key"]
    assert (key["head"], key["modifiers"], key["gels"]) == ("flash-400", ["standard-reflector"], ["half-cto"])
    assert key["power"] == pytest.approx(1 / 16)
    assert "height_m" not in key
    assert key["distance_m"] == pytest.approx(1.2)
    assert _from_nose(_stage(styled))[0] < 0
    assert styled.notes == ()


def test_a_key_over_the_nose_goes_to_camera_right():
    assert _from_nose(_stage(apply_style(_set(turn=0, light__key__azimuth_deg=0), "loop")))[0] > 0


def test_a_key_placed_by_a_point_keeps_its_measured_distance():
    place = {"light__key__at_m": [1.0, 2.0, 1.2], "light__key__aim": "chest"}
    for name in ("azimuth_deg", "height_m", "distance_m"):
        place[f"light__key__{name}"] = None
    base = _set(**place)
    face = build_stage(base).landmarks["face"]
    styled = apply_style(base, "rembrandt")
    key = styled.tables["light"]["key"]
    assert "at_m" not in key
    assert "aim" not in key
    assert key["distance_m"] == pytest.approx(float(np.linalg.norm(face - [1.0, 2.0, 1.2])), abs=1e-3)
    assert styled.notes == ("The light key is aimed at the face now.",)


def test_short_light_follows_the_camera_round_the_set():
    """The camera stands at the sitter's left: the same face is turned the other way for it."""
    styled = apply_style(_set(turn=20, camera__azimuth_deg=50, room=None), "short")
    azimuth, _, _, turned = _from_nose(_stage(styled))
    assert turned == pytest.approx(-30, abs=2)
    assert azimuth < 0


@pytest.mark.parametrize("style", ["short", "profile-rim"])
def test_a_head_turn_that_is_varied_stays_as_its_label_says(style):
    styled = apply_style(_set(turn=0), style, turn=False)
    assert _stage(styled).landmarks is not None
    assert _from_nose(_stage(styled))[3] == pytest.approx(0, abs=1.5)
    assert any("stays turned as varied" in note for note in styled.notes)


@pytest.mark.slow
@pytest.mark.parametrize("style", ["short", "broad"])
def test_a_face_to_the_camera_is_turned_and_the_note_says_so(style):
    styled = apply_style(_set(turn=0), style)
    azimuth, _, _, turned = _from_nose(_stage(styled))
    assert abs(turned) == pytest.approx(30, abs=1.5)
    assert azimuth > 0
    assert "The sitter is turned, face 30 degrees to camera" in styled.notes[0]


def test_a_clamshell_without_a_fill_gets_a_board_under_the_face():
    styled = apply_style(_set(), "clamshell")
    board = styled.tables["piece"]["under-board"]
    assert board["kind"] == "board"
    built, problems = check_data(styled.tables, Path("."))
    assert built is not None
    assert not problems
    assert styled.notes[0] == "A white board is added under the face as [piece.under-board]."


def test_a_clamshell_moves_the_fill_under_the_face():
    fill = {"head": "flash-400", "modifiers": ["softbox-60x90"], "azimuth_deg": -30, "distance_m": 1.5, "on": False}
    styled = apply_style(_set(light__fill=fill), "clamshell")
    azimuth, elevation, _, _ = _from_nose(_stage(styled), "fill")
    assert abs(azimuth) < ROUNDING_DEG
    assert UNDER_DEG[0] - ROUNDING_DEG <= elevation <= UNDER_DEG[1] + ROUNDING_DEG
    assert "piece" not in styled.tables
    assert "The light fill stands under the face now; meter it again." in styled.notes
    assert "The light fill was off and is on now." in styled.notes


def test_a_large_key_stays_out_of_the_picture():
    """An octabox near the lens axis has to give way to the frame."""
    from scenes.bodies import exit_outline, in_frame

    base = _set(turn=25, light__key__modifiers=["octabox-90"], camera__focal_length_mm=50, camera__distance_m=2.0)
    stage = _stage(apply_style(base, "broad"))
    assert not in_frame(stage.camera, exit_outline(stage.lights[0].fixture)).any()


def test_unknown_style_and_light_name_what_is_near():
    with pytest.raises(KeyfallError, match=r"no key style 'rembrant'. Did you mean rembrandt"):
        apply_style(_set(), "rembrant")
    with pytest.raises(KeyfallError, match=r"no light 'kee' in this scene. Did you mean key"):
        apply_style(_set(), "loop", "kee")


def test_no_key_and_a_key_without_a_stand_are_told():
    base = _set(light__key__role="rim")
    with pytest.raises(KeyfallError, match=r"no key light.*Lights: key.*role"):
        apply_style(base, "loop")
    assert apply_style(base, "loop", "key").key == "key"
    sky = {"role": "key", "shape": "sky", "sky": "overcast", "lux": 1000}
    with pytest.raises(KeyfallError, match="'sky' is the sky, which no one can move"):
        apply_style(_set(light__sky=sky), "loop", "sky")


def test_what_the_set_forbids_is_said_by_its_check():
    """Beside a wall there is room for a sitter who looks along it, and none for their shoulders across."""
    room = {"size_m": [6, 7, 3], "open": ["front"]}
    base = _set(
        turn=-90, sitter__at_m=[2.75, 0.0], room=room, background=None, camera__azimuth_deg=-90,
        light__key__azimuth_deg=-90,
    )  # fmt: skip
    with pytest.raises(SceneError, match="the sitter reaches through a wall"):
        apply_style(base, "profile-rim")


def _peg(height_m: float):
    """A flat face with a thin peg for a nose."""
    across = np.linspace(-0.09, 0.09, 181)
    u, v = np.meshgrid(across, across)
    w = np.where(np.hypot(u, v) < 0.0012, height_m, 0.0)
    vertices = np.stack([u, v, w], axis=-1).reshape(-1, 3)
    cell = np.arange(180)[:, None] * 181 + np.arange(180)
    corners = np.stack([cell, cell + 1, cell + 182, cell + 181], axis=-1).reshape(-1, 4)
    faces = np.concatenate([corners[:, [0, 1, 2]], corners[:, [0, 2, 3]]])
    places = {
        "face": [0, 0, 0], "nose": [0, 0, height_m], "forehead": [0, 0.07, 0], "chin": [0, -0.07, 0],
        "cheek_L": [0.05, 0, 0], "cheek_R": [-0.05, 0, 0],
    }  # fmt: skip
    frame = face_frame({name: np.array(place, float) for name, place in places.items()})
    return face_relief(frame, [(vertices, faces, np.broadcast_to([0.0, 0.0, 1.0], vertices.shape))])


@pytest.mark.parametrize(("azimuth", "elevation"), [(0, 45), (38, 32), (-50, 40), (60, 20)])
def test_a_peg_throws_its_shadow_where_the_tangents_say(azimuth, elevation):
    """A peg of height h on a flat face: its shadow ends h tan(a) aside and h tan(e) / cos(a) down (closed form)."""
    height = 0.02
    relief = _peg(height)
    toward = relief.frame.direction(azimuth, elevation)
    dark = shadowed(relief, 500 * relief.frame.turned(toward))
    u, v = np.meshgrid(relief.u_m, relief.v_m)
    a, e = math.radians(azimuth), math.radians(elevation)
    end = np.array([-height * math.tan(a), -height * math.tan(e) / math.cos(a)])
    along = (u * end[0] + v * end[1]) / np.hypot(*end)
    far = np.where(dark, along, -1).max()
    assert far == pytest.approx(np.hypot(*end), abs=2 * CELL_M)
    tip = np.argmax(np.where(dark, along, -1))
    assert math.hypot(u.flat[tip] - end[0], v.flat[tip] - end[1]) < 2.5 * CELL_M
