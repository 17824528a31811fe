"""Surfaces: four spectra and a dielectric coat."""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np

from .errors import KeyfallError, unknown_name
from .spectra import colour_matching, smooth_curve

_STOCK = tomllib.loads((Path(__file__).parent / "data" / "finishes.toml").read_text(encoding="utf-8"))

FINISHES: dict[str, str] = {name: entry["is"] for name, entry in _STOCK.items()}
"""Stock finishes for sets and clothes, and what each is."""


@dataclass(frozen=True, slots=True)
class Finish:
    """A surface.

    At a point with tint weights t1, t2, t3 (sum at most 1) the diffuse reflectance is
    ``(1 - t1 - t2 - t3) R0 + t1 R1 + t2 R2 + t3 R3``.

    Attributes
    ----------
    name, description : for lists and reports.
    reflectance : (4, 401), base and three tints, each in [0, 1].
    f0 : reflectance of the coat at normal incidence.
    roughness : r at gloss weight 0; the GGX width is alpha = r squared.
    gloss_roughness : r at gloss weight 1; between, r runs linearly.
    coat : weight of the coat, in [0, 1].
    transmission : share of the diffuse part that leaves on the far side, in [0, 1].
    """

    name: str
    description: str
    reflectance: np.ndarray
    f0: float
    roughness: float
    gloss_roughness: float
    coat: float
    transmission: float

    def __post_init__(self) -> None:
        if self.reflectance.shape != (4, 401) or not np.isfinite(self.reflectance).all():
            raise KeyfallError(f"The finish '{self.name}' needs four spectra of 401 finite values.")
        if self.reflectance.min() < 0 or self.reflectance.max() > 1:
            raise KeyfallError(f"The finish '{self.name}' has a reflectance outside 0 to 1.")
        for field in ("f0", "roughness", "gloss_roughness", "coat", "transmission"):
            if not 0 <= getattr(self, field) <= 1:
                raise KeyfallError(f"The finish '{self.name}' has {field} {getattr(self, field):g}. Allowed: 0 to 1.")
        self.reflectance.flags.writeable = False


def plain_finish(
    name: str,
    description: str,
    reflectance: np.ndarray,
    *,
    tints: tuple[np.ndarray, ...] = (),
    f0: float = 0.04,
    roughness: float = 0.8,
    gloss_roughness: float | None = None,
    coat: float = 1.0,
    transmission: float = 0.0,
) -> Finish:
    """A finish from a base spectrum (401,) and up to three tints; missing tints are the base."""
    spectra = [reflectance, *tints]
    spectra += [reflectance] * (4 - len(spectra))
    gloss = roughness if gloss_roughness is None else gloss_roughness
    return Finish(name, description, np.stack(spectra), f0, roughness, gloss, coat, transmission)


@cache
def make_finish(name: str) -> Finish:
    """A stock finish.

    Raises
    ------
    UnknownName
        For a name that is not in `FINISHES`.
    """
    if name not in _STOCK:
        raise unknown_name("finish", name, FINISHES)
    entry = _STOCK[name]
    curve = smooth_curve(entry["nm"], entry["reflectance"])
    options = {
        key: entry[key] for key in ("f0", "roughness", "gloss_roughness", "coat", "transmission") if key in entry
    }
    return plain_finish(name, entry["is"], curve, **options)


@cache
def silk_finish(stops: float) -> Finish:
    """White diffusing cloth that lets 2^-stops of the light through and scatters it.

    The cloth absorbs what white cloth does; what it neither absorbs nor lets through it sends back. The share is that
    of equal energy at all wavelengths, weighted with V(lambda).

    Raises
    ------
    KeyfallError
        When the cloth would let more through than it does not absorb.
    """
    cloth = make_finish("white-silk")
    passed = 2.0**-stops
    seen = colour_matching()[:, 1]
    kept = float(cloth.reflectance[0] @ seen / seen.sum())
    if not 0 < passed <= kept:
        raise KeyfallError(
            f"There is no white silk of {stops:g} stops. Allowed: {-math.log2(kept):.2f} or more, as the cloth itself "
            "absorbs that much."
        )
    return replace(cloth, name=f"white silk, {stops:g} stops", transmission=passed / kept)


def mottled(finish: Finish, dark: float, light: float) -> Finish:
    """The same finish with tints: the first so much darker, the second so much lighter, at most white."""
    base = finish.reflectance[0]
    return replace(finish, reflectance=np.stack([base, dark * base, np.minimum(light * base, 1), base]))
