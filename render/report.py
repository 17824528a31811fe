"""`report.json`: every number of a preview, with a schema."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
from pydantic import Field

from materials import chromaticity
from scenes.meters import key_to_fill, lit_to_shadow
from scenes.stage import Light, Stage, White

from .ambient import AmbientReport, ambient_audit
from .backdrop import BackdropReport, backdrop_report
from .cautions import cautions_for
from .develop import Picture
from .hazing import HazeReport, haze_report
from .in_the_way import in_the_way
from .look import exposure_lumens
from .maps import DARKEST_STOPS, ExposureMap, summarise
from .meterset import FACE_PROBE
from .olat import OlatSet
from .outputs import CHECKSUMS
from .readings import Reading, find, own_aim
from .record import Record
from .rigging import (
    PowerReport,
    SpillReport,
    SpreadReport,
    WallSpreadReport,
    modifier_loss,
    power_needed,
    spill,
    spread_at,
    spread_on_wall,
)
from .silks import SilkReport, silks_before
from .where_read import where_read
from .white import scene_white, settled

FORMAT: Literal[3] = 3
METER_FORMAT: Literal[1] = 1
_MAP_UNITS = {"incident": "stops from the set aperture", "haze-against": "stops from what is behind the haze"}


class CameraSettings(Record):
    """Exposure the picture is developed for."""

    iso: float
    f_number: float
    shutter_s: float
    white_balance: str | float
    white_xy: tuple[float, float] | None = Field(
        description="CIE 1931 x, y that is taken as white; null where a card decides and its light is not traced"
    )


class GelReport(Record):
    """A gel or stack on a light."""

    name: str
    sheets: list[str] = Field(description="the sheets of a stack, from the light outward")
    loss_stops: float | None = Field(description="luminous loss under this light's source; null when nothing passes")
    chromaticity_xy: tuple[float, float] | None = Field(
        description="CIE 1931 x, y of the light after the gel; null when nothing passes"
    )


class ReadingReport(Record):
    """One meter reading; see the fields' descriptions."""

    probe: str
    light: str = Field(description='a light alone by its name, or "all" lights together')
    aim: str = Field(description='"dome" toward the camera, "flat:surface", or "flat:LIGHT" toward a light')
    exposure_lx_s: float
    f_number: float = Field(description="aperture the meter asks for at the set ISO; 0 when it reads nothing")
    stops: float | None = Field(description="over (+) or under (-) the set aperture; null when it reads nothing")


class LightReport(Record):
    """One light as set, and what it does at the face."""

    name: str
    role: str
    on: bool
    kind: Literal["flash", "continuous", "ambient", "sun", "sky"]
    head: str | None = Field(description="name in the kit")
    modifiers: list[str] = Field(description="from the head outward")
    modifier_loss_stops: float | None = Field(
        description="on the axis, against the standard reflector on the same head, at the same distance from the "
        "front, here the face's, as keyfall beam says it; null where the inside of the light is not known, or its "
        "axis is dark"
    )
    source: str
    source_xy: tuple[float, float]
    gel: GelReport | None
    lumen_seconds: float = Field(description="luminous energy sent out during the exposure, before gels")
    power_setting: str | None = Field(description="energy and power setting in words")
    power: float | None = Field(description="power setting as a fraction of full; null where that means nothing")
    power_for_aperture: PowerReport | None = Field(
        description="for this light alone to read the set aperture at the face; null where nothing is known of the head"
    )
    distance_to_face_m: float | None
    spread_at_face: SpreadReport | None
    beam_on_background: WallSpreadReport | None = Field(
        description="null where its axis misses what is behind the sitter"
    )
    spill: SpillReport
    at_face: ReadingReport = Field(description="alone: flat meter toward the light; ambient by dome")
    read_at: ReadingReport = Field(description="alone, where it is aimed: the reading by which it is set")
    blocked_by: list[str] = Field(
        description="other fixtures and set pieces that stand between the light and where it is read"
    )
    silks: list[SilkReport] = Field(description="silks between the light and where it is read, and what they take")
    samples: int
    noise_stops: float | None = Field(description="of the traced picture over the face, before denoising")


class RatioReport(Record):
    """Lighting ratio at the face, both ways it is defined; null when there is no key or no fill."""

    key_to_fill: float | None = Field(description="K:F, each alone, flat meter toward it")
    lit_to_shadow: float | None = Field(description="(K+F):F, the fill lights both sides")


