"""The glTF file, read by our own reader of the container and by trimesh.

Sources: ISO/IEC 12113:2022 (glTF 2.0), sections 3 (data) and 4 (binary container); Khronos Group, KHR_lights_punctual.
"""

from __future__ import annotations

import io
import json
import math
import struct
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh

from materials import KeyfallError, make_gel, make_source
from render.rigged.gltf import gltf_bytes, write_gltf
from scenes import build_stage, load_scene
from scenes.field import axial_illuminance_per_lumen
from scenes.optics import Angular, Optics
from scenes.stage import Stage

from . import sets

DEMO = sorted(p for p in (Path(__file__).parents[2] / "demo" / "scenes").glob("*.toml") if p.stem != "cupboard-kit")
COMPONENT = {5120: "<i1", 5121: "<u1", 5122: "<i2", 5123: "<u2", 5125: "<u4", 5126: "<f4"}
WIDTH = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4, "MAT4": 16}
NAME = "key_of-the-left_wing-with_a_long-name_01"


class Glb:
    """A .glb by the standard's text alone."""

    def __init__(self, data: bytes) -> None:
        magic, version, length = struct.unpack_from("<4sII", data)
        assert (magic, version, length) == (b"glTF", 2, len(data))
        size, kind = struct.unpack_from("<I4s", data, 12)
        assert kind == b"JSON"
        assert size % 4 == 0
        self.json: dict[str, Any] = json.loads(data[20 : 20 + size], parse_constant=_refuse)
        at = 20 + size
        size, kind = struct.unpack_from("<I4s", data, at)
        assert kind == b"BIN\0"
        self.binary = data[at + 8 : at + 8 + size]
        assert at + 8 + size == length

    def array(self, index: int) -> np.ndarray:
        accessor = self.json["accessors"][index]
        view = self.json["bufferViews"][accessor["bufferView"]]
        width = WIDTH[accessor["type"]]
        start = view.get("byteOffset", 0) + accessor.get("byteOffset", 0)
        values = np.frombuffer(self.binary, COMPONENT[accessor["componentType"]], accessor["count"] * width, start)
        assert start + values.nbytes <= view.get("byteOffset", 0) + view["byteLength"] <= len(self.binary)
        return values.reshape(-1, width)

    @property
    def lights(self) -> dict[str, tuple[dict[str, Any], dict[str, Any]]]:
        """Light and node by the light's name."""
        table = self.json.get("extensions", {}).get("KHR_lights_punctual", {}).get("lights", [])
        found = {}
        for node in self.json["nodes"]:
            if "KHR_lights_punctual" in node.get("extensions", {}):
                light = table[node["extensions"]["KHR_lights_punctual"]["light"]]
                found[light["name"]] = (light, node)
        assert len(found) == len(table)
        return found


def _refuse(constant: str) -> float:
    raise AssertionError(f"{constant} in the file")


def _turned(node: dict[str, Any], axis: tuple[float, float, float]) -> np.ndarray:
    """An axis turned by the node's unit quaternion (x, y, z, w)."""
    x, y, z, w = node["rotation"]
    assert x * x + y * y + z * z + w * w == pytest.approx(1)
    u, v = np.array([x, y, z]), np.array(axis)
    return v + 2 * np.cross(u, np.cross(u, v) + w * v)


def _stage(*lights: Any) -> Stage:
    floor = sets.quad([-2, 0, 2], [4, 0, 0], [0, 0, -4], sets.finish(0.3), "floor")
    return sets.stage([floor], lights, sets.camera(at=(0, 1.5, 3), look=(0, 1.4, 0), size=(40, 50)))


QUICK = ("courtyard-evening",)


@pytest.mark.parametrize(
    "path", [p if p.stem in QUICK else pytest.param(p, marks=pytest.mark.slow) for p in DEMO], ids=lambda p: p.stem
)
def test_every_demo_scene_is_a_valid_file(path):
    stage = build_stage(load_scene(path))
    data = gltf_bytes(stage)
    assert len(data) < 15e6
    glb = Glb(data)
    _valid(glb)
    assert set(glb.lights) == {li.name for li in stage.lights if li.fixture is not None or _is_sun(li)}
    listed = glb.json["scenes"][0]["extras"]["lights_without_place"]
    assert {entry["name"] for entry in listed} == {li.name for li in stage.lights} - set(glb.lights)
    names = {node.get("name") for node in glb.json["nodes"]}
    assert {shape.name for shape in stage.shapes} | {"camera", "camera.body"} <= names


def _is_sun(light: Any) -> bool:
    return light.distant is not None and light.distant.kind == "sun"


