"""Tracing one light in bounded passes, with progress, a noise target, and a clean stop between passes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from .noise import noise_stops


@dataclass(frozen=True, slots=True)
class SamplePlan:
    """How long to trace a light.

    Attributes
    ----------
    samples : paths a pixel at most; a power of two spreads them best.
    target_stops : stop early once the noise over the face is at most this; None runs all samples.
    """

    samples: int
    target_stops: float | None = None

    def pass_sizes(self, pixels: int) -> list[int]:
        """Samples of each pass, all even, short enough to show progress and far below the size limit of one launch."""
        longest = max(2, _PATHS_PER_PASS // pixels // 2 * 2)
        return [min(longest, self.samples - done) for done in range(0, self.samples, longest)]


_PATHS_PER_PASS = 4_000_000

QUALITIES = {
    "draft": SamplePlan(4),
    "preview": SamplePlan(8),
    "final": SamplePlan(256),
}


DRAFT_SCALE = 2
"""A draft traces one pixel for so many by so many of the picture, which is enlarged afterwards."""


@dataclass(frozen=True, slots=True)
class PassReport:
    """Told after each pass: which light of how many (from 1), samples done of those planned, and the noise so far
    (None where the light leaves the picture dark)."""

    light: str
    light_number: int
    light_count: int
    done: int
    planned: int
    noise_stops: float | None


@dataclass
class LightPicture:
    """One light's transport to the picture: means over `samples` paths a pixel, per unit output.

    `radiance` and `irradiance` are (B, H, W) float32; `noise_stops` is None where the face is unlit; `haze`, (B, H, W),
    is the part of the radiance that comes out of the haze, None on a clear set; `halves` (H, W) is the band mean of the
    odd samples less that of the even ones.
    """

    radiance: np.ndarray
    irradiance: np.ndarray
    samples: int
    noise_stops: float | None
    haze: np.ndarray | None = None
    halves: np.ndarray | None = None


@dataclass(frozen=True, slots=True)
class PassSums:
    """Sums over the samples of one pass: radiance and irradiance, each (B, H, W) float32, the band mean (H, W) of the
    radiance of the odd samples alone, and the part of the radiance out of haze, (B, H, W) or None."""

    radiance: np.ndarray
    irradiance: np.ndarray
    odd: np.ndarray
    haze: np.ndarray | None = None


def among(progress: Progress | None, what: str, number: int, count: int) -> Progress | None:
    """Progress of one trace of several, told as "key (picture 3 of 12)"; None stays None."""
    if progress is None:
        return None
    tell = progress

    def told(report: PassReport) -> None:
        tell(replace(report, light=f"{report.light} ({what} {number} of {count})"))

    return told


RunPass = Callable[[int, int], PassSums]
"""(first sample, end sample) -> the sums over those samples."""


@dataclass
class PassState:
    """Sums so far of a light being traced; kept when the work is interrupted."""

    samples: int = 0
    radiance: np.ndarray | None = None
    irradiance: np.ndarray | None = None
    odd: np.ndarray | None = None
    haze: np.ndarray | None = None
    whole: bool = True

    def to_record(self) -> dict[str, np.ndarray]:
        """Arrays to store; none before the first pass, or when an interrupt fell into the middle of `add`."""
        if not self.whole or self.radiance is None or self.irradiance is None or self.odd is None:
            return {}
        sums = {"radiance": self.radiance, "irradiance": self.irradiance, "odd": self.odd}
        if self.haze is not None:
            sums["haze"] = self.haze
        return {"samples": np.array(self.samples), **sums}

    @classmethod
    def from_record(cls, record: dict[str, np.ndarray] | None) -> PassState:
        """State of a stored record; a fresh one when there is none."""
        if not record:
            return cls()
        return cls(int(record["samples"]), record["radiance"], record["irradiance"], record["odd"], record.get("haze"))

    def add(self, size: int, sums: PassSums) -> None:
        """Add the sums of one pass of `size` samples."""
        self.whole = False
        if self.radiance is None or self.irradiance is None or self.odd is None:
            self.radiance, self.irradiance, self.odd = sums.radiance, sums.irradiance, sums.odd.astype(np.float64)
            self.haze = sums.haze
        else:
            self.radiance += sums.radiance
            self.irradiance += sums.irradiance
            self.odd += sums.odd
            if self.haze is not None:
                self.haze += sums.haze
        self.samples += size
        self.whole = True

    def picture(self, noise: float | None) -> LightPicture:
        """Means of all samples so far."""
        assert self.radiance is not None
        assert self.irradiance is not None
        total = np.float32(self.samples)
        haze = None if self.haze is None else self.haze / total
        even, odd = self._halves()
        halves = (odd - even).astype(np.float32)
        return LightPicture(self.radiance / total, self.irradiance / total, self.samples, noise, haze, halves)

    def _halves(self) -> tuple[np.ndarray, np.ndarray]:
        """Band means (H, W) of the even and of the odd samples."""
        assert self.radiance is not None
        assert self.odd is not None
        odd = self.odd * 2 / self.samples
        return self.radiance.mean(axis=0) * 2 / self.samples - odd, odd

    def noise(self, face: np.ndarray) -> float | None:
        """Noise over `face`, or over the whole picture where the light leaves the face dark."""
        even, odd = self._halves()
        over_face = noise_stops(even, odd, face)
        return over_face if over_face is not None else noise_stops(even, odd, np.ones_like(face))


Progress = Callable[[PassReport], None]


def trace_light(
    run_pass: RunPass,
    plan: SamplePlan,
    face: np.ndarray,
    state: PassState,
    told: Callable[[int, int, float | None], None],
) -> LightPicture:
    """Trace passes until the plan or its noise target is met, going on from `state`.

    Parameters
    ----------
    face : (H, W) bool, the pixels whose noise counts.
    told : called after each pass with samples done, samples planned, and the noise so far.
    """
    noise = state.noise(face) if state.samples else None
    for size in plan.pass_sizes(face.size):
        if state.samples >= plan.samples or _reached(plan, noise):
            break
        size = min(size, plan.samples - state.samples)
        state.add(size, run_pass(state.samples, state.samples + size))
        noise = state.noise(face)
        told(state.samples, plan.samples, noise)
    return state.picture(noise)


def _reached(plan: SamplePlan, noise: float | None) -> bool:
    return plan.target_stops is not None and noise is not None and noise <= plan.target_stops