class MapReport(Record):
    """Numbers of an exposure map over its pixels; null when it has none."""

    title: str
    unit: str
    minimum: float | None
    median: float | None
    maximum: float | None
    share_no_detail: float | None = Field(description="of the map's pixels, where the picture is plain white")
    share_under_minus_5_stops: float | None
    floor_stops: float = Field(description="darker pixels count as this")
    left_out: str = Field(description="what the picture shows and the map does not count; empty when nothing")


class PictureReport(Record):
    """The developed picture."""

    width_px: int
    height_px: int
    traced_px: tuple[int, int] = Field(description="width and height traced; a draft is traced smaller and enlarged")
    gamut: str
    tone_curve: str
    share_no_detail: float = Field(description="of all pixels, lamps and sky included, that are plain white")
    share_gamut_mapped: float = Field(description="share of pixels whose colour was too saturated for the gamut")
    warnings: list[str] = Field(description="pixels that could not be denoised or developed; also among the warnings")


class MeterReport(Record):
    """What `keyfall meter` says."""

    format: Literal[1] = METER_FORMAT
    title: str
    settings: CameraSettings
    ratio: RatioReport
    readings: list[ReadingReport]

    @classmethod
    def of(cls, stage: Stage, readings: list[Reading]) -> MeterReport:
        """Report of all readings of a stage."""
        return cls(
            title=stage.title, settings=camera_settings(stage), ratio=ratios(stage, readings),
            readings=[reading_report(reading) for reading in readings],
        )  # fmt: skip


class Report(Record):
    """Everything a preview says in numbers."""

    format: Literal[3] = FORMAT
    title: str
    scene_hash: str
    versions: dict[str, str]
    device: str = Field(description='"cpu", "cuda", "metal", or "none" when all came from the cache')
    quality: str
    settings: CameraSettings
    picture: PictureReport
    lights: list[LightReport]
    ratio: RatioReport
    ambient: AmbientReport
    haze: HazeReport | None = Field(description="null on a clear set")
    backdrop: BackdropReport | None = Field(description="null where the picture shows nothing behind the sitter")
    readings: list[ReadingReport]
    maps: dict[str, MapReport]
    bands_nm: list[float] = Field(description="wavelengths at which surfaces are traced; more than 16 for narrow lines")
    warnings: list[str]
    notes: list[str] = Field(description="what was done about the set without being asked, such as more bands")
    cautions: list[str]
    checksums: dict[str, str] = CHECKSUMS


def build_report(
    stage: Stage,
    olat: OlatSet,
    picture: Picture,
    maps: list[ExposureMap],
    readings: list[Reading],
    *,
    quality: str,
    device: str,
    scene_hash: str,
) -> Report:
    """Collect the numbers of a preview."""
    height, width = picture.no_detail.shape
    stage = settled(stage, olat.meters)
    return Report(
        title=stage.title,
        scene_hash=scene_hash,
        versions=versions(),
        device=device,
        quality=quality,
        settings=camera_settings(stage),
        picture=PictureReport(
            width_px=width, height_px=height, traced_px=olat.shape[:1:-1],
            gamut=picture.gamut, tone_curve=picture.curve,
            share_no_detail=float(picture.no_detail.mean()), share_gamut_mapped=float(picture.mapped.mean()),
            warnings=[*olat.warnings, *picture.warnings],
        ),
        lights=[_light_report(light, stage, olat, readings) for light in stage.lights],
        ratio=ratios(stage, readings),
        ambient=ambient_audit(stage, readings),
        haze=haze_report(olat, stage),
        backdrop=backdrop_report(olat, stage, next((m.stops for m in maps if m.name == "incident"), None)),
        readings=[reading_report(reading) for reading in readings],
        maps={m.name: _map_report(m) for m in maps},
        bands_nm=[float(nm) for nm in olat.meters.bands.nodes_nm],
        warnings=[*stage.warnings, *olat.warnings, *picture.warnings],
        notes=list(stage.notes),
        cautions=cautions_for(stage),
    )  # fmt: skip


def camera_settings(stage: Stage) -> CameraSettings:
    """Settings a stage is exposed with."""
    exposure = settled(stage).exposure
    given = exposure.white_balance
    known = not isinstance(given, White) or given.xyz is not None
    white = scene_white(exposure) if known else np.ones(3)
    return CameraSettings(
        iso=exposure.iso, f_number=exposure.f_number, shutter_s=exposure.shutter_s,
        white_balance=given.words if isinstance(given, White) else given,
        white_xy=_pair(white[:2] / white.sum()) if known else None,
    )  # fmt: skip


