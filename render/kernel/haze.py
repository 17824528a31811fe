"""Light in haze: how much gets through, where it scatters, and into which direction.

The haze fills a box, evenly or by a density on a grid. What the lit fixture sends into a stretch of a path is sampled
once a segment, by distance about the fixture (equiangular) and only inside its beam; after that, free flight decides
whether the path scatters there or goes on to the surface. On a grid, distances and shares are found by tracking with
the greatest density as majorant, which is free of bias.

Bands differ in extinction. The free flights of a path are drawn for one of them, and the path counts for all by the
balance heuristic over bands: a band's weight is its own density of all flights so far over the mean of all bands'.

References
----------
Kulla and Fajardo 2012, Importance sampling techniques for path tracing in participating media, section 3.1
(equiangular). Novak et al. 2018, Monte Carlo methods for volumetric light transport simulation, sections 4.1 (delta
tracking) and 4.3 (ratio tracking). Wilkie et al. 2014, Hero wavelength spectral sampling, section 3 (balance over
wavelengths). Kutz et al. 2017, Spectral and decomposition tracking, section 4 (tracking for all bands at once).
"""

from __future__ import annotations

from dataclasses import dataclass

import drjit as dr
import mitsuba as mi
import numpy as np

from .buffers import buffer
from .frames import from_local, orthonormal
from .sampler import mix, unit

_TINY = 1e-6
_ALMOST_ONE = 1 - 2.0**-24
_MOST_STEPS = 4096


@dataclass
class Haze:
    """Haze in device memory: extinction (1/m) of each band where the density is 1, albedo, phase function, box, grid.

    `scattering` is their product, `most` and `least` are the extremes of the extinction, and `drawn` is it once more,
    to draw a band from. `lobes` are phase functions, each the mean cosines of two lobes and the share of the first, and
    `mixed` (B P) says how they mix in each band. `even` is a plain flag: an even haze has a kernel of its own, without
    tracking; so has haze of one phase function.
    """

    extinction: mi.ArrayXf
    albedo: mi.ArrayXf
    scattering: mi.ArrayXf
    drawn: mi.Float
    most: mi.Float
    least: mi.Float
    lobes: list[mi.Vector3f]
    mixed: mi.Float
    mixes: list[mi.ArrayXf]
    low: mi.Point3f
    high: mi.Point3f
    grid: mi.Float
    cells: mi.Vector3u
    even: bool


@dataclass
class Leg:
    """A stretch of `length` of a ray through the haze; `seed` names the numbers that track it on a grid."""

    origin: mi.Point3f
    direction: mi.Vector3f
    length: mi.Float
    seed: mi.UInt32


def upload_haze(
    extinction_per_m: np.ndarray, albedo: np.ndarray, lobes: np.ndarray | tuple[float, ...], low: np.ndarray,
    high: np.ndarray, density: np.ndarray | None = None, mixed: np.ndarray | None = None,
) -> Haze:  # fmt: skip
    """Device copy of a haze.

    Parameters
    ----------
    extinction_per_m, albedo : (B,). low, high : (3,) metres.
    lobes : (3,) or (P, 3), mean cosines of the two lobes and the share of the first, of every phase function.
    density : (z, y, x), from 0 to 1, at the nodes of a grid over the box; None for an even haze.
    mixed : (B, P), shares of the phase functions in each band; None where there is one.
    """
    values = np.ones((1, 1, 1), np.float32) if density is None else np.asarray(density, np.float32)
    nz, ny, nx = values.shape
    extinction, albedo = np.asarray(extinction_per_m, np.float32), np.asarray(albedo, np.float32)
    functions = np.asarray(lobes, float).reshape(-1, 3)
    shares = np.ones((len(extinction), 1), np.float32) if mixed is None else np.asarray(mixed, np.float32)
    haze = Haze(
        extinction=mi.ArrayXf(extinction[:, None]),
        albedo=mi.ArrayXf(albedo[:, None]),
        scattering=mi.ArrayXf((extinction * albedo)[:, None]),
        drawn=mi.Float(extinction),
        most=mi.Float(float(extinction.max())),
        least=mi.Float(float(extinction.min())),
        lobes=[mi.Vector3f(*map(float, function)) for function in functions],
        mixed=buffer(shares),
        mixes=[mi.ArrayXf(np.ascontiguousarray(share[:, None])) for share in shares.T],
        low=mi.Point3f(*map(float, low)),
        high=mi.Point3f(*map(float, high)),
        grid=buffer(values),
        cells=mi.Vector3u(nx, ny, nz),
        even=density is None,
    )
    for member in (haze.extinction, haze.albedo, haze.scattering, haze.drawn, haze.most, haze.least):
        dr.make_opaque(member)
    dr.make_opaque(*haze.lobes, haze.mixed, *haze.mixes, haze.low, haze.high, haze.cells)
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


