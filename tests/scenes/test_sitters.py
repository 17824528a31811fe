"""The stock figures: sound meshes, weights and landmarks, and the pieces they are made with."""

from __future__ import annotations

import time

import numpy as np
import pytest

from materials.errors import UnknownName
from scenes.sitters import SITTERS, SLOTS, Sitter, SitterPart, load_sitter
from scenes.sitters.cloth import border_edges, even_line, finish_garment
from scenes.sitters.eye import CORNEA_RADIUS_M, IRIS_RADIUS_M, eye_mesh, profile
from scenes.sitters.features import Features, open_lids, reshape_face
from scenes.sitters.fibres import ribbons, split
from scenes.sitters.hair import without_strays
from scenes.sitters.mesh import triangulate, vertex_normals
from scenes.sitters.noise import mottle, value_noise
from scenes.sitters.packing import from_box, join_bytes, read_mesh, read_strands, undelta
from scenes.sitters.roster import CHARACTERS
from scenes.sitters.seat import block
from scenes.sitters.subdivision import refine, refine_part

NAMES = sorted(SITTERS)
REGION_OF = {"eye": "eye", "hair": "hair", "brow": "hair", "lash": "hair", "seat": "prop", "teeth": "face"}


@pytest.fixture(scope="module", params=NAMES)
def sitter(request: pytest.FixtureRequest) -> Sitter:
    return load_sitter(request.param)


def part(sitter: Sitter, name: str) -> SitterPart:
    return next(p for p in sitter.parts if p.name == name)


def edge_uses(faces: np.ndarray) -> np.ndarray:
    edges = np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    return np.unique(edges, axis=0, return_counts=True)[1]


def cube() -> tuple[np.ndarray, np.ndarray]:
    points = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)], float)
    quads = np.array([[0, 1, 3, 2], [4, 6, 7, 5], [0, 4, 5, 1], [2, 3, 7, 6], [0, 2, 6, 4], [1, 5, 7, 3]])
    return points, quads


# The figures


@pytest.mark.slow
def test_every_part_is_a_sound_mesh(sitter: Sitter) -> None:
    assert len({p.name for p in sitter.parts}) == len(sitter.parts)
    for p in sitter.parts:
        n = len(p.vertices)
        assert (p.vertices.dtype, p.faces.dtype, p.normals.dtype) == (np.float32, np.int32, np.float32)
        assert (p.tints.dtype, p.gloss.dtype) == (np.uint8, np.uint8)
        assert (p.tints.shape, p.gloss.shape, p.normals.shape) == ((n, 3), (n,), (n, 3))
        assert np.isfinite(p.vertices).all()
        assert 0 <= p.faces.min()
        assert p.faces.max() == n - 1
        np.testing.assert_allclose(np.linalg.norm(p.normals, axis=1), 1.0, atol=1e-5)
        assert p.tints.sum(axis=1, dtype=int).max() <= 255


def test_slots_and_regions_fit_each_other(sitter: Sitter) -> None:
    for p in sitter.parts:
        assert p.slot in SLOTS
        expected = {"face", "skin"} if p.slot == "skin" else {REGION_OF.get(p.slot, "cloth")}
        assert p.region in expected
    worn = {p.slot for p in sitter.parts if p.region in ("cloth", "prop")}
    assert worn == set(sitter.clothes)
    assert (sitter.pose == "seated") == ("seat" in worn)


def test_default_finishes_are_in_stock(sitter: Sitter) -> None:
    from materials.eye import IRIS_COLOURS
    from materials.finishes import FINISHES
    from materials.hair import HAIR_COLOURS
    from materials.skin import SKIN_TONES

    assert sitter.skin in SKIN_TONES
    assert sitter.hair in HAIR_COLOURS
    assert sitter.iris in IRIS_COLOURS
    assert set(sitter.clothes.values()) <= set(FINISHES)


def test_stands_on_the_floor_under_its_head_and_faces_front(sitter: Sitter) -> None:
    lowest = min(float(p.vertices[:, 1].min()) for p in sitter.parts)
    assert lowest == pytest.approx(0.0, abs=1e-5)
    mark = sitter.landmarks
    ears = (mark["ear_L"].position_m + mark["ear_R"].position_m) / 2
    np.testing.assert_allclose(ears[[0, 2]], 0.0, atol=1e-9)
    assert mark["ear_L"].position_m[0] > 0 > mark["ear_R"].position_m[0]
    assert mark["face"].normal[2] > np.cos(np.radians(8.0))
    assert mark["nose"].position_m[2] > mark["cheek_L"].position_m[2] > 0


