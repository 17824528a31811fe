"""The one-light-at-a-time (OLAT) set: every light's transport to every pixel, per band, at unit output.

Power, gel, colour temperature, exposure and on/off never enter it; they are applied by `render.develop`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from .meterset import MeterSet


@dataclass(frozen=True, slots=True)
class Guides:
    """The set without light, (H, W) pictures.

    `albedo` (B, H, W) and `normal` (3, H, W) are pixel means; `depth_m` (H, W; infinite where nothing is met),
    `position_m` (3, H, W) and `region` (H, W, uint8 index into `scenes.stage.REGIONS`, 255 for none) are taken at
    pixel centres.
    """

    albedo: np.ndarray
    normal: np.ndarray
    depth_m: np.ndarray
    position_m: np.ndarray
    region: np.ndarray


@dataclass(frozen=True, slots=True)
class LightTransport:
    """What one light of unit output (1 lm, or 1 lm s; ambient: 1 lx in the open) sends to the picture.

    Attributes
    ----------
    radiance, noisy : (B, H, W) float32, denoised and as traced: luminance in cd/m2 a lumen, were the band's value
        the light's whole spectrum.
    irradiance : (B, H, W) float32, as traced: illuminance in lx a lumen on the first surface met.
    samples : paths a pixel traced; `noise_stops` : noise of `noisy` over the face, None where it is unlit.
    """

    name: str
    radiance: np.ndarray
    noisy: np.ndarray
    irradiance: np.ndarray
    samples: int
    noise_stops: float | None


@dataclass(frozen=True, slots=True)
class OlatSet:
    """All lights of a stage, traced.

    `radiance` (L, B, H, W) float32 is contiguous, so that developing is one matrix product over it; `transports[i]`
    holds the same numbers as a view, and `meters` what hand meters on the set catch of each light.
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
    def irradiance(self) -> np.ndarray:
        """(L, B, H, W) float32."""
        return np.stack([t.irradiance for t in self.transports])

    def noisy(self) -> OlatSet:
        """The same set as traced, before denoising."""
        return assemble(tuple(replace(t, radiance=t.noisy) for t in self.transports), self.guides, self.meters)


def assemble(transports: tuple[LightTransport, ...], guides: Guides, meters: MeterSet) -> OlatSet:
    """Put lights together; the radiance of each becomes a view of one contiguous array."""
    radiance = np.empty((len(transports), *transports[0].radiance.shape), np.float32)
    for target, transport in zip(radiance, transports, strict=True):
        target[:] = transport.radiance
    views = tuple(replace(t, radiance=r) for t, r in zip(transports, radiance, strict=True))
    return OlatSet(views, guides, meters, radiance)