def versions() -> dict[str, str]:
    """Versions of Keyfall and of what its results depend on."""
    import platform
    from importlib.metadata import PackageNotFoundError, version

    found = {"python": platform.python_version()}
    for name in ("keyfall", "mitsuba", "drjit", "mitsuba-oidn", "colour-science", "numpy"):
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            found[name] = "not installed"
    return found


def ratios(stage: Stage, readings: list[Reading]) -> RatioReport:
    """Lighting ratio at the face of the first key and the first fill that are on."""
    key = _first_of(stage, "key")
    fill = _first_of(stage, "fill")
    if key is None or fill is None:
        return RatioReport(key_to_fill=None, lit_to_shadow=None)
    k, f = (find(readings, FACE_PROBE, light.name, own_aim(light)).exposure_lx_s for light in (key, fill))
    if f <= 1e-9:
        return RatioReport(key_to_fill=None, lit_to_shadow=None)
    return RatioReport(key_to_fill=key_to_fill(k, f), lit_to_shadow=lit_to_shadow(k, f))


def _first_of(stage: Stage, role: str) -> Light | None:
    return next((light for light in stage.lights if light.role == role and light.on), None)


def _light_report(light: Light, stage: Stage, olat: OlatSet, readings: list[Reading]) -> LightReport:
    transport = olat.transports[olat.names.index(light.name)]
    distance = at_face = on_background = None
    fixture = light.fixture
    if fixture is not None:
        distance = float(np.linalg.norm(fixture.centre_m - stage.landmarks["face"]))
        at_face, on_background = spread_at(fixture, distance), spread_on_wall(fixture, stage)
    read_at = where_read(light, stage, readings)
    return LightReport(
        name=light.name, role=light.role, on=light.on, kind=_kind(light),
        head=(light.head.name or None) if light.head is not None else None,
        modifiers=list(light.modifiers),
        modifier_loss_stops=None if distance is None else modifier_loss(light, distance), source=light.source.name,
        source_xy=_pair(chromaticity(light.source.spd)), gel=_gel_report(light),
        lumen_seconds=exposure_lumens(light, stage.exposure, olat.meters),
        power_setting=light.power_setting, power=light.power,
        power_for_aperture=power_needed(light, readings), distance_to_face_m=distance,
        spread_at_face=at_face, beam_on_background=on_background, spill=spill(light, readings),
        at_face=reading_report(find(readings, FACE_PROBE, light.name, own_aim(light))),
        read_at=reading_report(read_at), blocked_by=in_the_way(light, stage, read_at.probe),
        silks=silks_before(light, stage, read_at.probe),
        samples=transport.samples, noise_stops=transport.noise_stops,
    )  # fmt: skip


def _kind(light: Light) -> Literal["flash", "continuous", "ambient", "sun", "sky"]:
    if light.distant is not None:
        return "sun" if light.distant.kind == "sun" else "sky"
    if light.fixture is None:
        return "ambient"
    return "flash" if light.flash else "continuous"


def _gel_report(light: Light) -> GelReport | None:
    if light.gel is None:
        return None
    loss = light.gel.loss_stops(light.source)
    if not math.isfinite(loss):
        return GelReport(name=light.gel.name, sheets=list(light.gels), loss_stops=None, chromaticity_xy=None)
    return GelReport(
        name=light.gel.name, sheets=list(light.gels), loss_stops=loss,
        chromaticity_xy=_pair(light.gel.chromaticity(light.source)),
    )  # fmt: skip


def _pair(values: tuple[float, float] | np.ndarray) -> tuple[float, float]:
    x, y = values
    return float(x), float(y)


def reading_report(reading: Reading) -> ReadingReport:
    """A reading as reports hold it."""
    return ReadingReport(
        probe=reading.probe, light=reading.light, aim=reading.aim, exposure_lx_s=reading.exposure_lx_s,
        f_number=reading.f_number, stops=reading.stops,
    )  # fmt: skip


def _map_report(exposure_map: ExposureMap) -> MapReport:
    numbers = summarise(exposure_map)
    toneless = exposure_map.name in ("incident", "haze", "haze-against")
    return MapReport(
        title=exposure_map.title,
        unit=_MAP_UNITS.get(exposure_map.name, "stops from mid-grey"),
        minimum=numbers.minimum, median=numbers.median, maximum=numbers.maximum,
        share_no_detail=numbers.share_no_detail,
        share_under_minus_5_stops=None if toneless else numbers.share_dark,
        floor_stops=DARKEST_STOPS, left_out=exposure_map.left_out,
    )  # fmt: skip
