"""Light in haze: how much gets through, where it scatters, and into which direction.

The haze fills a box, evenly or by a density on a grid. What the lit fixture sends into a stretch of a path is sampled
once a segment, by distance about the fixture (equiangular) and only inside its beam; after that, free flight decides
whether the path scatters there or goes on to the surface. On a grid, distances and shares are found by tracking with
the greatest density as majorant, which is free of bias.

References
----------
Kulla and Fajardo 2012, Importance sampling techniques for path tracing in participating media, section 3.1
(equiangular). Novak et al. 2018, Monte Carlo methods for volumetric light transport simulation, sections 4.1 (delta
tracking) and 4.3 (ratio tracking).
"""

from __future__ import annotations

from dataclasses import dataclass

import drjit as dr
import mitsuba as mi
import numpy as np

from .frames import from_local, orthonormal
from .sampler import mix, unit

_TINY = 1e-6
_MOST_STEPS = 4096


@dataclass
class Haze:
    """Haze in device memory: extinction (1/m) where the density is 1, albedo of each band, phase function, box, grid.

    `even` is a plain flag: an even haze has a kernel of its own, without tracking.
    """

    extinction: mi.Float
    albedo: mi.ArrayXf
    forward: mi.Float
    back: mi.Float
    share: mi.Float
    low: mi.Point3f
    high: mi.Point3f
    grid: mi.Float
    cells: mi.Vector3u
    even: bool


def upload_haze(
    extinction_per_m: float, albedo: np.ndarray, phase: tuple[float, float, float], low: np.ndarray, high: np.ndarray,
    density: np.ndarray | None = None,
) -> Haze:  # fmt: skip
    """Device copy of a haze.

    Parameters
    ----------
    albedo : (B,). phase : mean cosines of the two lobes and the share of the first. low, high : (3,) metres.
    density : (z, y, x), from 0 to 1, at the nodes of a grid over the box; None for an even haze.
    """
    values = np.ones((1, 1, 1), np.float32) if density is None else np.asarray(density, np.float32)
    nz, ny, nx = values.shape
    haze = Haze(
        extinction=mi.Float(extinction_per_m),
        albedo=mi.ArrayXf(np.asarray(albedo, np.float32)[:, None]),
        forward=mi.Float(phase[0]),
        back=mi.Float(phase[1]),
        share=mi.Float(phase[2]),
        low=mi.Point3f(*map(float, low)),
        high=mi.Point3f(*map(float, high)),
        grid=mi.Float(values.ravel()),
        cells=mi.Vector3u(nx, ny, nz),
        even=density is None,
    )
    for member in (haze.extinction, haze.albedo, haze.forward, haze.back, haze.share, haze.low, haze.high):
        dr.make_opaque(member)
    dr.make_opaque(haze.grid, haze.cells)
    return haze


def span_in_box(haze: Haze, origin: mi.Point3f, direction: mi.Vector3f, end: mi.Float) -> tuple[mi.Float, mi.Float]:
    """Where a ray of length `end` enters and leaves the haze; an empty stretch (both `end`) where it misses."""
    safe = dr.select(dr.abs(direction) < 1e-9, 1e-9, direction)
    a, b = (haze.low - origin) / safe, (haze.high - origin) / safe
    enters, leaves = dr.maximum(dr.max(dr.minimum(a, b)), 0), dr.minimum(dr.min(dr.maximum(a, b)), end)
    met = enters < leaves
    return dr.select(met, enters, end), dr.select(met, leaves, end)


def density_at(haze: Haze, point: mi.Point3f) -> mi.Float:
    """Density at a point of the box, linear between the nodes of the grid."""
    share = (point - haze.low) / (haze.high - haze.low)
    place = dr.clip(share, 0, 1) * mi.Vector3f(mi.Vector3f(haze.cells) - 1)
    cell = mi.Vector3u(place)
    after = dr.minimum(cell + 1, haze.cells - 1)
    t = place - mi.Vector3f(cell)
    row, layer = haze.cells.x, haze.cells.x * haze.cells.y

    def node(x: mi.UInt32, y: mi.UInt32, z: mi.UInt32) -> mi.Float:
        return dr.gather(mi.Float, haze.grid, x + y * row + z * layer)

    def along_x(y: mi.UInt32, z: mi.UInt32) -> mi.Float:
        return dr.lerp(node(cell.x, y, z), node(after.x, y, z), t.x)

    near = dr.lerp(along_x(cell.y, cell.z), along_x(after.y, cell.z), t.y)
    far = dr.lerp(along_x(cell.y, after.z), along_x(after.y, after.z), t.y)
    return dr.lerp(near, far, t.z)


