"""Gels: what a sheet in front of a light lets through, wavelength by wavelength.

Correction gels follow the ratio of two black bodies (a shift in mired); party gels are levels of transmittance
with soft edges between. Real sheets differ from these by up to half a stop.
"""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from .errors import DataError, KeyfallError, unknown_name
from .locus import planck
from .sources import Source
from .spectra import WAVELENGTHS_NM, chromaticity, read_csv_spectrum, xyz

SHEET_PEAK = 0.92
"""Most that a coloured sheet lets through: two air surfaces of index 1.5 reflect 4 % each (Fresnel)."""

ORANGE_FROM_K, BLUE_FROM_K = 5500.0, 3200.0
"""The black body an orange or a blue correction gel is drawn for."""

_STOCK: dict[str, dict[str, Any]] = tomllib.loads(
    (Path(__file__).parent / "data" / "gels.toml").read_text(encoding="utf-8")
)

GELS: dict[str, str] = {name: entry["is"] for name, entry in _STOCK.items()}
"""Stock gels, and what each is for."""


@dataclass(frozen=True, slots=True)
class Gel:
    """A sheet or a stack of sheets.

    Attributes
    ----------
    name, description : for lists and reports.
    transmittance : (401,), each in [0, 1].
    parts : names of the sheets of a stack; empty for a single sheet.
    """

    name: str
    description: str
    transmittance: np.ndarray
    parts: tuple[str, ...] = ()

    @property
    def sheets(self) -> tuple[str, ...]:
        """Names of its sheets, one for a single gel."""
        return self.parts or (self.name,)

    def loss_stops(self, source: Source) -> float:
        """Light lost from `source`, in stops (positive); infinite when no visible light passes."""
        passed = float(xyz(source.spd * self.transmittance)[1] / xyz(source.spd)[1])
        return float("inf") if passed == 0 else float(-np.log2(passed))

    def chromaticity(self, source: Source) -> tuple[float, float]:
        """CIE 1931 x, y of `source` through the gel.

        Raises
        ------
        KeyfallError
            When no visible light passes.
        """
        passed = source.spd * self.transmittance
        if xyz(passed)[1] <= 0:
            raise KeyfallError(f"The gel '{self.name}' lets no light of '{source.name}' through, so it has no colour.")
        return chromaticity(passed)


@cache
def make_gel(name: str) -> Gel:
    """A stock gel.

    Raises
    ------
    UnknownName
        For a name that is not in `GELS`.
    """
    if name not in _STOCK:
        raise unknown_name("gel", name, GELS)
    entry = _STOCK[name]
    if "mired" in entry:
        curve = mired_transmittance(entry["mired"])
    elif "green_density" in entry:
        curve = SHEET_PEAK * 10.0 ** (-entry["green_density"] * (1 - _green_band()))
    elif "magenta_density" in entry:
        curve = SHEET_PEAK * 10.0 ** (-entry["magenta_density"] * _green_band())
    elif "stops" in entry:
        curve = np.full(401, 2.0 ** -entry["stops"])
    else:
        curve = edge_transmittance(entry["levels"], entry["edges_nm"], entry["softness_nm"])
    return _gel(name, entry["is"], curve)


def _gel(name: str, description: str, transmittance: np.ndarray, parts: tuple[str, ...] = ()) -> Gel:
    transmittance.flags.writeable = False
    return Gel(name, description, transmittance, parts)


def mired_transmittance(shift_mired: float, peak: float = SHEET_PEAK) -> np.ndarray:
    """Smooth correction by a mired shift, (401,): the ratio of two black bodies.

    Drawn from 5500 K for a positive shift (warmer) and from 3200 K for a negative one; the highest value
    between 400 and 700 nm is `peak`, and it is level outside, where sheets are not specified.
    """
    start_k = ORANGE_FROM_K if shift_mired > 0 else BLUE_FROM_K
    end_k = 1e6 / (1e6 / start_k + shift_mired)
    ratio = planck(end_k) / planck(start_k)
    inside = (WAVELENGTHS_NM >= 400) & (WAVELENGTHS_NM <= 700)
    ratio = np.interp(WAVELENGTHS_NM, WAVELENGTHS_NM[inside], ratio[inside])
    return peak * ratio / ratio.max()


def edge_transmittance(levels: Sequence[float], edges_nm: Sequence[float], softness_nm: Sequence[float]) -> np.ndarray:
    """Levels of transmittance joined by soft edges, (401,).

    In optical density each edge is a logistic step: half-way at the edge, 12 % and 88 % one softness away on
    either side.
    """
    density = -np.log10(np.asarray(levels, np.float64))
    total = np.full(401, density[0])
    for before, after, edge, soft in zip(density, density[1:], edges_nm, softness_nm, strict=False):
        total += (after - before) / (1 + np.exp(-2 * (WAVELENGTHS_NM - edge) / soft))
    return 10.0**-total


def _green_band() -> np.ndarray:
    """Smooth window of the green third of the spectrum, (401,), up to 1 at 545 nm."""
    rise = 1 / (1 + np.exp(-(WAVELENGTHS_NM - 495) / 10))
    fall = 1 / (1 + np.exp((WAVELENGTHS_NM - 595) / 10))
    window = rise * fall
    return window / window.max()


def read_gel_csv(path: Path) -> Gel:
    """A measured gel: a CSV of wavelength (nm, 380 to 780) and transmittance (0 to 1).

    Raises
    ------
    DataError
        When the file is broken or a transmittance lies outside 0 to 1.
    """
    curve = read_csv_spectrum(path)
    wrong = (curve < 0) | (curve > 1)
    if wrong.any():
        at = int(np.argmax(wrong))
        hint = " If the file is in percent, divide by 100." if curve.max() > 1.5 else ""
        raise DataError(f"{path}: transmittance {curve[at]:g} at {WAVELENGTHS_NM[at]:g} nm. Allowed: 0 to 1.{hint}")
    return _gel(Path(path).stem, "measured gel", curve)


def stack(gels: Sequence[Gel]) -> Gel:
    """Sheets one behind the other: transmittances multiply (reflections between sheets are left out).

    Raises
    ------
    KeyfallError
        For an empty stack.
    """
    if not gels:
        raise KeyfallError("A stack needs at least one gel.")
    if len(gels) == 1:
        return gels[0]
    product = np.prod([gel.transmittance for gel in gels], axis=0)
    names = tuple(name for gel in gels for name in gel.sheets)
    return _gel(" + ".join(names), "; ".join(gel.description for gel in gels), product, names)
