"""Whether the haze shows: each light's beam against what is behind it, and the veil over face and background."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from pydantic import Field

from scenes.meters import format_stops
from scenes.stage import REGIONS, Stage

from .look import xyz_weights
from .olat import OlatSet
from .record import Record

VISIBLE_CONTRAST = 0.02
"""Contrast from which a beam counts as seen: the threshold behind visibility (Koschmieder 1924)."""

PEAK_SHARE = 0.99
"""The peak of a beam is told at this share of the pixels, so that one bright pixel says nothing."""

_FACE = ("face", "eye")
_BEHIND = ("background", "wall")


class BeamInHaze(Record):
    """One light in the haze, against everything else in the picture; null where it adds nothing that is seen."""

    light: str
    share_seen: float = Field(description="share of the picture where its beam has a contrast of 0.02 or more")
    peak_stops: float | None = Field(description="over its background, at the brightest hundredth of the picture")
    median_stops: float | None = Field(description="over its background, where it is seen")


class VeilReport(Record):
    """What the haze lays over a part of the picture; null where that part is not in it."""

    stops: float | None = Field(description="by which the haze lifts the part, median")
    contrast_lost: float | None = Field(description="share of the part's contrast that the haze takes")


class HazeReport(Record):
    """The haze of the set."""

    fluid: str
    droplet_um: float = Field(description="median diameter by mass; what concentration follows from")
    visibility_m: float
    extinction_per_m: float = Field(description="at 550 nm, where it is densest")
    concentration_mg_m3: float = Field(description="mass of droplets in the air, where it is densest")
    form: str
    beams: list[BeamInHaze]
    carried_by: str | None = Field(description="the light whose beam shows most; null when none does")
    face: VeilReport
    background: VeilReport
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
    each = olat.weighted_each(weights, "haze")[:, 0]
    total = olat.weighted(weights)[0]
    return HazeLight(each, np.maximum(total - each.sum(axis=0), 0))


def haze_report(olat: OlatSet, stage: Stage) -> HazeReport | None:
    """Judge the haze of a stage; None on a clear set."""
    light = haze_light(olat, stage)
    if light is None or stage.haze is None:
        return None
    total = light.surfaces + light.each.sum(axis=0)
    beams = [
        _beam(name, part, total) for name, part, lit in zip(olat.names, light.each, stage.lights, strict=True) if lit.on
    ]
    seen = [beam for beam in beams if beam.peak_stops is not None]
    first = max(seen, key=lambda beam: beam.peak_stops or 0.0, default=None)
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
        face=_veil(light, np.isin(region, [REGIONS.index(r) for r in _FACE])),
        background=_veil(light, np.isin(region, [REGIONS.index(r) for r in _BEHIND])),
        words=_words(beams),
    )


def _form(stage: Stage) -> str:
    assert stage.haze is not None
    density = stage.haze.density
    if density is None:
        return "even"
    return "layered" if density.shape[0] == 1 else "plume"


def _beam(name: str, part: np.ndarray, total: np.ndarray) -> BeamInHaze:
    rest = np.maximum(total - part, 1e-12)
    contrast = part / rest
    seen = contrast >= VISIBLE_CONTRAST
    if not part.any() or not seen.any():
        return BeamInHaze(light=name, share_seen=0.0, peak_stops=None, median_stops=None)
    peak = float(np.log2(1 + np.quantile(contrast, PEAK_SHARE)))
    return BeamInHaze(
        light=name,
        share_seen=float(seen.mean()),
        peak_stops=peak,
        median_stops=float(np.log2(1 + np.median(contrast[seen]))),
    )


def _veil(light: HazeLight, mask: np.ndarray) -> VeilReport:
    haze, surface = light.each.sum(axis=0)[mask], light.surfaces[mask]
    if not haze.size or surface.mean() <= 0:
        return VeilReport(stops=None, contrast_lost=None)
    lifted = np.log2(1 + haze / np.maximum(surface, 1e-3 * surface.mean()))
    return VeilReport(stops=float(np.median(lifted)), contrast_lost=float(haze.mean() / (haze.mean() + surface.mean())))


def _words(beams: list[BeamInHaze]) -> str:
    """One sentence on which light carries the haze."""
    shown = sorted((b for b in beams if (b.peak_stops or 0) >= 0.05), key=lambda b: -(b.peak_stops or 0))
    silent = [b.light for b in beams if b not in shown]
    if not shown:
        return "No light's beam shows in the haze: none comes from behind it toward the camera strongly enough."
    first = shown[0]
    text = f"The beam of {first.light} reads {format_stops(first.peak_stops or 0)[1:]} stops over its background"
    if len(shown) > 1:
        rest = [f"{b.light} {format_stops(b.peak_stops or 0)[1:]}" for b in shown[1:]]
        text += f", then {', '.join(rest)}"
    if silent:
        text += f"; {', '.join(silent)} {'adds' if len(silent) == 1 else 'add'} none"
    return f"{text}."
