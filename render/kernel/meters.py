"""Hand meters on the set: illuminance per unit output of each light, in every band.

A flat meter answers with the cosine; a dome answers with (1 + cos) / 2 over the whole sphere, the projected area
of a hemisphere. What comes straight from the fixture is sampled toward it; the rest by the tracing loop, started
with the meter's own response.
"""

from __future__ import annotations

from dataclasses import dataclass

import drjit as dr
import mitsuba as mi
import numpy as np

from .bodies import Bodies
from .buffers import buffer
from .frames import cosine_hemisphere, from_local, orthonormal
from .geometry import Geometry
from .haze import Haze, Leg, share_along
from .luminaire import LightTable, light_at
from .nets import Nets
from .paths import Scene, power_heuristic, reaching, trace_lanes
from .portals import Portals, sample_source
from .sampler import mix, pair
from .surface import Palette
from .types import Start

_ROW = 8
_COPIES = 64


@dataclass
class MeterHeads:
    """Device table of `count` meters, `copies` lanes each, repeated a light: x, y, z, dome flag, normal, 0."""

    table: mi.Float
    count: mi.UInt32
    copies: mi.UInt32

    def place(self, lane: mi.UInt32) -> tuple[mi.Point3f, mi.Vector3f, mi.Bool]:
        """Position, normal and dome flag of the meter that `lane` serves."""
        meter = (lane // self.copies) % self.count
        first = dr.gather(mi.Vector4f, self.table, meter * 2)
        second = dr.gather(mi.Vector4f, self.table, meter * 2 + 1)
        return mi.Point3f(first.xyz), mi.Vector3f(second.xyz), first.w > 0.5

    def start(self, lane: mi.UInt32, u: mi.Float, v: mi.Float) -> Start:
        """A ray that follows the meter's response; its weight is the response's integral over the sphere."""
        origin, normal, dome = self.place(lane)
        flat = cosine_hemisphere(u, v)
        cosine = 2 * dr.sqrt(u) - 1
        sine, turn = dr.sincos(2 * dr.pi * v)
        radius = dr.safe_sqrt(1 - dr.square(cosine))
        local = dr.select(dome, mi.Vector3f(radius * turn, radius * sine, cosine), flat)
        s, t = orthonormal(normal)
        return Start(
            origin=origin,
            direction=from_local(local, s, t, normal),
            weight=dr.select(dome, 2 * dr.pi, dr.pi),
            pdf=response_density(dome, local.z),
            cos_normal=dr.maximum(local.z, 0),
            depth=mi.UInt32(1),
        )


def response(dome: mi.Bool, cosine: mi.Float) -> mi.Float:
    """What a meter answers to light from `cosine` off its axis, relative to light along the axis."""
    return dr.select(dome, (1 + cosine) / 2, dr.maximum(cosine, 0))


def response_density(dome: mi.Bool, cosine: mi.Float) -> mi.Float:
    """Density (1/sr) of rays that follow the response."""
    return response(dome, cosine) * dr.select(dome, dr.inv_two_pi, dr.inv_pi)


def _nothing(scene: Scene, lanes: int):
    """Zeros that hold what haze lets through: (B, lanes) in haze, else (lanes,)."""
    return dr.zeros(mi.Float, lanes) if scene.haze is None else dr.zeros(mi.ArrayXf, (scene.palette.band_count, lanes))


def _through_haze(scene: Scene, leg: Leg, active: mi.Bool):
    return mi.Float(1) if scene.haze is None else share_along(scene.haze, [leg], active)


@dr.syntax
def _direct(scene: Scene, heads: MeterHeads, lanes: int, samples: mi.UInt32, seed: mi.UInt32):
    """Summed over samples: (lanes,) for all bands, or (B, lanes) in haze."""
    lane = dr.arange(mi.UInt32, lanes)
    origin, normal, dome = heads.place(lane)
    total = _nothing(scene, lanes)
    sample = dr.zeros(mi.UInt32, lanes)
    while dr.hint(
        sample < samples, exclude=[scene, heads, lane, samples, seed, origin, normal, dome], label="meters, direct"
    ):
        u, v = pair(mix(mix(lane, seed), 0xD1CE), sample)
        light = sample_source(scene.light, scene.portals, origin, normal, u, v)
        cosine = dr.dot(normal, light.direction)
        answer = response(dome, cosine)
        useful = (light.weight > 0) & (answer > 0)
        share = reaching(scene, origin, light.direction, light.distance, useful)
        weight = power_heuristic(light.pdf, response_density(dome, cosine))
        leg = Leg(origin, light.direction, light.distance, mix(mix(lane, seed), sample))
        received = dr.select(share > 0, share * light.weight * answer * weight, 0)
        total += received * _through_haze(scene, leg, share > 0)
        sample += 1
    return total


def read_meters(
    geometry: Geometry,
    palette: Palette,
    bodies: Bodies,
    nets: Nets,
    portals: Portals,
    lights: LightTable,
    light_count: int,
    placement: tuple[np.ndarray, np.ndarray, np.ndarray],
    samples: int,
    seed: int = 1,
    haze: Haze | None = None,
) -> np.ndarray:
    """Readings of meters in lux per lumen (or lx s per lm s), of each light of the table `lights` alone.

    Parameters
    ----------
    placement : positions (M, 3) in metres, unit normals (M, 3), and which are domes (M,) bool.
    samples : paths a meter and light, a multiple of 64.

    Returns
    -------
    (light_count, B, M) float64.
    """
    positions, normals, domes = placement
    count = len(positions)
    rows = np.zeros((count, _ROW), np.float32)
    rows[:, 0:3], rows[:, 3], rows[:, 4:7] = positions, domes, normals
    heads = MeterHeads(buffer(rows), dr.opaque(mi.UInt32, count), dr.opaque(mi.UInt32, _COPIES))
    lanes, each = light_count * count * _COPIES, max(samples // _COPIES, 2)
    light = light_at(lights, dr.arange(mi.UInt32, lanes) // (heads.count * heads.copies))
    scene = Scene(geometry, palette, bodies, nets, portals, light, haze)
    end, seeds = dr.opaque(mi.UInt32, each), dr.opaque(mi.UInt32, seed)
    direct = _direct(scene, heads, lanes, end, seeds)
    paths = trace_lanes(scene, heads, lanes, dr.opaque(mi.UInt32, 0), end, seeds)
    dr.eval(direct, paths.radiance)
    total = np.array(paths.radiance, np.float64) + np.array(direct, np.float64)
    means = total.reshape(-1, light_count, count, _COPIES).mean(axis=3) / each
    return means.transpose(1, 0, 2)
