"""Exposure maps: how many stops each pixel lies from mid-grey, and what a meter would read across the set."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from scenes.bodies import exit_outline, project
from scenes.exposure import exposure_from_f_number
from scenes.stage import REGIONS, Fixture, Stage

from .denoise import denoise_plane
from .develop import Picture
from .haze_ways import share_reached
from .hazing import haze_light
from .look import mid_grey_scale, xyz_weights
from .olat import Guides, OlatSet

DARKEST_STOPS = -8.0  # darker pixels are shown and counted as this; stated in the legend
DARK_STOPS = -5.0
EDGE_BEND = 0.02
"""Share of the depth that a surface stands before the next where its border is drawn: 4 cm at 2 m."""

_BARE = ("face", "skin", "eye")
_SITTER = ("face", "skin", "hair", "eye", "cloth")
_VIEWS = {
    "exposure": ("whole frame", tuple(REGIONS)),
    "face": ("face", ("face", "eye")),
    "background": ("background", ("background", "wall", "floor")),
}


@dataclass(frozen=True, slots=True)
class ExposureMap:
    """Stops from mid-grey (or, for "incident", from the set aperture), and the pixels that count.

    Attributes
    ----------
    stops : (H, W) float32, never below `DARKEST_STOPS`.
    mask : (H, W) bool.
    edges : (H, W) bool, pixels at the border of a surface (`surface_edges`), which contours do not cross; None: none.
    no_detail : (H, W) bool, the developed picture's own (`render.tone.no_detail`); None on maps that show no picture.
    left_out : what of the picture is in no map, with its share of the frame; empty where there is nothing.
    """

    name: str
    title: str
    stops: np.ndarray
    mask: np.ndarray
    no_detail: np.ndarray | None = None
    left_out: str = ""
    edges: np.ndarray | None = None


@dataclass(frozen=True, slots=True)
class MapNumbers:
    """Summary of a map over its mask; shares in 0..1; None for all where the mask is empty, and for the share without
    detail on maps that show no picture."""

    minimum: float | None
    median: float | None
    maximum: float | None
    share_no_detail: float | None
    share_dark: float | None


def luminance_stops(olat: OlatSet, stage: Stage) -> np.ndarray:
    """Stops (H, W) from mid-grey of what the camera records."""
    luminance = olat.weighted(xyz_weights(olat.meters, stage)[:, :, 1:2])[0]
    return _stops(luminance * mid_grey_scale(stage.exposure) / 0.18)


def incident_stops(olat: OlatSet, stage: Stage) -> np.ndarray:
    """Stops (H, W) over or under the set aperture that a flat meter lying on each surface would read."""
    lux_seconds = olat.weighted(xyz_weights(olat.meters, stage)[:, :, 1:2], "irradiance")[0]
    wanted = exposure_from_f_number(stage.exposure.f_number, stage.exposure.iso)
    lux_seconds = lux_seconds / share_reached(stage, olat.guides, olat.meters.bands)
    return _stops(denoise_plane(lux_seconds, olat.guides.normal) / wanted)


def _stops(ratio: np.ndarray) -> np.ndarray:
    return np.log2(np.maximum(ratio, 2.0**DARKEST_STOPS)).astype(np.float32)


def exposure_maps(olat: OlatSet, stage: Stage, picture: Picture) -> list[ExposureMap]:
    """The maps of the whole frame, the face and the background, and the incident map.

    Parameters
    ----------
    picture : what `develop` makes of the same set and stage, at its traced size.
    """
    stops = luminance_stops(olat, stage)
    region = olat.guides.region
    omitted, edges = left_out(olat, stage), surface_edges(olat.guides)
    masks = {name: np.isin(region, [REGIONS.index(r) for r in regions]) for name, (_, regions) in _VIEWS.items()}
    masks["background"] &= ~_near(np.isin(region, [REGIONS.index(r) for r in _SITTER]))
    maps = [
        ExposureMap(name, title, stops, masks[name], picture.no_detail, "" if name == "face" else omitted, edges)
        for name, (title, _) in _VIEWS.items()
    ]
    return [
        *maps,
        ExposureMap("incident", "incident light", incident_stops(olat, stage), olat.guides.seen, None, omitted, edges),
    ]


def _near(mask: np.ndarray) -> np.ndarray:
    """Pixels (H, W) within two of the mask, which its edges and single hairs share."""
    from scipy.ndimage import binary_dilation

    return np.asarray(binary_dilation(mask, iterations=2))


def surface_edges(guides: Guides) -> np.ndarray:
    """Pixels (H, W) bool on either side of where one surface ends before another.

    There the region changes, or the inverse of the depth bends: over a plane it runs straight (perspective), so a floor
    seen at a slant has no edges.
    """
    bare = np.isin(guides.region, [REGIONS.index(name) for name in _BARE])
    kind = np.where(bare, REGIONS.index(_BARE[0]), guides.region.astype(int))
    inverse = 1 / guides.depth_m.astype(float)
    edges = np.zeros(kind.shape, bool)
    for axis in (0, 1):
        k, d = (np.moveaxis(plane, axis, 0) for plane in (kind, inverse))
        found = np.moveaxis(edges, axis, 0)
        changes = k[1:] != k[:-1]
        found[1:] |= changes
        found[:-1] |= changes
        bend = np.abs(d[2:] - 2 * d[1:-1] + d[:-2])
        found[1:-1] |= bend > EDGE_BEND * d[1:-1]
    return edges


def left_out(olat: OlatSet, stage: Stage) -> str:
    """What the picture shows and no map counts, since it is no surface of the set, e.g. "visible lamps (tube) and sky,
    3.6 % of the frame"; empty where there is none."""
    unseen = ~olat.guides.seen
    share = float(unseen.mean())
    if not share:
        return ""
    lamps, rest = [], unseen.copy()
    for light in stage.lights:
        if light.fixture is not None and light.fixture.visible:
            box = _box(stage, light.fixture, unseen.shape)
            if box is not None and unseen[box].any():
                lamps.append(light.name)
                rest[box] = False
    parts = [f"visible lamps ({', '.join(lamps)})"] if lamps else []
    if rest.any() or not lamps:
        sky = any(light.distant is not None and light.distant.kind == "sky" for light in stage.lights)
        parts.append("sky" if sky else "what lies beyond the set")
    return f"{' and '.join(parts)}, {'under 0.1' if share < 0.001 else f'{100 * share:.1f}'} % of the frame"


