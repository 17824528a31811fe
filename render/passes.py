"""Tracing one light in bounded passes, with progress, a noise target, and a clean stop between passes.

A pass of a large picture is traced in strips of rows, so that the memory it takes and the wait for its end are bounded
whatever the picture's size.
"""

from __future__ import annotations

import itertools
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from .noise import noise_stops


@dataclass(frozen=True, slots=True)
class SamplePlan:
    """How long to trace a light.

    Attributes
    ----------
    samples : paths a pixel at most; a power of two spreads them best.
    target_stops : stop early once the noise over the face is at most this; None runs all samples.
    least : stop after so many where the noise over the whole picture is at most `USUAL_NOISE_STOPS`, so that only noisy
        lights take all samples; 0 for no such stop.
    """

    samples: int
    target_stops: float | None = None
    least: int = 0

    def goal(self, done: int) -> int:
        """Samples planned for a light that has `done`."""
        return self.least if done < self.least else self.samples

    def pass_size(self, done: int, strip_pixels: int) -> int:
        """Samples of the pass that follows `done` samples, even, so that one strip of it is a second or two of work."""
        return min(max(2, _PATHS_PER_LAUNCH // strip_pixels // 2 * 2), self.goal(done) - done)


def strips(height: int, width: int) -> list[tuple[int, int]]:
    """A picture's rows in strips (first, end) of about equal size, each small enough for one launch."""
    count = min(height, -(-height * width // PIXELS_PER_LAUNCH))
    edges = [height * number // count for number in range(count + 1)]
    return list(itertools.pairwise(edges))


_PATHS_PER_LAUNCH = 4_000_000
PIXELS_PER_LAUNCH = 2**20

QUALITIES = {
    "draft": SamplePlan(16, least=4),
    "preview": SamplePlan(32, least=8),
    "final": SamplePlan(256),
}

USUAL_NOISE_STOPS = 0.3
"""Noise of a light over the whole picture that a quality's usual samples may leave to the denoiser. The lights of the
demo scenes have 0.05 to 0.21 at draft; those that came out blotched had 0.4 and more."""


DRAFT_SCALE = 2
"""A draft traces one pixel for so many by so many of the picture, which is enlarged afterwards."""


@dataclass(frozen=True, slots=True)
class PassReport:
    """Told after each pass: which light of how many (from 1), samples done of those planned, and the noise so far
    (None where the light leaves the picture dark). `noisy` says that the light is now being denoised, and takes longer
    over it than lights of its quality do."""

    light: str
    light_number: int
    light_count: int
    done: int
    planned: int
    noise_stops: float | None
    noisy: bool = False


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

    def take(self, name: str) -> np.ndarray:
        """One of the arrays, which is let go of here, so that its memory is free once the caller is done with it."""
        array = getattr(self, name)
        setattr(self, name, np.empty((0, 0, 0), np.float32))
        return array


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


RunPass = Callable[[int, int, tuple[int, int]], PassSums]
"""(first sample, end sample, (first row, end row)) -> the sums over those samples in those rows."""


@dataclass
class PassState:
    """Sums so far of a light being traced; kept when the work is interrupted.

    `samples` are done in every row; of the pass in hand, of `pass_size` samples, the first `rows` rows are done too.
    """

    samples: int = 0
    radiance: np.ndarray | None = None
    irradiance: np.ndarray | None = None
    odd: np.ndarray | None = None
    haze: np.ndarray | None = None
    whole: bool = True
    pass_size: int = 0
    rows: int = 0

    @property
    def begun(self) -> bool:
        """Whether anything is traced yet."""
        return self.radiance is not None and (self.samples > 0 or self.rows > 0)

    def to_record(self) -> dict[str, np.ndarray]:
        """Arrays to store; none before the first strip, or when an interrupt fell into the middle of `add`."""
        if not self.whole or self.radiance is None or self.irradiance is None or self.odd is None:
            return {}
        sums = {"radiance": self.radiance, "irradiance": self.irradiance, "odd": self.odd}
        if self.haze is not None:
            sums["haze"] = self.haze
        counts = {"samples": self.samples, "pass_size": self.pass_size, "rows": self.rows}
        return {**{name: np.array(count, np.int64) for name, count in counts.items()}, **sums}

    @classmethod
    def from_record(cls, record: dict[str, np.ndarray] | None) -> PassState:
        """State of a stored record; a fresh one when there is none."""
        if not record:
            return cls()
        return cls(
            int(record["samples"]), record["radiance"], record["irradiance"], record["odd"], record.get("haze"),
            pass_size=int(record["pass_size"]), rows=int(record["rows"]),
        )  # fmt: skip

    def add(self, rows: tuple[int, int], height: int, sums: PassSums) -> None:
        """Add the sums of a strip of the pass in hand, of a picture of `height` rows; the last strip ends the pass."""
        self.whole = False
        first, end = rows
        if self.radiance is None or self.irradiance is None or self.odd is None:
            bands, _, width = sums.radiance.shape
            self.radiance, self.irradiance = (np.zeros((bands, height, width), np.float32) for _ in range(2))
            self.odd = np.zeros((height, width))
            self.haze = None if sums.haze is None else np.zeros((bands, height, width), np.float32)
        self.radiance[:, first:end] += sums.radiance
        self.irradiance[:, first:end] += sums.irradiance
        self.odd[first:end] += sums.odd
        if self.haze is not None:
            self.haze[:, first:end] += sums.haze
        self.rows = end
        if end == height:
            self.samples, self.pass_size, self.rows = self.samples + self.pass_size, 0, 0
        self.whole = True

    def picture(self, noise: float | None) -> LightPicture:
        """Means of all samples; takes the sums' own memory, so nothing can be added afterwards."""
        assert self.radiance is not None
        assert self.irradiance is not None
        self.whole = False
        even, odd = self._halves()
        halves = (odd - even).astype(np.float32)
        for sums in (self.radiance, self.irradiance, self.haze):
            if sums is not None:
                sums /= np.float32(self.samples)
        return LightPicture(self.radiance, self.irradiance, self.samples, noise, self.haze, halves)

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

    def noise_of_all(self) -> float | None:
        """Noise over the whole picture, in stops; None where it is dark."""
        even, odd = self._halves()
        return noise_stops(even, odd, np.ones(even.shape, bool))


Progress = Callable[[PassReport], None]


class Told(Protocol):
    """Hears of one light, strip by strip."""

    def __call__(self, done: int, planned: int, noise: float | None, noisy: bool = False) -> None:
        """Samples done, samples planned, the noise so far in stops, and `PassReport.noisy`."""


KEEP_EVERY_S = 5.0
_KEEPING_SHARE = 10  # of the time at most goes into keeping


class KeptByTime:
    """Calls `keep` every five seconds at most, and the more seldom the longer it takes: even a process that is killed
    loses little."""

    def __init__(self, keep: Callable[[], None]) -> None:
        self._keep = keep
        self._next = time.monotonic() + KEEP_EVERY_S

    def __call__(self) -> None:
        """Keep, if it is time."""
        started = time.monotonic()
        if started >= self._next:
            self._keep()
            ended = time.monotonic()
            self._next = ended + max(KEEP_EVERY_S, _KEEPING_SHARE * (ended - started))


def trace_light(
    run_pass: RunPass,
    plan: SamplePlan,
    face: np.ndarray,
    state: PassState,
    told: Told,
    kept: Callable[[], None],
) -> LightPicture:
    """Trace passes until the plan or its noise target is met, going on from `state`.

    Parameters
    ----------
    face : (H, W) bool, the pixels whose noise counts.
    told : called after each strip of a pass with samples done, samples planned, and the noise so far.
    kept : called after each strip, to keep the state.
    """
    height, width = face.shape
    parts = strips(height, width)
    noise = state.noise(face) if state.samples and not state.rows else None
    while state.samples < plan.samples and not (state.rows == 0 and _enough(plan, state, noise)):
        state.pass_size = state.pass_size or plan.pass_size(state.samples, (parts[0][1] - parts[0][0]) * width)
        for rows in (part for part in parts if part[1] > state.rows):
            span = state.samples, state.samples + state.pass_size
            state.add(rows, height, run_pass(*span, rows))
            if state.rows:
                told(span[0] + (span[1] - span[0]) * state.rows // height, plan.goal(span[0]), noise)
                kept()
        noise = state.noise(face)
        told(state.samples, plan.goal(state.samples - 1), noise)
        kept()
    return state.picture(noise)


def _enough(plan: SamplePlan, state: PassState, noise: float | None) -> bool:
    """Whether a light needs no more than the samples it has."""
    if plan.target_stops is not None and noise is not None and noise <= plan.target_stops:
        return True
    return 0 < plan.least <= state.samples and (state.noise_of_all() or 0.0) <= USUAL_NOISE_STOPS
