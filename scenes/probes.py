"""Where a hand meter is held on this set."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from .backdrop import EDGE_M, Backdrop, Seen
from .placing import FACE_POINTS, PlacedSitter
from .stage import Camera, Fixture, Probe

AIM_PROBE = "aim_"
"""What the name of a meter point where a light is aimed begins with."""

METER_CLEARANCE_M = 0.02
"""How far off the surface the middle of the meter's sensor is, metres."""

KNEE_HEIGHT_M = 0.45
"""Height of an adult's knee above the floor, metres (common practice, no source)."""

STEP_M = 0.3
"""How far before the feet the floor is metered, metres."""

_KNEE_BAND_M = 0.03
_BODY_POINTS = {"chest": "cloth", "hand_L": "skin", "hand_R": "skin"}
_BACKGROUND_POINTS = {
    "background_centre": (0.0, 0.0),
    "background_left": (-0.8, 0.0),
    "background_right": (0.8, 0.0),
    "background_top": (0.0, 0.8),
    "background_bottom": (0.0, -0.8),
}


def probes_of(
    sitter: PlacedSitter,
    camera: Camera,
    backdrop: Backdrop | None,
    seen: Seen | None,
) -> tuple[Probe, ...]:
    """Meter points on the face, over the crown, on chest, hands and legs, the floor before the sitter and, if there is
    one, the background.

    The crown, over the hair, is where light from above and behind is read, which never gets to the face.

    The background's points are those nearest to the middle of the picture and to the middles of its edges (at 80 %)
    that the camera sees past the sitter, outside the sitter's shadows and 0.1 m inside the background's own edges, so
    that they tell of what the picture shows. Where the picture shows none of it, they are where those places would
    meet it.
    """
    points = []
    for name in ("face", *FACE_POINTS, *_BODY_POINTS):
        if name in sitter.landmarks:
            mark = sitter.landmarks[name]
            normal = np.asarray(mark.normal, float)
            place = mark.position_m + METER_CLEARANCE_M * normal
            points.append(Probe(name, place, normal, _BODY_POINTS.get(name, "face")))
    top = sitter.landmarks.get("hair_top") or sitter.landmarks.get("crown")
    if top is not None:
        up = np.array([0.0, 1.0, 0.0])
        points.append(Probe("crown", top.position_m + METER_CLEARANCE_M * up, up, "hair"))
    points += _low_points(sitter)
    if backdrop is not None:
        for name, (x, y) in _BACKGROUND_POINTS.items():
            clear = None if seen is None else seen.nearest(x, y)
            place = _on_plane(camera, x, y, backdrop) if clear is None else clear
            out = np.array([0.0, 0.0, 1.0])
            points.append(Probe(name, place + METER_CLEARANCE_M * out, out, "background"))
    return tuple(points)


def aim_probes(backdrop: Backdrop, fixtures: Mapping[str, Fixture]) -> list[Probe]:
    """A meter point "aim_NAME" where the axis of each light meets the background; none where it misses it.

    Parameters
    ----------
    fixtures : of the lights, by name, that are pointed at a place rather than a landmark.
    """
    out = np.array([0.0, 0.0, 1.0])
    found = []
    for name, fixture in fixtures.items():
        if fixture.forward[2] > -1e-3 or fixture.centre_m[2] <= backdrop.z_m:
            continue
        reach = (backdrop.z_m - fixture.centre_m[2]) / fixture.forward[2]
        met = fixture.centre_m + reach * fixture.forward
        if backdrop.inside(met[None])[0]:
            found.append(Probe(f"{AIM_PROBE}{name}", met + METER_CLEARANCE_M * out, out, "background"))
    return found


def _low_points(sitter: PlacedSitter) -> list[Probe]:
    """On the foremost of the legs at knee height, where there are legs; and on the floor one step before the feet."""
    x = float(sitter.landmarks["face"].position_m[0])
    low = np.concatenate([part.vertices for part in sitter.parts])
    low = low[low[:, 1] < 2 * KNEE_HEIGHT_M]
    probes = []
    knee = low[np.abs(low[:, 1] - KNEE_HEIGHT_M) < _KNEE_BAND_M]
    if len(knee):
        at = knee[np.argmax(knee[:, 2])] + [0.0, 0.0, METER_CLEARANCE_M]
        probes.append(Probe("legs", np.asarray(at, float), np.array([0.0, 0.0, 1.0]), "cloth"))
    front = float(low[:, 2].max()) if len(low) else float(sitter.high[2])
    floor = np.array([x, METER_CLEARANCE_M, front + STEP_M])
    return [*probes, Probe("floor", floor, np.array([0.0, 1.0, 0.0]), "floor")]


def _on_plane(camera: Camera, x: float, y: float, backdrop: Backdrop) -> np.ndarray:
    """Point of the plane that the picture shows at (x, y) in [-1, 1], moved inside the edges."""
    ray = camera.forward + x * camera.tan_half_width * camera.right + y * camera.tan_half_height * camera.up
    z, height = backdrop.z_m, backdrop.height_m
    reach = (z - camera.origin_m[2]) / ray[2] if ray[2] < -1e-6 else 0.0
    met = camera.origin_m + reach * ray if reach > 0 else np.array([0.0, height / 2, z])
    edge_x, edge_y = min(EDGE_M, backdrop.half_width_m / 2), min(EDGE_M, height / 2)
    across, up = backdrop.half_width_m - edge_x, height - edge_y
    return np.array([np.clip(met[0], -across, across), np.clip(met[1], edge_y, up), z])
