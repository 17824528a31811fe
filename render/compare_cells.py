"""What a comparison tells of each picture: its numbers, in records and in words."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from pydantic import Field

from scenes.meters import difference_words, format_stops
from scenes.stage import Stage

from .backdrop import backdrop_report
from .hazing import haze_report
from .maps import DARKEST_STOPS
from .meterset import FACE_PROBE
from .olat import OlatSet
from .outputs import CHECKSUMS
from .readings import ALL_LIGHTS, all_readings
from .record import Record
from .report import CameraSettings
from .sheet.type import true_minus
from .styles import StyleReport
from .variants import Variant


class HazeNumbers(Record):
    """What haze shows; null where nothing does, or the face is dark."""

    beam: str | None = Field(description="the light whose beam shows most")
    beam_stops: float | None = Field(description="by which it reads over its background")
    face_contrast_taken: float | None = Field(description="share of the face's contrast that the haze takes")


class CellNumbers(Record):
    """The numbers under a picture; null where nothing is read."""

    face_stops: float | None = Field(description="all lights, dome at the face, from the set aperture")
    cheeks_ratio: float | None = Field(description="brighter cheek over the other, each metered flat on it, all lights")
    background_light_stops: float | None = Field(
        description="light on the background, flat on it, from the face's reading; the median over the picture"
    )
    background_seen_stops: float | None = Field(
        description="the background as seen, its colour and haze included, from mid-grey: the median over the picture"
    )
    haze: HazeNumbers | None = Field(default=None, description="null on a clear set")


class CellReport(Record):
    """One variant of a comparison."""

    row: int
    column: int
    labels: list[str]
    numbers: CellNumbers
    power_change_stops: dict[str, float] = Field(description="by which lights were evened out; empty if they were not")
    style: StyleReport | None
    notes: list[str]
    noise_stops: float | None = Field(description="of the noisiest light over the face, before denoising")
    warnings: list[str]


class AxisReport(Record):
    """What is varied in one direction."""

    name: str
    labels: list[str]


class CompareReport(Record):
    """`compare.json`."""

    format: int = 1
    title: str
    settings: CameraSettings | None = Field(description="null when the exposure itself is varied")
    across: AxisReport
    down: AxisReport | None
    evened: bool
    quality: str
    cells: list[CellReport]
    notes: list[str] = Field(
        default=[], description="about the sheet itself, such as characters that cannot be printed"
    )
    checksums: dict[str, str] = CHECKSUMS


@dataclass(frozen=True, slots=True)
class Cell:
    """A variant as drawn: `picture` (h, w, 3) uint8, `stops` (h, w) from mid-grey and
    `no_detail` (h, w) bool at traced size."""

    variant: Variant
    picture: np.ndarray
    stops: np.ndarray
    no_detail: np.ndarray
    report: CellReport


def numbers_of(olat: OlatSet, stage: Stage) -> CellNumbers:
    """Face, cheeks and background of a stage, all its lights together."""
    readings = {(r.probe, r.aim): r for r in all_readings(olat.meters, stage) if r.light == ALL_LIGHTS}
    face = readings[FACE_PROBE, "dome"].stops
    sides = [readings[probe, "flat:surface"].exposure_lx_s for probe in ("cheek_L", "cheek_R")]
    behind = backdrop_report(olat, stage)
    return CellNumbers(
        face_stops=face,
        cheeks_ratio=max(sides) / min(sides) if min(sides) > 1e-9 else None,
        background_light_stops=None if face is None or behind is None else behind.light_stops - face,
        background_seen_stops=None if behind is None else behind.seen_stops,
    )


def haze_numbers(olat: OlatSet, stage: Stage) -> HazeNumbers | None:
    """What haze shows on a traced stage; None on a clear one."""
    report = haze_report(olat, stage)
    if report is None:
        return None
    beam = next((b for b in report.beams if b.light == report.carried_by), None)
    return HazeNumbers(
        beam=report.carried_by, beam_stops=None if beam is None else beam.brightest_stops,
        face_contrast_taken=report.face.contrast_taken,
    )  # fmt: skip


def number_words(numbers: CellNumbers) -> list[tuple[str, str]]:
    """The numbers as they stand under a picture: the value, and what it is of; two more where there is haze."""
    ratio = numbers.cheeks_ratio
    told = [
        ("dark" if numbers.face_stops is None else difference_words(numbers.face_stops), "face"),
        ("one only" if ratio is None else f"{ratio:.1f}:1" if ratio < 99.5 else "over 99:1", "cheeks"),
        (_light_behind(numbers), "light behind"),
        (_look_behind(numbers.background_seen_stops), "tone behind"),
    ]
    if numbers.haze is not None:
        beam, taken = numbers.haze.beam_stops, numbers.haze.face_contrast_taken
        told.append(("none" if beam is None else true_minus(format_stops(beam)), "beam"))
        told.append(("dark" if taken is None else f"{100 * (1 - taken):.0f} %", "contrast left"))
    return told


BACKGROUND_WORDS = (
    "Light behind: on the background, from the face's. Tone behind: the background as seen, in stops from mid-grey. "
    "Both are medians over all of it that the picture shows, not a reading at one point."
)
"""What the two numbers of the background mean."""


def _light_behind(numbers: CellNumbers) -> str:
    """Light on the background from the face's; a map ends at its darkest, so what lies there is "none"."""
    light, face = numbers.background_light_stops, numbers.face_stops
    if light is None or face is None or light + face <= DARKEST_STOPS:
        return "none"
    return difference_words(light, level="the same")


def _look_behind(stops: float | None) -> str:
    """How the background looks, from mid-grey."""
    if stops is None:
        return "not seen"
    return "black" if stops <= DARKEST_STOPS else true_minus(format_stops(stops))
