"""Whether the haze shows: each light's beam against what is behind it, and the veil over face and background."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from pydantic import Field

from scenes.meters import format_amount
from scenes.stage import REGIONS, Stage

from .haze_ways import HazeWay, haze_ways, ways_words
from .look import mid_grey_scale, xyz_weights
from .olat import OlatSet
from .record import Record
from .tone import DEFAULT_CURVE, apply_curve

VISIBLE_CONTRAST = 0.02
"""Contrast from which a beam counts as seen: the threshold behind visibility (Koschmieder 1924)."""

FAINTEST_STOPS = -5.0
"""Haze that adds less than this to the picture, in stops from mid-grey, is not seen: the maps call such tones dark."""

BLACK = 0.01
"""What a viewer sees where the picture is black, over white: the viewing flare of IEC 61966-2-1 (from memory)."""

LEAST_SHARE = 0.001
"""A beam that is seen in less of the picture than this does not show."""

BRIGHTEST = 0.9
"""A beam is told at this share of the pixels where it is seen, so that one bright pixel says nothing."""

_FACE = ("face", "eye")
_BEHIND = ("background", "wall")
_SHADOW_AND_LIGHT = (0.1, 0.9)
_BRIGHTEST_VALUE = 1e6  # linear value far beyond any tone


class BeamInHaze(Record):
    """One light in the haze, against everything else in the developed picture; null where it adds nothing seen."""

    light: str
    share_shown: float = Field(
        description="share of the picture where its haze shows: it adds 5 stops under mid-grey or more, and a contrast "
        "of 0.02 or more over what else the viewer sees there"
    )
    brightest_stops: float | None = Field(
        description="over what is behind it as a viewer sees the picture, in the brightest tenth of where it shows"
    )
    level_stops: float | None = Field(description="of its haze alone, from mid-grey, in the brightest tenth")
    shown_median_stops: float | None = Field(description="over what is behind it, where it shows")


class VeilReport(Record):
    """What the haze lays over a part of the picture; null where that part is not in it or dark."""

    stops: float | None = Field(description="by which the haze lifts the part, median")
    contrast_left: float | None = Field(
        description="(light - shadow) / (light + shadow) of the part, a tenth of it being brighter than the light and "
        "a tenth darker than the shadow, with the haze's own light over both"
    )
    contrast_taken: float | None = Field(description="share of that contrast which the haze's own light takes")


class HazeReport(Record):
    """The haze of the set."""

    fluid: str
    droplet_um: float = Field(description="median diameter by mass; what concentration follows from")
    visibility_m: float = Field(description="where it is densest")
    extinction_per_m: float = Field(description="at 550 nm, where it is densest")
    concentration_mg_m3: float = Field(description="mass of droplets in the air, where it is densest")
    form: str
    beams: list[BeamInHaze]
    carried_by: str | None = Field(description="the light whose beam shows most; null when none does")
    face: VeilReport
    background: VeilReport
    ways: list[HazeWay] = Field(description="what of it lies on the ways that matter")
    words: str


@dataclass(frozen=True, slots=True)
class HazeLight:
    """Luminance-time (cd s/m2) in the picture: `each` (L, H, W) light out of the haze, `surfaces` (H, W) the rest."""

    each: np.ndarray
    surfaces: np.ndarray


def haze_light(olat: OlatSet, stage: Stage) -> HazeLight | None:
    """Luminance out of the haze and of what is behind it; None on a clear set."""
    if not olat.hazy:
        return None
    weights = xyz_weights(olat.meters, stage)[:, :, 1:2]
    each = np.maximum(olat.weighted_each(weights, "haze")[:, 0], 0)
    total = olat.weighted(weights)[0]
    return HazeLight(each, np.maximum(total - each.sum(axis=0), 0))


def haze_report(olat: OlatSet, stage: Stage) -> HazeReport | None:
    """Judge the haze of a stage; None on a clear set."""
    light = haze_light(olat, stage)
    if light is None or stage.haze is None:
        return None
    scale = mid_grey_scale(stage.exposure)
    each, surfaces = (np.asarray(part, np.float64) * scale for part in (light.each, light.surfaces))
    beams = beams_in(each, surfaces, [(lit.name, lit.on) for lit in stage.lights])
    first = max(_shown(beams), key=lambda beam: beam.brightest_stops or 0.0, default=None)
    medium = stage.haze.medium
    region = olat.guides.region
    return HazeReport(
        fluid=medium.fluid,
        droplet_um=medium.droplet_um,
        visibility_m=medium.visibility_m,
        extinction_per_m=float(np.log(50) / medium.visibility_m),
        concentration_mg_m3=medium.concentration_mg_m3,
        form=_form(stage),
        beams=beams,
        carried_by=None if first is None else first.light,
        face=veil(each, surfaces, np.isin(region, [REGIONS.index(r) for r in _FACE])),
        background=veil(each, surfaces, np.isin(region, [REGIONS.index(r) for r in _BEHIND])),
        ways=haze_ways(stage),
        words=_words(beams),
    )


def _form(stage: Stage) -> str:
    assert stage.haze is not None
    density = stage.haze.density
    if density is None:
        return "even"
    return "layered" if density.shape[0] == 1 else "plume"


def beams_in(each: np.ndarray, surfaces: np.ndarray, lights: list[tuple[str, bool]]) -> list[BeamInHaze]:
    """How each light that is on shows in the haze.

    Parameters
    ----------
    each : (L, H, W) light out of the haze, and surfaces : (H, W) the rest; linear, mid-grey 0.18, not negative.
    lights : name of each light, and whether it is on.
    """
    total = surfaces + each.sum(axis=0)
    return [_beam(name, part, total) for (name, on), part in zip(lights, each, strict=True) if on]


def _beam(name: str, part: np.ndarray, total: np.ndarray) -> BeamInHaze:
    rest = np.maximum(total - part, 0)
    with_it, without = (_as_seen(value) for value in (rest + part, rest))
    level = part / 0.18
    shows = (with_it / without >= 1 + VISIBLE_CONTRAST) & (level >= 2.0**FAINTEST_STOPS)
    share = float(shows.mean()) if shows.size else 0.0
    if share < LEAST_SHARE:
        return BeamInHaze(light=name, share_shown=0.0, brightest_stops=None, level_stops=None, shown_median_stops=None)
    over = np.log2(with_it[shows] / without[shows])
    return BeamInHaze(
        light=name,
        share_shown=share,
        brightest_stops=float(np.quantile(over, BRIGHTEST)),
        level_stops=float(np.log2(np.quantile(level[shows], BRIGHTEST))),
        shown_median_stops=float(np.median(over)),
    )


def _as_seen(value: np.ndarray) -> np.ndarray:
    """What a viewer sees of a linear value (mid-grey 0.18) in the developed picture, over white."""
    return np.asarray(apply_curve(np.minimum(value, _BRIGHTEST_VALUE), DEFAULT_CURVE)) + BLACK


def veil(each: np.ndarray, surfaces: np.ndarray, part: np.ndarray) -> VeilReport:
    """What the haze lays over a part (H, W) bool of the picture; `each` and `surfaces` as for `beams_in`."""
    haze, behind = each.sum(axis=0)[part], surfaces[part]
    if not haze.size or not behind.max() > 0:
        return VeilReport(stops=None, contrast_left=None, contrast_taken=None)
    lifted = np.median(np.log2(1 + haze / np.maximum(behind, max(1e-3 * behind.mean(), 1e-30))))
    shadow, light = np.quantile(behind, _SHADOW_AND_LIGHT)
    over = float(np.median(haze))
    seen = shadow + light + 2 * over
    if light + over < 0.18 * 2.0**FAINTEST_STOPS:
        return VeilReport(stops=float(lifted), contrast_left=None, contrast_taken=None)
    return VeilReport(
        stops=float(lifted), contrast_left=float((light - shadow) / seen), contrast_taken=float(2 * over / seen)
    )


def haze_words(haze: HazeReport) -> str:
    """The haze in sentences: what it is, which beams show, what it takes from the face."""
    uneven = haze.form != "even"
    densest = " where it is densest" if uneven else ""
    text = (
        f"Haze ({haze.fluid}, visibility {format_amount(haze.visibility_m, 3)} m{densest}, "
        f"about {format_amount(haze.concentration_mg_m3, 2)} mg/m3): {haze.words}"
    )
    if haze.face.stops is not None and haze.face.contrast_taken is not None:
        text += (
            f" It brightens the face by {haze.face.stops:.1f} stops, and takes {100 * haze.face.contrast_taken:.0f} % "
            "of the contrast between the face's light and shadow."
        )
    if uneven:
        text += f" {ways_words(haze.ways)}"
    return text


def _shown(beams: list[BeamInHaze]) -> list[BeamInHaze]:
    """Beams whose number is not nothing when it is told, the strongest first."""
    shown = [beam for beam in beams if (beam.brightest_stops or 0) >= 0.05]
    return sorted(shown, key=lambda beam: -(beam.brightest_stops or 0))


def _words(beams: list[BeamInHaze]) -> str:
    """One sentence on which light carries the haze."""
    shown = _shown(beams)
    silent = [b.light for b in beams if b not in shown]
    if not shown:
        return "No light's beam shows in the haze: none comes from behind it toward the camera strongly enough."
    first = shown[0]
    level = first.level_stops or 0.0
    text = (
        f"The beam of {first.light} is {first.brightest_stops:.1f} stops brighter than its background, "
        f"{abs(level):.1f} stops {'over' if level > 0 else 'under'} mid-grey"
    )
    text += "".join(f"; the beam of {b.light} {b.brightest_stops:.1f} stops brighter than its own" for b in shown[1:])
    if silent:
        plural = len(silent) > 1
        named = " and ".join([*([", ".join(silent[:-1])] if plural else []), silent[-1]])
        text += f". The {'beams' if plural else 'beam'} of {named} {'do' if plural else 'does'} not show"
    return f"{text}."
