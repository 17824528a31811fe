"""What a silk takes of a light where the meter is held: more than its cloth does, since it also spreads the light."""

from __future__ import annotations

import math

import numpy as np
from pydantic import Field

from scenes.field import illuminance
from scenes.meters import format_amount
from scenes.stage import Light, Probe, SetPiece, Stage

from .in_the_way import crossed, starts
from .meterset import direction_to
from .record import Record
from .where_read import place_words

LEAST_SHARE = 0.1
"""Share of a light's exit that a silk has to stand before to be told of."""

_CELLS, _STEPS = 32, 16


class SilkReport(Record):
    """A silk in the way of one light."""

    piece: str
    probe: str = Field(description="the meter point at which the light is read")
    cloth_stops: float = Field(description="what the cloth keeps back of all light that falls on it")
    stops: float = Field(
        description="what the silk takes of the light's direct way to the meter point, held toward the light: the "
        "cloth's stops, and what it spreads past the sitter; bounce light is not counted"
    )
    words: str


def silks_before(light: Light, stage: Stage, probe: str) -> list[SilkReport]:
    """Silks between a light and the meter point where it is read, each as if it were the only one.

    A silk is a perfect diffuser of the light on it (Lambert): a patch dA lit by E sends T E dA / pi of intensity
    straight on, and the cosine of that aside. What passes beside it is not changed.
    """
    point = next((p for p in stage.probes if p.name == probe), None)
    toward = None if point is None else direction_to(light, point.position_m)
    silks = [piece for piece in stage.pieces if piece.kind == "silk" and piece.stops is not None]
    if point is None or toward is None or not silks:
        return []
    told = [_report(light, silk, point, toward) for silk in silks]
    return [report for report in told if report is not None]


def _report(light: Light, silk: SetPiece, point: Probe, toward: np.ndarray) -> SilkReport | None:
    begins = starts(light, point.position_m)
    if begins is None or silk.stops is None:
        return None
    share = float(crossed(silk, begins, point.position_m).mean())
    bare = _lux(light, point.position_m[None], toward[None])[0]
    if share < LEAST_SHARE or bare <= 0:
        return None
    through = (1 - share) * bare + _spread(light, silk, point.position_m, toward, 2.0**-silk.stops)
    stops = math.log2(bare / through)
    return SilkReport(
        piece=silk.name, probe=point.name, cloth_stops=silk.stops, stops=stops,
        words=_words(silk, light, stops, place_words(point.name)),
    )  # fmt: skip


def _words(silk: SetPiece, light: Light, stops: float, where: str) -> str:
    cloth = format_amount(silk.stops or 0.0, 2)
    unit = "stop" if cloth == "1" else "stops"
    name = "The silk" if silk.name == silk.kind else f"The silk {silk.name}"
    takes = f"{name} takes {stops:.1f} stops of the direct light of {light.name} {where}"
    if stops <= (silk.stops or 0.0) + 0.15:
        return f"{takes}."
    return (
        f"{takes}: its cloth takes {cloth} {unit}, and the rest is light that it scatters past the sitter. Nearer or "
        "larger, it takes less."
    )


def _lux(light: Light, points: np.ndarray, normals: np.ndarray) -> np.ndarray:
    """Light on surfaces at points (n, 3) with normals (n, 3), nothing in between, of any unit."""
    if light.fixture is not None:
        return illuminance(light.fixture, points, normals, _STEPS)
    assert light.distant is not None
    return np.maximum(normals @ light.distant.toward, 0.0)


def _spread(light: Light, silk: SetPiece, at: np.ndarray, toward: np.ndarray, transmission: float) -> float:
    """Light that comes from the cloth on a meter at a place (3,) that looks along `toward` (3,)."""
    middle = (np.arange(_CELLS) + 0.5) / _CELLS * 2 - 1
    x, y = (grid.ravel() for grid in np.meshgrid(middle, middle))
    kept = x * x + y * y <= 1 if silk.round else np.full(len(x), True)
    half = silk.size_m / 2
    points = silk.centre_m + np.outer(x[kept] * half[0], silk.right) + np.outer(y[kept] * half[1], silk.up)
    far = silk.forward if (at - silk.centre_m) @ silk.forward < 0 else -silk.forward  # away from the meter
    lit = _lux(light, points, np.broadcast_to(far, points.shape))
    way = at - points
    distance2 = np.square(way).sum(axis=1)
    leaving = np.maximum(way @ -far, 0.0)
    arriving = np.maximum(-way @ toward, 0.0)
    cell = (math.pi / 4 if silk.round else 1.0) * silk.size_m[0] * silk.size_m[1] / len(points)
    return float(transmission / math.pi * cell * (lit * leaving * arriving / distance2**2).sum())
