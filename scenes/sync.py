"""Flash and shutter: whether the shutter is open all over while the flash burns."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from .findings import Problem
from .meters import format_shutter

USUAL_SYNC_S = 1 / 200
"""Shortest shutter time taken to catch a flash whose own is not known (common practice, no source: 1/125 to 1/250)."""

_MARGIN = 0.98  # 1/200 and the 1/203 of an engraved scale are the same setting


def sync_time(known: Iterable[float | None]) -> float | None:
    """Shortest shutter time (s) that catches every flash of a set; None without flash.

    Parameters
    ----------
    known : of each flash, its own shortest time in seconds, or None where its owner does not say.
    """
    return max((USUAL_SYNC_S if time is None else time for time in known), default=None)


def sync_problems(shutter_s: float, known: list[float | None]) -> Iterator[Problem]:
    """A warning when the shutter is too short for the flashes; its path begins at the exposure table."""
    sync = sync_time(known)
    if sync is None or shutter_s >= sync * _MARGIN:
        return
    whose = "of a head on this set" if any(known) else "usual for flash, 1/125 to 1/250 s; leaf shutters go shorter"
    yield Problem(
        ("shutter_s",),
        f"{format_shutter(shutter_s)} is shorter than the sync time of {format_shutter(sync)} ({whose}), so part of "
        "the frame would miss the flash",
        f"Allowed: {format_shutter(sync)} or longer.",
        "Lengthen it, and lose ambient light by ISO and aperture instead.",
        "warning",
    )
