"""Load a figure: NumPy only, a few tenths of a second."""

from __future__ import annotations

import json
from functools import lru_cache
from typing import Any

import numpy as np

from .cloth import finish_garment
from .eye import eye_mesh
from .figure import Sitter, SitterPart
from .hair import brows, head_hair, lashes
from .landmarks import body_landmarks, shifted
from .mesh import compact, triangulate, vertex_normals
from .packing import Archive, read_mesh
from .roster import CHARACTERS, DATA, SITTERS
from .seat import block
from .skin import Skin, build_skin, head_frame, read_teeth

CLOTHES = ("top", "bottom", "jacket", "shirt", "lapel", "shoes")

_PARTED = ("bob", "long")


def load_sitter(name: str) -> Sitter:
    """The figure `name`, one of `SITTERS`, with smooth skin, painted weights and landmarks.

    The same name always gives the same bytes.

    Raises
    ------
    materials.errors.UnknownName
        When there is no such figure.
    """
    if name not in CHARACTERS:
        raise _unknown(name)
    character = CHARACTERS[name]
    archive, topology = _archive(name), _archive("topology")
    meta: dict[str, Any] = json.loads(bytes(archive["meta"]).decode())
    frame = head_frame(meta)
    places = {
        "nose" if key == "nose_tip" else key: frame.inward(np.array(note["position"]))
        for key, note in meta["landmarks"].items()
    }
    eyes = []
    for side, eye in meta["eyes"].items():
        eyes.append((frame.inward(np.array(eye["centre"])), float(eye["radius"])))
        front = np.array(eye["centre"]) + np.array(eye["axes"])[:, 2] * eye["radius"]
        places[f"eye_{side}"] = frame.inward(front)
    look = character.features
    skin = build_skin(archive, topology, frame, places, eyes, look, character.beard, character.age)

    parts = _skin_parts(skin)
    teeth, teeth_quads = read_teeth(archive, topology)
    teeth_faces = triangulate(teeth_quads)
    parts.append(_part("teeth", "teeth", "face", teeth, teeth_faces, vertex_normals(teeth, teeth_faces)))
    for seed, (side, eye) in enumerate(sorted(meta["eyes"].items())):
        ball = eye_mesh(np.array(eye["centre"]), eye["radius"], np.array(eye["axes"]), 100 + seed)
        parts.append(_part(f"eye_{side}", "eye", "eye", ball.vertices, ball.faces, ball.normals, ball.tints))
    for label, slot, fibres in (
        ("hair", "hair", head_hair(archive, meta["hair"] in _PARTED)),
        ("brows", "brow", brows(archive, places, look)),
        ("lashes", "lash", lashes(archive, eyes, places, look)),
    ):
        parts.append(
            _part(
                label,
                slot,
                "hair",
                frame.outward(fibres.vertices),
                fibres.faces,
                frame.turn(fibres.normals),
            )
        )
    cloth = []
    for slot in CLOTHES:
        if f"{slot}.v" in archive:
            vertices, faces = read_mesh(archive, slot)
            if slot == "shoes":
                normals = vertex_normals(vertices, faces)
            else:
                vertices, faces, normals = finish_garment(vertices, faces)
            cloth.append((vertices, normals))
            parts.append(_part(slot, slot, "cloth", vertices, faces, normals))
    if "seat" in meta:
        seat = meta["seat"]
        vertices, faces, normals = block(seat["x"], seat["z"], seat["y"] - meta["sole_y"])
        vertices[:, 1] += meta["sole_y"]
        parts.append(_part("seat", "seat", "prop", vertices, faces, normals))

    landmarks = body_landmarks(meta, skin, cloth)
    ears = (landmarks["ear_L"].position_m + landmarks["ear_R"].position_m) / 2
    offset = -np.array([ears[0], meta["sole_y"], ears[2]])
    return Sitter(
        name=name,
        description=character.description,
        pose="seated" if "seat" in meta else "standing",
        height_m=meta["height_m"],
        skin=character.skin,
        hair=character.hair,
        iris=character.iris,
        clothes=dict(character.clothes),
        parts=tuple(_moved(part, offset) for part in parts),
        landmarks=shifted(landmarks, offset),
    )


@lru_cache(maxsize=4)
def _archive(name: str) -> Archive:
    with np.load(DATA / f"{name}.npz") as stored:
        return {key: stored[key] for key in stored.files}


def _unknown(name: str) -> Exception:
    from materials.errors import unknown_name

    return unknown_name("sitter", name, sorted(SITTERS))


def _weights(values: np.ndarray) -> np.ndarray:
    """Weights in [0, 1] as bytes, rounded down so that a sum of at most 1 stays at most 255."""
    return np.floor(np.clip(values, 0.0, 1.0) * 255.0 + 1e-6).astype(np.uint8)


def _part(
    name: str,
    slot: str,
    region: str,
    vertices: np.ndarray,
    faces: np.ndarray,
    normals: np.ndarray,
    tints: np.ndarray | None = None,
    gloss: np.ndarray | None = None,
) -> SitterPart:
    count = len(vertices)
    return SitterPart(
        name,
        slot,
        region,
        vertices.astype(np.float32),
        faces.astype(np.int32),
        normals.astype(np.float32),
        np.zeros((count, 3), np.uint8) if tints is None else _weights(tints),
        np.zeros(count, np.uint8) if gloss is None else _weights(gloss),
    )


def _skin_parts(skin: Skin) -> list[SitterPart]:
    """Face and body share the vertices of the line between them, normals included."""
    parts = []
    for name, chosen in (("face", skin.on_face), ("skin", ~skin.on_face)):
        used, faces = compact(skin.faces[chosen])
        parts.append(
            _part(
                name,
                "skin",
                name,
                skin.vertices[used],
                faces,
                skin.normals[used],
                skin.tints[used],
                skin.gloss[used],
            )
        )
    return parts


def _moved(part: SitterPart, offset: np.ndarray) -> SitterPart:
    return SitterPart(
        part.name,
        part.slot,
        part.region,
        (part.vertices + offset.astype(np.float32)).astype(np.float32),
        part.faces,
        part.normals,
        part.tints,
        part.gloss,
    )
