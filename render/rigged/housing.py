"""What a light looks like from outside: its housing by the shape, size and modifiers it has."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from scenes import rigging
from scenes.rigging import HEAD_LENGTH_M, HEAD_RADIUS_M, Look
from scenes.stage import Fixture, Light

from .parts import CHARCOAL, CLOTH_WHITE, SILVER, STEEL, UNLIT, PartKind, SetPart
from .shapes import (
    axes_along,
    ball,
    box,
    flipped,
    joined,
    lathe,
    loft,
    placed,
    plate,
    quads,
    rectangle,
    regular,
    rod,
)

if TYPE_CHECKING:
    import trimesh

Parts = list[tuple[PartKind, "trimesh.Trimesh", tuple[float, float, float], bool, bool]]



def look_of(light: Light) -> Look:
    """What a light's housing looks like; see `scenes.rigging.look_of`."""
    assert light.fixture is not None
    return rigging.look_of(light.fixture, light.appearance)


def rear_m(light: Light) -> float:
    """How far behind the front a stand holds the light, metres along its axis."""
    assert light.fixture is not None
    return rigging.rear_m(light.fixture, look_of(light))


def housing_parts(light: Light, front_rgb: tuple[float, float, float]) -> list[SetPart]:
    """The housing of a light in the world, its luminous front in the given linear sRGB, grey when it is off."""
    fixture = light.fixture
    assert fixture is not None
    axes = np.stack([fixture.right, fixture.up, -fixture.forward], axis=1)
    glow = front_rgb if light.on else UNLIT
    drawn = _DRAW[look_of(light)](fixture, glow)
    if fixture.optics.edges is not None:
        drawn.append(("housing", _doors(fixture), CHARCOAL, False, True))
    if fixture.optics.cells is not None:
        drawn.append(("housing", _grid(fixture), CHARCOAL, False, False))
    parts = []
    for index, (kind, mesh, colour, glows, two_sided) in enumerate(drawn):
        part = "front" if kind == "front" else f"housing-{index + 1}"
        glowing = glows and light.on
        mesh = placed(mesh, fixture.centre_m, axes)
        name = f"light.{light.name}.{part}"
        parts.append(SetPart(name, kind, light.name, mesh, colour, glows=glowing, two_sided=two_sided))
    return parts


def _outline(fixture: Fixture) -> np.ndarray:
    width, height = (float(s) for s in fixture.size_m)
    if fixture.shape == "rectangle":
        return rectangle(width, height)
    return regular(width, 8 if fixture.shape == "octagon" else 48)


def _head(z: float) -> trimesh.Trimesh:
    r = HEAD_RADIUS_M
    return lathe([(z, 0), (z, r), (z + HEAD_LENGTH_M - 0.02, r), (z + HEAD_LENGTH_M, 0.8 * r), (z + HEAD_LENGTH_M, 0)])


def _front(fixture: Fixture, z: float, share: float = 0.985) -> trimesh.Trimesh:
    return plate(_outline(fixture) * share, z, front=True)


def _box(fixture: Fixture, glow: tuple[float, float, float]) -> Parts:
    front, depth = _outline(fixture), max(fixture.body_depth_m, 0.1)
    lip = min(0.04, depth / 4)
    narrow = min(0.16 / float(fixture.size_m.min()), 0.8)
    sleeve = loft(front, 0.0, front, lip, caps=False)
    taper = loft(front, lip, front * narrow, depth, caps=False)
    inner = flipped(loft(front * 0.99, 0.0, front * 0.99, lip / 2, caps=False))
    shell = joined([sleeve, taper, inner, plate(front * narrow, depth, front=False)])
    return [
        ("housing", shell, CHARCOAL, False, True),
        ("housing", _head(depth), STEEL, False, False),
        ("front", _front(fixture, lip / 2), glow, True, False),
    ]


def _bowl_line(radius: float, depth: float, rear: float, bend: float) -> list[tuple[float, float]]:
    share = np.linspace(0, 1, 9)
    return [(float(depth * s), float(rear + (radius - rear) * (1 - s**bend))) for s in share]