def _valid(glb: Glb) -> None:
    tree = glb.json
    assert tree["asset"]["version"] == "2.0"
    assert set(tree.get("extensionsUsed", [])) == ({"KHR_lights_punctual"} if glb.lights else set())
    assert tree["buffers"][0]["byteLength"] <= len(glb.binary)
    for node in tree["nodes"]:
        assert node.get("mesh", 0) < len(tree["meshes"])
        assert all(0 <= child < len(tree["nodes"]) for child in node.get("children", []))
    for mesh in tree["meshes"]:
        for primitive in mesh["primitives"]:
            assert 0 <= primitive["material"] < len(tree["materials"])
            place = glb.array(primitive["attributes"]["POSITION"])
            corner = glb.array(primitive["indices"])
            normal = glb.array(primitive["attributes"]["NORMAL"])
            assert corner.max() < len(place) == len(normal)
            assert len(corner) % 3 == 0
            assert np.isfinite(place).all()
            assert np.abs(np.linalg.norm(normal, axis=1) - 1).max() < 1e-3
            told = tree["accessors"][primitive["attributes"]["POSITION"]]
            assert told["min"] == pytest.approx(place.min(axis=0).tolist(), abs=1e-5)
            assert told["max"] == pytest.approx(place.max(axis=0).tolist(), abs=1e-5)
    for material in tree["materials"]:
        factors = material["pbrMetallicRoughness"]["baseColorFactor"] + material.get("emissiveFactor", [])
        assert all(0 <= value <= 1 for value in factors)
    for light, _ in glb.lights.values():
        assert light["type"] in ("spot", "point", "directional")
        assert light["intensity"] >= 0
        assert all(0 <= channel <= 1 for channel in light["color"])
        if light["type"] == "spot":
            assert 0 <= light["spot"]["innerConeAngle"] < light["spot"]["outerConeAngle"] <= math.pi / 2


def test_trimesh_reads_it_back(tmp_path):
    stage = _stage(sets.light(sets.fixture("disk", (0.2, 0.2), (0.5, 2, 1))))
    write_gltf(tmp_path / "set.glb", stage)
    scene = trimesh.load_scene(tmp_path / "set.glb")
    floor = next(mesh for name, mesh in scene.geometry.items() if name == stage.shapes[0].name)
    assert floor.bounds == pytest.approx(np.array([[-2, 0, -2], [2, 0, 2]]))
    assert floor.area == pytest.approx(16)
    assert any(name.startswith("light.key.housing") for name in scene.geometry)
    assert any(name == "light.key.stand" for name in scene.geometry)


def test_the_camera_is_the_stages():
    stage = _stage(sets.light(sets.fixture()))
    glb = Glb(gltf_bytes(stage))
    lens = glb.json["cameras"][0]["perspective"]
    assert math.tan(lens["yfov"] / 2) == pytest.approx(stage.camera.tan_half_height)
    assert lens["aspectRatio"] * math.tan(lens["yfov"] / 2) == pytest.approx(stage.camera.tan_half_width)
    node = next(node for node in glb.json["nodes"] if node.get("camera") == 0)
    assert node["translation"] == pytest.approx([0, 1.5, 3])
    assert _turned(node, (0, 0, -1)) == pytest.approx(stage.camera.forward)
    assert _turned(node, (0, 1, 0)) == pytest.approx(stage.camera.up)


def test_lights_keep_place_and_direction():
    """KHR_lights_punctual: light is emitted along the node's local -z."""
    fixture = sets.fixture("spot", (0.1, 0.1), (1.2, 2.4, 0.7), (-1, -1.5, -0.4), beam=20.0, field=34.0)
    light, node = Glb(gltf_bytes(_stage(sets.light(fixture, NAME)))).lights[NAME]
    assert node["translation"] == pytest.approx([1.2, 2.4, 0.7])
    assert _turned(node, (0, 0, -1)) == pytest.approx(fixture.forward)
    assert _turned(node, (0, 1, 0)) == pytest.approx(fixture.up)
    assert light["spot"] == pytest.approx({"innerConeAngle": math.radians(10), "outerConeAngle": math.radians(17)})


@pytest.mark.parametrize("shape", ["disk", "rectangle", "octagon", "sphere", "spot"])
def test_inverse_square_of_the_intensity_lights_the_face(shape):
    """KHR_lights_punctual: candela for point and spot lights, falling with the square of the distance. A fixture of 2 cm
    at 2 m departs from its far field by about (r / d)^2, 1e-4 at most."""
    fixture = sets.fixture(shape, (0.02, 0.02), (0, 2, 0), (0, -1, 0), *((30.0, 50.0) if shape == "spot" else ()))
    steady = replace(sets.light(fixture, lumens=700.0), flash=False)
    flash = sets.light(fixture, "flash", lumens=25.0)
    lights = Glb(gltf_bytes(_stage(steady, flash))).lights
    truth = axial_illuminance_per_lumen(fixture, 2.0)
    assert lights["key"][0]["intensity"] / 2**2 == pytest.approx(700 * truth, rel=2e-4)
    assert lights["flash"][0]["intensity"] / 2**2 / 125 == pytest.approx(25 * truth, rel=2e-4)
    assert lights["flash"][1]["extras"]["intensity_time_cd_s"] / 2**2 == pytest.approx(25 * truth, rel=2e-4)
    assert lights["key"][0]["type"] == ("point" if shape == "sphere" else "spot")