def share_through(
    haze: Haze, origin: mi.Point3f, direction: mi.Vector3f, end: mi.Float, seed: mi.UInt32, active: mi.Bool
) -> mi.Float:
    """Share of light that passes the haze along a ray of length `end`; on a grid an estimate without bias."""
    enters, leaves = span_in_box(haze, origin, direction, end)
    if haze.even:
        return dr.exp(-haze.extinction * (leaves - enters))
    return _ratio_tracked(haze, origin, direction, enters, leaves, seed, active)


@dr.syntax
def _ratio_tracked(
    haze: Haze, origin: mi.Point3f, direction: mi.Vector3f, enters: mi.Float, leaves: mi.Float, seed: mi.UInt32,
    active: mi.Bool,
) -> mi.Float:  # fmt: skip
    t, share, count = mi.Float(enters), dr.full(mi.Float, 1, dr.width(enters)), dr.zeros(mi.UInt32, dr.width(enters))
    going = active & (enters < leaves)
    while dr.hint(going, exclude=[haze, origin, direction, leaves, seed], label="haze, share"):
        u = unit(mix(seed, count))
        t -= dr.log(1 - u) / haze.extinction
        going = going & (t < leaves)
        share *= dr.select(going, 1 - density_at(haze, origin + direction * t), 1)
        count += 1
        going = going & (share > 0) & (count < _MOST_STEPS)
    return share


def free_flight(
    haze: Haze, origin: mi.Point3f, direction: mi.Vector3f, end: mi.Float, u: mi.Float, seed: mi.UInt32,
    active: mi.Bool,
) -> mi.Float:  # fmt: skip
    """Distance at which a ray of length `end` meets a droplet; infinite where it meets none."""
    enters, leaves = span_in_box(haze, origin, direction, end)
    if haze.even:
        t = enters - dr.log(1 - u) / haze.extinction
        return dr.select(active & (t < leaves), t, dr.inf)
    return _delta_tracked(haze, origin, direction, enters, leaves, seed, active)


@dr.syntax
def _delta_tracked(
    haze: Haze, origin: mi.Point3f, direction: mi.Vector3f, enters: mi.Float, leaves: mi.Float, seed: mi.UInt32,
    active: mi.Bool,
) -> mi.Float:  # fmt: skip
    t, count = mi.Float(enters), dr.zeros(mi.UInt32, dr.width(enters))
    met = dr.full(mi.Float, dr.inf, dr.width(enters))
    going = active & (enters < leaves)
    while dr.hint(going, exclude=[haze, origin, direction, leaves, seed], label="haze, flight"):
        u, v = unit(mix(seed, 2 * count)), unit(mix(seed, 2 * count + 1))
        t -= dr.log(1 - u) / haze.extinction
        going = going & (t < leaves)
        real = going & (v < density_at(haze, origin + direction * t))
        met = dr.select(real, t, met)
        count += 1
        going = going & ~real & (count < _MOST_STEPS)
    return met


def _lobe(cosine: mi.Float, g: mi.Float) -> mi.Float:
    denominator = dr.maximum(1 + dr.square(g) - 2 * g * cosine, _TINY)
    return dr.inv_four_pi * (1 - dr.square(g)) / (denominator * dr.sqrt(denominator))


def phase(haze: Haze, cosine: mi.Float) -> mi.Float:
    """Density (1/sr) of scattering by an angle between the directions of travel before and after."""
    return dr.lerp(_lobe(cosine, haze.back), _lobe(cosine, haze.forward), haze.share)


def scattered_direction(haze: Haze, direction: mi.Vector3f, u: mi.Float, v: mi.Float) -> mi.Vector3f:
    """Direction of travel after scattering, by the phase function itself."""
    first = u < haze.share
    g = dr.select(first, haze.forward, haze.back)
    u = dr.select(first, u / dr.maximum(haze.share, _TINY), (u - haze.share) / dr.maximum(1 - haze.share, _TINY))
    g = dr.select(dr.abs(g) < 1e-3, 1e-3, g)
    root = (1 - dr.square(g)) / (1 - g + 2 * g * u)
    cosine = dr.clip((1 + dr.square(g) - dr.square(root)) / (2 * g), -1, 1)
    sine, turn = dr.sincos(2 * dr.pi * v)
    radius = dr.safe_sqrt(1 - dr.square(cosine))
    s, t = orthonormal(direction)
    return from_local(mi.Vector3f(radius * turn, radius * sine, cosine), s, t, direction)


def tracking_seed(lane: mi.UInt32, seed: mi.UInt32, sample: mi.UInt32, depth: mi.UInt32, use: int) -> mi.UInt32:
    """A sequence of its own for one tracking of one segment."""
    return mix(mix(mix(lane, seed), sample), depth * 4 + use)