def _box(stage: Stage, fixture: Fixture, shape: tuple[int, int]) -> tuple[slice, slice] | None:
    """Rows and columns of a picture (H, W) that hold a fixture's exit and housing; None when it is out of the frame."""
    front = exit_outline(fixture)
    seen = project(stage.camera, np.concatenate([front, front - fixture.body_depth_m * fixture.forward]))
    if np.isnan(seen).any():
        return slice(0, shape[0]), slice(0, shape[1])
    x, y = (seen[:, 0] + 1) / 2 * shape[1], (1 - seen[:, 1]) / 2 * shape[0]
    rows, columns = (
        slice(max(int(along.min()) - 1, 0), min(int(np.ceil(along.max())) + 1, size))
        for along, size in zip((y, x), shape, strict=True)
    )
    return None if rows.start >= rows.stop or columns.start >= columns.stop else (rows, columns)


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
        ExposureMap("haze", "haze alone", alone, everywhere),
        ExposureMap("haze-against", "haze against what is behind it", np.minimum(against, 8.0), everywhere),
    ]


def summarise(exposure_map: ExposureMap) -> MapNumbers:
    """Numbers of a map for the report."""
    values = exposure_map.stops[exposure_map.mask]
    if not values.size:
        return MapNumbers(None, None, None, None, None)
    lost = exposure_map.no_detail
    return MapNumbers(
        minimum=float(values.min()),
        median=float(np.median(values)),
        maximum=float(values.max()),
        share_no_detail=None if lost is None else float(lost[exposure_map.mask].mean()),
        share_dark=float(np.mean(values < DARK_STOPS)),
    )
