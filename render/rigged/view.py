"""The set seen from above and to the side of the camera, drawn off screen."""

from __future__ import annotations

import json
import math
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from materials import KeyfallError
from scenes.aiming import direction, look_frame
from scenes.stage import Stage

from ..interrupts import at_exit
from ..platforms import drawing_settings, how_to_get_gl
from .framing import Eye, blockers, chosen, label_places
from .model import beam_parts, set_parts, sun_parts
from .parts import SetPart
from .scenery import PAPER_RGB, STANDING, cut_out, cut_wall, field_part, is_wall, shown_parts

VIEWS = ("three-quarter",)
TIME_LIMIT_S = 120.0
SMALLEST_PX, LARGEST_PX = 64, 4000
PASSES = 10
"""Pictures that are averaged, each with the key light and the pixels elsewhere: soft shadows and smooth edges."""

COARSENESS = 2.5
LABEL_ROOM_M = 0.25


class SetViewError(KeyfallError):
    """The set view cannot be drawn here."""


@dataclass(frozen=True, slots=True, eq=False)
class SetView:
    """A drawn set.

    Attributes
    ----------
    picture : (h, w, 3) uint8, sRGB.
    labels : for "camera" and every light that is drawn, where its label goes: (x, y) in pixels from the upper left.
    """

    picture: np.ndarray
    labels: dict[str, tuple[float, float]]


def draw_set_view(
    stage: Stage,
    size_px: tuple[int, int] = (1200, 800),
    *,
    view: str = "three-quarter",
    time_limit_s: float = TIME_LIMIT_S,
    environment: dict[str, str] | None = None,
) -> SetView:
    """Draw the set: sitter, surfaces, lights on their stands with their beams, the camera and its field.

    Stands and booms are Keyfall's own guess at what holds each light. OpenGL runs in a process of its own, so that a
    driver that fails takes nothing with it.

    Parameters
    ----------
    size_px : width and height, 64 to 4000 each.
    view : one of `VIEWS`.
    time_limit_s : how long drawing may take.
    environment : variables added for the drawing process alone.

    Raises
    ------
    SetViewError
        When there is no OpenGL here, or drawing fails or takes too long.
    KeyfallError
        For a size or view that is not allowed.
    """
    _check(size_px, view)
    parts = set_parts(stage, coarseness=COARSENESS) + sun_parts(stage)
    low, high = cut_out(parts)
    eye, bearing_deg = chosen(_outermost(parts, low, high), parts, size_px[0] / size_px[1])
    thin = blockers(eye, parts)
    shown = [_veiled(part) if part.owner in thin else part for part in shown_parts(parts, bearing_deg > 0)]
    pixel_m = 2 * eye.tan_y * float(np.linalg.norm(eye.origin_m - (low + high) / 2)) / size_px[1]
    drawn = [*shown, field_part(stage, 1.3 * pixel_m), *beam_parts(stage)]
    picture = _drawn(drawn, eye, bearing_deg, size_px, time_limit_s, environment or {})
    return SetView(picture, label_places(eye, parts, size_px))