def share_along(haze: Haze, legs: list[Leg], active: mi.Bool) -> mi.ArrayXf:
    """Share of each band's light that passes the haze along all the legs; on a grid an estimate without bias."""
    spans = [span_in_box(haze, leg.origin, leg.direction, leg.length) for leg in legs]
    if haze.even:
        length = mi.Float(0)
        for enters, leaves in spans:
            length = length + (leaves - enters)
        return dr.exp(-haze.extinction * length)
    share = mi.ArrayXf(1)
    for leg, (enters, leaves) in zip(legs, spans, strict=True):
        share = share * _ratio_tracked(haze, leg.origin, leg.direction, enters, leaves, leg.seed, active)
    return share


@dr.syntax
def _ratio_tracked(
    haze: Haze, origin: mi.Point3f, direction: mi.Vector3f, enters: mi.Float, leaves: mi.Float, seed: mi.UInt32,
    active: mi.Bool,
) -> mi.ArrayXf:  # fmt: skip
    lanes = dr.width(enters)
    t, count = mi.Float(enters), dr.zeros(mi.UInt32, lanes)
    share = dr.full(mi.ArrayXf, 1, (len(haze.extinction), lanes))
    relative = haze.extinction / haze.most
    going = active & (enters < leaves)
    while dr.hint(going, exclude=[haze, origin, direction, leaves, seed, relative], label="haze, share"):
        u = unit(mix(seed, count))
        t -= dr.log(1 - u) / haze.most
        going = going & (t < leaves)
        share *= 1 - relative * dr.select(going, density_at(haze, origin + direction * t), 0)
        count += 1
        going = going & (count < _MOST_STEPS)
    return share


def free_flight(
    haze: Haze, origin: mi.Point3f, direction: mi.Vector3f, end: mi.Float, band: mi.UInt32, u: mi.Float,
    seed: mi.UInt32, active: mi.Bool,
) -> tuple[mi.Float, mi.ArrayXf]:  # fmt: skip
    """Distance at which a ray of length `end` meets a droplet, drawn for one band; infinite where it meets none. With
    it what every band's density of that flight is, up to a common factor: to scatter there, or to pass all the haze."""
    enters, leaves = span_in_box(haze, origin, direction, end)
    chosen = dr.gather(mi.Float, haze.drawn, band)
    if haze.even:
        t = enters - dr.log(1 - u) / chosen
        met = dr.select(t < leaves, t, dr.inf)
        length = dr.select(enters < leaves, dr.minimum(t, leaves) - enters, 0)  # a miss may lie at infinity
        passed = dr.exp(-haze.extinction * length)
    else:
        met, passed = _delta_tracked(haze, origin, direction, enters, leaves, chosen, seed, active)
    return met, passed * dr.select(met < dr.inf, haze.extinction, 1)


def balanced(flights: mi.ArrayXf, density: mi.ArrayXf) -> tuple[mi.ArrayXf, mi.ArrayXf]:
    """Weights of the bands after one more flight, and the factor for what a path carries; `flights` were the weights
    before it."""
    mean = dr.mean(flights * density)
    factor = density * dr.select(mean > 0, dr.rcp(mean), 0)
    return flights * factor, factor


