"""A stage on the compute device: uploaded once, when the first thing has to be traced."""

from __future__ import annotations

from typing import Any

import numpy as np

from materials import Bands, ggx_albedo_table
from materials.haze import phase_shares
from scenes.stage import Fixture, Light, Stage

from .backend import init
from .merge import MergedSet, finish_tables
from .olat import Guides
from .passes import PassSums, RunPass, strips

GUIDE_SAMPLES = 8
METER_SAMPLES = 1024


class Tracer:
    """Traces pictures, meters and guides of one stage. Nothing is compiled or copied before the first call."""

    def __init__(self, stage: Stage, merged: MergedSet, bands: Bands, device: str, threads: int | None) -> None:
        self._stage = stage
        self._merged = merged
        self._bands = bands
        self._device = device
        self._threads = threads
        self._uploaded: tuple | None = None
        self._nets: Any = None
        self._portals: Any = None
        self._haze: Any = None

    def _device_set(self) -> tuple:
        if self._uploaded is None:
            init(self._device, self._threads)
            from .kernel.camera import upload_camera
            from .kernel.geometry import upload
            from .kernel.nets import upload_nets
            from .kernel.portals import upload_portals
            from .kernel.surface import upload_palette

            coat = np.stack(ggx_albedo_table(), axis=-1)
            palette = upload_palette(*finish_tables(self._merged.finishes, self._bands), coat)
            self._uploaded = upload(self._merged), palette, upload_camera(self._stage.camera)
            self._nets = upload_nets((*self._stage.nets, *self._stage.panes))
            self._portals = upload_portals(self._stage.openings)
            self._haze = self._upload_haze()
        return self._uploaded

    def _upload_haze(self) -> Any:
        haze = self._stage.haze
        if haze is None:
            return None
        from .kernel.haze import upload_haze

        medium = haze.medium
        albedo = np.clip(self._bands.project(medium.albedo), 0, 1)
        lobes = np.array([(phase.forward, phase.back, phase.share) for phase in medium.phases])
        mixed = phase_shares(self._bands.nodes_nm)
        extinction = self._bands.project(medium.extinction_per_m)
        return upload_haze(extinction, albedo, lobes, haze.low_m, haze.high_m, haze.density, mixed)

    @property
    def _picture_shape(self) -> tuple[int, int]:
        return self._stage.camera.height_px, self._stage.camera.width_px

    def guides(self, visible: list[Fixture]) -> Guides:
        """Guide pictures; the `visible` fixtures' bodies hide what is behind them."""
        geometry, palette, lens = self._device_set()
        from .kernel.bodies import upload_bodies
        from .kernel.guides import trace_guides

        bodies, (height, width) = upload_bodies(visible), self._picture_shape
        whole: dict[str, np.ndarray] = {}
        for first, end in strips(height, width):
            for name, part in trace_guides(geometry, palette, bodies, lens, (first, end), width, GUIDE_SAMPLES).items():
                if name not in whole:
                    whole[name] = np.empty((*part.shape[:-2], height, width), part.dtype)
                whole[name][..., first:end, :] = part
        return Guides(whole["albedo"], whole["normal"], whole["depth"], whole["position"], whole["region"])

    def let_go(self) -> None:
        """Give the memory that the device keeps for the next picture back to the system."""
        if self._uploaded is not None:
            import drjit as dr

            dr.flush_malloc_cache()

    def blockers(self, light: Light, others: list[Fixture], points: np.ndarray) -> list[int]:
        """Which of the `others` stand between the light and `points` (n, 3)."""
        self._device_set()
        from .kernel.blockers import blocking_bodies
        from .kernel.luminaire import NO_BODY

        return blocking_bodies(self._light(light, NO_BODY), others, points)

    def _light(self, light: Light, body: int) -> Any:
        import drjit as dr
        import mitsuba as mi

        from .kernel.luminaire import light_at, upload_lights

        lit = light_at(upload_lights([light], [body]), dr.opaque(mi.UInt32, 0))
        dr.make_opaque(lit)  # left unevaluated, it would be part of the first launch's kernel only
        return lit

    def pass_runner(self, light: Light, bodies: list[Fixture], seed: int) -> RunPass:
        """Function that traces samples of a light among the `bodies` of other fixtures; see `RunPass`."""
        geometry, palette, lens = self._device_set()
        import drjit as dr
        import mitsuba as mi

        from .kernel.bodies import upload_bodies
        from .kernel.luminaire import NO_BODY
        from .kernel.paths import Scene, trace_lanes

        own = [] if light.fixture is None else [light.fixture]
        light_record = self._light(light, 0 if own else NO_BODY)
        standing = upload_bodies([*own, *bodies])
        scene = Scene(geometry, palette, standing, self._nets, self._portals, light_record, self._haze)
        height, width = self._picture_shape

        def run(first: int, end: int, rows: tuple[int, int] = (0, height)) -> PassSums:
            span = (dr.opaque(mi.UInt32, first), dr.opaque(mi.UInt32, end))
            start, high = dr.opaque(mi.UInt32, rows[0] * width), rows[1] - rows[0]
            paths = trace_lanes(scene, lens, width * high, *span, dr.opaque(mi.UInt32, seed & 0x7FFFFFFF), start)
            irradiance = paths.irradiance + paths.irradiance_direct
            dr.eval(paths.radiance, irradiance, paths.odd, paths.haze)
            shape = (-1, high, width)
            return PassSums(
                np.array(paths.radiance).reshape(shape),
                np.array(irradiance).reshape(shape),
                np.array(paths.odd).reshape(high, width),
                None if paths.haze is None else np.array(paths.haze).reshape(shape),
            )

        return run

    def meters(
        self, lights: tuple[Light, ...], placement: tuple[np.ndarray, np.ndarray, np.ndarray],
        samples: int = METER_SAMPLES, seed: int = 1,
    ) -> np.ndarray:  # fmt: skip
        """Readings (L, B, M) of lights of unit output, all their bodies standing; see `read_meters`."""
        geometry, palette, _ = self._device_set()
        from .kernel.bodies import upload_bodies
        from .kernel.luminaire import NO_BODY, upload_lights
        from .kernel.meters import read_meters

        fixtures = [light.fixture for light in lights if light.fixture]
        bodies = [next((i for i, f in enumerate(fixtures) if f is light.fixture), NO_BODY) for light in lights]
        table = upload_lights(list(lights), bodies)
        return read_meters(
            geometry, palette, upload_bodies(fixtures), self._nets, self._portals, table, len(lights), placement,
            samples, seed, self._haze,
        )  # fmt: skip