def test_a_flat_light_has_the_cone_of_the_cosine():
    """A Lambertian panel falls to half at 60 degrees and to a tenth at acos 0.1 = 84.26 degrees (Lambert's law)."""
    light, node = Glb(gltf_bytes(_stage(sets.light(sets.fixture("disk", (0.2, 0.2)))))).lights["key"]
    assert math.degrees(light["spot"]["innerConeAngle"]) == pytest.approx(60, abs=0.1)
    assert math.degrees(light["spot"]["outerConeAngle"]) == pytest.approx(math.degrees(math.acos(0.1)), abs=0.1)
    assert "cone_note" not in node["extras"]


def test_a_cone_wider_than_the_standard_allows_is_brought_in_and_said_so():
    """Even intensity over the half space falls to neither a half nor a tenth, so both half angles are 90 degrees."""
    fixture = sets.fixture("disk", (0.2, 0.2))
    wide = replace(fixture, optics=Optics(angular=Angular(np.ones((1, 10), np.float32), math.pi / 2)))
    light, node = Glb(gltf_bytes(_stage(sets.light(wide)))).lights["key"]
    spot = light["spot"]
    assert 0 <= spot["innerConeAngle"] < spot["outerConeAngle"] == pytest.approx(math.pi / 2)
    assert "cone_note" in node["extras"]
    assert node["extras"]["field_deg"] == pytest.approx(180)


def test_colour_is_the_light_through_its_gel():
    """A 5500 K flash is white to a camera set to flash. Teal lets little red through, amber little blue."""
    fixture = sets.fixture()
    lights = Glb(
        gltf_bytes(
            _stage(
                sets.light(fixture, "plain", source="flash"),
                sets.light(fixture, "teal", source="flash", gel=make_gel("teal")),
                sets.light(fixture, "amber", source="flash", gel=make_gel("amber")),
            )
        )
    ).lights
    assert lights["plain"][0]["color"] == pytest.approx([1, 1, 1], abs=2e-3)
    teal, amber = lights["teal"][0]["color"], lights["amber"][0]["color"]
    assert max(teal) == max(amber) == 1
    assert min(teal + amber) >= 0
    assert teal[0] == min(teal)
    assert amber[2] == min(amber)


def test_gels_cost_candela():
    gel, source = make_gel("teal"), make_source("flash")
    lights = Glb(
        gltf_bytes(
            _stage(
                sets.light(sets.fixture(), "plain", source="flash"),
                sets.light(sets.fixture(), "teal", source="flash", gel=gel),
            )
        )
    ).lights
    lost = math.log2(lights["plain"][0]["intensity"] / lights["teal"][0]["intensity"])
    assert lost == pytest.approx(gel.loss_stops(source), abs=1e-6)
    assert lights["teal"][1]["extras"]["gels"] == "teal"


def test_a_light_that_is_off_sends_nothing_but_tells_what_it_would():
    light, node = Glb(gltf_bytes(_stage(sets.light(sets.fixture(), on=False, lumens=50)))).lights["key"]
    assert light["intensity"] == 0
    assert node["extras"]["on"] is False
    assert node["extras"]["intensity_when_on_cd"] == pytest.approx(50 / math.pi * 125)


def test_the_sun_is_directional_in_lux_and_ambient_light_is_listed():
    path = next(p for p in DEMO if p.stem == "courtyard-evening")
    stage = build_stage(load_scene(path))
    stage = replace(stage, shapes=stage.shapes[-2:])
    glb = Glb(gltf_bytes(stage))
    sun = next(light for light in stage.lights if light.name == "sun")
    light, node = glb.lights["sun"]
    lux = sun.output.lumens
    assert (light["type"], light["intensity"]) == ("directional", pytest.approx(lux))
    assert 60_000 < lux < 90_000  # a clear evening with the sun 25 degrees up, see tests/published/test_sunlight.py
    assert _turned(node, (0, 0, -1)) == pytest.approx(-sun.distant.toward)
    assert glb.json["scenes"][0]["extras"]["lights_without_place"][0]["name"] == "sky"


def test_a_number_that_is_none_is_refused():
    light = sets.light(sets.fixture(), lumens=math.nan)
    with pytest.raises(KeyfallError, match="key has a number that is not finite"):
        gltf_bytes(_stage(light))


def test_the_same_stage_gives_the_same_bytes():
    stage = _stage(sets.light(sets.fixture()))
    assert gltf_bytes(stage) == gltf_bytes(stage)
    assert trimesh.load_scene(io.BytesIO(gltf_bytes(stage)), file_type="glb").geometry