@dr.syntax
def _delta_tracked(
    haze: Haze, origin: mi.Point3f, direction: mi.Vector3f, enters: mi.Float, leaves: mi.Float, chosen: mi.Float,
    seed: mi.UInt32, active: mi.Bool,
) -> tuple[mi.Float, mi.ArrayXf]:  # fmt: skip
    """Distance, and each band's chance to have come through all that was met before it."""
    lanes = dr.width(enters)
    t, count = mi.Float(enters), dr.zeros(mi.UInt32, lanes)
    met = dr.full(mi.Float, dr.inf, lanes)
    passed = dr.full(mi.ArrayXf, 1, (len(haze.extinction), lanes))
    relative, own = haze.extinction / haze.most, chosen / haze.most
    going = active & (enters < leaves)
    while dr.hint(going, exclude=[haze, origin, direction, leaves, seed, relative, own], label="haze, flight"):
        u, v = unit(mix(seed, 2 * count)), unit(mix(seed, 2 * count + 1))
        t -= dr.log(1 - u) / haze.most
        going = going & (t < leaves)
        density = density_at(haze, origin + direction * t)
        real = going & (v < own * density)
        met = dr.select(real, t, met)
        going = going & ~real
        passed *= 1 - relative * dr.select(going, density, 0)
        count += 1
        going = going & (count < _MOST_STEPS)
    return met, passed


def _lobe(cosine: mi.Float, g: mi.Float) -> mi.Float:
    denominator = dr.maximum(1 + dr.square(g) - 2 * g * cosine, _TINY)
    return dr.inv_four_pi * (1 - dr.square(g)) / (denominator * dr.sqrt(denominator))


def phase(haze: Haze, cosine: mi.Float) -> mi.Float | mi.ArrayXf:
    """Density (1/sr) of scattering by an angle between the directions of travel before and after: of each band, or of
    all where one phase function serves all."""
    values = [dr.lerp(_lobe(cosine, back), _lobe(cosine, forward), share) for forward, back, share in haze.lobes]
    if len(values) == 1:
        return values[0]
    total = haze.mixes[0] * values[0]
    for mixed, value in zip(haze.mixes[1:], values[1:], strict=True):
        total = total + mixed * value
    return total


def _chosen(first: mi.Bool, share: mi.Float, u: mi.Float) -> mi.Float:
    """What is left of a number that chose the first of two, of this share, or the second."""
    return dr.select(first, u / dr.maximum(share, _TINY), (u - share) / dr.maximum(1 - share, _TINY))


def scattered_direction(
    haze: Haze, direction: mi.Vector3f, band: mi.UInt32, u: mi.Float, v: mi.Float
) -> mi.Vector3f:  # fmt: skip
    """Direction of travel after scattering, by the phase function of one band itself."""
    lobes, u = _function(haze, band, u)
    first = u < lobes.z
    g = dr.select(first, lobes.x, lobes.y)
    u = _chosen(first, lobes.z, u)
    g = dr.select(dr.abs(g) < 1e-3, 1e-3, g)
    root = (1 - dr.square(g)) / (1 - g + 2 * g * u)
    cosine = dr.clip((1 + dr.square(g) - dr.square(root)) / (2 * g), -1, 1)
    sine, turn = dr.sincos(2 * dr.pi * v)
    radius = dr.safe_sqrt(1 - dr.square(cosine))
    s, t = orthonormal(direction)
    return from_local(mi.Vector3f(radius * turn, radius * sine, cosine), s, t, direction)


def _function(haze: Haze, band: mi.UInt32, u: mi.Float) -> tuple[mi.Vector3f, mi.Float]:
    """The phase function that a number draws for a band, and what is left of the number."""
    count = len(haze.lobes)
    lobes = mi.Vector3f(haze.lobes[-1])
    found, rest = mi.Bool(False), mi.Float(1)
    for k in range(count - 1):
        own = dr.gather(mi.Float, haze.mixed, band * count + k)
        share = own / dr.maximum(rest, _TINY)
        here = ~found & (u < share)
        lobes = dr.select(here, haze.lobes[k], lobes)
        u = dr.select(found, u, _chosen(here, share, u))
        found, rest = found | here, rest - own
    return lobes, dr.clip(u, 0, _ALMOST_ONE)


def tracking_seed(lane: mi.UInt32, seed: mi.UInt32, sample: mi.UInt32, depth: mi.UInt32, use: int) -> mi.UInt32:
    """A sequence of its own for one tracking of one segment."""
    return mix(mix(mix(lane, seed), sample), depth * 4 + use)


def drawn_band(haze: Haze, lane: mi.UInt32, seed: mi.UInt32, sample: mi.UInt32) -> mi.UInt32:
    """Band that a path's flights are drawn for: all in turn over a lane's samples, from one that differs by lane and
    half of the samples."""
    first = mix(mix(lane, seed), sample & 1)
    return (first + (sample >> 1)) % len(haze.extinction)