def _outermost(parts: Sequence[SetPart], low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Points (n, 3) that must be in the view: all that stands, the floor's corners, walls, and room for labels."""
    floor = [[x, 0.0, z] for x in (low[0], high[0]) for z in (low[2], high[2])]
    standing = [p.mesh.vertices for p in parts if p.kind in STANDING and not is_wall(p)]
    room = np.array([0.0, LABEL_ROOM_M, 0.0])
    labelled = [p.mesh.vertices + room for p in parts if p.kind in ("housing", "front")]
    walls = [v for p in parts if is_wall(p) for piece in cut_wall(p, low, high) for v in [piece.mesh.vertices]]
    return np.concatenate([np.array(floor), *standing, *labelled, *walls])


def _check(size_px: tuple[int, int], view: str) -> None:
    if view not in VIEWS:
        raise KeyfallError(f"There is no set view '{view}'. Allowed: {', '.join(VIEWS)}.")
    if not all(isinstance(s, int) and SMALLEST_PX <= s <= LARGEST_PX for s in size_px):
        raise KeyfallError(
            f"A set view of {size_px[0]} x {size_px[1]} pixels cannot be drawn. "
            f"Allowed: whole numbers from {SMALLEST_PX} to {LARGEST_PX} each. Change the size."
        )


def _veiled(part: SetPart) -> SetPart:
    """What would hide the sitter, made to see through."""
    return replace(part, alpha=0.3) if part.kind in ("housing", "front", "piece", "camera") else part


def _drawn(
    parts: Sequence[SetPart], eye: Eye, bearing_deg: float, size_px: tuple[int, int], limit_s: float,
    environment: dict[str, str],
) -> np.ndarray:  # fmt: skip
    with (
        tempfile.TemporaryDirectory(prefix="keyfall-set-") as name,
        at_exit(lambda: shutil.rmtree(name, ignore_errors=True)),
    ):
        folder = Path(name)
        _write_order(folder, parts, eye, bearing_deg, size_px)
        _run(folder, limit_s, environment)
        return np.load(folder / "picture.npy", allow_pickle=False)


def _write_order(
    folder: Path, parts: Sequence[SetPart], eye: Eye, bearing_deg: float, size_px: tuple[int, int]
) -> None:
    arrays: dict[str, np.ndarray] = {}
    listed = []
    for index, part in enumerate(parts):
        arrays[f"v{index}"] = part.mesh.vertices.astype(np.float32)
        arrays[f"n{index}"] = part.mesh.vertex_normals.astype(np.float32)
        arrays[f"f{index}"] = part.mesh.faces.astype(np.uint32)
        arrays[f"c{index}"] = _vertex_colours(part)
        veil = part.alpha < 1 or part.fade is not None
        listed.append(
            {"name": part.name, "colour": part.colour, "glows": part.glows, "two_sided": part.two_sided, "veil": veil}
        )
    points = np.concatenate([part.mesh.vertices for part in parts])
    depth = (points - eye.origin_m) @ eye.forward
    order = {
        "size_px": size_px, "parts": listed, "paper": _encoded(PAPER_RGB), "ambient": [0.50, 0.505, 0.52],
        "focal_px": size_px[1] / 2 / eye.tan_y, "shifts": _shifts().tolist(),
        "near_m": max(float(depth.min()) - 0.2, 0.05), "far_m": float(depth.max()) + 0.5,
        "eye": _pose(eye.right, eye.up, eye.forward, eye.origin_m).tolist(),
        "key": 1.9, "key_rgb": [1.0, 0.985, 0.955], "keys": [p.tolist() for p in _key_poses(bearing_deg)],
    }  # fmt: skip
    (folder / "set.json").write_text(json.dumps(order, allow_nan=False), encoding="utf-8")
    np.savez(folder / "set.npz", **arrays)  # type: ignore[arg-type]


def _vertex_colours(part: SetPart) -> np.ndarray:
    count = len(part.mesh.vertices)
    colours = np.ones((count, 4), np.float32)
    if not part.glows:
        colours[:, :3] = part.colour
        if part.shades is not None:
            colours[:, :3] *= part.shades
    colours[:, 3] = part.alpha
    if part.fade is not None:
        colours[:, 3] *= part.fade
    return colours


def _encoded(linear: tuple[float, float, float]) -> list[float]:
    """As the renderer encodes what it draws: a plain power of 1 / 2.2."""
    return [float(v) ** (1 / 2.2) for v in linear]


def _shifts() -> np.ndarray:
    """Places within a pixel (n, 2) for the passes, evenly spread (Roberts 2018, the R2 sequence)."""
    steps = np.arange(PASSES)[:, None] * np.array([0.7548776662466927, 0.5698402909980532])
    return steps % 1 - 0.5


def _key_poses(bearing_deg: float) -> list[np.ndarray]:
    """The drawing's own key light from several directions near each other, whose mean is a soft shadow."""
    side = math.copysign(1.0, bearing_deg)
    poses = []
    for k in range(PASSES):
        turn, wide = math.pi * (3 - math.sqrt(5)) * k, math.sqrt((k + 0.5) / PASSES)
        toward = direction(bearing_deg - 62 * side + 9 * wide * math.cos(turn), 54 + 7 * wide * math.sin(turn))
        poses.append(_pose(*look_frame(toward, np.zeros(3)), np.zeros(3)))
    return poses


def _pose(right: np.ndarray, up: np.ndarray, forward: np.ndarray, at: np.ndarray) -> np.ndarray:
    pose = np.eye(4)
    pose[:3, 0], pose[:3, 1], pose[:3, 2], pose[:3, 3] = right, up, -forward, at
    return pose


def _run(folder: Path, limit_s: float, environment: dict[str, str]) -> None:
    """Draw what the folder describes in another process."""
    root = str(Path(__file__).resolve().parent.parent)
    path = os.pathsep.join(p for p in (root, os.environ.get("PYTHONPATH", "")) if p)
    settings = {**os.environ, "PYTHONPATH": path, **drawing_settings(), **environment}
    words = [sys.executable, "-m", "render.rigged.view_child", str(folder)]
    try:
        done = _child(words, settings, limit_s)
    except subprocess.TimeoutExpired:
        raise SetViewError(
            f"Drawing it took longer than {limit_s:g} s. Make the plan again when the machine is less busy, or leave "
            "the view out with --no-view."
        ) from None
    if done.returncode != 0 or not (folder / "picture.npy").exists():
        raise SetViewError(_why(done))


def _child(words: list[str], settings: dict[str, str], limit_s: float) -> subprocess.CompletedProcess[str]:
    """Run a process to its end; it ends with this one when a signal stops that."""
    with subprocess.Popen(
        words, env=settings, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True
    ) as process, at_exit(process.kill):  # fmt: skip
        try:
            _, said = process.communicate(timeout=limit_s)
        except BaseException:
            process.kill()
            raise
    return subprocess.CompletedProcess(words, process.returncode, "", said)


def _why(done: subprocess.CompletedProcess[str]) -> str:
    from .view_child import NO_GL

    if done.returncode == NO_GL:
        return f"The set view cannot be drawn: there is no off-screen OpenGL on this machine. {how_to_get_gl()}"
    last = (done.stderr or "").strip().splitlines()
    reason = last[-1] if last else f"the drawing process ended with status {done.returncode}"
    return f"The set view cannot be drawn: {reason}. The graphics driver may be at fault. {how_to_get_gl()}"
