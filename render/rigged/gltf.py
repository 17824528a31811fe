"""The set as a binary glTF file: meshes, the camera, and the lights in photometric units.

References
----------
ISO/IEC 12113:2022 (glTF 2.0): metres, +y up, cameras look along -z, colours of materials in linear sRGB.
KHR_lights_punctual: see `render.rigged.lights`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from materials import KeyfallError
from scenes.stage import Camera, Stage, White

from ..meterset import has_direction
from .lights import Punctual, punctual_of, unplaced
from .model import set_parts
from .parts import SetPart

EXTENSION = "KHR_lights_punctual"
NEAREST_M = 0.01
_ROUGHNESS = 0.9


def write_gltf(path: Path, stage: Stage) -> None:
    """Write the set as a binary glTF 2.0 file (.glb), whole or not at all.

    Every light with a place or direction is a light of the file, whether on or off; one that is off has intensity 0 and
    says in its extras what it would have. Colours are as the camera's white balance sees them. Ambient light and skies
    have no counterpart in the extension and are listed in the scene's extras.

    Raises
    ------
    KeyfallError
        When the stage holds a number that is not finite.
    """
    Path(path).write_bytes(gltf_bytes(stage))


def gltf_bytes(stage: Stage) -> bytes:
    """The set as the bytes of a .glb file; see `write_gltf`."""
    import trimesh
    from trimesh.exchange.gltf import export_glb

    parts = set_parts(stage)
    lights = [(light.name, punctual_of(light, stage)) for light in stage.lights]
    placed = [(name, light) for name, light in lights if light is not None]
    _check(parts, [light for _, light in placed])
    scene = trimesh.Scene()
    for part in parts:
        scene.add_geometry(_mesh(part), node_name=part.name, geom_name=part.name)

    def finish(tree: dict[str, Any]) -> None:
        tree["asset"]["generator"] = "Keyfall"
        _add_materials(tree, parts)
        _add_camera(tree, stage.camera)
        _add_lights(tree, placed)
        tree["scenes"][0]["name"] = stage.title
        tree["scenes"][0]["extras"] = _scene_extras(stage)

    return bytes(export_glb(scene, include_normals=True, tree_postprocessor=finish))


def _check(parts: Sequence[SetPart], lights: Sequence[Punctual]) -> None:
    wrong = [p.name for p in parts if not np.isfinite(p.mesh.vertices).all()]
    wrong += [str(light.extras["name"]) for light in lights if not math.isfinite(light.intensity)]
    if wrong:
        raise KeyfallError(
            f"The set cannot be written as glTF: {', '.join(wrong)} has a number that is not finite. Correct its sizes."
        )


def _mesh(part: SetPart) -> Any:
    """The part's mesh, with colours by vertex where it has them; `baseColorFactor` carries the rest."""
    if part.shades is None:
        return part.mesh
    import trimesh

    codes = np.full((len(part.shades), 4), 255, np.uint8)
    codes[:, :3] = np.round(np.clip(part.shades, 0, 1) * 255)
    return trimesh.Trimesh(
        part.mesh.vertices, part.mesh.faces, vertex_normals=part.mesh.vertex_normals, vertex_colors=codes,
        process=False, validate=False,
    )  # fmt: skip


def _add_materials(tree: dict[str, Any], parts: Sequence[SetPart]) -> None:
    index = {mesh["name"]: mesh for mesh in tree["meshes"]}
    tree["materials"] = []
    known: dict[str, int] = {}
    for part in parts:
        material = _material(part)
        key = repr(material)
        if key not in known:
            known[key] = len(tree["materials"])
            tree["materials"].append(material)
        mesh = index[part.name]
        mesh["primitives"][0]["material"] = known[key]
        mesh["extras"] = {"kind": part.kind, "belongs_to": part.owner}


def _material(part: SetPart) -> dict[str, Any]:
    colour = [float(c) for c in part.colour]
    material: dict[str, Any] = {
        "pbrMetallicRoughness": {
            "baseColorFactor": [*colour, float(part.alpha)], "metallicFactor": 0.0, "roughnessFactor": _ROUGHNESS,
        },
        "doubleSided": part.two_sided,
    }  # fmt: skip
    if part.alpha < 1:
        material["alphaMode"] = "BLEND"
    if part.glows:
        material["emissiveFactor"] = colour
    return material


def _add_camera(tree: dict[str, Any], camera: Camera) -> None:
    tree["cameras"] = [
        {
            "name": "camera",
            "type": "perspective",
            "perspective": {
                "yfov": 2 * math.atan(camera.tan_half_height),
                "aspectRatio": camera.tan_half_width / camera.tan_half_height,
                "znear": NEAREST_M,
            },
        }
    ]
    node = _node("camera", camera.origin_m, camera.right, camera.up, camera.forward) | {"camera": 0}
    _add_root(tree, node)


def _add_lights(tree: dict[str, Any], lights: Sequence[tuple[str, Punctual]]) -> None:
    if not lights:
        return
    written = []
    for index, (name, light) in enumerate(lights):
        written.append(_light(name, light))
        node = _node(f"light.{name}", light.position_m, light.right, light.up, light.forward)
        node["extensions"] = {EXTENSION: {"light": index}}
        node["extras"] = light.extras
        _add_root(tree, node)
    tree.setdefault("extensions", {})[EXTENSION] = {"lights": written}
    tree["extensionsUsed"] = sorted({*tree.get("extensionsUsed", []), EXTENSION})


def _light(name: str, light: Punctual) -> dict[str, Any]:
    table: dict[str, Any] = {
        "name": name,
        "type": light.kind,
        "color": [float(c) for c in light.colour],
        "intensity": float(light.intensity),
    }
    if light.cone_rad is not None:
        table["spot"] = {"innerConeAngle": light.cone_rad[0], "outerConeAngle": light.cone_rad[1]}
    return table


def _add_root(tree: dict[str, Any], node: dict[str, Any]) -> None:
    tree["nodes"].append(node)
    tree["scenes"][0]["nodes"].append(len(tree["nodes"]) - 1)


def _node(name: str, at: np.ndarray, right: np.ndarray, up: np.ndarray, forward: np.ndarray) -> dict[str, Any]:
    """A node that looks along `forward`: its -z, with its +x to the right and +y up."""
    from trimesh.transformations import quaternion_from_matrix

    turned = np.eye(4)
    turned[:3, 0], turned[:3, 1], turned[:3, 2] = right, up, -forward
    w, x, y, z = (float(v) for v in quaternion_from_matrix(turned))
    return {"name": name, "translation": [float(v) for v in at], "rotation": [x, y, z, w]}


def _scene_extras(stage: Stage) -> dict[str, Any]:
    exposure = stage.exposure
    return {
        "title": stage.title,
        "iso": exposure.iso,
        "f_number": exposure.f_number,
        "shutter_s": exposure.shutter_s,
        "white_balance": white.words if isinstance(white := exposure.white_balance, White) else white,
        "lights_without_place": [unplaced(light) for light in stage.lights if not has_direction(light)],
        "stands": "stands, booms and housings are Keyfall's own drawing; the scene gives sizes and places only",
    }
