"""How bright the background is: the light on it, and how it looks, over all of it that the picture shows."""

from __future__ import annotations

import numpy as np
from pydantic import Field

from scenes.stage import REGIONS, Stage

from .maps import incident_stops, luminance_stops
from .olat import OlatSet
from .record import Record

SMALLEST_SHARE = 0.002
"""Share of the frame under which a background counts as not in the picture."""


class BackdropReport(Record):
    """What is behind the sitter, as the picture shows it: medians over its visible pixels, which a shadow of the sitter
    that covers less than half of them does not move."""

    light_stops: float = Field(description="light on it, flat on its surface, from the set aperture; at least -8")
    seen_stops: float = Field(description="as seen, reflectance and haze included, from mid-grey; at least -8")
    share: float = Field(description="of the frame")


def backdrop_report(olat: OlatSet, stage: Stage, incident: np.ndarray | None = None) -> BackdropReport | None:
    """Medians over what the picture shows of the background, else of the walls; None where it shows neither.

    Parameters
    ----------
    incident : what `incident_stops` gives, where it is known.
    """
    region = olat.guides.region
    for name in ("background", "wall"):
        seen = region == REGIONS.index(name)
        if seen.mean() >= SMALLEST_SHARE:
            stops = (incident_stops(olat, stage) if incident is None else incident), luminance_stops(olat, stage)
            light, look = (float(np.median(of[seen])) for of in stops)
            return BackdropReport(light_stops=light, seen_stops=look, share=float(seen.mean()))
    return None
