"""The one-light-at-a-time (OLAT) set: every light's transport to every pixel, per band, at unit output.

Power, gel, colour temperature, exposure and on/off never enter it; they are applied by `render.develop`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from .half import Half
from .meterset import MeterSet

Kind = Literal["radiance", "irradiance", "haze", "noisy"]
"""The pictures that are kept of every light."""

NO_REGION = 255
"""Region of a pixel that meets nothing of the set."""


@dataclass(frozen=True, slots=True)
class Guides:
    """The set without light, (H, W) pictures.

    `albedo` (B, H, W) and `normal` (3, H, W) are pixel means, in which sky and lamps count as an albedo of 1; `depth_m`
    (H, W; infinite where nothing is met), `position_m` (3, H, W) and `region` (H, W, uint8 index into
    `scenes.stage.REGIONS`, or `NO_REGION`) are taken at pixel centres.
    """

    albedo: np.ndarray
    normal: np.ndarray
    depth_m: np.ndarray
    position_m: np.ndarray
    region: np.ndarray

    @property
    def seen(self) -> np.ndarray:
        """Pixels (H, W) bool that meet the set."""
        return self.region != NO_REGION


@dataclass(frozen=True, slots=True)
class LightTransport:
    """What one light of unit output (1 lm, or 1 lm s; ambient: 1 lx in the open) sends to the picture.

    Attributes
    ----------
    radiance, noisy : (B, H, W), denoised and as traced: luminance in cd/m2 a lumen, were the band's value the light's
        whole spectrum.
    irradiance : (B, H, W), as traced: illuminance in lx a lumen on the first surface met.
    haze : (B, H, W), denoised: the part of `radiance` that comes out of the haze; None on a clear set.
    samples : paths a pixel traced; `noise_stops` : noise of `noisy` over the face, None where it is unlit.
    put_back : share of the pixels that denoising got wrong and that are shown as traced; see `render.guard`.
    """

    name: str
    radiance: Half
    noisy: Half
    irradiance: Half
    samples: int
    noise_stops: float | None
    haze: Half | None = None
    put_back: float = 0.0


_STACK_BYTES = 512_000_000
_BLOCK_PIXELS = 2**17


@dataclass(frozen=True, slots=True)
class OlatSet:
    """All lights of a stage, traced.

    `transports` holds every light's pictures in half precision, those of a large set on disk where the cache keeps
    them; `meters` what hand meters catch of each light. `stack` (L, B, H, W) float32 is the radiance of all lights,
    contiguous, so that developing is one matrix product over it; None where it would be large (`held_in_memory`), and
    developing goes through the lights by blocks of rows.
    """

    transports: tuple[LightTransport, ...]
    guides: Guides
    meters: MeterSet
    stack: np.ndarray | None

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the lights, in order."""
        return self.meters.names

    @property
    def warnings(self) -> tuple[str, ...]:
        """What to know of the pictures."""
        return tuple(
            f"Denoising {t.name} failed in {max(100 * t.put_back, 0.01):.2g} % of the picture: those pixels are shown "
            "as traced, with their noise. More samples (--quality final) clear them."
            for t in self.transports
            if t.put_back > 0
        )

    @property
    def shape(self) -> tuple[int, int, int, int]:
        """Lights, bands, height and width."""
        bands, height, width = self.transports[0].radiance.values.shape
        return len(self.transports), bands, height, width

    @property
    def radiance(self) -> np.ndarray:
        """(L, B, H, W) float32; of a large set, made anew each time."""
        return self.stack if self.stack is not None else _stacked([t.radiance for t in self.transports])

    @property
    def irradiance(self) -> np.ndarray:
        """(L, B, H, W) float32, made anew each time."""
        return _stacked([t.irradiance for t in self.transports])

    @property
    def haze(self) -> np.ndarray | None:
        """(L, B, H, W) float32, what comes out of the haze, made anew each time; None on a clear set."""
        parts = [t.haze for t in self.transports if t.haze is not None]
        return _stacked(parts) if len(parts) == len(self.transports) else None

    @property
    def hazy(self) -> bool:
        """Whether there is haze."""
        return all(t.haze is not None for t in self.transports)

    def weighted(self, weights: np.ndarray, of: Kind = "radiance") -> np.ndarray:
        """Pictures (K, H, W) float32: the bands of all lights, summed with `weights` (L, B, K)."""
        lights, bands, height, width = self.shape
        if of == "radiance" and self.stack is not None:
            flat = np.ascontiguousarray(weights.reshape(lights * bands, -1).T.astype(np.float32))
            return (flat @ self.stack.reshape(lights * bands, -1)).reshape(-1, height, width)
        total = np.zeros((weights.shape[2], height, width), np.float32)
        for number in range(lights):
            _add_weighted(self._pictures(number, of), weights[number], total)
        return total

    def weighted_each(self, weights: np.ndarray, of: Kind = "radiance") -> np.ndarray:
        """Pictures (L, K, H, W) float32 of every light alone: its bands, summed with `weights` (L, B, K)."""
        lights, _, height, width = self.shape
        each = np.zeros((lights, weights.shape[2], height, width), np.float32)
        for number in range(lights):
            _add_weighted(self._pictures(number, of), weights[number], each[number])
        return each

    def _pictures(self, number: int, of: Kind) -> Half:
        pictures = getattr(self.transports[number], of)
        assert isinstance(pictures, Half)
        return pictures

    def noisy(self) -> OlatSet:
        """The same set as traced, before denoising."""
        return assemble(tuple(replace(t, radiance=t.noisy) for t in self.transports), self.guides, self.meters)


def held_in_memory(shape: tuple[int, int, int, int]) -> bool:
    """Whether a set of so many lights, bands, rows and columns is small enough to be held in memory as a whole."""
    return 4 * int(np.prod(shape, dtype=np.int64)) <= _STACK_BYTES


def assemble(transports: tuple[LightTransport, ...], guides: Guides, meters: MeterSet) -> OlatSet:
    """Put lights together."""
    pictures = [t.radiance for t in transports]
    small = held_in_memory((len(pictures), *pictures[0].values.shape))
    return OlatSet(transports, guides, meters, _stacked(pictures) if small else None)


def _add_weighted(pictures: Half, weights: np.ndarray, total: np.ndarray) -> None:
    """Add bands (B, H, W), summed with `weights` (B, K), to `total` (K, H, W)."""
    flat = np.ascontiguousarray(weights.T.astype(np.float32))
    bands, height, width = pictures.values.shape
    step = max(1, _BLOCK_PIXELS // width)
    for first in range(0, height, step):
        block = pictures.rows(first, min(first + step, height))
        total[:, first : first + step] += (flat @ block.reshape(bands, -1)).reshape(-1, *block.shape[1:])


def _stacked(pictures: list[Half]) -> np.ndarray:
    stack = np.empty((len(pictures), *pictures[0].values.shape), np.float32)
    for picture, target in zip(pictures, stack, strict=True):
        picture.unpack(out=target)
    return stack
