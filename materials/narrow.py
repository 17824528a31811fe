"""Light of narrow lines: how far the bands carry its colours, and more bands where they would not.

Between the nodes a reflectance is drawn, so a line that falls between two of them meets a reflectance that is a little
off. Broad light averages that out; sodium, mercury and laser light do not. A set with such a source gets nodes at its
lines, where reflectances are exact.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache, lru_cache
from pathlib import Path

import numpy as np

from .bands import NODES_NM, Bands, default_bands, spline_bands
from .difference import ciede2000, cielab
from .skin import SKIN_TONES, skin_finish
from .sources import make_source
from .spectra import WAVELENGTHS_NM, colour_matching, xyz

LIMIT_DE00 = 1.0
"""Largest error of a colour that is let pass without a word: about a just visible difference."""

MOST_BANDS = 32
_WANTED_DE00 = 0.5
_NEAR_NM = 3.0
_LEAST_WHITE = 0.05  # of the smallest tristimulus value over Y


def colour_error(bands: Bands, spd: np.ndarray, white: np.ndarray) -> float:
    """Largest colour difference (CIEDE2000) of what bands carry against 1 nm integration; 0 for light that is dark.

    Judged on the chart of ISO 17321-1 and on our skins, each alone and every product of two (one bounce). The camera is
    set to `white` or to flash, whichever shows more; a white of nearly one primary alone is left out.

    Parameters
    ----------
    spd : (401,) the light, of any strength; it is brought to the same luminance as if the power were raised.
    white : (401,) the same light without its gels.
    """
    return _error(*(np.asarray(a, float).tobytes() for a in (bands.nodes_nm, spd, white)))


def bands_for(spectra: Iterable[np.ndarray]) -> Bands:
    """The bands to trace a set with, by the bare sources (401,) of its lights: the usual ones, or with nodes moved to
    and added at the lines of sources that the usual ones carry worse than `LIMIT_DE00`; at most `MOST_BANDS`.

    Gels do not count, so that changing one traces nothing.
    """
    return _bands_for(tuple(sorted({np.asarray(spd, float).tobytes() for spd in spectra})))


@lru_cache(maxsize=64)
def _bands_for(spectra: tuple[bytes, ...]) -> Bands:
    lights = [np.frombuffer(spd) for spd in spectra]
    bands = default_bands()
    if all(colour_error(bands, spd, spd) <= LIMIT_DE00 for spd in lights):
        return bands
    nodes, placed = list(NODES_NM), set[float]()
    while True:
        errors = [colour_error(bands, spd, spd) for spd in lights]
        worst = int(np.argmax(errors))
        if errors[worst] <= _WANTED_DE00 or len(nodes) >= MOST_BANDS:
            return bands
        line = _worst_line(bands, lights[worst])
        free = [node for node in nodes if node not in placed and abs(node - line) <= _NEAR_NM]
        if free:
            nodes.remove(min(free, key=lambda node: abs(node - line)))
        nodes = sorted({*nodes, line})
        placed.add(line)
        bands = spline_bands(tuple(nodes))


def _worst_line(bands: Bands, spd: np.ndarray) -> float:
    """The wavelength at which a light shows most of what the bands get wrong, no node yet."""
    single, products, pairs = _judged()
    numbers = bands.project(single)
    off = np.abs(products - (numbers[pairs[0]] * numbers[pairs[1]]) @ bands.basis.T).max(axis=0)
    weight = off * spd * colour_matching().sum(axis=1)
    weight[np.searchsorted(WAVELENGTHS_NM, bands.nodes_nm)] = 0
    return float(WAVELENGTHS_NM[int(np.argmax(weight))])


@lru_cache(maxsize=256)
def _error(nodes: bytes, spd: bytes, white: bytes) -> float:
    bands = spline_bands(tuple(np.frombuffer(nodes)))
    light, bare = np.frombuffer(spd), np.frombuffer(white)
    if not xyz(light)[1] > 0:
        return 0.0
    light = light / xyz(light)[1]
    single, products, (first, second) = _judged()
    numbers = bands.project(single)
    exact = xyz(np.concatenate([single, products]) * light)
    carried = np.concatenate([numbers, numbers[first] * numbers[second]]) @ bands.xyz_weights(light)
    found = 0.0
    for reference in (bare, make_source("flash").spd):
        balance = xyz(reference) / xyz(reference)[1]
        if balance.min() >= _LEAST_WHITE:
            found = max(found, float(ciede2000(cielab(exact / balance), cielab(carried / balance)).max()))
    return found


@cache
def _judged() -> tuple[np.ndarray, np.ndarray, tuple[np.ndarray, np.ndarray]]:
    """Chart patches, skins, lips and ruddy skins (n, 401), the products of every two (m, 401), and their indices."""
    table = np.loadtxt(Path(__file__).parent / "data" / "chart.csv", delimiter=",", skiprows=2)
    patches = np.stack([np.interp(WAVELENGTHS_NM, table[:, 0], column) for column in table[:, 1:].T])
    single = np.concatenate([patches, *(skin_finish(tone).reflectance[:3] for tone in SKIN_TONES)])
    first, second = np.triu_indices(len(single))
    return single, single[first] * single[second], (first, second)
