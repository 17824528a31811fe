"""A scene's hash: of the very bytes that were traced, of every file they came from, and of nothing else."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from materials.errors import KeyfallError
from materials.reading import read_bounded
from render.loading import scene_hash
from render.looks import read_looks
from scenes import open_set

from .cli_scene import write_scene

BUST = "v -0.1 1.4 0\nv 0.1 1.4 0\nv 0 1.7 0.05\nv 0 1.5 -0.1\nf 1 2 3\nf 2 4 3\nf 4 1 3\nf 1 4 2\n"
KIT = 'format = 1\n[head.mine]\nenergy_ws = 300\n[modifier.{name}]\nkind = "projector"\nlens_diameter_m = 0.1\nfield_deg = 26\naperture = "slide.png"\n'


def everything(folder: Path) -> Path:
    """A scene that names a kit, a slide in it, a gel, a measured source and a mesh."""
    folder.mkdir()
    (folder / "bust.obj").write_text(BUST)
    (folder / "gel.csv").write_text("380,0.1\n780,0.9\n")
    (folder / "lamp.csv").write_text("380,1\n780,2\n")
    (folder / "kit.toml").write_text(KIT.format(name="spot"))
    Image.fromarray(np.full((8, 8), 200, np.uint8)).save(folder / "slide.png")
    key = {
        "head": "mine",
        "modifiers": ["spot"],
        "azimuth_deg": 40,
        "elevation_deg": 20,
        "distance_m": 1.5,
        "aim": [0, 1.5, 0],
        "gels": ["gel.csv"],
    }
    return write_scene(
        folder / "scene.toml",
        kit="kit.toml",
        sitter={"mesh": "bust.obj"},
        light__key=key,
        light__fill__source="lamp.csv",
    )


def hash_of(path: Path) -> str:
    return scene_hash(open_set(path))


def test_the_hash_follows_every_file_and_nothing_else(tmp_path):
    path = everything(tmp_path / "one")
    first = hash_of(path)
    (tmp_path / "one" / "beside.csv").write_text("not named")
    assert hash_of(path) == first
    shutil.copytree(tmp_path / "one", tmp_path / "elsewhere")
    assert hash_of(tmp_path / "elsewhere" / "scene.toml") == first
    hashes = {first}
    for name in ("scene.toml", "kit.toml", "bust.obj", "gel.csv", "lamp.csv"):
        place = tmp_path / "one" / name
        before = place.read_bytes()
        place.write_bytes(before + b"\n")
        hashes.add(hash_of(path))
        place.write_bytes(before)
    Image.fromarray(np.full((8, 8), 100, np.uint8)).save(tmp_path / "one" / "slide.png")
    hashes.add(hash_of(path))
    assert len(hashes) == 7


def test_a_look_has_the_hash_of_its_scene_and_its_changes_another(tmp_path):
    path = write_scene(tmp_path / "scene.toml")
    texts = [f"{path}", f"{path}@exposure.iso=200", f"{path}@exposure.iso=400", f"{path}@exposure.iso=200"]
    hashes = [scene_hash(look) for look in read_looks(texts)]
    assert hashes[0] == hash_of(path)
    assert len(set(hashes)) == 3
    assert hashes[1] == hashes[3]


def test_a_file_that_changes_while_a_scene_is_read_is_said(tmp_path):
    path = everything(tmp_path / "one")
    (look,) = read_looks([str(path)])
    (tmp_path / "one" / "gel.csv").write_text("380,0.2\n780,0.9\n")
    with pytest.raises(KeyfallError, match=r"gel.csv' changed while it was read"):
        scene_hash(look)
    read_bounded(path, 100_000)  # outside, nothing is noted
