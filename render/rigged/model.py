"""The set as named meshes for drawing and for handing on: figure, surfaces, pieces, lights on their stands, camera."""

from __future__ import annotations

import numpy as np

from scenes.stage import Light, Net, Shape, Stage

from .beams import beam_part
from .colours import light_rgb
from .figure import shape_mesh
from .housing import housing_parts
from .parts import COOL_WHITE, STEEL, WARM_WHITE, PartKind, SetPart, rgb
from .shapes import axes_along, joined, lathe, lifted, placed, plate, rectangle, regular, rod
from .stands import camera_parts, stand_parts

__all__ = ["SetPart", "beam_parts", "set_parts", "sun_parts", "tint_of"]

NEARLY_WHITE = 0.65
_KINDS: dict[str, PartKind] = {"background": "background", "floor": "floor", "wall": "wall", "prop": "piece"}
_FOOT_M = 0.012


def set_parts(stage: Stage, *, coarseness: float = 1.0) -> list[SetPart]:
    """Everything that stands on the set, beams aside, in one list; names are unique.

    Figure, floor, background and walls come from the stage's own meshes with the colours of their finishes; lights are
    drawn by shape, size and modifiers, and stand on stands of our own that the scene does not describe. Fine
    meshes are simplified to cells of 1 to 5 mm, times `coarseness`.
    """
    parts = [_shape_part(shape, coarseness) for shape in stage.shapes]
    parts += [part for net in stage.nets for part in _net_parts(net)]
    parts += [part for name, corners in _sheets(stage) for part in _piece_stand(name, corners)]
    for light in stage.lights:
        if light.fixture is not None:
            parts += housing_parts(light, rgb(_front(light, stage)))
            parts += stand_parts(light, stage)
    return parts + camera_parts(stage)


def beam_parts(stage: Stage) -> list[SetPart]:
    """The beams of all lights that are on and have a direction, translucent, in the colour of their light."""
    parts = [beam_part(light, stage, tint_of(light, stage)) for light in stage.lights]
    return [part for part in parts if part is not None]


def tint_of(light: Light, stage: Stage) -> tuple[float, float, float]:
    """Linear sRGB in which a light is drawn: that of the light, or warm or cool white for one near to neutral."""
    colour = light_rgb(light, stage.exposure)
    if light.gel is not None or colour.min() < NEARLY_WHITE:
        return rgb(colour)
    return WARM_WHITE if colour[0] >= colour[2] - 0.05 else COOL_WHITE


def _front(light: Light, stage: Stage) -> np.ndarray:
    return np.minimum(0.35 + 0.65 * light_rgb(light, stage.exposure), 1.0)


def _shape_part(shape: Shape, coarseness: float) -> SetPart:
    mesh, colours = shape_mesh(shape, coarseness)
    brightest = np.maximum(colours.max(axis=0), 1e-4)
    shades = None if np.ptp(colours, axis=0).max() < 1e-6 else colours / brightest
    own = shape.name.startswith("sitter.")
    kind: PartKind = "figure" if own else _KINDS.get(shape.region, "wall")
    if shape.name == "set.ceiling":
        kind = "ceiling"
    owner = shape.name.split(".")[1] if shape.name.startswith("piece.") else ""
    return SetPart(
        shape.name, kind, owner, mesh, rgb(brightest), shades,
        two_sided=kind in ("piece", "background") or shape.region in ("hair", "cloth"),
    )  # fmt: skip


def _net_parts(net: Net) -> list[SetPart]:
    axes = np.stack([net.right, net.up, -net.forward], axis=1)
    width, height = (float(s) for s in net.size_m)
    outline = regular(width, 48) if net.round else rectangle(width, height)
    sheet = placed(plate(outline, 0.0, front=True), net.centre_m, axes)
    rim = np.column_stack([outline, np.zeros(len(outline))]) @ axes.T + net.centre_m
    edges = [rod(a, b, 0.005, 8) for a, b in zip(rim, np.roll(rim, -1, axis=0), strict=True)]
    cover = 0.25 + 0.6 * (1 - net.transmittance)
    return [
        SetPart(
            f"piece.{net.name}", "piece", net.name, sheet, (0.02, 0.02, 0.022), alpha=cover, two_sided=True
        ),
        SetPart(f"piece.{net.name}.frame", "piece", net.name, joined(edges), STEEL),
    ]  # fmt: skip


def _sheets(stage: Stage) -> list[tuple[str, np.ndarray]]:
    """Names and corners of all set pieces, one a piece."""
    found = {}
    for piece in stage.pieces:
        x, y = piece.size_m[0] / 2 * piece.right, piece.size_m[1] / 2 * piece.up
        found[piece.name] = np.array([piece.centre_m + i * x + j * y for i in (-1, 1) for j in (-1, 1)])
    return sorted(found.items())


def _piece_stand(name: str, corners: np.ndarray) -> list[SetPart]:
    """A thin upright with a flat foot behind a piece, up to its middle."""
    low, middle = corners.min(axis=0), corners.mean(axis=0)
    if low[1] < 0.02:
        return []
    foot = middle * [1, 0, 1]
    column = rod(lifted(foot, _FOOT_M), middle, 0.009)
    base = placed(
        lathe([(0, 0), (0, 0.13), (_FOOT_M, 0.13), (_FOOT_M, 0)]), foot, axes_along(np.array([0.0, 1.0, 0.0]))
    )
    return [SetPart(f"piece.{name}.stand", "stand", name, joined([column, base]), STEEL)]


def sun_parts(stage: Stage, length_m: float = 0.9) -> list[SetPart]:
    """An arrow for every sun that is on, pointing at the face along its rays."""
    parts = []
    for light in stage.lights:
        if light.distant is None or light.distant.kind != "sun" or not light.on:
            continue
        tip = stage.landmarks["face"] + 0.4 * light.distant.toward
        neck, tail = tip + 0.16 * light.distant.toward, tip + length_m * light.distant.toward
        head = placed(lathe([(0, 0), (0.16, 0.055), (0.16, 0)]), tip, axes_along(neck - tip))
        arrow = joined([head, rod(neck, tail, 0.014)])
        parts.append(SetPart(f"light.{light.name}.arrow", "front", light.name, arrow, WARM_WHITE, glows=True))
    return parts
