"""The haze's samplers against their densities, computed apart from the kernel: chi-square tests.

A million samples (tracked flights 200,000), cells pooled to an expectation of at least five, alpha 0.01 with a Sidak
correction over the tests of this file. Densities are those of the papers in double precision: Henyey and Greenstein
1941, Beer and Lambert, Kulla and Fajardo 2012 (equiangular).
"""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.stats import chi2

from materials.haze import Phase
from render.backend import init
from scenes.stage import Distant, Output

N, TRACKED = 1_000_000, 200_000
ALPHA = 1 - (1 - 0.01) ** (1 / 28)
BOX = (np.array([-1.0, -1.0, 0.5]), np.array([1.0, 1.0, 3.5]))
SIGMA = np.array([0.3, 0.6, 0.9, 1.8])
NODES = np.array([0.2, 1.0, 0.1, 0.6])


MIXED = np.array([[1.0, 0.0, 0.0], [0.4, 0.6, 0.0], [0.0, 0.75, 0.25], [0.0, 0.0, 1.0]])


def _haze(sigma=SIGMA, lobes=(0.8, -0.4, 0.7), density=None, albedo=0.9, mixed=None):
    init("auto")
    from render.kernel.haze import upload_haze

    return upload_haze(np.asarray(sigma), np.full(len(sigma), albedo), lobes, *BOX, density, mixed)


def _p(counts: np.ndarray, probabilities: np.ndarray) -> float:
    """Chi-square p-value of counts in cells of known probability, the thinnest cells pooled."""
    expected = probabilities * counts.sum()
    order = np.argsort(expected)
    observed, expected = counts[order], expected[order]
    pooled = np.searchsorted(np.cumsum(expected), 5) + 1
    observed = np.append(observed[:pooled].sum(), observed[pooled:])
    expected = np.append(expected[:pooled].sum(), expected[pooled:])
    return float(chi2.sf(np.sum((observed - expected) ** 2 / expected), len(expected) - 1))


@pytest.mark.parametrize("lobes", [(0.8, -0.4, 0.7), (0.0, -0.65, 0.5), (0.3, -0.9, 0.05), (0.9, 0.2, 1.0)])
def test_directions_follow_the_phase_function(lobes):
    """Both lobes, the mirror case g = 0, and one lobe alone; turned about a slanted direction of travel."""
    haze = _haze(lobes=lobes)
    import mitsuba as mi

    from render.kernel.haze import phase, scattered_direction

    travel = np.array([0.48, -0.6, 0.64])
    rng = mi.PCG32(size=N)
    toward = mi.Vector3f(*map(float, travel))
    drawn = np.array(scattered_direction(haze, toward, mi.UInt32(1), rng.next_float32(), rng.next_float32()))
    assert np.abs(np.linalg.norm(drawn, axis=0) - 1).max() < 1e-5
    cosine = np.clip(travel @ drawn, -1, 1)
    edges = np.linspace(-1, 1, 61)
    at, weight = np.polynomial.legendre.leggauss(64)
    middle, half = (edges[1:] + edges[:-1]) / 2, np.diff(edges) / 2
    places = middle[:, None] + half[:, None] * at
    truth = Phase(*lobes).value(places)
    assert _p(np.histogram(cosine, edges)[0], 2 * np.pi * half * (truth @ weight)) > ALPHA
    device = np.array(phase(haze, mi.Float(places.ravel().astype(np.float32)))).reshape(places.shape)
    assert np.allclose(device, truth, rtol=2e-3)
    side = np.cross(travel, [0, 1, 0])
    side /= np.linalg.norm(side)
    azimuth = np.arctan2(np.cross(side, travel) @ drawn, side @ drawn)
    assert _p(np.histogram(azimuth, 48, (-np.pi, np.pi))[0], np.full(48, 1 / 48)) > ALPHA


THREE = np.array([(0.55, -0.7, 0.9), (0.75, -0.6, 0.97), (0.85, -0.3, 0.6)])


@pytest.mark.parametrize("band", range(4))
def test_directions_follow_the_bands_own_phase_function(band):
    """Mixed of one, two neighbours in either order, and the last alone."""
    haze = _haze(lobes=THREE, mixed=MIXED)
    import mitsuba as mi

    from render.kernel.haze import phase, scattered_direction

    travel = np.array([0.48, -0.6, 0.64])
    rng = mi.PCG32(size=N)
    toward = mi.Vector3f(*map(float, travel))
    drawn = np.array(scattered_direction(haze, toward, mi.UInt32(band), rng.next_float32(), rng.next_float32()))
    cosine = np.clip(travel @ drawn, -1, 1)
    edges = np.linspace(-1, 1, 61)
    at, weight = np.polynomial.legendre.leggauss(64)
    middle, half = (edges[1:] + edges[:-1]) / 2, np.diff(edges) / 2
    places = middle[:, None] + half[:, None] * at
    truth = sum(share * Phase(*lobes).value(places) for share, lobes in zip(MIXED[band], THREE, strict=True))
    assert _p(np.histogram(cosine, edges)[0], 2 * np.pi * half * (truth @ weight)) > ALPHA
    device = np.array(phase(haze, mi.Float(places.ravel().astype(np.float32))))[band].reshape(places.shape)
    assert np.allclose(device, truth, rtol=2e-3)


