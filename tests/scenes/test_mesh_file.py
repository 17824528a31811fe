"""Meshes of the user's own."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from materials.errors import DataError
from scenes.mesh_file import read_mesh, smooth_normals
from scenes.model import Sitter
from scenes.placing import place_sitter

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


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("a.obj", b"v 0 0 0\n", "no faces"),
        ("a.stl", b"solid nothing\nendsolid nothing\n", "broken|no faces"),
        ("a.glb", b"glTF but not really", "broken"),
        ("a.ply", b"\0\1\2", "broken"),
        ("a.jpg", b"", "no kind of mesh"),
        ("a.obj", b"v nan 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n", "not finite|broken"),
        ("a.obj", b"", "broken|no faces"),
        ("a.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 9\n", "broken|no faces"),
    ],
)
def test_bad_meshes_are_refused_in_one_sentence(tmp_path: Path, name: str, content: bytes, words: str) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(DataError, match=words):
        read_mesh(path)


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
