"""What haze lies between camera, lights and face, and in each beam: uneven haze is mostly thinner than it is told."""

from __future__ import annotations

import math

import numpy as np
from pydantic import Field

from materials import Bands
from materials.haze import KOSCHMIEDER
from scenes.meters import format_amount
from scenes.stage import Light, Stage
from scenes.through_haze import mean_density, share_in_box

from .olat import Guides
from .record import Record
from .rigging import spread_at

CLEAR_M = 10_000.0
"""Mean visibility beyond which a way counts as clear, metres: the thinnest haze that a scene can state."""

_RING = 12
_RINGS = (0.29, 0.65, 0.87)  # radii that halve three rings of the same area
_FAR_M = 60.0
_MOST_WAYS, _AT_ONCE, _WAY_STEPS = 400_000, 20_000, 24  # of pixels, in one go, and places on each way
_LEAST = 1e-4


class HazeWay(Record):
    """The haze along one way, or over a beam."""

    way: str = Field(description='"camera to face", "LIGHT to face", or "beam of LIGHT"')
    extinction_per_m: float = Field(description="mean over what of the way is in air that haze can fill, at 550 nm")
    visibility_m: float | None = Field(description="that mean as visibility; null where the way is clear")
    light_lost: float | None = Field(description="share that does not come through; null for a beam")


def haze_ways(stage: Stage) -> list[HazeWay]:
    """The ways that matter: camera to face, each light that is on to the face, and over its beam as far as it goes
    inside the haze's box (its 50 % cone, at even steps along and across). None on a clear set."""
    if stage.haze is None:
        return []
    face = stage.landmarks["face"]
    ways = [_way(stage, "camera to face", stage.camera.origin_m, face)]
    for light in (light for light in stage.lights if light.on):
        place = _place(light, face)
        if place is not None:
            ways.append(_way(stage, f"{light.name} to face", place, face))
        if light.fixture is not None:
            ways.append(_beam(stage, light))
    return ways


def ways_words(ways: list[HazeWay]) -> str:
    """One sentence: what uneven haze comes to where it counts; empty without ways."""
    if not ways:
        return ""
    told = [f"{way.way} {_said(way)}" for way in ways]
    return f"Mean visibility: {', '.join(told)}."


def _said(way: HazeWay) -> str:
    return "clear" if way.visibility_m is None else f"{format_amount(way.visibility_m, 2)} m"


def _extinction(stage: Stage) -> float:
    assert stage.haze is not None
    return KOSCHMIEDER / stage.haze.medium.visibility_m


def _way(stage: Stage, name: str, start: np.ndarray, end: np.ndarray) -> HazeWay:
    assert stage.haze is not None
    lost = _extinction(stage) * float(mean_density(stage.haze, start, end)[0] * np.linalg.norm(end - start))
    return _told(stage, name, start, end[None], -math.expm1(-lost))


def _told(stage: Stage, name: str, start: np.ndarray, ends: np.ndarray, lost: float | None) -> HazeWay:
    assert stage.haze is not None
    inside = float(share_in_box(stage.haze, start, ends).mean())
    mean = _extinction(stage) * float(mean_density(stage.haze, start, ends).mean()) / max(inside, 1e-9)
    clear = mean * CLEAR_M <= KOSCHMIEDER
    return HazeWay(
        way=name, extinction_per_m=mean, visibility_m=None if clear else KOSCHMIEDER / mean, light_lost=lost
    )


def _place(light: Light, face: np.ndarray) -> np.ndarray | None:
    """Where a light stands; of the sun a place far out toward it; None for what comes from all around."""
    if light.fixture is not None:
        return light.fixture.centre_m
    if light.distant is not None and light.distant.kind == "sun":
        return np.asarray(face + _FAR_M * light.distant.toward, float)
    return None


def _beam(stage: Stage, light: Light) -> HazeWay:
    haze, fixture = stage.haze, light.fixture
    assert haze is not None
    assert fixture is not None
    reach = _leaves(haze.low_m, haze.high_m, fixture.centre_m, fixture.forward)
    spread = spread_at(fixture, reach)
    beam = (None, None) if spread is None else spread.beam_m
    radii = [reach if across is None else min(across / 2, reach) for across in beam]  # wider than that is everywhere
    turn = np.arange(_RING) * 2 * np.pi / _RING
    rim = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    across = np.concatenate([radius * rim for radius in _RINGS]) * radii
    ends = fixture.centre_m + reach * fixture.forward + across @ np.stack([fixture.right, fixture.up])
    return _told(stage, f"beam of {light.name}", fixture.centre_m, ends, None)


def _leaves(low: np.ndarray, high: np.ndarray, start: np.ndarray, direction: np.ndarray) -> float:
    """How far a ray goes until it leaves the box for good; at least a little."""
    safe = np.where(np.abs(direction) < 1e-9, 1e-9, direction)
    return float(np.clip(np.maximum((low - start) / safe, (high - start) / safe).min(), 0.1, _FAR_M))


def share_reached(stage: Stage, guides: Guides, bands: Bands) -> np.ndarray | float:
    """Share (H, W) of a pixel's paths that get through the haze to the first surface; 1 in clear air. The traced
    illuminance of that surface is carried by these alone."""
    haze = stage.haze
    if haze is None:
        return 1.0
    stride = max(1, math.ceil(math.sqrt(guides.region.size / _MOST_WAYS)))
    seen = guides.seen[::stride, ::stride]
    ends = np.moveaxis(guides.position_m, 0, -1)[::stride, ::stride][seen]
    origin = stage.camera.origin_m
    parts = np.array_split(ends, max(1, len(ends) // _AT_ONCE))
    optical = np.concatenate([mean_density(haze, origin, part, _WAY_STEPS) for part in parts])
    optical *= np.linalg.norm(ends - origin, axis=-1)
    share = np.ones(seen.shape, np.float32)
    extinction = bands.project(haze.medium.extinction_per_m)
    share[seen] = np.maximum(np.mean([np.exp(-e * optical) for e in extinction], axis=0), _LEAST)
    height, width = guides.region.shape
    return share.repeat(stride, axis=0).repeat(stride, axis=1)[:height, :width]