def _bowl(fixture: Fixture, glow: tuple[float, float, float]) -> Parts:
    radius, depth = float(fixture.size_m[0]) / 2, max(fixture.body_depth_m, 0.05)
    line = _bowl_line(radius, depth, min(HEAD_RADIUS_M, radius), 2.0)
    return [
        ("housing", lathe(line), SILVER, False, False),
        ("housing", flipped(lathe([(z, 0.97 * r) for z, r in line])), SILVER, False, False),
        ("housing", _head(depth), CHARCOAL, False, False),
        ("front", _front(fixture, min(0.012, depth / 4), 0.95), glow, True, False),
    ]


def _dish(fixture: Fixture, glow: tuple[float, float, float]) -> Parts:
    radius, depth = float(fixture.size_m[0]) / 2, max(fixture.body_depth_m, 0.1)
    line = _bowl_line(radius, depth, HEAD_RADIUS_M, 2.2)
    plate_radius, at = 0.24 * radius, 0.3 * depth
    deflector = lathe([(at, 0), (at, plate_radius), (at + 0.01, plate_radius), (at + 0.01, 0)])
    return [
        ("housing", lathe(line), CLOTH_WHITE, False, False),
        ("front", flipped(lathe([(z, 0.98 * r) for z, r in line])), glow, True, False),
        ("housing", joined([deflector, _head(depth)]), CHARCOAL, False, False),
    ]


def _snoot(fixture: Fixture, glow: tuple[float, float, float]) -> Parts:
    mouth, length = float(fixture.size_m[0]) / 2, max(fixture.body_depth_m, 0.1)
    rear = max(0.065, mouth)
    cone = lathe([(0, 0.85 * mouth), (0, mouth), (0.8 * length, rear), (length, rear), (length, HEAD_RADIUS_M)])
    return [
        ("housing", cone, CHARCOAL, False, False),
        ("housing", _head(length), STEEL, False, False),
        ("front", _front(fixture, 0.004, 0.9), glow, True, False),
    ]


def _reflects(fixture: Fixture) -> bool:
    return not fixture.optics.back_share


def _umbrella(fixture: Fixture, glow: tuple[float, float, float]) -> Parts:
    width = float(fixture.size_m[0])
    radius, depth = width / 2, fixture.body_depth_m or 0.16 * width
    bulge = depth if _reflects(fixture) else -depth
    line = [(float(bulge * (1 - (1 - s) ** 2)), float(radius * (1 - s))) for s in np.linspace(0, 1, 9)]
    shell = lathe(line, 8)
    inner = flipped(lathe([(z - 0.006 * np.sign(bulge), 0.985 * r) for z, r in line], 8))
    if not _reflects(fixture):
        shell, inner = flipped(inner), flipped(shell)
    away = -0.45 * width if _reflects(fixture) else 0.45 * width
    shaft = rod(np.array([0, 0, bulge]), np.array([0, 0, away]), 0.006)
    head = _head(0.4 * width) if not _reflects(fixture) else placed(_head(0), np.array([0, 0, -0.3 * width]), _TURNED)
    outside = CHARCOAL if _reflects(fixture) else glow
    return [
        ("housing", shell, outside, not _reflects(fixture), True),
        ("front", inner, glow, True, True),
        ("housing", joined([shaft, head]), STEEL, False, False),
    ]


_TURNED = np.diag([-1.0, 1.0, -1.0])


def _barrel(fixture: Fixture, glow: tuple[float, float, float]) -> Parts:
    radius, depth = float(fixture.size_m[0]) / 2, max(fixture.body_depth_m, 0.15)
    outer, body = radius + 0.012, max(radius + 0.03, 0.075)
    line = [(0, radius), (0, outer), (0.4 * depth, outer), (0.45 * depth, body), (depth, body), (depth, 0)]
    return [
        ("housing", lathe(line), CHARCOAL, False, False),
        ("front", _front(fixture, 0.006), glow, True, False),
    ]


def _panel(fixture: Fixture, glow: tuple[float, float, float]) -> Parts:
    half, depth = fixture.size_m / 2, max(fixture.body_depth_m, 0.03)
    rim = 0.015
    frame = box([-half[0] - rim, -half[1] - rim, 0.004], [half[0] + rim, half[1] + rim, depth])
    return [("housing", frame, CHARCOAL, False, False), ("front", _front(fixture, 0.0), glow, True, False)]


def _ring(fixture: Fixture, glow: tuple[float, float, float]) -> Parts:
    outer, depth = float(fixture.size_m[0]) / 2, max(fixture.body_depth_m, 0.03)
    inner = fixture.hole_m / 2 or outer / 2
    body = lathe([(0.004, outer), (depth, outer), (depth, inner), (0.004, inner)])
    return [("housing", body, CHARCOAL, False, False), ("front", lathe([(0, inner), (0, outer)]), glow, True, False)]


