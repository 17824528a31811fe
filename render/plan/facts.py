"""The numbers of a lighting plan, collected."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from scenes.stage import Stage

from ..readings import ALL_LIGHTS
from ..report import ReadingReport, Report
from ..where_read import held_words
from .record import (
    PlanBackground,
    PlanCamera,
    PlanCheck,
    PlanLightReport,
    PlanPiece,
    PlanSupport,
    PlanWindow,
)
from .set import PlanLight, PlanSet
from .windows import cover_words, glass_words, sun_words, suns_through

_SENSOR_MM = (36.0, 24.0)
_ALL_CHECKS = (
    ("face", "dome"), ("cheek_L", "flat:surface"), ("cheek_R", "flat:surface"), ("chest", "dome"),
    ("background_left", "flat:surface"), ("background_centre", "flat:surface"), ("background_right", "flat:surface"),
)  # fmt: skip
BACKGROUND_CHECK = ("background_centre", "flat:surface")


def camera_facts(stage: Stage) -> PlanCamera:
    """Place, tilt and field of the camera; the focal length is for a frame of 36 x 24 mm, held as the picture is."""
    camera = stage.camera
    ratio = camera.tan_half_width / camera.tan_half_height
    long, short = _SENSOR_MM
    width_mm = min(long, short * ratio) if ratio >= 1 else min(short, long * ratio)
    field = tuple(math.degrees(2 * math.atan(t)) for t in (camera.tan_half_width, camera.tan_half_height))
    return PlanCamera(
        at_m=place(camera.origin_m), azimuth_deg=camera.azimuth_deg,
        distance_to_face_m=float(np.linalg.norm(camera.origin_m - stage.landmarks["face"])),
        tilt_deg=math.degrees(math.asin(float(np.clip(camera.forward[1], -1, 1)))),
        field_deg=(field[0], field[1]), focal_length_mm=width_mm / 2 / camera.tan_half_width,
    )  # fmt: skip


def place(point: np.ndarray) -> tuple[float, float, float]:
    """Three floats; nothing is a negative nought."""
    x, y, z = (float(v) + 0.0 for v in point)
    return x, y, z


def background_facts(stage: Stage, report: Report) -> PlanBackground | None:
    """What is behind the sitter, and how all lights together read on its middle."""
    behind = [shape for shape in stage.shapes if shape.region == "background"]
    if not behind:
        return None
    shape = behind[-1]
    low, high = (np.asarray(end, float) for end in (shape.vertices.min(axis=0), shape.vertices.max(axis=0)))
    reading = find_reading(report, *BACKGROUND_CHECK)
    return PlanBackground(
        what="background" if shape.name == "set.background" else "back wall", finish=shape.finish.name,
        z_m=float(low[2]), width_m=float(high[0] - low[0]), height_m=float(high[1]),
        stops=None if reading is None else reading.stops,
    )  # fmt: skip


def find_reading(report: Report, probe: str, aim: str, light: str = ALL_LIGHTS) -> ReadingReport | None:
    """A reading of the report; None where the set has no such meter."""
    return next((r for r in report.readings if (r.probe, r.aim, r.light) == (probe, aim, light)), None)


def light_facts(plan: PlanSet) -> list[PlanLightReport]:
    """Every light, in the order in which it is set up."""
    return [_light(light, plan) for light in plan.lights]


def _light(light: PlanLight, plan: PlanSet) -> PlanLightReport:
    row, support, fixture = light.row, light.support, light.light.fixture
    return PlanLightReport(
        number=row.number, name=row.name, role=row.role, on=row.on, symbol=light.form.words(), head=row.head,
        modifiers=list(light.light.modifiers), gels=light.gels, power_setting=row.power_setting,
        energy_ws=None if light.light.head is None else light.light.head.energy_ws, power=light.light.power,
        front_m=None if fixture is None else place(fixture.centre_m), distance_to_aim_m=row.distance_to_aim_m,
        distance_to_face_m=row.distance_to_face_m, azimuth_deg=row.azimuth_deg, elevation_deg=row.elevation_deg,
        tilt_deg=light.tilt_deg, aim=light.light.aim,
        aim_m=None if light.aim_m is None else place(light.aim_m), beam_m=light.beam_m,
        beam_sides_m=light.beam_sides_m,
        moment=None if light.light.moment is None else light.light.moment.isoformat(),
        support=PlanSupport(
            kind=support.kind, foot_m=None if support.foot_m is None else place(support.foot_m),
            reach_m=support.reach_m, in_picture=support.seen,
        ),
        f_number=row.reading_f_number, stops=row.reading_stops, where=row.meter_point, blocked_by=row.blocked_by,
        silks=row.silks,
    )  # fmt: skip


def piece_facts(plan: PlanSet) -> list[PlanPiece]:
    """Set pieces."""
    return [
        PlanPiece(name=p.name, kind=p.kind, stops=p.stops, middle_m=place(p.corners_m.mean(axis=0)), size_m=p.size_m)
        for p in plan.pieces
    ]  # fmt: skip


def window_facts(plan: PlanSet) -> list[PlanWindow]:
    """Windows of the room, with the sun that comes through them."""
    numbers = {light.row.name: light.row.number for light in plan.lights}
    return [
        PlanWindow(
            name=w.name, wall=w.wall, middle_m=place(w.place.centre_m),
            size_m=(float(w.place.size_m[0]), float(w.place.size_m[1])), sill_m=w.sill_m, glass=glass_words(w),
            cover=cover_words(w), sun=sun_words(suns_through(plan.stage, w), numbers),
        )
        for w in plan.stage.windows
    ]  # fmt: skip


def meter_checks(plan: PlanSet, lights: list[PlanLightReport]) -> list[PlanCheck]:
    """Readings to make: each light alone where it is set, then all together."""
    alone = [
        PlanCheck(light=f"{li.number} {li.name}", where=li.where, f_number=li.f_number, stops=li.stops)
        for li in lights if li.on
    ]  # fmt: skip
    return [*alone, *_together(plan)]


def _together(plan: PlanSet) -> Iterator[PlanCheck]:
    for probe, aim in _ALL_CHECKS:
        reading = find_reading(plan.report, probe, aim)
        if reading is not None:
            lit = reading.stops is not None
            yield PlanCheck(
                light=ALL_LIGHTS, where=held_words(reading), f_number=reading.f_number if lit else None,
                stops=reading.stops,
            )  # fmt: skip
