"""Draws a set off screen, in a process of its own: ``python -m render.rigged.view_child FOLDER``.

Reads `set.npz` and `set.json` from the folder and writes `picture.npy`, (h, w, 3) uint8; `view.py` starts it.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import numpy as np

NO_GL = 3
"""Exit status that says that there is no OpenGL here."""


def main(folder: Path) -> int:
    """Draw the set in a folder; the exit status."""
    setattr(np, "infty", np.inf)  # noqa: B010  # pyrender asks for the name that NumPy 2 took away
    try:
        import pyrender

        order = json.loads((folder / "set.json").read_text(encoding="utf-8"))
        renderer = pyrender.OffscreenRenderer(*order["size_px"])
    except ModuleNotFoundError:
        raise  # a library is missing, not the graphics system
    except Exception as problem:
        sys.stderr.write(f"{type(problem).__name__}: {problem}\n")
        return NO_GL
    with np.load(folder / "set.npz", allow_pickle=False) as arrays:
        scene, veils = _scene(pyrender, order, arrays)
    _shadowless(renderer, veils)
    width, height = order["size_px"]
    total = np.zeros((height, width, 3), np.float32)
    key = next(node for node in scene.light_nodes if node.name == "key")
    lens = scene.main_camera_node.camera
    for (x, y), turn in zip(order["shifts"], order["keys"], strict=True):
        lens.cx, lens.cy = width / 2 + x, height / 2 + y
        scene.set_pose(key, np.asarray(turn))
        picture, _ = renderer.render(scene, flags=pyrender.RenderFlags.SHADOWS_DIRECTIONAL)
        total += picture
    renderer.delete()
    np.save(folder / "picture.npy", np.round(total / len(order["keys"])).astype(np.uint8), allow_pickle=False)
    return 0


def _scene(pyrender: Any, order: dict[str, Any], arrays: Any) -> tuple[Any, list[Any]]:
    """The pyrender scene, and its meshes that cast no shadow."""
    scene = pyrender.Scene(bg_color=[*order["paper"], 1.0], ambient_light=order["ambient"])
    veils = []
    for index, part in enumerate(order["parts"]):
        mesh = _mesh(pyrender, part, [arrays[f"{key}{index}"] for key in "vnfc"])
        scene.add(mesh, name=part["name"])
        if part["veil"]:
            veils.append(mesh)
    width, height = order["size_px"]
    lens = pyrender.IntrinsicsCamera(
        order["focal_px"], order["focal_px"], width / 2, height / 2, znear=order["near_m"], zfar=order["far_m"]
    )
    scene.add(lens, pose=np.asarray(order["eye"]))
    scene.add(
        pyrender.DirectionalLight(color=order["key_rgb"], intensity=order["key"]), name="key",
        pose=np.asarray(order["keys"][0]),
    )  # fmt: skip
    return scene, veils


def _mesh(pyrender: Any, part: dict[str, Any], arrays: list[np.ndarray]) -> Any:
    vertices, normals, faces, colours = arrays
    black = [0.0, 0.0, 0.0, 1.0]
    material = pyrender.MetallicRoughnessMaterial(
        baseColorFactor=black if part["glows"] else [1.0, 1.0, 1.0, 1.0], metallicFactor=0.0, roughnessFactor=0.9,
        emissiveFactor=part["colour"] if part["glows"] else [0.0, 0.0, 0.0],
        alphaMode="BLEND" if part["veil"] else "OPAQUE", doubleSided=part["two_sided"],
    )  # fmt: skip
    primitive = pyrender.Primitive(
        positions=vertices, normals=normals, indices=faces, color_0=colours, material=material
    )
    return pyrender.Mesh([primitive])


def _shadowless(renderer: Any, veils: list[Any]) -> None:
    """Keep beams and lines out of the shadow map."""
    from OpenGL import GL

    inner = renderer._renderer
    draw = inner._shadow_mapping_pass

    def without_veils(*words: Any) -> None:
        for mesh in veils:
            mesh.is_visible = False
        draw(*words)
        for mesh in veils:
            mesh.is_visible = True

    inner._shadow_mapping_pass = without_veils
    draw_one = inner._bind_and_draw_primitive

    def without_depth(primitive: Any, *words: Any, **named: Any) -> None:
        # a veil that wrote depth would cut holes into the veils behind it
        GL.glDepthMask(not primitive.is_transparent)
        draw_one(primitive, *words, **named)
        GL.glDepthMask(True)

    inner._bind_and_draw_primitive = without_depth


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