def test_heights_are_those_of_people(sitter: Sitter) -> None:
    """Crown height and face height; adults stand within 1.45-2.0 m (general knowledge, no source)."""
    crown = float(sitter.landmarks["crown"].position_m[1])
    low, high = (1.45, 2.0) if sitter.pose == "standing" else (1.2, 1.5)
    assert low < sitter.height_m < high
    assert crown == pytest.approx(sitter.height_m, abs=0.015)
    face = crown - float(sitter.landmarks["chin"].position_m[1])
    assert 0.18 < face < 0.27
    assert f"{sitter.height_m:.2f} m" in sitter.description


def test_landmarks_lie_on_what_the_camera_sees(sitter: Sitter) -> None:
    visible = np.concatenate([p.vertices for p in sitter.parts if p.region in ("face", "skin", "eye", "cloth")])
    for name, mark in sitter.landmarks.items():
        assert np.linalg.norm(mark.normal) == pytest.approx(1.0, abs=1e-6), name
        if name in ("hair_top", "ear_L", "ear_R"):
            continue
        gap = np.linalg.norm(visible - mark.position_m, axis=1).min()
        assert gap < 0.025, name
    for name in ("nose", "chin", "forehead", "glabella", "cheek_L", "cheek_R", "upper_lip"):
        gap = np.linalg.norm(part(sitter, "face").vertices - sitter.landmarks[name].position_m, axis=1).min()
        assert gap < 1e-6, name


def test_nothing_of_the_head_hides_the_face_points(sitter: Sitter) -> None:
    skin = part(sitter, "face").vertices
    for name in ("face", "eyes", "nose"):
        mark = sitter.landmarks[name]
        offset = skin - mark.position_m
        out = offset @ mark.normal
        aside = np.linalg.norm(offset - out[:, None] * mark.normal, axis=1)
        assert out[aside < 0.004].max(initial=0.0) < 0.003, name


