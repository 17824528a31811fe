"""Haze: what a fluid's droplets do to light, and how thick it is.

Amounts are told as photographers and venues tell them: how far one sees (Koschmieder), extinction per metre, or the
mass of droplets in the air. They are tied together by the droplets' size.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from .errors import KeyfallError, unknown_name
from .spectra import WAVELENGTHS_NM

KOSCHMIEDER = math.log(50)
"""Optical depth at which contrast has fallen to 2 %, the threshold behind visibility (Koschmieder 1924)."""

FLUIDS: dict[str, str] = {
    "glycol": "glycol or glycerine in water, the usual haze and smoke fluid",
    "oil": "fine mineral-oil haze, hangs longest",
    "dry-ice": "water fog from dry ice: coarse droplets that lie low",
}
"""Name of every fluid -> what it is."""

USUAL_DROPLET_UM = {"glycol": 1.0, "oil": 1.0, "dry-ice": 8.0}
"""Mass-median droplet diameters taken where none is given, micrometres (common practice, no source)."""

AMOUNTS = ("visibility_m", "extinction_per_m", "concentration_mg_m3")
TABULATED_NM = (400.0, 475.0, 550.0, 625.0, 700.0)
"""Wavelengths of the table of extinctions, nanometres."""

PHASE_NM = (400.0, 550.0, 700.0)
"""Wavelengths whose phase functions are tabulated: fine droplets throw red light wider than blue."""

_REFERENCE_NM = 550.0
_TABLE = Path(__file__).parent / "data" / "haze_fluids.csv"


@dataclass(frozen=True, slots=True)
class Phase:
    """Two Henyey-Greenstein lobes: their mean cosines, and the share of the forward one."""

    forward: float
    back: float
    share: float

    def value(self, cosine: np.ndarray | float) -> np.ndarray:
        """Density (1/sr) of scattering; `cosine` is that between the directions of travel before and after."""
        c = np.asarray(cosine, float)

        def lobe(g: float) -> np.ndarray:
            return np.asarray((1 - g * g) / (4 * math.pi * (1 + g * g - 2 * g * c) ** 1.5))

        return self.share * lobe(self.forward) + (1 - self.share) * lobe(self.back)

    def mean_cosine(self) -> float:
        """Mean of the cosine: how strongly light goes on forward."""
        return self.share * self.forward + (1 - self.share) * self.back


@dataclass(frozen=True, slots=True)
class Medium:
    """Haze of one fluid.

    Attributes
    ----------
    fluid, droplet_um : name, and the mass-median diameter of its droplets.
    extinction_per_m : (401,) on `WAVELENGTHS_NM`. albedo : (401,) share of it that scatters.
    phases : how it scatters at `PHASE_NM`; between, by `phase_shares`.
    concentration_mg_m3 : mass of droplets in the air that this takes; visibility_m : by Koschmieder, at 550 nm.
    """

    fluid: str
    droplet_um: float
    extinction_per_m: np.ndarray
    albedo: np.ndarray
    phases: tuple[Phase, ...]
    concentration_mg_m3: float
    visibility_m: float

    @property
    def phase(self) -> Phase:
        """How it scatters at 550 nm."""
        return self.phases[PHASE_NM.index(_REFERENCE_NM)]


def phase_shares(nodes_nm: np.ndarray) -> np.ndarray:
    """Shares (B, P) with which the phase functions at `PHASE_NM` mix at wavelengths (B,): linear between neighbours,
    the last one's own beyond the ends. Mixed phase functions are phase functions."""
    shares = [np.interp(nodes_nm, PHASE_NM, unit) for unit in np.eye(len(PHASE_NM))]
    return np.stack(shares, axis=1)


@functools.cache
def _table() -> dict[str, np.ndarray]:
    """Rows (n, 15) of each fluid: diameter, mass extinction at five wavelengths (m2/g), lobes and share at three."""
    rows: dict[str, list[list[float]]] = {}
    for line in _TABLE.read_text(encoding="utf-8").splitlines():
        if line.startswith(("#", "fluid")):
            continue
        fluid, *numbers = line.split(",")
        rows.setdefault(fluid, []).append([float(n) for n in numbers])
    return {fluid: np.array(found) for fluid, found in rows.items()}


def droplet_range_um(fluid: str) -> tuple[float, float]:
    """Smallest and largest droplets the tables know of a fluid, micrometres."""
    sizes = _table()[fluid][:, 0]
    return float(sizes[0]), float(sizes[-1])


def make_medium(
    fluid: str,
    *,
    visibility_m: float | None = None,
    extinction_per_m: float | None = None,
    concentration_mg_m3: float | None = None,
    droplet_um: float | None = None,
) -> Medium:
    """Haze by one statement of its amount; visibility and extinction are at 550 nm.

    Raises
    ------
    KeyfallError
        For an unknown fluid, droplets outside the tables, or unless exactly one amount is given and positive.
    """
    if fluid not in FLUIDS:
        raise unknown_name("fluid", fluid, FLUIDS)
    given = [a for a in (visibility_m, extinction_per_m, concentration_mg_m3) if a is not None]
    if len(given) != 1 or not (math.isfinite(given[0]) and given[0] > 0):
        raise KeyfallError(f"The amount of haze takes exactly one positive number: {', '.join(AMOUNTS)}.")
    size = USUAL_DROPLET_UM[fluid] if droplet_um is None else droplet_um
    low, high = droplet_range_um(fluid)
    if not low <= size <= high:
        raise KeyfallError(
            f"Droplets of {size:g} um are outside what is known of {fluid}. Allowed: {low:g} to {high:g}."
        )
    per_mass, phases = _droplets(fluid, size)
    at_reference = float(np.interp(_REFERENCE_NM, WAVELENGTHS_NM, per_mass))  # m2/g
    if visibility_m is not None:
        extinction = KOSCHMIEDER / visibility_m
    elif extinction_per_m is not None:
        extinction = extinction_per_m
    else:
        extinction = at_reference * (concentration_mg_m3 or 0.0) / 1000
    return Medium(
        fluid=fluid,
        droplet_um=size,
        extinction_per_m=per_mass / at_reference * extinction,
        albedo=np.ones(len(WAVELENGTHS_NM)),
        phases=phases,
        concentration_mg_m3=extinction / at_reference * 1000,
        visibility_m=KOSCHMIEDER / extinction,
    )


def _droplets(fluid: str, droplet_um: float) -> tuple[np.ndarray, tuple[Phase, ...]]:
    """Mass extinction (401,) in m2/g and phase functions, between the table's sizes in their logarithms."""
    table = _table()[fluid]
    place = np.log(droplet_um)
    column = [np.interp(place, np.log(table[:, 0]), table[:, k]) for k in range(1, table.shape[1])]
    by_wavelength = [
        math.exp(np.interp(place, np.log(table[:, 0]), np.log(table[:, k]))) for k in range(1, len(TABULATED_NM) + 1)
    ]
    spectrum = np.exp(np.interp(np.log(WAVELENGTHS_NM), np.log(TABULATED_NM), np.log(by_wavelength)))
    first = len(TABULATED_NM)
    lobes = np.reshape(column[first:], (len(PHASE_NM), 3)).tolist()
    return spectrum, tuple(Phase(*node) for node in lobes)
