"""Results of one stage by content: loaded where they are known, traced where they are not."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from materials import Bands, bands_for
from scenes.pieces import PIECE_PREFIX
from scenes.stage import REGIONS, Fixture, Light, Stage

from .cache import Cache, content_hash
from .denoise import denoise_haze, denoise_light, effort
from .forms import Forms
from .guard import hold
from .half import Half
from .interrupts import held, passes_kept, stop_here
from .merge import finish_tables, merge
from .meterset import FACE_PROBE, MeterPlacement
from .olat import Guides, LightTransport, held_in_memory
from .passes import KeptByTime, LightPicture, PassState, SamplePlan, Told, trace_light
from .trace_version import trace_version
from .tracer import GUIDE_SAMPLES, METER_SAMPLES, Tracer

_BLOCKER_POINTS = 4096


def bands_of(stage: Stage) -> Bands:
    """The bands a stage is traced in: the usual ones, but for sources of narrow lines; see `materials.narrow`."""
    return bands_for(light.source.spd for light in stage.lights)


class Job:
    """The keys of everything a stage needs, and a tracer that wakes only when a key misses."""

    def __init__(self, stage: Stage, cache: Cache, device: str, threads: int | None) -> None:
        self.stage, self.cache = stage, cache
        self._device = device, threads
        self.bands: Bands = bands_of(stage)
        merged = merge(stage)
        self._set_key = content_hash(
            trace_version(), self.bands.nodes_nm, finish_tables(merged.finishes, self.bands),
            merged.vertices, merged.normals, merged.tints, merged.faces, merged.material, merged.region, stage.nets,
            stage.panes, stage.openings,
        )  # fmt: skip
        camera, bands = stage.camera, len(self.bands.nodes_nm)
        self._forms = Forms(bands, camera.height_px, camera.width_px, stage.haze is not None)
        self._in_memory = held_in_memory((len(stage.lights), bands, camera.height_px, camera.width_px))
        self._visible = [light.fixture for light in stage.lights if light.fixture and light.fixture.visible]
        self._guides_key = content_hash(self._set_key, stage.camera, self._visible, GUIDE_SAMPLES)
        self._tracer = _tracer(
            content_hash(self._set_key, stage.camera, stage.haze, device, threads),
            lambda: Tracer(stage, merged, self.bands, device, threads),
        )

    def guides(self) -> Guides:
        """Guide pictures of the set."""
        record = self.cache.load("guides", self._guides_key, self._forms.guides)
        if record is None:
            guides = self._tracer.guides(self._visible)
            record = Half.of(guides.albedo).to_record("albedo") | Half.of(guides.normal).to_record("normal")
            record |= {"depth_m": guides.depth_m, "position_m": guides.position_m, "region": guides.region}
            self.cache.save("guides", self._guides_key, self._forms.guides, record)
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
        form = self._forms.blockers(len(hidden))
        record = self.cache.load("blockers", key, form)
        if record is None:
            record = {"indices": np.array(self._tracer.blockers(light, hidden, points), np.int64)}
            self.cache.save("blockers", key, form, record)
        return visible + [hidden[i] for i in record["indices"]]

    def transport(
        self, light: Light, guides: Guides, face: np.ndarray, plan: SamplePlan, quality: str, told: Told
    ) -> LightTransport:
        """What the light sends to the picture; `told` hears of passes done, planned, and the noise."""
        bodies = self._bodies(light, _spread(guides))
        key = content_hash(self._guides_key, self.stage.haze, light.fixture, light.distant, bodies, plan, quality)
        record = self._kept_light(key)
        if record is None:
            with held():
                record = self._traced(light, bodies, guides, face, plan, quality, key, told)
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

    def _kept_light(self, key: str) -> dict[str, np.ndarray] | None:
        """The record of a light; the pictures of a large set stay on disk until they are used."""
        return self.cache.load("light", key, self._forms.light, mapped=not self._in_memory)

    def _traced(
        self, light: Light, bodies: list[Fixture], guides: Guides, face: np.ndarray, plan: SamplePlan, quality: str,
        key: str, told: Told,
    ) -> dict[str, np.ndarray]:  # fmt: skip
        picture = self._picture(light, bodies, face, plan, key, told)
        if not self._in_memory:
            self._tracer.let_go()
        assert picture.halves is not None
        chosen = effort(quality, picture.radiance, picture.halves)
        told(picture.samples, picture.samples, picture.noise_stops, chosen != quality)
        record = _denoised_record(picture, guides, chosen)
        if self.cache.save("light", key, self._forms.light, record):
            passes_kept()
            self.cache.discard("partial", key)
            if not self._in_memory:
                record = self._kept_light(key) or record
        return record

    def _picture(
        self, light: Light, bodies: list[Fixture], face: np.ndarray, plan: SamplePlan, key: str, told: Told
    ) -> LightPicture:
        form = self._forms.partial
        state = PassState.from_record(self.cache.load("partial", key, form))
        runner = self._tracer.pass_runner(light, bodies, int(key[:7], 16))

        def keep() -> None:
            if self.cache.save("partial", key, form, state.to_record()):
                passes_kept()

        timer = KeptByTime(keep)

        def strip_done() -> None:
            stop_here()
            timer()

        try:
            return trace_light(runner, plan, face, state, told, strip_done)
        except KeyboardInterrupt:
            keep()
            raise

    def meters(self, placement: MeterPlacement) -> np.ndarray:
        """Readings (L, B, M) of every light at unit output; quick, so one moved light traces all of them again."""
        return self._readings(self.stage.lights, (placement.positions, placement.normals, placement.domes))

    def _readings(self, lights: tuple[Light, ...], facing: tuple[np.ndarray, np.ndarray, np.ndarray]) -> np.ndarray:
        sources = [(light.fixture, light.distant) for light in lights]
        key = content_hash(self._set_key, self.stage.haze, sources, facing, METER_SAMPLES)
        form = self._forms.meters(len(sources), len(facing[0]))
        record = self.cache.load("meters", key, form)
        if record is None:
            record = {"readings": self._tracer.meters(lights, facing)}
            self.cache.save("meters", key, form, record)
        readings: np.ndarray = record["readings"]
        return readings

    def clear_face(self) -> np.ndarray:
        """(L, B): what a dome at the face, toward the camera, catches of every ambient light of unit output before
        pieces and lights are put up; 0 for all other lights."""
        lights = self.stage.lights
        caught = np.zeros((len(lights), len(self.bands.nodes_nm)))
        metered = [i for i, light in enumerate(lights) if light.output.reading_lux is not None]
        face = next((probe for probe in self.stage.probes if probe.name == FACE_PROBE), None)
        if not metered or face is None:
            return caught
        bare = replace(
            self.stage, shapes=tuple(s for s in self.stage.shapes if not s.name.startswith(PIECE_PREFIX)), nets=(),
            lights=tuple(lights[i] for i in metered),
        )  # fmt: skip
        toward = self.stage.camera.origin_m - face.position_m
        dome = face.position_m[None], toward[None] / np.linalg.norm(toward), np.ones(1, bool)
        job = self if len(bare.shapes) == len(self.stage.shapes) and not self.stage.nets else self._like(bare)
        caught[metered] = job._readings(bare.lights, dome)[:, :, 0]
        return caught

    def _like(self, stage: Stage) -> Job:
        return Job(stage, self.cache, *self._device)


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
        probes = [p.position_m for p in stage.probes]
        return content_hash(
            nodes, stage.camera, stage.nets, stage.panes, stage.openings, stage.haze, lights, probes
        )

    shapes, others = ((*stage.shapes, *stage.surroundings) for stage in (one, other))
    return len(shapes) == len(others) and small(one) == small(other) and all(
        a.finish is b.finish and all(
            x is y or np.array_equal(x, y)
            for x, y in ((a.vertices, b.vertices), (a.faces, b.faces), (a.normals, b.normals), (a.tints, b.tints),
                         (a.gloss, b.gloss))
        ) for a, b in zip(shapes, others, strict=True)
    )  # fmt: skip


def _denoised_record(picture: LightPicture, guides: Guides, quality: str) -> dict[str, np.ndarray]:
    """Everything that is kept of a light; lets go of the picture's parts one by one, since they may be large."""
    noise = np.nan if picture.noise_stops is None else picture.noise_stops
    record = {"samples": np.array(picture.samples, np.int64), "noise_stops": np.array(noise, np.float64)}
    record |= Half.of(picture.take("irradiance")).to_record("irradiance")
    surface = picture.take("radiance")
    record |= Half.of(surface).to_record("noisy")
    haze, haze_put_back = None, 0.0
    if picture.haze is not None:
        traced = picture.take("haze")
        surface -= traced
        np.maximum(surface, 0, out=surface)
        haze, haze_put_back = hold(denoise_haze(traced, quality, picture.halves), traced)
        del traced
        record |= Half.of(haze).to_record("haze")
    strands = guides.region == REGIONS.index("hair")
    clean = denoise_light(surface, guides.albedo, guides.normal, quality, picture.halves, strands)
    clean, put_back = hold(clean, surface)
    if haze is not None:
        clean += haze
    record["put_back"] = np.array(max(put_back, haze_put_back), np.float64)
    return record | Half.of(clean).to_record("radiance")


def _spread(guides: Guides) -> np.ndarray:
    """An even choice of points (n, 3) the camera sees."""
    seen = guides.position_m[:, guides.seen].T
    return seen[:: max(1, len(seen) // _BLOCKER_POINTS)]