def _flights(haze, count: int, band: int, start=(0.2, -0.3, 0.0), end=10.0):
    """Distances and densities (B, n) of flights along +z, all drawn for one band; the box is met from 0.5 to 3.5."""
    import drjit as dr
    import mitsuba as mi

    from render.kernel.haze import free_flight
    from render.kernel.sampler import mix

    rng = mi.PCG32(size=count)
    lane = dr.arange(mi.UInt32, count)
    met, density = free_flight(
        haze, mi.Point3f(*start) + dr.zeros(mi.Vector3f, count), mi.Vector3f(0, 0, 1),
        dr.full(mi.Float, end, count), mi.UInt32(band), rng.next_float32(), mix(lane, 77), mi.Bool(True),
    )  # fmt: skip
    dr.eval(met, density)
    return np.array(met, float), np.array(density, float)


def _relative(z: np.ndarray) -> np.ndarray:
    return np.interp(z, np.linspace(0.5, 3.5, len(NODES)), NODES)


EDGES = np.linspace(0.5, 3.5, 41)


def _depth(edges: np.ndarray, uneven: bool) -> np.ndarray:
    """Integral of the relative density from 0.5 m to the edges."""
    fine = np.linspace(0.5, 3.5, 40 * 64 + 1)
    middle = (fine[1:] + fine[:-1]) / 2
    steps = (_relative(middle) if uneven else np.ones_like(middle)) * np.diff(fine)
    return np.interp(edges, fine, np.append(0, np.cumsum(steps)))


@pytest.mark.parametrize("uneven", [False, True], ids=["even", "tracked"])
@pytest.mark.parametrize("band", [0, 2, 3])
def test_flights_follow_beer_and_lambert(uneven, band):
    """Drawn for one band each, the bands three to one and six to one apart; and how often nothing is met."""
    haze = _haze(density=NODES[:, None, None] if uneven else None)
    met, density = _flights(haze, TRACKED if uneven else N, band)
    inside = np.isfinite(met)
    assert ((met[inside] >= 0.5) & (met[inside] <= 3.5)).all()
    share = np.exp(-SIGMA[band] * _depth(EDGES, uneven))
    counts = np.append(np.histogram(met[inside], EDGES)[0], (~inside).sum())
    assert _p(counts, np.append(-np.diff(share), share[-1])) > ALPHA
    if not uneven:
        rise = met[inside] - 0.5
        truth = SIGMA[:, None] * np.exp(-SIGMA[:, None] * rise)
        assert np.allclose(density[:, inside], truth, rtol=1e-3)
        assert np.allclose(density[:, ~inside], np.exp(-3 * SIGMA)[:, None], rtol=1e-4)


@pytest.mark.parametrize("uneven", [False, True], ids=["even", "tracked"])
def test_flights_of_one_band_count_for_all(uneven):
    """Balanced over bands, flights drawn for all bands in turn give every band its own distances: weighted histograms,
    4 standard errors, and nothing lost in sum."""
    haze = _haze(density=NODES[:, None, None] if uneven else None)
    import drjit as dr
    import mitsuba as mi

    from render.kernel.haze import balanced

    count, edges = 100_000, EDGES[::8]
    sums, squares = np.zeros((len(SIGMA), len(edges))), np.zeros((len(SIGMA), len(edges)))
    for band in range(len(SIGMA)):
        met, density = _flights(haze, count, band)
        ones = dr.full(mi.ArrayXf, 1, (len(SIGMA), count))
        weights, factor = balanced(ones, mi.ArrayXf(density.astype(np.float32)))
        weights = np.array(weights, float)
        assert np.allclose(weights, np.array(factor, float))
        assert np.abs(weights.mean(axis=0) - 1).max() < 1e-5
        cell = np.where(np.isfinite(met), np.digitize(met, edges) - 1, len(edges) - 1)
        for k in range(len(SIGMA)):
            sums[k] += np.bincount(cell, weights[k], len(edges))
            squares[k] += np.bincount(cell, weights[k] ** 2, len(edges))
    share = np.exp(-SIGMA[:, None] * _depth(edges, uneven))
    truth = np.concatenate([-np.diff(share, axis=1), share[:, -1:]], axis=1)
    total = count * len(SIGMA)
    error = np.sqrt(squares) / total
    assert (error < 0.01).all()
    assert (np.abs(sums / total - truth) < 4.5 * error).all()


