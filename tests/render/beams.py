"""Fixtures of every optical part, for the tests of the light they send out."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from scenes.emission import Emission, Hull
from scenes.optics import Angular, Cells, Optics, Slide, Source
from scenes.stage import Fixture

from .sets import fixture


def shaped(of: Fixture, **optics) -> Fixture:
    """The fixture with these optics."""
    return replace(of, optics=Optics(**optics))


def _noise(*shape: int) -> np.ndarray:
    return np.random.default_rng(sum(shape)).random(shape).astype(np.float32)


def _disk(diameter: float, depth: float) -> Source:
    return Source("disk", np.array([diameter, diameter]), depth)


def _box(width: float, height: float, depth: float) -> Source:
    return Source("rectangle", np.array([width, height]), depth)


def _mouth(outline: str, size: tuple[float, float], hull: Hull, rows: tuple[int, int, int], **more: float) -> Emission:
    """A table of noise over a level, with plate, wall and screen of so many rows."""
    told = {"screen_depth_m": 0.0, "screen_radius_m": 0.0, "lamp_depth_m": 0.0, "lamp_radius_m": 0.0}
    told |= {"lamp_luminance": 0.0} | more
    return Emission(
        values=_noise(sum(rows), 9, 5) + 1, hull=hull, plate_rows=rows[0], screen_rows=rows[2], outline=outline,
        half_m=np.array(size) / 2, **told,
    )  # fmt: skip


def all_beams() -> dict[str, Fixture]:
    """One fixture for every part of a beam, and for the combinations that modifiers make."""
    leaves = np.array([[0.2, 0.3], [0.2, 0.1], [0.1, 0.3], [0.1, 0.2]])
    spot = fixture("spot", (0.15, 0.15), beam=25, field=30)
    return {
        "plain disk": fixture("disk", (0.2, 0.2)),
        "hexagons": shaped(
            fixture("disk", (0.2, 0.2)), cells=Cells("hexagon", 2.3, 0.92), source=_disk(0.2, 0.012), efficiency=0.7
        ),
        "round cells": shaped(fixture("disk", (0.2, 0.2)), cells=Cells("round", 3, 0.9)),
        "snoot": shaped(fixture("disk", (0.06, 0.06)), source=_disk(0.08, 0.2)),
        "recessed box with squares": shaped(
            fixture("rectangle", (0.6, 0.9)),
            source=_box(0.6, 0.9, 0.05), cells=Cells("square", 1.2, 0.95), glow=_noise(16, 16),
        ),
        "octagon with doors": shaped(
            fixture("octagon", (0.5, 0.5)),
            angular=Angular((np.cos(np.linspace(0, math.pi / 2, 33)) ** 3)[None].astype(np.float32), math.pi / 2),
            edges=leaves,
        ),
        "table of directions": shaped(fixture("rectangle", (0.5, 0.4)), angular=Angular(_noise(8, 20), 0.6)),
        "luminance by direction": shaped(
            fixture("rectangle", (0.5, 0.4)), angular=Angular(_noise(12, 19), math.pi / 2, "luminance")
        ),
        "slide": shaped(spot, slide=Slide(_noise(12, 9), np.array([0.5, 0.7]), 2.0)),
        "ring": replace(fixture("disk", (0.4, 0.4)), hole_m=0.2),
        "sheet that glows on both sides": shaped(fixture("disk", (0.8, 0.8)), back_share=0.6, efficiency=0.4),
        "bowl with a lamp": shaped(
            fixture("disk", (0.2, 0.2)),
            emission=_mouth("disk", (0.2, 0.2), Hull(0.1, 0.13, 0.05, 0.0), (4, 6, 0),
                            lamp_depth_m=0.09, lamp_radius_m=0.03, lamp_luminance=5.0), efficiency=0.6,
        ),
        "bowl with a deflector behind a grid": shaped(
            fixture("disk", (0.5, 0.5)),
            emission=_mouth("disk", (0.5, 0.5), Hull(0.25, 0.18, 0.3, 0.0), (4, 6, 3),
                            screen_depth_m=0.06, screen_radius_m=0.07,
                            lamp_depth_m=0.13, lamp_radius_m=0.03, lamp_luminance=9.0),
            cells=Cells("round", 1.5, 0.9), source=_disk(0.5, 0.01),
        ),
        "bowl behind a grid whose walls mirror": shaped(
            fixture("disk", (0.5, 0.5)),
            emission=_mouth("disk", (0.5, 0.5), Hull(0.25, 0.18, 0.3, 0.0), (4, 6, 3),
                            screen_depth_m=0.06, screen_radius_m=0.07,
                            lamp_depth_m=0.13, lamp_radius_m=0.03, lamp_luminance=9.0),
            cells=Cells("hexagon", 2.5, 0.9, 0.56), source=_disk(0.5, 0.01),
        ),
        "round cells whose walls mirror": shaped(fixture("disk", (0.5, 0.5)), cells=Cells("round", 1.5, 0.9, 0.3)),
        "open box": shaped(
            fixture("rectangle", (0.4, 0.9)),
            emission=_mouth("rectangle", (0.4, 0.9), Hull(0.338, 0.4, 0.4732, 0.49), (3, 7, 0),
                            lamp_depth_m=0.35, lamp_radius_m=0.03, lamp_luminance=7.0),
            source=_box(0.4, 0.9, 0.0),
        ),
        "canopy": shaped(
            fixture("octagon", (0.8, 0.8)),
            emission=_mouth("octagon", (0.8, 0.8), Hull(0.41, 0.2, 0.64, -1.0), (0, 6, 0)),
        ),
        "tube": fixture("tube", (1.2, 0.04)),
        "ball": fixture("sphere", (0.2, 0.2)),
        "ball with a table": shaped(fixture("sphere", (0.2, 0.2)), angular=Angular(_noise(4, 37), math.pi)),
    }  # fmt: skip
