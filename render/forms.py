"""What the cache's records of a traced set must hold; see `render.records`."""

from __future__ import annotations

from dataclasses import dataclass

from .half import MOST_EXPONENT
from .records import Form, Part

MOST_SAMPLES = 2**20


def half_parts(name: str, shape: tuple[int | None, ...], optional: bool = False) -> dict[str, Part]:
    """The two arrays of a half-precision picture."""
    exponent = Part("int64", (), -MOST_EXPONENT, MOST_EXPONENT, optional=optional)
    return {name: Part("float16", shape, optional=optional), f"{name}_exponent": exponent}


@dataclass(frozen=True, slots=True)
class Forms:
    """The forms of all records of a picture of `height` by `width` pixels in `bands`, with haze or without."""

    bands: int
    height: int
    width: int
    hazy: bool

    @property
    def _bands(self) -> tuple[int, int, int]:
        return self.bands, self.height, self.width

    @property
    def guides(self) -> Form:
        """Albedo, normals, depth (infinite where nothing is met), places and regions."""
        vectors = (3, self.height, self.width)
        return {
            **half_parts("albedo", self._bands),
            **half_parts("normal", vectors),
            "depth_m": Part("float32", (self.height, self.width), 0, finite=False),
            "position_m": Part("float32", vectors),
            "region": Part("uint8", (self.height, self.width)),
        }

    @property
    def light(self) -> Form:
        """One light's pictures; the noise is not a number where the face is unlit."""
        names = ("radiance", "noisy", "irradiance", *(("haze",) if self.hazy else ()))
        parts = [half_parts(name, self._bands) for name in names]
        return {
            "samples": Part("int64", (), 2, MOST_SAMPLES),
            "noise_stops": Part("float64", (), finite=False),
            "put_back": Part("float64", (), 0, 1),
            **{name: part for of in parts for name, part in of.items()},
        }

    @property
    def partial(self) -> Form:
        """Sums of a light that is not finished."""
        names = ("radiance", "irradiance", *(("haze",) if self.hazy else ()))
        return {
            **{name: Part("int64", (), 0, MOST_SAMPLES) for name in ("samples", "pass_size", "rows")},
            "odd": Part("float64", (self.height, self.width)),
            **{name: Part("float32", self._bands) for name in names},
        }

    def blockers(self, fixtures: int) -> Form:
        """Indices of those of `fixtures` that stand in the way."""
        return {"indices": Part("int64", (None,), 0, fixtures - 1)}

    def meters(self, lights: int, meters: int) -> Form:
        """Readings of every light at every meter."""
        return {"readings": Part("float64", (lights, self.bands, meters), 0)}
