"""Meshes of the user's own."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from materials.errors import DataError
from scenes.check import check_data
from scenes.mesh_file import read_mesh, smooth_normals
from scenes.model import Sitter
from scenes.placing import place_sitter

from .examples import PLAIN

pytestmark = pytest.mark.quick

BOX = Path(__file__).parent / "broken" / "tall-box.obj"


def test_a_mesh_is_read_as_it_is() -> None:
    mesh = read_mesh(BOX)
    assert mesh.vertices.shape == (8, 3)
    assert mesh.faces.shape == (12, 3)
    assert np.ptp(mesh.vertices[:, 1]) == 1712
    np.testing.assert_allclose(np.linalg.norm(mesh.normals, axis=1), 1)
    middle = (mesh.vertices.max(axis=0) + mesh.vertices.min(axis=0)) / 2
    assert (((mesh.vertices - middle) * mesh.normals).sum(axis=1) > 0).all()


def test_bodies_of_one_file_are_joined_each_where_the_file_puts_it(tmp_path: Path) -> None:
    import trimesh

    scene = trimesh.Scene()
    body = trimesh.creation.box((1, 1, 1))
    scene.add_geometry(body, transform=trimesh.transformations.translation_matrix([0, 0.5, 0]))
    scene.add_geometry(body, transform=trimesh.transformations.translation_matrix([0, 2.0, 0]))
    path = tmp_path / "two.glb"
    path.write_bytes(scene.export(file_type="glb"))
    mesh = read_mesh(path)
    assert len(mesh.faces) == 24
    np.testing.assert_allclose([mesh.vertices[:, 1].min(), mesh.vertices[:, 1].max()], [0, 2.5], atol=1e-6)


POINTS = b"v 0 0 0\nv 1 0 0\nv 0 1 0\n"
PLY = (
    b"ply\nformat ascii 1.0\ncomment caf\xe9\nelement vertex 3\nproperty float x\nproperty float y\nproperty float z\n"
    b"element face 1\nproperty list uchar int vertex_indices\nend_header\n0 0 0\n1 0 0\n0 1 0\n3 0 1 %d\n"
)
GLTF = (
    b'{"asset":{"version":"2.0"},"buffers":[{"uri":"%s","byteLength":36}],"bufferViews":[{"buffer":0,"byteLength":36}],'
    b'"accessors":[{"bufferView":0,"componentType":5126,"count":%d,"type":"VEC3"}],'
    b'"meshes":[{"primitives":[{"attributes":{"POSITION":0}}]}],"nodes":[{"mesh":0}],"scenes":[{"nodes":[0]}]}'
)
BAD = [
    ("a.obj", POINTS, "no faces"),
    ("a.obj", b"", "is empty"),
    ("a.obj", POINTS + b"f 1 2 9\n", "on line 4 a face names vertex 9, and the file has 3"),
    ("a.obj", POINTS + b"f 0 1 2\n", "on line 4 a face names vertex 0"),
    ("a.obj", POINTS + b"f -4 -2 -1\n", "on line 4 a face counts back 4 entries, and 3 stand before"),
    ("a.obj", b"v nan 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n", "not finite"),
    ("a.obj", b"v x 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n", "on line 1 a vertex is not three numbers"),
    ("a.obj", b"v 0 0 0 1\nv 1 0\nv 0 1 0\nf 1 2 3\n", "on line 2 a vertex is not three numbers"),
    ("a.obj", b"v 0 0\nv 1 0\nv 0 1\nf 1 2 3\n", "on line 1 a vertex is not three numbers"),
    ("a.obj", b"v 0 0 0\nv 1e308 0 0\nv 0 1e308 0\nf 1 2 3\n", r"a coordinate of 1e\+308. Allowed: up to 1e\+15"),
    ("a.obj", b"v 0 0 0\nv 1e39 0 0\nv 0 1 0\nf 1 2 3\n", "a coordinate of"),
    ("a.obj", b"v 0 2 0\nv 1 2 0\nv 0 2 1\nf 1 2 3\n", "no height.*lie on its back"),
    ("a.stl", b"solid nothing\nendsolid nothing\n", "damaged|no faces"),
    ("a.glb", b"glTF but not really", "damaged, or is no GLB file"),
    ("a.ply", b"\0\1\2", "damaged"),
    ("a.ply", PLY % 7, "triangle 1 names vertex 8, and there are 3"),
    ("a.gltf", GLTF % (b"/dev/zero", 3), "not in its folder"),
    ("a.gltf", GLTF % (b"none.bin", 3), "does not exist.*export one .glb"),
    ("a.gltf", GLTF % (b"none.bin", 10**10), "has 10000000000 entries"),
    ("a.off", b"OFF\n3 1 0\n0 0 0\n1 0 0\n0 1 0\n3 0 1 5\n", "damaged"),
    ("a.jpg", b"", "no kind of mesh"),
]


def test_bad_meshes_are_refused_in_one_sentence_of_ours(tmp_path: Path) -> None:
    for name, content, words in BAD:
        path = tmp_path / name
        path.write_bytes(content)
        with pytest.raises(DataError, match=words) as caught:
            read_mesh(path)
        said = str(caught.value)
        assert "\n" not in said
        assert not [w for w in ("trimesh", "numpy", "array", "codec", "Error", "charset") if w in said], said


def test_places_that_are_no_files_are_refused_and_nothing_hangs(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.obj")
    for path, words in (
        (tmp_path / "pipe.obj", "is a pipe"), (Path("/dev/zero"), "is a device"), (tmp_path, "is a folder"),
        (tmp_path / ("x" * 5000 + ".obj"), "cannot be read"), (tmp_path / "none.obj", "does not exist"),
    ):  # fmt: skip
        with pytest.raises(DataError, match=words):
            read_mesh(path)


def test_every_encoding_of_a_remark_is_read_and_materials_are_noted(tmp_path: Path) -> None:
    stl = b"solid caf\xe9\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nvertex 0 1 0\nendloop\nendfacet\nendsolid\n"
    for name, content, materials in (
        ("latin.obj", b"# caf\xe9\r\n" + POINTS + b"f 1 2 3\r\n", False),
        ("wide.obj", ("# café\n" + POINTS.decode() + "f 1 2 3\n").encode("utf-16"), False),
        ("latin.stl", stl, False), ("latin.ply", PLY % 2, False),
        ("painted.obj", b"mtllib /dev/zero\nusemtl a\n" + POINTS + b"f 1 2 3\n", True),
        ("tinted.obj", b"v 0 0 0 1 0 0\nv 1 0 0 1 0 0\nv 0 1 0 1 0 0\nf 1 2 3\n", True),
    ):  # fmt: skip
        (tmp_path / name).write_bytes(content)
        mesh = read_mesh(tmp_path / name)
        assert mesh.faces.tolist() == [[0, 1, 2]], name
        assert mesh.materials == materials, name


def test_faces_may_count_back_from_the_vertices_before_them(tmp_path: Path) -> None:
    path = tmp_path / "back.obj"
    path.write_bytes(POINTS + b"f -3 -2 -1\nv 5 5 5\nv 6 6 5\nv 5 6 6\nf -3 -2 -1\n")
    assert sorted(read_mesh(path).faces.tolist()) == [[0, 1, 2], [3, 4, 5]]


def test_a_scene_says_that_materials_are_not_read(tmp_path: Path) -> None:
    (tmp_path / "bust.obj").write_bytes(b"mtllib a.mtl\n" + POINTS + b"f 1 2 3\n")
    assert place_sitter(Sitter(mesh="bust.obj"), tmp_path).materials
    _, found = check_data({**PLAIN, "sitter": {"mesh": "bust.obj"}}, tmp_path)
    assert any(p.severity == "warning" and "not read: all of it is plaster" in p.message for p in found)


def test_a_mesh_stands_on_the_floor_in_the_middle_of_its_box_and_can_be_raised() -> None:
    sitter = Sitter(mesh=BOX.name, scale=0.001, raise_m=0.2, at_m=[0.5, -0.25], turn_deg=90)
    placed = place_sitter(sitter, BOX.parent)
    np.testing.assert_allclose(placed.low, [0.35, 0.2, -0.5], atol=1e-6)
    np.testing.assert_allclose(placed.high, [0.65, 1.912, 0.0], atol=1e-6)
    assert placed.height_m == pytest.approx(1.712)
    face = placed.landmarks["face"]
    np.testing.assert_allclose(face.position_m, [0.65, 0.2 + 1.712 - 0.55 * 0.23, -0.25], atol=1e-6)
    np.testing.assert_allclose(face.normal, [1, 0, 0], atol=1e-9)


def test_the_face_height_can_be_given() -> None:
    placed = place_sitter(Sitter(mesh=BOX.name, scale=0.001, face_height_m=0.9), BOX.parent)
    assert placed.landmarks["face"].position_m[1] == pytest.approx(0.9)


def test_normals_are_smooth_across_a_seam() -> None:
    vertices = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 0], [0, 1, 0], [0, 0, 1]], float)
    normals = smooth_normals(vertices, np.array([[0, 1, 2], [3, 4, 5]]))
    np.testing.assert_allclose(normals[0], normals[3])
    np.testing.assert_allclose(normals[1], [0, 0, 1])


def test_vertices_with_more_numbers_than_others_keep_their_places(tmp_path):
    """A reader that takes all numbers of the file as one list would take the weight of one for a place of the next."""
    plain, weighted = tmp_path / "plain.obj", tmp_path / "weighted.obj"
    plain.write_text("v 0 0 0\nv 1 0 0\nv 0 2 0\nv 0 2 3\nf 1 2 3\nf 1 3 4\n")
    for second in ("1 0 0", "1 0 0 # here", "1 0 0 1"):
        weighted.write_text(f"v 0 0 0 1\nv {second}\nv 0 2 0 1 1\nv 0 2 3 1\nf 1 2 3\nf 1 3 4\n")
        np.testing.assert_array_equal(read_mesh(weighted).vertices, read_mesh(plain).vertices)
