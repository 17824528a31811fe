"""What a caption may say: where each light stands, how hard it is and what it reaches, as numbers of the set."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from scenes.aiming import angles_from_camera_deg
from scenes.fixtures import area_m2, exit_area_m2
from scenes.stage import REGIONS, Fixture, Light, Stage

from ..look import mid_grey_scale, xyz_weights
from ..maps import DARKEST_STOPS
from ..olat import OlatSet
from ..report import LightReport, Report
from .record import LightFacts, SetFacts

LED_SHARE = 0.2
"""A light leads a pixel's colour from this share of its luminance on."""

SHAPING_SHARE = 0.0025
"""A light shapes a look's colour when it leads so much of the frame."""

SEEN_STOPS = -6.0
"""Darker pixels, in stops from mid-grey, count as black."""

_SUN_ANGLE_DEG, _ALL_AROUND_DEG = 0.53, 180.0
_TURNED_AWAY_DEG = 45.0
_CHEEKS = ("cheek_L", "cheek_R")


@dataclass(frozen=True, slots=True)
class SeenLight:
    """What a board keeps of a traced set, which is a hundred times larger.

    Attributes
    ----------
    each : (L, H, W), every light's part of the picture, linear with mid-grey at 0.18; off lights are 0.
    region : (H, W), as `render.olat.Guides` has it.
    """

    each: np.ndarray
    region: np.ndarray


def seen_light(olat: OlatSet, stage: Stage) -> SeenLight:
    """Contract a set to what a board needs of it."""
    weights = xyz_weights(olat.meters, stage)[:, :, 1:2] * mid_grey_scale(stage.exposure)
    return SeenLight(olat.weighted_each(weights)[:, 0], olat.guides.region)


def set_facts(stage: Stage, seen: SeenLight, report: Report) -> SetFacts:
    """Brightness of the picture's parts and contrast over the face."""
    stops = _stops(seen.each.sum(axis=0))
    region = seen.region
    behind = np.isin(region, [REGIONS.index("background")])
    if not behind.any():
        behind = np.isin(region, [REGIONS.index("wall")])
    face = np.isin(region, [REGIONS.index("face")])
    return SetFacts(
        picture_stops=float(np.median(stops)),
        face_stops=float(np.median(stops[face])) if face.any() else None,
        background_stops=float(np.median(stops[behind])) if behind.any() else None,
        background_share=float(behind.mean()),
        background_finish=_background_finish(stage),
        cheeks_apart_stops=_cheeks_apart(report),
        key_to_fill=report.ratio.key_to_fill,
        haze=None if report.haze is None else report.haze.carried_by or "none",
    )


def _stops(values: np.ndarray) -> np.ndarray:
    return np.log2(np.maximum(values / 0.18, 2.0**DARKEST_STOPS))


def _background_finish(stage: Stage) -> str | None:
    finishes = {shape.name: shape.finish.name for shape in stage.shapes if shape.region == "background"}
    return finishes.get("set.background") or next(iter(finishes.values()), None)


def _cheeks_apart(report: Report) -> float | None:
    """Stops between the two cheeks, all lights, each metered flat on its surface."""
    found = [r.stops for r in report.readings if r.probe in _CHEEKS and r.light == "all" and r.aim == "flat:surface"]
    if len(found) < 2 or found[0] is None or found[1] is None:
        return None
    return abs(found[0] - found[1])


def light_facts(stage: Stage, seen: SeenLight, report: Report) -> list[LightFacts]:
    """Facts of every light that is on, in the order of the scene."""
    total = seen.each.sum(axis=0)
    bright = _stops(total) > SEEN_STOPS
    reports = {light.name: light for light in report.lights}
    facts = []
    for light, part in zip(stage.lights, seen.each, strict=True):
        if light.on:
            led = bright & (part >= LED_SHARE * np.maximum(total, 1e-12))
            facts.append(_facts(light, stage, reports[light.name], float(led.mean())))
    return facts


def _facts(light: Light, stage: Stage, told: LightReport, share: float) -> LightFacts:
    face = stage.landmarks["face"]
    way = _way(light, face)
    azimuth = elevation = side = None
    if way is not None:
        azimuth, elevation = angles_from_camera_deg(way, stage.camera.azimuth_deg)
        side = (float(way @ stage.camera.right), float(way @ stage.camera.up))
    return LightFacts(
        name=light.name, role=light.role, kind=told.kind, source=light.source.name,
        gel=None if light.gel is None else light.gel.name,
        azimuth_deg=azimuth, elevation_deg=elevation, toward_right_up=side,
        distance_m=told.distance_to_face_m, seen_angle_deg=_seen_angle(light, told.distance_to_face_m),
        face_stops=told.at_face.stops, wall_under_face_stops=told.spill.wall,
        aims_behind=_aims_behind(light, face), share_led=share, shapes=share >= SHAPING_SHARE,
    )  # fmt: skip


def _way(light: Light, face: np.ndarray) -> np.ndarray | None:
    """Unit vector (3,) from the face toward the light; None for light from all around."""
    if light.fixture is not None:
        way = light.fixture.centre_m - face
        return np.asarray(way / max(float(np.linalg.norm(way)), 1e-9))
    if light.distant is not None and light.distant.kind == "sun":
        return light.distant.toward
    return None


def _seen_angle(light: Light, distance_m: float | None) -> float | None:
    """Full angle in degrees of a disk as large as the luminous area, as the face sees it."""
    if light.fixture is None:
        return _SUN_ANGLE_DEG if light.distant is not None and light.distant.kind == "sun" else _ALL_AROUND_DEG
    if distance_m is None:
        return None
    fixture = light.fixture
    areas = [(_front_area(fixture), distance_m)]
    source = fixture.optics.source
    if source is not None:
        areas.append((area_m2(source.shape, source.size_m), distance_m + source.depth_m))
    return min(2 * math.degrees(math.atan(math.sqrt(area / math.pi) / max(away, 1e-6))) for area, away in areas)


def _front_area(fixture: Fixture) -> float:
    """Area the face sees: the outline of a ball or a rod, the exit of all others."""
    if fixture.shape == "sphere":
        return exit_area_m2(fixture) / 4
    return exit_area_m2(fixture) / math.pi if fixture.shape == "tube" else exit_area_m2(fixture)


def _aims_behind(light: Light, face: np.ndarray) -> bool:
    """Whether a light is there for what is behind the sitter: by its role, or as it is turned away from the face."""
    if light.role == "background" or light.fixture is None:
        return light.role == "background"
    way = _way(light, face)
    turned = math.degrees(math.acos(max(-1.0, min(1.0, -float(way @ light.fixture.forward))))) if way is not None else 0
    return light.role == "other" and turned > _TURNED_AWAY_DEG
