"""Exposure maps: how many stops each pixel lies from mid-grey, and what a meter would read across the set."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from scenes.exposure import exposure_from_f_number
from scenes.stage import REGIONS, Stage

from .denoise import denoise_plane
from .hazing import haze_light
from .look import mid_grey_scale, xyz_weights
from .olat import OlatSet

DARKEST_STOPS = -8.0  # darker pixels are shown and counted as this; stated in the legend
DARK_STOPS = -5.0
_VIEWS = {
    "exposure": ("whole frame", tuple(REGIONS)),
    "face": ("face", ("face", "eye")),
    "background": ("background", ("background", "wall", "floor")),
}


@dataclass(frozen=True, slots=True)
class ExposureMap:
    """Stops from mid-grey (or, for "incident", from the set aperture), and the pixels that count.

    `stops` (H, W) float32, never below `DARKEST_STOPS`; `mask` (H, W) bool; `clipped_above` in stops.
    """

    name: str
    title: str
    stops: np.ndarray
    mask: np.ndarray
    clipped_above: float


@dataclass(frozen=True, slots=True)
class MapNumbers:
    """Summary of a map over its mask; shares in 0..1; None for all where the mask is empty."""

    minimum: float | None
    median: float | None
    maximum: float | None
    share_clipped: float | None
    share_dark: float | None


def luminance_stops(olat: OlatSet, stage: Stage) -> np.ndarray:
    """Stops (H, W) from mid-grey of what the camera records."""
    luminance = olat.weighted(xyz_weights(olat.meters, stage)[:, :, 1:2])[0]
    return _stops(luminance * mid_grey_scale(stage.exposure) / 0.18)


def incident_stops(olat: OlatSet, stage: Stage) -> np.ndarray:
    """Stops (H, W) over or under the set aperture that a flat meter lying on each surface would read."""
    lux_seconds = olat.weighted(xyz_weights(olat.meters, stage)[:, :, 1:2], "irradiance")[0]
    wanted = exposure_from_f_number(stage.exposure.f_number, stage.exposure.iso)
    return _stops(denoise_plane(lux_seconds, olat.guides.normal) / wanted)


def _stops(ratio: np.ndarray) -> np.ndarray:
    return np.log2(np.maximum(ratio, 2.0**DARKEST_STOPS)).astype(np.float32)


def exposure_maps(olat: OlatSet, stage: Stage, clip_value: float) -> list[ExposureMap]:
    """The maps of the whole frame, the face and the background, and the incident map.

    Parameters
    ----------
    clip_value : scene-linear value (mid-grey 0.18) at which the tone curve has no tone left.
    """
    stops = luminance_stops(olat, stage)
    clipped_above = float(np.log2(clip_value / 0.18))
    region = olat.guides.region
    maps = [
        ExposureMap(name, title, stops, np.isin(region, [REGIONS.index(r) for r in regions]), clipped_above)
        for name, (title, regions) in _VIEWS.items()
    ]
    return [
        *maps,
        ExposureMap("incident", "incident light", incident_stops(olat, stage), olat.guides.seen, clipped_above),
    ]


def haze_maps(olat: OlatSet, stage: Stage) -> list[ExposureMap]:
    """What comes out of the haze, alone: in stops from mid-grey, and in stops from what is behind it. None without."""
    light = haze_light(olat, stage)
    if light is None:
        return []
    haze = light.each.sum(axis=0)
    everywhere = np.ones(haze.shape, bool)
    alone = _stops(haze * mid_grey_scale(stage.exposure) / 0.18)
    against = _stops(haze / np.maximum(light.surfaces, 1e-6 * max(float(light.surfaces.max()), 1e-30)))
    return [
        ExposureMap("haze", "haze alone", alone, everywhere, np.inf),
        ExposureMap("haze-against", "haze against what is behind it", np.minimum(against, 8.0), everywhere, np.inf),
    ]


def summarise(exposure_map: ExposureMap) -> MapNumbers:
    """Numbers of a map for the report."""
    values = exposure_map.stops[exposure_map.mask]
    if not values.size:
        return MapNumbers(None, None, None, None, None)
    return MapNumbers(
        minimum=float(values.min()),
        median=float(np.median(values)),
        maximum=float(values.max()),
        share_clipped=float(np.mean(values > exposure_map.clipped_above)),
        share_dark=float(np.mean(values < DARK_STOPS)),
    )
