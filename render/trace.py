"""From a stage to its OLAT set."""

from __future__ import annotations

from dataclasses import dataclass, replace

from materials import KeyfallError
from scenes.stage import REGIONS, Light, Stage

from .backend import check_threads
from .cache import Cache
from .job import Job
from .memory import require_memory
from .meterset import MeterSet, place_meters
from .olat import OlatSet, assemble
from .passes import DRAFT_SCALE, QUALITIES, PassReport, Progress, SamplePlan, Told

_MOST_SAMPLES = 2**20
_MOST_FOR_TARGET = 4096
INDOOR_DAYLIGHT = 4
"""How many times the samples of other lights daylight in a room is given."""


@dataclass(frozen=True, slots=True)
class TraceSettings:
    """How to trace; see `trace`."""

    quality: str = "preview"
    samples: int | None = None
    target_stops: float | None = None
    device: str = "auto"
    threads: int | None = None


def sample_plan(quality: str, samples: int | None, target_stops: float | None) -> SamplePlan:
    """The plan of a named quality, with its sample count or noise target replaced where given.

    Raises
    ------
    KeyfallError
        For an unknown quality, a count below 2 or odd, or a target that is not a positive number.
    """
    if quality not in QUALITIES:
        raise KeyfallError(f"There is no quality '{quality}'. Allowed: {', '.join(QUALITIES)}.")
    if samples is not None and (samples < 2 or samples % 2 or samples > _MOST_SAMPLES):
        raise KeyfallError(f"The sample count is {samples}. Allowed: an even number from 2 to {_MOST_SAMPLES}.")
    if target_stops is not None and not 0 < target_stops < 10:
        raise KeyfallError(f"The noise target is {target_stops}. Allowed: stops between 0 and 10, such as 0.05.")
    if samples is None:
        samples = QUALITIES[quality].samples if target_stops is None else _MOST_FOR_TARGET
    return SamplePlan(samples, target_stops)


def trace(
    stage: Stage,
    *,
    quality: str = "preview",
    samples: int | None = None,
    target_stops: float | None = None,
    device: str = "auto",
    threads: int | None = None,
    cache: Cache | None = None,
    progress: Progress | None = None,
) -> OlatSet:
    """Trace every light of a stage alone, at unit output.

    Parameters
    ----------
    stage : what `scenes.build_stage` gives.
    quality : "draft", "preview" or "final": samples a pixel and effort of the denoiser. A draft traces half the width
        and height.
    samples : paths a pixel and light, in place of the quality's.
    target_stops : trace until the noise over the face is at most this many stops (at most `samples`, or 4096).
    device : "auto", "cuda", "metal" or "cpu"; threads : CPU threads.
    cache : where results are kept; None for the user's own.
    progress : called after every pass. An interrupt keeps what is done; the next call goes on from there.

    Raises
    ------
    KeyfallError
        For a stage without lights, settings out of range, a picture that does not fit into memory, or (BackendError)
        when no device is usable.
    """
    plan = sample_plan(quality, samples, target_stops)
    stage = at_traced_size(stage, quality)
    cache = cache if cache is not None else Cache()
    require_memory(stage, cache)
    job = _job(stage, cache, device, threads)
    guides = job.guides()
    face = guides.region == REGIONS.index("face")
    if not face.any():
        face = guides.seen
    transports = tuple(
        job.transport(
            light, guides, face, _for_light(plan, light, stage, samples), quality,
            _teller(stage, light, number, progress),
        )
        for number, light in enumerate(stage.lights, 1)
    )
    return assemble(transports, guides, _meter_set(job, stage))


def _for_light(plan: SamplePlan, light: Light, stage: Stage, samples: int | None) -> SamplePlan:
    """More samples for daylight in a room, most of which comes off reveals, floor and walls, unless a count was asked
    for."""
    indoors = stage.openings is not None and light.fixture is None
    if not indoors or samples is not None or plan.target_stops is not None:
        return plan
    return replace(plan, samples=plan.samples * INDOOR_DAYLIGHT)


def trace_as(
    stage: Stage, settings: TraceSettings, *, cache: Cache | None = None, progress: Progress | None = None
) -> OlatSet:
    """`trace` with its settings in one."""
    return trace(
        stage, quality=settings.quality, samples=settings.samples, target_stops=settings.target_stops,
        device=settings.device, threads=settings.threads, cache=cache, progress=progress,
    )  # fmt: skip


def at_traced_size(stage: Stage, quality: str) -> Stage:
    """The stage with the picture size that is traced: a draft's is smaller."""
    if quality != "draft":
        return stage
    width, height = (max(1, round(n / DRAFT_SCALE)) for n in (stage.camera.width_px, stage.camera.height_px))
    return replace(stage, camera=replace(stage.camera, width_px=width, height_px=height))


def trace_meters(
    stage: Stage, *, device: str = "auto", threads: int | None = None, cache: Cache | None = None
) -> MeterSet:
    """Trace the hand meters of a stage only; see `trace` for the parameters and errors."""
    return _meter_set(_job(stage, cache, device, threads), stage)


def _job(stage: Stage, cache: Cache | None, device: str, threads: int | None) -> Job:
    if not stage.lights:
        raise KeyfallError("This set has no light. Add one, such as a [light.key] table with a source and a strength.")
    check_threads(threads)
    return Job(stage, cache if cache is not None else Cache(), device, threads)


def _meter_set(job: Job, stage: Stage) -> MeterSet:
    placement = place_meters(stage)
    names = tuple(light.name for light in stage.lights)
    return MeterSet(job.bands, names, placement.meters, job.meters(placement), job.clear_face())


def _teller(stage: Stage, light: Light, number: int, progress: Progress | None) -> Told:
    def told(done: int, planned: int, noise: float | None, noisy: bool = False) -> None:
        if progress is not None:
            progress(PassReport(light.name, number, len(stage.lights), done, planned, noise, noisy))

    return told
