"""Makes `data/haze_fluids.csv`: what droplets of each fluid do to light, by Mie theory.

``python -m materials.haze_tables`` needs miepython, which comes with the extra `tables`, and four minutes. Droplets are
spheres
whose diameters spread log-normally; the median is that of the mass. Refractive indices and densities from memory
(triethylene glycol 1.44, white mineral oil 1.46, water 1.333); none absorbs visible light on the scale of a room.
"""

from __future__ import annotations

import csv
import sys
from pathlib import Path

import numpy as np

from .haze import PHASE_NM, TABULATED_NM

TABLE = Path(__file__).parent / "data" / "haze_fluids.csv"
SPREAD = 1.6
"""Geometric standard deviation of the droplets' diameters."""

INDEX = {"glycol": 1.44, "oil": 1.46, "dry-ice": 1.333}
DENSITY_G_CM3 = {"glycol": 1.12, "oil": 0.86, "dry-ice": 1.0}
DIAMETERS_UM = {"glycol": (0.3, 6.0), "oil": (0.3, 6.0), "dry-ice": (3.0, 20.0)}
ANGLES = 721
_SIZES, _STEPS = 9, 61


def droplet_sizes(median_um: float) -> tuple[np.ndarray, np.ndarray]:
    """Diameters (n,) in micrometres and the share of the number of droplets at each, for a median by mass.

    A log-normal spread keeps its form: the median by number is exp(-3 ln^2 s) times that by mass (Hatch and Choate
    1929).
    """
    width = np.log(SPREAD)
    middle = np.log(median_um) - 3 * width**2
    log = np.linspace(middle - 3 * width, middle + 6 * width, _STEPS)
    number = np.exp(-((log - middle) ** 2) / (2 * width**2))
    return np.exp(log), number / number.sum()


def optics(fluid: str, median_um: float, wavelength_nm: float) -> tuple[float, np.ndarray]:
    """Mass extinction (m2/g) and phase function (`ANGLES`,) in 1/sr at even angles from 0 to pi."""
    import miepython

    diameter, number = droplet_sizes(median_um)
    index = complex(INDEX[fluid], 0)
    size = np.pi * diameter / (wavelength_nm / 1000)
    cosine = np.cos(np.linspace(0, np.pi, ANGLES))
    section, phase = np.zeros(len(size)), np.zeros(ANGLES)
    for k, x in enumerate(size):
        _, scattered, _, _ = miepython.efficiencies_mx(index, float(x))
        section[k] = scattered * np.pi * diameter[k] ** 2 / 4 * number[k]
        phase += section[k] * miepython.i_unpolarized(index, float(x), cosine, norm="one")
    mass = (DENSITY_G_CM3[fluid] * np.pi * diameter**3 / 6 * number).sum()
    return float(section.sum() / mass), phase / section.sum()


def henyey_greenstein(cosine: np.ndarray, g: float) -> np.ndarray:
    """Henyey and Greenstein 1941: density in 1/sr."""
    return (1 - g * g) / (4 * np.pi * (1 + g * g - 2 * g * cosine) ** 1.5)


def fit_lobes(phase: np.ndarray) -> tuple[float, float, float]:
    """Mean cosines of a forward and a backward lobe and the forward one's share, least squares in the logarithm over
    the sphere, with the phase function's own mean cosine."""
    from scipy.optimize import minimize

    angle = np.linspace(0, np.pi, len(phase))
    cosine, solid = np.cos(angle), np.sin(angle)
    mean = float((phase * cosine * solid).sum() / (phase * solid).sum())

    def lobes(free: np.ndarray) -> tuple[float, float, float]:
        forward = mean + (0.99 - mean) / (1 + np.exp(-free[0]))
        back = -0.9 / (1 + np.exp(-free[1]))
        return forward, back, (mean - back) / (forward - back)

    def cost(free: np.ndarray) -> float:
        forward, back, share = lobes(free)
        model = share * henyey_greenstein(cosine, forward) + (1 - share) * henyey_greenstein(cosine, back)
        return float((np.log(model / phase) ** 2 * solid).sum())

    return lobes(minimize(cost, np.zeros(2), method="Nelder-Mead").x)


def rows() -> list[list[str]]:
    """The table: fluid, median diameter, mass extinction at each wavelength, lobes."""
    found = []
    for fluid, (low, high) in DIAMETERS_UM.items():
        for median in np.geomspace(low, high, _SIZES):
            by_wavelength = [optics(fluid, median, w) for w in TABULATED_NM]
            lobes = [n for w in PHASE_NM for n in fit_lobes(by_wavelength[TABULATED_NM.index(w)][1])]
            numbers = [median, *(mass for mass, _ in by_wavelength), *lobes]
            found.append([fluid, *(f"{n:.6g}" for n in numbers)])
    return found


def main() -> None:
    """Write the table."""
    with TABLE.open("w", encoding="utf-8", newline="") as file:
        file.write("# Droplets of haze fluids by Mie theory (miepython), made by python -m materials.haze_tables.\n")
        file.write("# Mass-median diameter in um, log-normal with geometric deviation 1.6; mass extinction in m2/g\n")
        file.write("# by wavelength in nm; two Henyey-Greenstein lobes fitted at each of three wavelengths, and the\n")
        file.write("# forward one's share.\n")
        writer = csv.writer(file, lineterminator="\n")
        titles = [f"extinction_{w:.0f}" for w in TABULATED_NM]
        titles += [f"{part}_{w:.0f}" for w in PHASE_NM for part in ("forward", "back", "share")]
        writer.writerow(["fluid", "median_um", *titles])
        writer.writerows(rows())
    sys.stdout.write(f"{TABLE} is written\n")


if __name__ == "__main__":
    main()