def _rod(fixture: Fixture, glow: tuple[float, float, float]) -> Parts:
    length, diameter = (float(s) for s in fixture.size_m)
    half, along = length / 2, np.array([1.0, 0.0, 0.0])
    caps = [rod(side * half * along, side * (half + 0.03) * along, diameter / 2 + 0.004) for side in (-1, 1)]
    return [
        ("front", rod(-half * along, half * along, diameter / 2), glow, True, False),
        ("housing", joined(caps), CHARCOAL, False, False),
    ]


def _bulb(fixture: Fixture, glow: tuple[float, float, float]) -> Parts:
    radius = float(fixture.size_m[0]) / 2
    base = placed(
        lathe([(0, 0), (0, 0.03), (0.05, 0.03), (0.05, 0)]), np.array([0, -radius, 0]), axes_along(np.array([0, -1, 0]))
    )
    return [("front", ball(np.zeros(3), radius), glow, True, False), ("housing", base, CHARCOAL, False, False)]


def _window(fixture: Fixture, glow: tuple[float, float, float]) -> Parts:
    half = fixture.size_m / 2
    bar, depth = 0.035, 0.06
    x, y = float(half[0]), float(half[1])
    frame = [
        box([-x - bar, y, 0], [x + bar, y + bar, depth]), box([-x - bar, -y - bar, 0], [x + bar, -y, depth]),
        box([-x - bar, -y, 0], [-x, y, depth]), box([x, -y, 0], [x + bar, y, depth]),
        box([-bar / 3, -y, 0], [bar / 3, y, 0.03]), box([-x, -bar / 3, 0], [x, bar / 3, 0.03]),
    ]  # fmt: skip
    return [
        ("housing", joined(frame), CLOTH_WHITE, False, False),
        ("front", plate(_outline(fixture), 0.02, front=True), glow, True, True),
    ]


def _doors(fixture: Fixture) -> trimesh.Trimesh:
    """Four blades from the edge of the exit to their tips, as far out and as wide as the optics say."""
    assert fixture.optics.edges is not None
    x, y = (float(s) / 2 for s in fixture.size_m)
    right, left, up, down = fixture.optics.edges
    blades = []
    for (reach, off), hinge, across, wide in ((right, x, 0, y), (left, -x, 0, y), (up, y, 1, x), (down, -y, 1, x)):
        tip = math.copysign(off, hinge) if abs(off) < 1e3 else hinge * 1.4
        line = [(hinge, -wide, 0.0), (hinge, wide, 0.0), (tip, 1.25 * wide, -reach), (tip, -1.25 * wide, -reach)]
        order = (0, 1, 2) if across == 0 else (1, 0, 2)
        blades.append([[point[k] for k in order] for point in line])
    return quads(np.array(blades))


def _grid(fixture: Fixture) -> trimesh.Trimesh:
    """A lattice of thin bars over the exit, to say that a grid is on; its pitch is for the eye only."""
    x, y = (float(s) / 2 for s in fixture.size_m)
    pitch = max(min(x, y) / 4.5, 0.012)
    thick = 0.16 * pitch
    bars = []
    for c in np.arange(-x + pitch, x - pitch / 2, pitch):
        reach = _chord(fixture, abs(c) / x) * y
        bars.append(box([c - thick, -reach, -0.004], [c + thick, reach, 0.004]))
    for c in np.arange(-y + pitch, y - pitch / 2, pitch):
        reach = _chord(fixture, abs(c) / y) * x
        bars.append(box([-reach, c - thick, -0.004], [reach, c + thick, 0.004]))
    return joined(bars)


def _chord(fixture: Fixture, share: float) -> float:
    if fixture.shape == "rectangle":
        return 1.0
    if fixture.shape == "octagon":
        return min(1.0, math.sqrt(2) - share)
    return math.sqrt(max(1 - share * share, 0.01))


_DRAW = {
    "box": _box, "bowl": _bowl, "dish": _dish, "snoot": _snoot, "umbrella": _umbrella, "barrel": _barrel,
    "panel": _panel, "ring": _ring, "rod": _rod, "bulb": _bulb, "window": _window,
}  # fmt: skip
