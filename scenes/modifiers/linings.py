"""Linings and cloths by name, and the walls and sheets of an interior made of them."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

if TYPE_CHECKING:
    from ..interior import Sheet, Wall

Lining = Literal["silver", "white", "black"]
Cloth = Literal["thin", "thick"]
CellFinish = Literal["dark", "bright"]

_STOCK: dict[str, dict[str, Any]] = tomllib.loads(
    (Path(__file__).parents[1] / "data" / "linings.toml").read_text(encoding="utf-8")
)

CELL_FINISHES: dict[str, str] = {name: made["is"] for name, made in _STOCK["cell"].items()}
"""Finishes of a honeycomb's cells, and what each is."""


def cell_reflectance(finish: str) -> float:
    """Share of the light that the walls of a honeycomb's cells reflect."""
    return float(_STOCK["cell"][finish]["reflectance"])


def wall(lining: str, z0_m: float, r0_m: float, z1_m: float, r1_m: float) -> Wall:
    """A frustum with a lining, between two circles about the axis."""
    from ..interior import Wall

    made = _STOCK["wall"][lining]
    return Wall(z0_m, r0_m, z1_m, r1_m, made["reflectance"], made["gloss"], made["spread_deg"])


def curved(lining: str, z_m: np.ndarray, r_m: np.ndarray) -> tuple[Wall, ...]:
    """A lined surface of revolution through the points of a profile, as frusta."""
    return tuple(
        wall(lining, float(z_m[i]), float(r_m[i]), float(z_m[i + 1]), float(r_m[i + 1])) for i in range(len(z_m) - 1)
    )


def sheet(cloth: str, z_m: float, radius_m: float) -> Sheet:
    """A disk of cloth across the axis."""
    from ..interior import Sheet

    transmittance, reflectance = passes(cloth)
    return Sheet(z_m, radius_m, transmittance, reflectance)


def passes(cloth: str) -> tuple[float, float]:
    """Transmittance and reflectance of a cloth."""
    made = _STOCK["cloth"][cloth]
    return float(made["transmittance"]), float(made["reflectance"])
