"""A stage on the compute device: uploaded once, when the first thing has to be traced."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from materials import Bands, ggx_albedo_table
from scenes.stage import Fixture, Light, Stage

from .backend import init
from .merge import MergedSet, finish_tables
from .olat import Guides

GUIDE_SAMPLES = 16
METER_SAMPLES = 2048


class Tracer:
    """Traces pictures, meters and guides of one stage. Nothing is compiled or copied before the first call."""

    def __init__(self, stage: Stage, merged: MergedSet, bands: Bands, device: str, threads: int | None) -> None:
        self._stage = stage
        self._merged = merged
        self._bands = bands
        self._device = device
        self._threads = threads
        self._uploaded: tuple | None = None

    def _device_set(self) -> tuple:
        if self._uploaded is None:
            init(self._device, self._threads)
            from .kernel.camera import upload_camera
            from .kernel.geometry import upload
            from .kernel.surface import upload_palette

            coat = np.stack(ggx_albedo_table(), axis=-1)
            palette = upload_palette(*finish_tables(self._merged.finishes, self._bands), coat)
            self._uploaded = upload(self._merged), palette, upload_camera(self._stage.camera)
        return self._uploaded

    @property
    def _picture_shape(self) -> tuple[int, int]:
        return self._stage.camera.height_px, self._stage.camera.width_px

    def guides(self, visible: list[Fixture]) -> Guides:
        """Guide pictures; the `visible` fixtures' bodies hide what is behind them."""
        geometry, palette, lens = self._device_set()
        from .kernel.bodies import upload_bodies
        from .kernel.guides import trace_guides

        traced = trace_guides(geometry, palette, upload_bodies(visible), lens, self._picture_shape, GUIDE_SAMPLES)
        return Guides(
            traced["albedo"], traced["normal"], traced["depth"], traced["position"], traced["region"]
        )

    def blockers(self, light: Light, others: list[Fixture], points: np.ndarray) -> list[int]:
        """Which of the `others` stand between the light and `points` (n, 3)."""
        self._device_set()
        from .kernel.blockers import blocking_bodies
        from .kernel.luminaire import NO_BODY, upload_light

        return blocking_bodies(upload_light(light, NO_BODY), others, points)

    def _scene(self, light: Light, bodies: list[Fixture]) -> object:
        geometry, palette, _ = self._device_set()
        from .kernel.bodies import upload_bodies
        from .kernel.luminaire import NO_BODY, upload_light
        from .kernel.paths import Scene

        own = NO_BODY if light.fixture is None else 0
        present = bodies if light.fixture is None else [light.fixture, *bodies]
        return Scene(geometry, palette, upload_bodies(present), upload_light(light, own))

    def pass_runner(
        self, light: Light, bodies: list[Fixture], seed: int
    ) -> Callable[[int, int, int], tuple[np.ndarray, np.ndarray]]:
        """Function (half, first sample, end sample) -> summed radiance and irradiance (B, H, W) float32 of a light
        among the `bodies` of other fixtures."""
        scene = self._scene(light, bodies)
        _, _, lens = self._device_set()
        import drjit as dr
        import mitsuba as mi

        from .kernel.paths import trace_lanes

        height, width = self._picture_shape

        def run(half: int, first: int, end: int) -> tuple[np.ndarray, np.ndarray]:
            number = dr.opaque(mi.UInt32, (seed * 2 + half) & 0xFFFFFFFF)
            paths = trace_lanes(
                scene, lens, width * height, dr.opaque(mi.UInt32, first), dr.opaque(mi.UInt32, end), number
            )
            irradiance = paths.irradiance + paths.irradiance_direct
            dr.eval(paths.radiance, irradiance)
            shape = (-1, height, width)
            return np.array(paths.radiance).reshape(shape), np.array(irradiance).reshape(shape)

        return run

    def meters(
        self, light: Light, bodies: list[Fixture], positions: np.ndarray, normals: np.ndarray, domes: np.ndarray
    ) -> np.ndarray:
        """Meter readings (B, M) of a light of unit output."""
        scene = self._scene(light, bodies)
        from .kernel.meters import read_meters

        return read_meters(scene, positions, normals, domes, METER_SAMPLES)