@pytest.mark.slow
def test_face_and_neck_join_without_a_crack(sitter: Sitter) -> None:
    """Skin edges are used once only along garments, lids and nostrils, never across the neck."""
    face, skin = part(sitter, "face"), part(sitter, "skin")
    vertices = np.concatenate([face.vertices, skin.vertices])
    faces = np.concatenate([face.faces, skin.faces + len(face.vertices)])
    _, index = np.unique(vertices, axis=0, return_inverse=True)
    uses = edge_uses(index.ravel()[faces])
    assert uses.max() == 2
    edges = np.sort(index.ravel()[faces][:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    unique, counts = np.unique(edges, axis=0, return_counts=True)
    rim = np.unique(unique[counts == 1])
    place = np.zeros((index.max() + 1, 3))
    place[index.ravel()] = vertices
    throat, chin = (sitter.landmarks[k].position_m for k in ("throat", "chin"))
    neck = np.linalg.norm(place[rim] - (throat + chin) / 2, axis=1) < 0.04
    assert not neck.any()


@pytest.mark.slow
def test_shared_border_has_shared_normals(sitter: Sitter) -> None:
    face, skin = part(sitter, "face"), part(sitter, "skin")
    at = {tuple(v): n for v, n in zip(face.vertices, face.normals, strict=True)}
    pairs = [(n, at[tuple(v)]) for v, n in zip(skin.vertices, skin.normals, strict=True) if tuple(v) in at]
    assert len(pairs) > 50
    ours, theirs = (np.array(x) for x in zip(*pairs, strict=True))
    np.testing.assert_array_equal(ours, theirs)


def test_skin_is_not_of_one_colour(sitter: Sitter) -> None:
    face = part(sitter, "face")
    near = np.linalg.norm(face.vertices - sitter.landmarks["upper_lip"].position_m, axis=1) < 0.012
    assert face.tints[near, 0].max() > 100
    ruddy = face.tints[:, 1].astype(float)
    cheek = np.linalg.norm(face.vertices - sitter.landmarks["cheek_L"].position_m, axis=1) < 0.015
    brow = np.linalg.norm(face.vertices - sitter.landmarks["forehead"].position_m, axis=1) < 0.015
    assert ruddy[cheek].mean() > ruddy[brow].mean() + 5
    assert ruddy[brow].std() > 3
    assert face.gloss.std() > 8


def test_shaven_men_carry_a_beard_shadow() -> None:
    def jaw_shadow(name: str) -> float:
        figure = load_sitter(name)
        face = part(figure, "face")
        near = np.linalg.norm(face.vertices - figure.landmarks["chin"].position_m, axis=1) < 0.012
        return float(face.tints[near, 2].mean())

    assert jaw_shadow("jonas") > 40
    assert jaw_shadow("marta") < 10


def test_eyes_look_out_between_the_lids(sitter: Sitter) -> None:
    """The lids leave the pupil's middle free, and stay outside of the ball's front."""
    face = part(sitter, "face").vertices
    for side in "LR":
        front = sitter.landmarks[f"eye_{side}"]
        eye = part(sitter, f"eye_{side}")
        pupil = eye.vertices[eye.tints[:, 1] > 250].mean(axis=0)
        offset = face - pupil
        out = offset @ front.normal
        aside = np.linalg.norm(offset - out[:, None] * front.normal, axis=1)
        assert not ((aside < 0.0012) & (out > 0)).any()


def test_loading_is_quick_and_repeats_itself() -> None:
    first = load_sitter("jonas")
    start = time.process_time()
    second = load_sitter("jonas")
    assert time.process_time() - start < 3.0  # about 0.3 s on one 2024 server core; room for a slow machine
    for a, b in zip(first.parts, second.parts, strict=True):
        for field in ("vertices", "faces", "normals", "tints", "gloss"):
            np.testing.assert_array_equal(getattr(a, field), getattr(b, field))


def test_an_unknown_figure_is_named_with_the_nearest() -> None:
    with pytest.raises(UnknownName, match=r"no sitter called 'jonus'.*jonas"):
        load_sitter("jonus")


def test_every_description_is_one_line() -> None:
    assert set(CHARACTERS) == set(SITTERS)
    for text in SITTERS.values():
        assert text
        assert "\n" not in text


# Subdivision


def test_first_step_on_a_cube_follows_the_rules() -> None:
    """Hand calculation from the rules of Catmull and Clark 1978 for the cube of side 2.

    Corner (1,1,1): F = (2/3)(1,1,1)... face points (1,0,0), (0,1,0), (0,0,1) have the mean 1/3; edge middles
    (1,1,0), (1,0,1), (0,1,1) have 2/3; (F + 2R + 0 V) / 3 = (1/3 + 4/3) / 3 = 5/9. Edge (1,1,z): (1,1,0)
    twice, with (1,0,0) and (0,1,0), over 4 = 3/4.
    """
    points, quads = cube()
    level = refine(points, quads)
    assert len(level.points) == 8 + 12 + 6
    np.testing.assert_allclose(np.abs(level.points[:8]), 5 / 9)
    np.testing.assert_allclose(np.sort(np.abs(level.points[8:20]), axis=1), np.tile([0, 0.75, 0.75], (12, 1)))
    np.testing.assert_allclose(np.sort(np.abs(level.points[20:]), axis=1), np.tile([0, 0, 1], (6, 1)), atol=1e-15)


def test_open_border_follows_the_cubic_spline() -> None:
    """A flat sheet's border stays in its plane; a border corner of two edges moves to 3/4, 1/8, 1/8."""
    points = np.array([[0, 0, 0], [1, 0, 0], [2, 0, 0], [0, 1, 0], [1, 1, 0], [2, 1, 0]], float)
    level = refine(points, np.array([[0, 1, 4, 3], [1, 2, 5, 4]]))
    np.testing.assert_allclose(level.points[1], [1, 0, 0])
    np.testing.assert_allclose(level.points[0], [0.125, 0.125, 0])
    np.testing.assert_allclose(level.points[:, 2], 0)


def test_refining_a_part_leaves_no_hanging_vertices() -> None:
    points, quads = cube()
    for _ in range(2):
        level = refine(points, quads)
        points, quads = level.points, level.quads
    fine = points[quads].mean(axis=1)[:, 1] > 0.2
    out, faces = refine_part(points, quads, fine)
    assert (edge_uses(faces) == 2).all()
    full = refine(points, quads)
    inner = np.repeat(fine, 4)
    top = full.points[np.unique(full.quads[inner])]
    gaps = np.linalg.norm(out[np.unique(faces)][:, None] - top[None], axis=2).min(axis=0)
    assert gaps.max() < 1e-12


# Eyes, fibres, noise, features, seat, codec


def test_cornea_is_exactly_round_and_the_outline_has_no_crease() -> None:
    outline = profile(0.0163)
    cornea = outline[outline[:, 0] < 0.93 * IRIS_RADIUS_M]
    cornea = cornea[: np.argmax(cornea[:, 0]) + 1]
    centre = cornea[0, 1] - CORNEA_RADIUS_M
    np.testing.assert_allclose(np.hypot(cornea[:, 0], cornea[:, 1] - centre), CORNEA_RADIUS_M, rtol=1e-12)
    np.testing.assert_allclose(CORNEA_RADIUS_M * np.sin(cornea[:, 2]), cornea[:, 0], atol=1e-12)
    assert np.degrees(np.abs(np.diff(outline[:, 2]))).max() < 12.0


def test_eye_normals_are_those_of_its_triangles() -> None:
    eye = eye_mesh(np.zeros(3), 0.0163, np.eye(3), seed=1)
    counted = vertex_normals(eye.vertices, eye.faces)
    agree = (counted * eye.normals).sum(axis=1)
    inner = np.zeros(len(agree), bool)
    inner[128:-128] = True
    assert np.degrees(np.arccos(np.clip(agree[inner], -1, 1))).max() < 5.0
    assert eye.tints.min() >= 0
    assert eye.tints.sum(axis=1).max() <= 1 + 1e-12


def test_ribbons_face_outward_and_lean_apart() -> None:
    strand = np.array([[[0, 1 - t, 0.1] for t in np.linspace(0, 1, 5)]])
    made = ribbons(strand, np.full((1, 5), 0.002), np.broadcast_to([0.0, 0, 1], strand.shape), np.zeros(1), 40.0)
    a, b, c = (made.vertices[made.faces[:, k]] for k in range(3))
    assert (np.cross(b - a, c - a)[:, 2] > 0).all()
    edges = made.normals.reshape(5, 2, 3)
    np.testing.assert_allclose((edges[:, 0] * edges[:, 1]).sum(axis=1), np.cos(np.radians(80)), atol=1e-12)
    outward = (made.vertices.reshape(5, 2, 3) - strand[0][:, None]) * edges
    assert (outward.sum(axis=-1) > 0).all()


def test_split_strands_stay_beside_their_strand() -> None:
    strand = np.array([[[0, 1 - t, 0] for t in np.linspace(0, 1, 6)]])
    fine = split(strand, 50, 0.0004, 1.0, np.random.default_rng(0))
    offset = fine - strand
    np.testing.assert_allclose(offset[..., 1], 0, atol=1e-12)
    assert 0.0002 < np.linalg.norm(offset[:, 0], axis=-1).mean() < 0.0008


def test_strays_are_laid_down() -> None:
    falls = [[0.02, 0.14, 0.05], [0.06, 0.13, 0.02], [0.09, 0.0, 0.0]]
    stands = [[0.02, 0.14, 0.05], [0.03, 0.17, 0.05], [0.04, 0.165, 0.05]]
    hangs = [[0.06, 0.05, 0.05], [0.05, 0.0, 0.05], [0.03, -0.1, 0.05]]
    strands = np.array([falls, stands, hangs])
    np.testing.assert_array_equal(without_strays(strands, parted=True), [falls])
    np.testing.assert_array_equal(without_strays(strands, parted=False), [falls, stands])


def test_noise_is_smooth_and_of_unit_strength() -> None:
    points = np.random.default_rng(2).uniform(-1, 1, (20000, 3))
    noise = value_noise(points, 0.02, 3)
    assert abs(noise.mean()) < 0.05
    assert 0.8 < noise.std() < 1.2
    near = value_noise(points + 1e-5, 0.02, 3)
    assert np.abs(near - noise).max() < 0.02
    assert 0.8 < mottle(points, (0.05, 0.02, 0.01), 3).std() < 1.2


def test_a_rippled_line_is_evened_out_and_not_shortened() -> None:
    t = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    ring = np.column_stack([np.cos(t), np.sin(t), np.zeros(60)]) * 0.2
    rippled = ring * (1 + 0.02 * (-1.0) ** np.arange(60))[:, None]
    edges = np.column_stack([np.arange(60), (np.arange(60) + 1) % 60])
    radius = np.linalg.norm(even_line(rippled, edges), axis=1)
    assert radius.std() < 0.05 * np.linalg.norm(rippled, axis=1).std()
    assert radius.mean() == pytest.approx(0.2, rel=0.02)


def test_garment_edges_are_crisp_and_its_sheet_stays() -> None:
    """A flat square with a rim folded 5 mm down: the sheet keeps its normals up to the edge."""
    n = 6
    x, z = np.meshgrid(np.linspace(0, 0.1, n), np.linspace(0, 0.1, n), indexing="ij")
    sheet = np.column_stack([x.ravel(), np.zeros(n * n), z.ravel()])
    cell = (np.arange(n - 1)[:, None] * n + np.arange(n - 1)).ravel()
    quads = np.stack([cell, cell + 1, cell + n + 1, cell + n], axis=1)
    faces = triangulate(quads)
    loop = border_edges(faces, n * n)
    assert len(loop) == 4 * (n - 1)
    rim = np.unique(loop)
    below = np.full(n * n, -1)
    below[rim] = n * n + np.arange(len(rim))
    a, b = loop.T
    fold = np.concatenate([np.stack([a, b, below[b]], axis=1), np.stack([a, below[b], below[a]], axis=1)])
    points = np.concatenate([sheet, sheet[rim] - [0, 0.005, 0]])
    vertices, triangles, normals = finish_garment(points, np.concatenate([faces, fold]))
    assert len(triangles) == len(faces) + len(fold)
    np.testing.assert_allclose(normals[: n * n], np.tile([0.0, 1.0, 0.0], (n * n, 1)), atol=1e-12)
    inner = (sheet[:, [0, 2]] > 0.01).all(axis=1) & (sheet[:, [0, 2]] < 0.09).all(axis=1)
    np.testing.assert_array_equal(vertices[: n * n][inner], sheet[inner])


def test_default_features_change_nothing() -> None:
    points = np.random.default_rng(4).normal(0, 0.1, (50, 3))
    names = ("upper_lip", "chin", "nose", "ear_L", "cheek_L", "cheek_R", "eye_L", "eye_R")
    places = {name: np.array([0.0, 0.01 * k, 0.1]) for k, name in enumerate(names)}
    np.testing.assert_array_equal(reshape_face(points, places, Features()), points)


def test_lids_keep_their_distance_from_the_ball() -> None:
    rng = np.random.default_rng(5)
    direction = rng.normal(size=(500, 3))
    lids = 0.0175 * direction / np.linalg.norm(direction, axis=1, keepdims=True)
    opened = open_lids(lids, lids, [(np.zeros(3), 0.0163)], 6.0)
    np.testing.assert_allclose(np.linalg.norm(opened, axis=1), 0.0175, rtol=1e-12)
    turned = np.linalg.norm(opened - lids, axis=1)
    assert turned.max() == pytest.approx(2 * 0.0175 * np.sin(np.radians(3.0)), rel=0.02)
    below = (lids[:, 1] < -0.006) & (lids[:, 2] > 0)
    assert turned[below].max() == 0.0


def test_seat_is_closed_and_faces_out() -> None:
    points, faces, normals = block(0.1, 0.05, 0.45)
    assert (edge_uses(faces) == 2).all()
    assert points[:, 1].min() == 0.0
    assert points[:, 1].max() == 0.45
    a, b, c = (points[faces[:, k]] for k in range(3))
    volume = (a * np.cross(b, c)).sum() / 6
    assert volume == pytest.approx(0.42 * 0.40 * 0.45, rel=0.01)
    np.testing.assert_allclose(np.linalg.norm(normals, axis=1), 1.0)


def test_codec_undoes_planes_steps_and_differences() -> None:
    values = np.array([[5, 40000, 7], [65535, 2, 9], [3, 3, 300], [0, 1, 2]], np.uint16)
    steps = np.diff(values, axis=0, prepend=np.zeros((1, 3), np.uint16)).astype(np.uint16)
    planes = np.ascontiguousarray(steps).view(np.uint8).reshape(-1, 2).T
    read = undelta(join_bytes(planes, np.uint16).reshape(-1, 3))
    np.testing.assert_array_equal(read, values)
    box = np.array([[1.0, 2.0, 3.0], [0.5, 0.25, 0.125]], np.float32)
    np.testing.assert_allclose(from_box(values, box)[0], [3.5, 10002.0, 3.875])

    corners = np.array([0, 1, 2, 2, 1, 3], np.uint16)
    corner_steps = np.diff(corners, prepend=np.uint16(0)).astype(np.uint16)
    archive = {
        "m.v": planes,
        "m.b": box,
        "m.f": corner_steps.view(np.uint8).reshape(-1, 2).T,
        "h.s": np.array([[1, 2, 3, 1, 1, 1]], np.uint16).reshape(-1, 1).view(np.uint8).T,
        "h.n": np.array([1, 2, 3]),
        "h.b": np.array([[0, 0, 0], [1, 1, 1]], np.float32),
    }
    points, faces = read_mesh(archive, "m")
    np.testing.assert_allclose(points, from_box(values, box))
    np.testing.assert_array_equal(faces, [[0, 1, 2], [2, 1, 3]])
    np.testing.assert_array_equal(read_strands(archive, "h"), [[[1, 2, 3], [2, 3, 4]]])


def test_triangles_of_quads_leave_out_folded_halves() -> None:
    np.testing.assert_array_equal(triangulate(np.array([[0, 1, 2, 2]])), [[0, 1, 2]])
    assert len(triangulate(np.array([[0, 1, 2, 3]]))) == 2
