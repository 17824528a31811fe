"""Which fixture bodies stand in the way of a light.

Only those take part in its tracing, so that moving one light re-traces that light, and any other only when the
moved body cuts its light on the way to what the camera or a meter sees, now or before.
"""

from __future__ import annotations

import drjit as dr
import mitsuba as mi
import numpy as np

from scenes.stage import Fixture

from .bodies import nearest_body, upload_bodies
from .buffers import buffer
from .luminaire import NO_BODY
from .sampler import pair
from .toward import sample_light
from .types import Luminaire

_SAMPLES = 4


def blocking_bodies(light: Luminaire, others: list[Fixture], points: np.ndarray) -> list[int]:
    """Indices of the `others` that some ray from the light to one of `points` (n, 3) enters."""
    if not others or not len(points):
        return []
    count = len(points) * _SAMPLES
    lane = dr.arange(mi.UInt32, count)
    where = mi.Point3f(dr.gather(mi.Point3f, buffer(points), lane // _SAMPLES))
    u, v = pair(lane // _SAMPLES, lane % _SAMPLES)
    sample = sample_light(light, where, mi.Vector3f(0, 1, 0), u, v)
    body = nearest_body(upload_bodies(others), where, sample.direction, mi.Bool(False), mi.UInt32(NO_BODY))
    cut = (body.index != NO_BODY) & (body.distance < sample.distance * (1 - 1e-4)) & (sample.weight > 0)
    found = dr.zeros(mi.UInt32, len(others))
    dr.scatter(found, mi.UInt32(1), body.index, active=cut)
    return [int(i) for i in np.flatnonzero(np.array(found))]
