"""`plan.json`: every number that the lighting plan prints."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from ..outputs import CHECKSUMS
from ..record import Record
from ..report import CameraSettings

Place = tuple[float, float, float]


class PlanCamera(Record):
    """The camera; places are x, y, z in metres from the floor mark."""

    at_m: Place
    azimuth_deg: float = Field(description="where it stands: 0 the front of the set, positive to camera right there")
    distance_to_face_m: float
    tilt_deg: float = Field(description="positive: looks up")
    field_deg: tuple[float, float] = Field(description="across and up, full angles")
    focal_length_mm: float = Field(description="that takes in the picture on a frame of 36 x 24 mm")


class PlanSupport(Record):
    """What holds a light."""

    kind: Literal["floor stand", "stand", "tall stand", "boom", "none"]
    foot_m: Place | None = Field(description="where its column stands on the floor")
    reach_m: float = Field(description="of a boom's arm, level; 0 without")
    in_picture: bool = Field(description="whether some of it would be in the picture even so")


class PlanLightReport(Record):
    """One light as the plan prints it."""

    number: int
    name: str
    role: str
    on: bool
    symbol: str
    head: str | None
    modifiers: list[str]
    gels: list[str]
    power_setting: str | None
    energy_ws: float | None = Field(description="of a flash at full power")
    power: float | None = Field(description="as set, a fraction of full; null where that means nothing")
    front_m: Place | None = Field(description="middle of its front")
    distance_to_aim_m: float | None
    distance_to_face_m: float | None
    azimuth_deg: float | None = Field(
        description="seen from the face, 0 the camera's direction, positive to camera right"
    )
    elevation_deg: float | None
    tilt_deg: float | None = Field(description="of its axis; positive: shines upward")
    aim: str | None = Field(description="a landmark; null where the scene gives a place")
    aim_m: Place | None = Field(description="where its axis is pointed")
    beam_m: tuple[float, float] | None = Field(description="width and height to half of the peak, where it is aimed")
    beam_sides_m: tuple[float, float, float, float] | None = Field(
        description="the same to the right, left, up and down of its axis, as the light itself looks"
    )
    moment: str | None = Field(description="of a sun or sky, the date and time that place it, ISO 8601")
    support: PlanSupport
    f_number: float | None = Field(description="that the meter shows for it alone; null when it reads nothing")
    stops: float | None = Field(description="over (+) or under (-) the set aperture")
    where: str = Field(description="where and how the meter is held")
    blocked_by: list[str] = Field(description="what stands between it and where it is read")
    silks: list[str] = Field(description="what silks before it take where it is read, in words")


class PlanPiece(Record):
    """A set piece."""

    name: str
    kind: Literal["flag", "net", "silk", "board"]
    stops: float | None = Field(description="what the cloth of a net or silk keeps back")
    middle_m: Place
    size_m: tuple[float, float]


class PlanWindow(Record):
    """A window of the room."""

    name: str
    wall: Literal["front", "back", "left", "right"]
    middle_m: Place = Field(description="of the opening, on the wall's inner face")
    size_m: tuple[float, float]
    sill_m: float
    glass: str
    cover: str = Field(description="curtain and blind in words")
    sun: str = Field(description="where the sun's light through it lies; empty where none comes in")


class PlanBackground(Record):
    """What is behind the sitter."""

    what: Literal["background", "back wall"]
    finish: str
    z_m: float
    width_m: float
    height_m: float
    stops: float | None = Field(description="flat on its middle, all lights, from the set aperture")


class KitItem(Record):
    """So many of one thing."""

    group: str
    count: int
    what: str


class PlanStep(Record):
    """One step of setting up from black."""

    number: int
    light: int | None = Field(description="number of the light; null for a step of the camera or of all together")
    do: str
    check: str


class PlanCheck(Record):
    """One reading to make with the meter."""

    light: str = Field(description='"all", or a light alone by its number and name')
    where: str
    f_number: float | None
    stops: float | None


class PlanReport(Record):
    """Everything the lighting plan prints."""

    format: Literal[1] = 1
    title: str
    paper: Literal["a4", "letter"]
    scale: int = Field(description="drawings are 1 to so much when printed at full size")
    settings: CameraSettings
    camera: PlanCamera
    face_m: Place
    sitter_height_m: float | None
    background: PlanBackground | None
    lights: list[PlanLightReport]
    pieces: list[PlanPiece]
    windows: list[PlanWindow]
    key_to_fill: float | None
    lit_to_shadow: float | None
    steps: list[PlanStep]
    checks: list[PlanCheck]
    kit: list[KitItem]
    cautions: list[str]
    notes: list[str]
    files: list[str]
    checksums: dict[str, str] = CHECKSUMS
