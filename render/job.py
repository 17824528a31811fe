"""Results of one stage by content: loaded where they are known, traced where they are not."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from materials import Bands, bands_for
from scenes.stage import REGIONS, Fixture, Light, Stage

from .cache import Cache, content_hash
from .denoise import denoise_haze, denoise_light
from .guard import hold
from .half import Half
from .merge import finish_tables, merge
from .meterset import MeterPlacement
from .olat import Guides, LightTransport
from .passes import LightPicture, PassState, SamplePlan, trace_light
from .tracer import GUIDE_SAMPLES, METER_SAMPLES, Tracer

TRACE_VERSION = 8  # raise whenever a change of code changes what is traced
_BLOCKER_POINTS = 4096



def bands_of(stage: Stage) -> Bands:
    """The bands a stage is traced in: the usual ones, but for sources of narrow lines; see `materials.narrow`."""
    return bands_for(light.source.spd for light in stage.lights)


Told = Callable[[int, int, float | None], None]


class Job:
    """The keys of everything a stage needs, and a tracer that wakes only when a key misses."""

    def __init__(self, stage: Stage, cache: Cache, device: str, threads: int | None) -> None:
        self.stage, self.cache = stage, cache
        self.bands: Bands = bands_of(stage)
        merged = merge(stage)
        self._set_key = content_hash(
            TRACE_VERSION, self.bands.nodes_nm, finish_tables(merged.finishes, self.bands),
            merged.vertices, merged.normals, merged.tints, merged.faces, merged.material, merged.region, stage.nets,
        )  # fmt: skip
        self._visible = [light.fixture for light in stage.lights if light.fixture and light.fixture.visible]
        self._guides_key = content_hash(self._set_key, stage.camera, self._visible, GUIDE_SAMPLES)
        self._tracer = _tracer(
            content_hash(self._set_key, stage.camera, stage.haze, device, threads),
            lambda: Tracer(stage, merged, self.bands, device, threads),
        )

    def guides(self) -> Guides:
        """Guide pictures of the set."""
        record = self.cache.load("guides", self._guides_key)
        if record is None:
            guides = self._tracer.guides(self._visible)
            record = Half.of(guides.albedo).to_record("albedo") | Half.of(guides.normal).to_record("normal")
            record |= {"depth_m": guides.depth_m, "position_m": guides.position_m, "region": guides.region}
            self.cache.save("guides", self._guides_key, record)
        return Guides(
            Half.from_record(record, "albedo").unpack(), Half.from_record(record, "normal").unpack(),
            record["depth_m"], record["position_m"], record["region"],
        )  # fmt: skip

    def _bodies(self, light: Light, points: np.ndarray) -> list[Fixture]:
        """Fixtures of other lights that the camera sees, or that stand between this light and `points`."""
        others = [other.fixture for other in self.stage.lights if other is not light and other.fixture]
        hidden = [fixture for fixture in others if not fixture.visible]
        visible = [fixture for fixture in others if fixture.visible]
        if not hidden:
            return visible
        key = content_hash(light.fixture, light.distant, hidden, points)
        record = self.cache.load("blockers", key)
        if record is None:
            record = {"indices": np.array(self._tracer.blockers(light, hidden, points), np.int64)}
            self.cache.save("blockers", key, record)
        return visible + [hidden[i] for i in record["indices"]]

    def transport(
        self, light: Light, guides: Guides, face: np.ndarray, plan: SamplePlan, quality: str, told: Told
    ) -> LightTransport:
        """What the light sends to the picture; `told` hears of passes done, planned, and the noise."""
        bodies = self._bodies(light, _spread(guides))
        key = content_hash(self._guides_key, self.stage.haze, light.fixture, light.distant, bodies, plan, quality)
        record = self.cache.load("light", key)
        if record is None:
            picture = self._picture(light, bodies, face, plan, key, told)
            record = _denoised_record(picture, guides, quality)
            self.cache.save("light", key, record)
            self.cache.discard("partial", key)
        noise = None if np.isnan(record["noise_stops"]) else float(record["noise_stops"])
        told(1, 1, noise)
        return LightTransport(
            name=light.name,
            radiance=Half.from_record(record, "radiance"),
            noisy=Half.from_record(record, "noisy"),
            irradiance=Half.from_record(record, "irradiance"),
            samples=int(record["samples"]),
            noise_stops=noise,
            haze=Half.from_record(record, "haze") if "haze" in record else None,
            put_back=float(record["put_back"]),
        )

    def _picture(
        self, light: Light, bodies: list[Fixture], face: np.ndarray, plan: SamplePlan, key: str, told: Told
    ) -> LightPicture:
        state = PassState.from_record(self.cache.load("partial", key))
        runner = self._tracer.pass_runner(light, bodies, int(key[:7], 16))
        try:
            return trace_light(runner, plan, face, state, told)
        except KeyboardInterrupt:
            self.cache.save("partial", key, state.to_record())
            raise

    def meters(self, placement: MeterPlacement) -> np.ndarray:
        """Readings (L, B, M) of every light at unit output; quick, so one moved light traces all of them again."""
        facing = (placement.positions, placement.normals, placement.domes)
        sources = [(light.fixture, light.distant) for light in self.stage.lights]
        key = content_hash(self._set_key, self.stage.haze, sources, facing, METER_SAMPLES)
        record = self.cache.load("meters", key)
        if record is None:
            record = {"readings": self._tracer.meters(self.stage.lights, facing)}
            self.cache.save("meters", key, record)
        return record["readings"]


_KEPT = 2  # a draft's picture and the meters of its style check are of two sizes
_tracers: dict[str, Tracer] = {}


def _tracer(key: str, make: Callable[[], Tracer]) -> Tracer:
    """One of the last tracers where it is of the same set, which is then not uploaded again; else a new one."""
    tracer = _tracers.pop(key, None) or make()
    _tracers[key] = tracer
    if len(_tracers) > _KEPT:
        del _tracers[next(iter(_tracers))]
    return tracer


def same_transport(one: Stage, other: Stage) -> bool:
    """Whether what is traced of two stages is the same, so that they differ at most in gels, strengths, exposure and
    which lights are on."""

    def small(stage: Stage) -> str:
        lights = [(light.name, light.fixture, light.distant) for light in stage.lights]
        nodes = bands_of(stage).nodes_nm
        return content_hash(nodes, stage.camera, stage.nets, stage.haze, lights, [p.position_m for p in stage.probes])

    return len(one.shapes) == len(other.shapes) and small(one) == small(other) and all(
        a.finish is b.finish and all(
            x is y or np.array_equal(x, y)
            for x, y in ((a.vertices, b.vertices), (a.faces, b.faces), (a.normals, b.normals), (a.tints, b.tints),
                         (a.gloss, b.gloss))
        ) for a, b in zip(one.shapes, other.shapes, strict=True)
    )  # fmt: skip


def _denoised_record(picture: LightPicture, guides: Guides, quality: str) -> dict[str, np.ndarray]:
    surface = picture.radiance if picture.haze is None else np.maximum(picture.radiance - picture.haze, 0)
    strands = guides.region == REGIONS.index("hair")
    clean = denoise_light(surface, guides.albedo, guides.normal, quality, picture.halves, strands)
    clean, put_back = hold(clean, surface)
    noise = np.nan if picture.noise_stops is None else picture.noise_stops
    record = {"samples": np.array(picture.samples), "noise_stops": np.array(noise)}
    if picture.haze is not None:
        haze, haze_put_back = hold(denoise_haze(picture.haze, quality), picture.haze)
        clean, put_back = clean + haze, max(put_back, haze_put_back)
        record |= Half.of(haze).to_record("haze")
    record["put_back"] = np.array(put_back)
    for name, values in (("radiance", clean), ("noisy", picture.radiance), ("irradiance", picture.irradiance)):
        record |= Half.of(values).to_record(name)
    return record


def _spread(guides: Guides) -> np.ndarray:
    """An even choice of points (n, 3) the camera sees."""
    seen = guides.position_m[:, guides.seen].T
    return seen[:: max(1, len(seen) // _BLOCKER_POINTS)]
