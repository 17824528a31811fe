"""Tracing one light in bounded passes, with progress, a noise target, and a clean stop between passes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

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
        """Samples of each pass: an even number of passes (they feed the two halves in turn), short enough to show
        progress and to stay far below the size limit of one launch."""
        per_half = max(self.samples // 2, 1)
        longest = max(1, min(per_half, _PATHS_PER_PASS // pixels))
        sizes = [min(longest, per_half - done) for done in range(0, per_half, longest)]
        return [size for size in sizes for _ in range(2)]


_PATHS_PER_PASS = 4_000_000

QUALITIES = {
    "draft": SamplePlan(4),
    "preview": SamplePlan(8),
    "final": SamplePlan(256),
}


@dataclass(frozen=True, slots=True)
class PassReport:
    """Told after each pass: which light of how many (from 1), passes done of those planned, and the noise so far
    (None before both halves exist)."""

    light: str
    light_number: int
    light_count: int
    done: int
    planned: int
    noise_stops: float | None


@dataclass
class LightPicture:
    """One light's transport to the picture: means over `samples` paths a pixel, per unit output.

    `radiance` and `irradiance` are (B, H, W) float32; `noise_stops` is None where the face is unlit.
    """

    radiance: np.ndarray
    irradiance: np.ndarray
    samples: int
    noise_stops: float | None


@dataclass
class PassState:
    """Sums so far of a light being traced; kept when the work is interrupted."""

    passes: int = 0
    counts: list[int] = field(default_factory=lambda: [0, 0])
    radiance: np.ndarray | None = None
    irradiance: np.ndarray | None = None
    halves: np.ndarray | None = None
    whole: bool = True

    def to_record(self) -> dict[str, np.ndarray]:
        """Arrays to store; none before the first pass, or when an interrupt fell into the middle of `add`."""
        if not self.whole or self.radiance is None or self.irradiance is None or self.halves is None:
            return {}
        return {
            "passes": np.array(self.passes), "counts": np.array(self.counts), "halves": self.halves,
            "radiance": self.radiance, "irradiance": self.irradiance,
        }  # fmt: skip

    @classmethod
    def from_record(cls, record: dict[str, np.ndarray] | None) -> PassState:
        """State of a stored record; a fresh one when there is none."""
        if not record:
            return cls()
        counts = [int(n) for n in record["counts"]]
        return cls(int(record["passes"]), counts, record["radiance"], record["irradiance"], record["halves"])

    def add(self, half: int, size: int, radiance: np.ndarray, irradiance: np.ndarray) -> None:
        """Add the sums of one pass of `size` samples to `half`."""
        self.whole = False
        if self.radiance is None or self.irradiance is None or self.halves is None:
            self.radiance = np.zeros(radiance.shape, np.float32)
            self.irradiance = np.zeros(irradiance.shape, np.float32)
            self.halves = np.zeros((2, *radiance.shape[1:]))
        self.radiance += radiance
        self.irradiance += irradiance
        self.halves[half] += radiance.mean(axis=0)
        self.counts[half] += size
        self.passes += 1
        self.whole = True

    def picture(self, noise: float | None) -> LightPicture:
        """Means of all samples so far."""
        assert self.radiance is not None and self.irradiance is not None
        total = np.float32(sum(self.counts))
        return LightPicture(self.radiance / total, self.irradiance / total, int(total), noise)

    def noise(self, face: np.ndarray) -> float | None:
        """Noise over `face`, or over the whole picture where the light leaves the face dark."""
        assert self.halves is not None
        a, b = (half / count for half, count in zip(self.halves, self.counts, strict=True))
        over_face = noise_stops(a, b, face)
        return over_face if over_face is not None else noise_stops(a, b, np.ones_like(face))


Progress = Callable[[PassReport], None]


def trace_light(
    run_pass: Callable[[int, int, int], tuple[np.ndarray, np.ndarray]],
    plan: SamplePlan,
    face: np.ndarray,
    state: PassState,
    told: Callable[[int, int, float | None], None],
) -> LightPicture:
    """Trace passes until the plan or its noise target is met, going on from `state`.

    Parameters
    ----------
    run_pass : (half, first sample, end sample) -> summed radiance and irradiance, each (B, H, W).
    face : (H, W) bool, the pixels whose noise counts.
    told : called after each pass with passes done, passes planned, and the noise so far.
    """
    sizes = plan.pass_sizes(face.size)
    noise = state.noise(face) if state.passes >= 2 else None
    for number in range(state.passes, len(sizes)):
        half, size = number % 2, sizes[number]
        first = state.counts[half]
        state.add(half, size, *run_pass(half, first, first + size))
        if half == 1:
            noise = state.noise(face)
        told(number + 1, len(sizes), noise)
        if half == 1 and plan.target_stops is not None and noise is not None and noise <= plan.target_stops:
            break
    return state.picture(noise)