def test_weights_before_count_for_weights_after():
    init("auto")
    import mitsuba as mi

    from render.kernel.haze import balanced

    before = mi.ArrayXf(np.array([[1.5], [0.5]], np.float32))
    weights, factor = balanced(before, mi.ArrayXf(np.array([[0.2], [0.8]], np.float32)))
    assert np.array(factor).ravel() == pytest.approx([0.2 / 0.35, 0.8 / 0.35])
    assert np.array(weights).ravel() == pytest.approx([0.3 / 0.35, 0.4 / 0.35])


def test_all_bands_are_drawn_alike():
    """Over any number of samples a multiple of twice the bands, each half of the samples draws every band as often."""
    haze = _haze()
    import drjit as dr
    import mitsuba as mi

    from render.kernel.haze import drawn_band

    sample = dr.arange(mi.UInt32, 64)
    starts = set()
    for lane in range(12):
        bands = np.array(drawn_band(haze, mi.UInt32(lane), mi.UInt32(5), sample))
        for half in (0, 1):
            assert np.bincount(bands[half::2], minlength=4).tolist() == [8] * 4
        starts.add(int(bands[0]))
    assert len(starts) > 2


def test_tracked_shares_are_beer_and_lamberts():
    """Mean share of each band through uneven haze, along two legs, 4 standard errors."""
    haze = _haze(density=NODES[:, None, None])
    import drjit as dr
    import mitsuba as mi

    from render.kernel.haze import Leg, share_along
    from render.kernel.sampler import mix

    lane = dr.arange(mi.UInt32, TRACKED)
    start = mi.Point3f(0.1, 0.1, 0) + dr.zeros(mi.Vector3f, TRACKED)
    ends = [dr.full(mi.Float, z, TRACKED) for z in (2.0, 9.0)]
    legs = [Leg(start, mi.Vector3f(0, 0, 1), end, mix(lane, k)) for k, end in enumerate(ends)]
    share = np.array(share_along(haze, legs, mi.Bool(True)), float)
    depth = _depth(np.array([2.0, 3.5]), True).sum()
    error = share.std(axis=1) / np.sqrt(TRACKED)
    assert (error < 3e-3).all()
    assert (np.abs(share.mean(axis=1) - np.exp(-SIGMA * depth)) < 4 * error).all()
    even = np.array(share_along(_haze(), legs, mi.Bool(True)), float)
    assert np.allclose(even, np.exp(-SIGMA * 4.5)[:, None], rtol=1e-4)


@pytest.mark.parametrize("kind", ["ball", "sun"])
def test_places_follow_their_density(kind):
    """Where a segment of 3 m is lit from: equiangular about a lamp beside it, by Beer and Lambert under the sun."""
    haze = _haze()
    import drjit as dr
    import mitsuba as mi

    from render.kernel.luminaire import light_at, upload_lights
    from render.kernel.paths import lit_place
    from tests.render.sets import fixture, light

    lamp = light(fixture("sphere", (0.1, 0.1), at=(0.3, 0, 1.0)))
    if kind == "sun":
        up = Distant("sun", np.array([0.0, 1, 0]), 0.53, None)
        lamp = replace(light(None), distant=up, output=Output(lumens=1.0, reading_lux=None))
    of = light_at(upload_lights([lamp], [0]), mi.UInt32(0))
    ray = SimpleNamespace(origin=mi.Point3f(0, 0, 0), direction=mi.Vector3f(0, 0, 1), active=mi.Bool(True))
    u = mi.PCG32(size=N).next_float32()
    t, density, lit = lit_place(haze, of, ray, mi.Float(3.0) + dr.zeros(mi.Float, N), u)
    t, density = np.array(t, float), np.array(density, float)
    assert np.array(lit).all()
    edges = np.linspace(0, 3, 61)
    if kind == "ball":
        first, last = np.arctan2(-1.0, 0.3), np.arctan2(2.0, 0.3)
        share = (np.arctan2(edges - 1.0, 0.3) - first) / (last - first)
        truth = 0.3 / ((last - first) * (0.09 + (t - 1.0) ** 2))
    else:
        share = np.expm1(-0.3 * edges) / np.expm1(-0.9)
        truth = -0.3 * np.exp(-0.3 * t) / np.expm1(-0.9)
    assert _p(np.histogram(t, edges)[0], np.diff(share)) > ALPHA
    assert np.allclose(density, truth, rtol=2e-3)


def test_a_wrong_lobe_is_found_out():
    """Power: one part in a hundred from the backward lobe to the forward one fails the test."""
    rng = np.random.default_rng(1)
    edges = np.linspace(-1, 1, 61)
    at, weight = np.polynomial.legendre.leggauss(64)
    middle, half = (edges[1:] + edges[:-1]) / 2, np.diff(edges) / 2
    one, other = (
        2 * np.pi * half * (Phase(0.8, -0.4, share).value(middle[:, None] + half[:, None] * at) @ weight)
        for share in (0.7, 0.71)
    )
    assert _p(rng.multinomial(N, other / other.sum()), one / one.sum()) < ALPHA
    assert _p(rng.multinomial(N, one / one.sum()), one / one.sum()) > ALPHA
