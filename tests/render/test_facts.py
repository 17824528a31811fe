"""What a set says of itself is carried as facts: where the camera stands, what a light is aimed at, what a piece is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from materials.gels import make_gel, stack
from render.board.facts import _way
from render.in_the_way import in_the_way
from render.plan.forms import form_of
from render.rigged.housing import look_of
from render.rigging import spread_at, spread_on_wall
from render.where_read import aimed_at
from scenes import build_stage, load_scene
from scenes.aiming import angles_from_camera_deg, direction
from scenes.check import check_scene
from scenes.set_up import set_up_order

from .cli_scene import write_scene

HEAD = {"head": "flash-400", "modifiers": ["standard-reflector"], "distance_m": 1.4}


def _stage(path, **changes):
    return build_stage(load_scene(write_scene(path, **changes)))


@pytest.mark.parametrize("turn", [0, 60, -75, 170])
def test_azimuths_count_from_the_camera_wherever_it_stands(tmp_path, turn):
    """A light written 40 degrees to the right of the camera is said to be so; and so is one dead ahead of it."""
    lights = {"light__key": {**HEAD, "azimuth_deg": turn, "elevation_deg": 20},
              "light__rim": {**HEAD, "azimuth_deg": turn + 40}}  # fmt: skip
    stage = _stage(tmp_path / "s.toml", camera__azimuth_deg=turn, **lights)
    said = {}
    for light in stage.lights:
        way = _way(light, stage.landmarks["face"])
        said[light.name] = angles_from_camera_deg(way, stage.camera.azimuth_deg)
    assert said["key"] == (pytest.approx(0, abs=1e-6), pytest.approx(20, abs=1e-6))
    assert said["rim"] == (pytest.approx(40, abs=1e-6), pytest.approx(0, abs=1e-6))


def test_a_camera_given_by_its_place_has_the_bearing_of_it(tmp_path):
    at = 2.2 * direction(35, 0) + [0, 1.5, 0]
    changes = {"camera__distance_m": None, "camera__at_m": [float(v) for v in at]}
    assert _stage(tmp_path / "s.toml", **changes).camera.azimuth_deg == pytest.approx(35)


def test_a_piece_is_what_the_scene_calls_it_not_what_it_is_made_of(tmp_path):
    """A board in black cotton is a board; a round silk stays a silk."""
    stage = _stage(
        tmp_path / "s.toml",
        piece__soak={"kind": "board", "finish": "black-cotton", "size_m": [0.6, 0.9], "at_m": [-0.8, 1.3, 0.3]},
        piece__cut={"kind": "flag", "size_m": 0.5, "at_m": [0.9, 1.6, 0.2]},
        piece__soft={"kind": "silk", "stops": 1, "size_m": 0.5, "round": True, "at_m": [0.9, 1.9, 0.9]},
        piece__thin={"kind": "net", "stops": 0.5, "size_m": [0.4, 0.5], "at_m": [1.2, 1.2, 0.9]},
    )
    assert {piece.name: piece.kind for piece in stage.pieces} == {
        "soak": "board", "cut": "flag", "soft": "silk", "thin": "net",
    }  # fmt: skip
    from render.plan.set import _pieces

    drawn = {piece.name: piece for piece in _pieces(stage)}
    assert drawn["soft"].size_m == (0.5, 0.5)
    traced = {shape.name: shape.vertices for shape in stage.shapes if shape.region == "prop"}
    for name in ("soak", "cut"):
        spread = [np.sort(points, axis=0) for points in (traced[f"piece.{name}"], drawn[name].corners_m)]
        np.testing.assert_allclose(*spread, atol=1e-6)


def test_a_name_makes_no_window(tmp_path):
    panel = {"shape": "rectangle", "size_m": [1, 1.4], "at_m": [-2, 1.6, 0.6], "source": "D65", "lumens": 9000}
    pane = {"modifiers": [{"kind": "window", "size_m": [1, 1.4]}], "at_m": [2, 1.6, 0.6], "source": "D65", "lumens": 9000}
    stage = _stage(tmp_path / "s.toml", **{"light__window-side": panel, "light__left": pane})
    looks = {light.name: (look_of(light), form_of(light).form) for light in stage.lights if light.fixture}
    assert looks["window-side"][0] != "window"
    assert looks["window-side"][1] == "rectangle"
    assert looks["left"] == ("window", "window")


@pytest.mark.parametrize(
    ("aim", "role", "wanted"),
    [
        ("face", None, "face"), ("chin", None, "face"), ("hair_top", "rim", "crown"), ("background", None, "background"),
        ([0.1, 1.4, -1.8], None, "background"), ([0.3, 1.6, -2.5], "key", "background"), ("floor", None, "floor"),
        ("chest", "fill", "chest"), ("face", "background", "background"), ([1.5, 1.0, 0.8], None, "face"),
    ],
)  # fmt: skip
def test_the_meter_is_held_where_a_light_is_aimed(tmp_path, aim, role, wanted):
    light = {"head": "flash-400", "modifiers": ["standard-reflector"], "at_m": [0.7, 1.9, 0.9], "aim": aim}
    if role is not None:
        light["role"] = role
    stage = _stage(tmp_path / "s.toml", **{"light__pocket": light})
    assert aimed_at(next(li for li in stage.lights if li.name == "pocket"), stage) == wanted


def test_a_light_aimed_at_a_place_on_the_background_has_its_meter_point_there(tmp_path):
    light = {"head": "flash-400", "modifiers": ["standard-reflector", "grid-30"], "at_m": [0.7, 1.0, -0.4]}
    stage = _stage(tmp_path / "s.toml", light__spot={**light, "aim": [0.9, 1.3, -1.2]}, light__low={
        **light, "aim": [0.9, -0.5, -1.2]}, light__named={**light, "at_m": [-0.9, 1, -0.4], "aim": "background"})  # fmt: skip
    points = {probe.name: probe.position_m for probe in stage.probes if probe.name.startswith("aim_")}
    np.testing.assert_allclose(points.pop("aim_spot"), np.array([0.7, 1.0, -0.4]) + 1.75 * np.array([0.2, 0.3, -0.8])
                               + [0, 0, 0.02], atol=1e-9)  # fmt: skip
    assert not points


def test_sheets_of_a_stack_are_a_tuple_whatever_their_names_hold():
    odd = replace(make_gel("teal"), name="warm + soft")
    both = stack([odd, make_gel("half-cto")])
    assert both.sheets == ("warm + soft", "half-cto")
    assert stack([both, make_gel("rose")]).sheets == ("warm + soft", "half-cto", "rose")
    assert make_gel("rose").sheets == ("rose",)


def test_a_set_may_say_in_which_order_it_is_set_up(tmp_path):
    far = {
        "room": None, "light__sun": {"shape": "sun", "azimuth_deg": 30, "elevation_deg": 40, "lux": 20000},
        "light__day": {"shape": "ambient", "ev": 4, "source": "daylight", "cct_k": 6000},
        "light__sky": {"shape": "sky", "sky": "overcast", "lux": 900},
    }  # fmt: skip
    usual = _stage(tmp_path / "a.toml", **far)
    assert [light.name for light in set_up_order(usual)] == ["day", "sky", "sun", "key", "fill"]
    stated = _stage(tmp_path / "b.toml", **far, set_up=["fill", "sun"])
    assert [light.name for light in set_up_order(stated)] == ["fill", "sun", "day", "sky", "key"]
    path = write_scene(tmp_path / "c.toml", set_up=["kez", "fill", "fill"], camera__focal_length_mm=1)
    found = [(f.where, f.fix) for f in check_scene(path)]
    assert ("set_up[1]", "Did you mean key?") in found
    assert ("set_up[3]", "Remove one.") in found
    assert any(where == "camera.focal_length_mm" for where, _ in found)


def test_a_light_blocked_by_another_fixture_or_a_flag_is_told(tmp_path):
    wash = np.array([1.6, 1.4, -0.4])
    changes = {
        "light__wash": {"head": "flash-400", "modifiers": ["standard-reflector"], "at_m": wash.tolist(),
                        "aim": [0.4, 1.4, -1.8]},
        "piece__cut": {"kind": "flag", "size_m": 0.6, "at_m": [0.5, 1.75, 0.6], "aim": "face"},
    }  # fmt: skip
    free = _stage(tmp_path / "a.toml", **changes)
    assert in_the_way(next(li for li in free.lights if li.name == "wash"), free, "background_centre") == []
    point = next(probe.position_m for probe in free.probes if probe.name == "background_centre")
    between = (wash + 0.45 * (point - wash)).tolist()
    strip = {"head": "flash-400", "modifiers": ["strip-30x120"], "aim": "face", "at_m": between}
    stage = _stage(tmp_path / "s.toml", **changes, light__strip=strip)
    lights = {light.name: light for light in stage.lights}
    assert in_the_way(lights["wash"], stage, "background_centre") == ["strip"]
    assert in_the_way(lights["key"], stage, "face") == ["cut"]
    assert in_the_way(lights["fill"], stage, "face") == []


def test_meter_points_of_the_background_lie_in_the_picture_past_the_sitter_and_outside_her_shadow(tmp_path):
    """By ray casting on the very mesh, which shares nothing with the raster that finds them."""
    import trimesh

    from scenes.bodies import in_frame

    stage = _stage(tmp_path / "s.toml", background__distance_m=0.9)  # so near that both shadows are in the picture
    solid = [shape for shape in stage.shapes if shape.name.startswith("sitter.")]
    mesh = trimesh.util.concatenate([trimesh.Trimesh(s.vertices, s.faces, process=False) for s in solid])
    points = np.array([probe.position_m for probe in stage.probes if probe.region == "background"])
    assert len(points) == 5
    assert in_frame(stage.camera, points).all()
    for eye in (stage.camera.origin_m, *(light.fixture.centre_m for light in stage.lights if light.fixture)):
        for point in points:
            reach = float(np.linalg.norm(point - eye))
            assert _first_hit(mesh, eye, (point - eye) / reach) > reach


def _first_hit(mesh, eye, way):
    """Distance to the nearest triangle of a mesh along a ray (Moller and Trumbore), infinite where it meets none."""
    a, b, c = (mesh.vertices[mesh.faces[:, k]] for k in range(3))
    p = np.cross(way, c - a)
    det = np.einsum("ij,ij->i", b - a, p)
    with np.errstate(all="ignore"):
        u = ((eye - a) * p).sum(1) / det
        q = np.cross(eye - a, b - a)
        v, t = q @ way / det, ((c - a) * q).sum(1) / det
        met = (u >= 0) & (v >= 0) & (u + v <= 1) & (t > 1e-4)
    return t[met].min(initial=np.inf)


def test_a_beam_on_the_wall_ends_with_the_wall(tmp_path):
    stage = _stage(tmp_path / "s.toml", light__fill__at_m=[0.0, 1.3, 1.6], light__fill__azimuth_deg=None,
                   light__fill__elevation_deg=None, light__fill__distance_m=None)  # fmt: skip
    lights = {light.name: light for light in stage.lights}
    wide = spread_on_wall(lights["fill"].fixture, stage)  # a diffuse panel, 3.4 m away: its beam is wider than the paper
    assert wide.beam_cut
    assert wide.field_cut
    assert wide.beam_m[0] == pytest.approx(2.7, abs=0.05)
    assert wide.field_m[0] == pytest.approx(2.7, abs=0.05)
    vast = replace(stage, shapes=tuple(
        replace(s, vertices=s.vertices * np.float32(20)) if s.region == "background" else s for s in stage.shapes
    ))  # fmt: skip
    free = spread_at(lights["fill"].fixture, wide.distance_m)
    assert free.beam_m[0] > 2.7
    assert spread_on_wall(lights["fill"].fixture, vast).beam_m[0] == pytest.approx(free.beam_m[0])
    key = spread_on_wall(lights["key"].fixture, stage)
    assert key is None  # its axis meets the plane beside the paper
