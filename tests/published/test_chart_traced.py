"""The ISO 17321-1 chart, traced and developed: colours under daylight, tungsten, fluorescent and LED light.

Reference: the chart's spectra in colour-science, integrated at 1 nm by CIE 015:2018; and for D50, D65 and A the table
in data/chart.csv. The patches stand in even light from all around, so that their radiance is their reflectance and
whatever differs is the bands' doing, in the whole path from finish to picture.
"""

from __future__ import annotations

import csv
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from materials import make_source, xyz
from render import Cache, trace
from render.look import xyz_weights
from tests.materials.chart import chart, colour_difference, lab
from tests.render.sets import camera, finish, light, probe, quad, stage

COLUMNS, ROWS = 6, 4
TABLE = Path(__file__).parent / "data" / "chart.csv"


def _stage(source: str):
    patches = [
        quad((x - 3, 1 - y, 0), (1, 0, 0), (0, 1, 0), finish(reflectance))
        for (y, x), reflectance in zip(np.ndindex(ROWS, COLUMNS), chart().values(), strict=True)
    ]
    view = camera(at=(0, 0, 40), look=(0, 0, 0), half_angle_deg=np.degrees(np.arctan(3 / 40)), size=(6 * 8, 4 * 8))
    return stage(patches, [light(None, "sky", source=source)], view, [probe("face", (0, 0, 5), (0, 0, 1))])


@cache
def _transport(folder: Path):
    return trace(_stage("E"), samples=2, cache=Cache(folder))


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("chart")


def traced_lab(source: str, folder: Path) -> np.ndarray:
    """CIELAB (24, 3) of the patches' middles, the light being white."""
    olat = _transport(folder)
    weights = xyz_weights(olat.meters, _stage(source))[0]
    middles = olat.noisy().radiance[0][:, 4::8, 4::8].reshape(len(weights), -1)
    tristimulus = (weights.T @ middles).T
    white = xyz(make_source(source).spd)
    perfect = weights.sum(axis=0)[1] / np.pi / white[1]  # a perfect reflector's radiance here is 1 / pi
    return lab(tristimulus / perfect, white)


@pytest.mark.parametrize("source", ["D50", "D65", "A", "flash", "FL2", "FL11", "LED-B3", "LED-RGB1"])
def test_every_patch_is_within_a_third_of_a_just_visible_step(source, folder):
    """DE00 0.3 is the rule of `materials.bands`; half precision on disk adds less than 0.05."""
    spd = make_source(source).spd
    truth = lab(np.stack([xyz(reflectance * spd) for reflectance in chart().values()]), xyz(spd))
    assert colour_difference(traced_lab(source, folder), truth).max() < 0.35


@pytest.mark.parametrize("source", ["D50", "D65", "A"])
def test_the_chart_has_its_tabled_colours(source, folder):
    rows = list(csv.DictReader(line for line in TABLE.read_text().splitlines() if not line.startswith("#")))
    table = {row["patch"]: [float(row[f"{axis}_{source}"]) for axis in "Lab"] for row in rows}
    wanted = np.array([table[name] for name in chart()])
    difference = colour_difference(traced_lab(source, folder), wanted)
    assert difference.mean() < 0.5
    assert difference.max() < 1


def test_three_broad_channels_would_not_do(folder):
    """The same light cut to three block spectra, as RGB rendering has it, is visibly wrong under a three-band lamp."""
    spd = make_source("FL11").spd
    blocks = np.repeat(np.eye(3), [110, 90, 201], axis=1)
    coarse = [(blocks @ reflectance / blocks.sum(axis=1)) @ blocks for reflectance in chart().values()]
    wrong = lab(np.stack([xyz(reflectance * spd) for reflectance in coarse]), xyz(spd))
    assert colour_difference(traced_lab("FL11", folder), wrong).max() > 5
