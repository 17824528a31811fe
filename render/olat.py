"""The one-light-at-a-time (OLAT) set: every light's transport to every pixel, per band, at unit output.

Power, gel, colour temperature, exposure and on/off never enter it; they are applied by `render.develop`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from .half import Half
from .meterset import MeterSet

NO_REGION = 255
"""Region of a pixel that meets nothing of the set."""


@dataclass(frozen=True, slots=True)
class Guides:
    """The set without light, (H, W) pictures.

    `albedo` (B, H, W) and `normal` (3, H, W) are pixel means; `depth_m` (H, W; infinite where nothing is met),
    `position_m` (3, H, W) and `region` (H, W, uint8 index into `scenes.stage.REGIONS`, or `NO_REGION`) are taken at
    pixel centres.
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


@dataclass(frozen=True, slots=True)
class OlatSet:
    """All lights of a stage, traced.

    `radiance` (L, B, H, W) float32 is contiguous, so that developing is one matrix product over it. `transports` holds
    the same in half precision beside the noisy and irradiance pictures, `meters` what hand meters catch of each light.
    """

    transports: tuple[LightTransport, ...]
    guides: Guides
    meters: MeterSet
    radiance: np.ndarray

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
    def irradiance(self) -> np.ndarray:
        """(L, B, H, W) float32."""
        return _stacked([t.irradiance for t in self.transports])

    @property
    def haze(self) -> np.ndarray | None:
        """(L, B, H, W) float32, what comes out of the haze; None on a clear set."""
        parts = [t.haze for t in self.transports if t.haze is not None]
        return _stacked(parts) if len(parts) == len(self.transports) else None

    def noisy(self) -> OlatSet:
        """The same set as traced, before denoising."""
        return assemble(tuple(replace(t, radiance=t.noisy) for t in self.transports), self.guides, self.meters)


def assemble(transports: tuple[LightTransport, ...], guides: Guides, meters: MeterSet) -> OlatSet:
    """Put lights together."""
    return OlatSet(transports, guides, meters, _stacked([t.radiance for t in transports]))


def _stacked(pictures: list[Half]) -> np.ndarray:
    stack = np.empty((len(pictures), *pictures[0].values.shape), np.float32)
    for picture, target in zip(pictures, stack, strict=True):
        picture.unpack(out=target)
    return stack
