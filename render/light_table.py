"""The light table: one row a light, in the order of building a set, with everything needed to set it up."""

from __future__ import annotations

import csv
import io
import math
from typing import Any

import numpy as np
from pydantic import Field

from scenes.aiming import angles_from_camera_deg
from scenes.meters import aperture_words, difference_words, format_stops
from scenes.set_up import set_up_order
from scenes.stage import Fixture, Light, Stage

from .meterset import FACE_PROBE, has_direction
from .record import Record
from .report import LightReport, Report
from .rigged.reach import first_surface
from .where_read import held_words

UNREAD = "at no meter point: hold the meter where the light falls, flat toward the light"
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


class LightRow(Record):
    """A light as it is to be set up; None stands for what a light does not have or the set does not tell."""

    number: int = Field(description="1 for the first to be set up")
    name: str
    role: str
    on: bool
    head: str | None = Field(description="name in the kit")
    modifiers: str | None = Field(description="from the head outward")
    gels: str | None
    power_setting: str | None = Field(description="as set")
    power_needed: str | None = Field(
        description="for this light alone to read the set aperture at the face; null where it is read elsewhere"
    )
    height_m: float | None = Field(description="of the middle of its front above the floor")
    x_to_camera_right_m: float | None = Field(description="on the floor from under the sitter")
    z_toward_camera_m: float | None = Field(description="on the floor from under the sitter")
    distance_to_aim_m: float | None = Field(description="straight from the middle of its front")
    distance_to_face_m: float | None
    azimuth_deg: float | None = Field(
        description="seen from the face, 0 the camera's direction, positive to camera right"
    )
    elevation_deg: float | None = Field(description="from the face, positive upward")
    tilt_down_deg: float | None = Field(description="how far the head looks down from level; negative looks up")
    aim: str | None = Field(description="a landmark, or the place [x, y, z] in metres that its axis meets")
    meter_point: str = Field(description="where this light is read alone, and how the meter is held")
    reading_f_number: float | None = Field(description="that the meter shows; null when it reads nothing")
    reading: str = Field(description='the same in words, such as "f/8 + 0.3"')
    reading_stops: float | None = Field(description="over (+) or under (-) the set aperture")
    from_set_aperture: str = Field(description='the same in words, such as "0.2 under"')
    blocked_by: list[str] = Field(description="what stands between the light and where it is read")
    silks: list[str] = Field(description="what silks before it take where it is read, in words")


def light_rows(stage: Stage, report: Report) -> list[LightRow]:
    """Rows of all lights in the order of setting up.

    Readings and power are the report's, places and angles the stage's.

    Raises
    ------
    ValueError
        When the report is of other lights than the stage's.
    """
    known = {light.name: light for light in report.lights}
    if set(known) != {light.name for light in stage.lights}:
        raise ValueError("the report is not of this stage's lights")
    ordered = set_up_order(stage)
    return [_row(n, light, known[light.name], stage, report) for n, light in enumerate(ordered, start=1)]


def _row(number: int, light: Light, told: LightReport, stage: Stage, report: Report) -> LightRow:
    reading = told.read_at
    lit = reading.stops is not None
    words = held_words(reading) if lit else UNREAD if light.on else "off"
    needed = told.power_for_aperture if reading.probe == FACE_PROBE else None
    return LightRow(
        number=number, name=light.name, role=light.role, on=light.on, head=told.head,
        modifiers=" + ".join(told.modifiers) or None, gels=" + ".join(light.gels) or None,
        power_setting=told.power_setting,
        power_needed=None if needed is None else needed.setting,
        distance_to_face_m=told.distance_to_face_m, **_place(light, stage), meter_point=words,
        reading_f_number=reading.f_number if lit else None, reading=aperture_words(reading.f_number),
        reading_stops=reading.stops, from_set_aperture=difference_words(reading.stops), blocked_by=told.blocked_by,
        silks=[silk.words for silk in told.silks],
    )  # fmt: skip


def _place(light: Light, stage: Stage) -> dict[str, Any]:
    """Where a light stands and looks; of the sun only from where it comes, of ambient light and skies nothing."""
    nothing = dict.fromkeys(
        ("height_m", "x_to_camera_right_m", "z_toward_camera_m", "distance_to_aim_m", "azimuth_deg", "elevation_deg",
         "tilt_down_deg", "aim")
    )  # fmt: skip
    if light.fixture is None:
        if not has_direction(light) or light.distant is None:
            return nothing
        azimuth, elevation = angles_from_camera_deg(light.distant.toward, stage.camera.azimuth_deg)
        return nothing | {"azimuth_deg": azimuth, "elevation_deg": elevation}
    fixture = light.fixture
    toward = fixture.centre_m - stage.landmarks["face"]
    azimuth, elevation = angles_from_camera_deg(toward, stage.camera.azimuth_deg)
    aim, distance = aim_of(light, fixture, stage)
    x, y, z = (float(v) for v in fixture.centre_m)
    return {
        "height_m": y, "x_to_camera_right_m": x, "z_toward_camera_m": z, "distance_to_aim_m": distance,
        "azimuth_deg": azimuth, "elevation_deg": elevation,
        "tilt_down_deg": -math.degrees(math.asin(max(-1.0, min(1.0, float(fixture.forward[1]))))) + 0.0,
        "aim": aim,
    }  # fmt: skip


def aim_of(light: Light, fixture: Fixture, stage: Stage) -> tuple[str | None, float | None]:
    """What a light is aimed at, and how far that is from its front (m): the landmark or place of the scene file; of a
    light without one, the place where its axis first meets a surface; None when it meets none."""
    if light.aim_m is not None:
        distance = float(np.linalg.norm(light.aim_m - fixture.centre_m))
        return light.aim or _place_text(light.aim_m), distance
    reach = first_surface(stage, fixture.centre_m, fixture.forward)
    if reach is None:
        return None, None
    return _place_text(fixture.centre_m + reach * fixture.forward), reach


def _place_text(place_m: np.ndarray) -> str:
    x, y, z = place_m.round(2) + 0.0
    return f"[{x:.2f}, {y:.2f}, {z:.2f}]"


def light_csv(rows: list[LightRow]) -> str:
    """The table as CSV (RFC 4180: commas, CRLF, quotes where needed), empty where there is nothing to say.

    Text that a spreadsheet would take for a formula begins with an apostrophe.
    """
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    columns = list(LightRow.model_fields)
    writer.writerow(columns)
    for row in rows:
        writer.writerow([_cell(column, getattr(row, column)) for column in columns])
    return text.getvalue()


def _cell(column: str, value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return _number(column, value)
    words = ", ".join(value) if isinstance(value, list) else str(value)
    return f"'{words}" if words.startswith(_FORMULA_STARTS) else words


def _number(column: str, value: float) -> str:
    if column.endswith("_m"):
        return f"{value:.3f}"
    if column == "reading_stops":
        return format_stops(value).lstrip("+")
    return f"{value:.2f}" if column == "reading_f_number" else f"{value:.1f}"
