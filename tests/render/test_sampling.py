"""Every sample and density pair of the kernel agrees: chi-square tests on cells of the sphere.

One million samples, cells pooled to an expectation of at least five, alpha 0.01 with a Sidak correction over all
tests of this file (after Mitsuba's own method for its samplers).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import chi2

from render.backend import init

pytestmark = pytest.mark.quick

N, ROWS, COLUMNS, FINE = 1_000_000, 24, 32, 24
SURFACES = [(0.04, 0.45, 0.0), (0.04, 0.15, 0.0), (0.2, 0.8, 0.0), (0.0, 1.0, 0.4), (1.0, 0.5, 0.0), (0.2, 0.85, 0.3)]
LIGHT_SHAPES = ["disk", "rectangle", "octagon", "sphere", "ring", "ambient"]
ALPHA = 1 - (1 - 0.01) ** (1 / (2 * len(SURFACES) + len(LIGHT_SHAPES) + 2))


def _cells(directions: np.ndarray) -> np.ndarray:
    """Histogram (ROWS, COLUMNS) over cos(theta) about +z and azimuth."""
    phi = np.arctan2(directions[1], directions[0])
    return np.histogram2d(directions[2], phi, [ROWS, COLUMNS], [[-1, 1], [-np.pi, np.pi]])[0]


def _cell_probabilities(density) -> np.ndarray:
    """Integral of density(directions) over the same cells, by midpoints on a finer grid."""
    rows, columns = ROWS * FINE, COLUMNS * FINE
    z = (np.arange(rows) + 0.5) / rows * 2 - 1
    phi = ((np.arange(columns) + 0.5) / columns * 2 - 1) * np.pi
    z, phi = (a.ravel() for a in np.meshgrid(z, phi, indexing="ij"))
    r = np.sqrt(1 - z**2)
    values = density(np.stack([r * np.cos(phi), r * np.sin(phi), z]))
    cell = 4 * np.pi / (rows * columns)
    return (values * cell).reshape(ROWS, FINE, COLUMNS, FINE).sum(axis=(1, 3))


def _chi_square_p(counts: np.ndarray, probabilities: np.ndarray) -> float:
    expected = probabilities.ravel() * N
    order = np.argsort(expected)
    observed, expected = counts.ravel()[order], expected[order]
    pooled = np.searchsorted(np.cumsum(expected), 5) + 1
    observed = np.append(observed[:pooled].sum(), observed[pooled:])
    expected = np.append(expected[:pooled].sum(), expected[pooled:])
    keep = expected > 0
    assert observed[~keep].sum() == 0
    statistic = np.sum((observed[keep] - expected[keep]) ** 2 / expected[keep])
    return float(chi2.sf(statistic, keep.sum() - 1))


def _surface(f0: float, roughness: float, transmission: float, cos_out: float):
    init("auto")
    import mitsuba as mi

    from materials import ggx_albedo_table
    from render.kernel.surface import surface_at, upload_palette
    from render.kernel.types import SurfacePoint

    palette = upload_palette(
        np.full((1, 4, 2), 0.5), np.array([[f0, roughness, roughness, transmission]]), np.stack(ggx_albedo_table(), -1)
    )
    up = mi.Normal3f(0, 0, 1)
    point = SurfacePoint(mi.Point3f(0), up, up, mi.UInt32(0), mi.UInt32(0), mi.Vector4f(1, 0, 0, 0), mi.Float(0), mi.Float(0))
    outgoing = mi.Vector3f(float(np.sqrt(1 - cos_out**2)), 0, cos_out)
    return palette, point, surface_at(palette, point, outgoing, mi.Bool(True)), outgoing


@pytest.mark.parametrize("cos_out", [0.95, 0.4])
@pytest.mark.parametrize("parameters", SURFACES)
def test_surface_sampling(parameters, cos_out):
    palette, point, surface, outgoing = _surface(*parameters, cos_out)
    import drjit as dr
    import mitsuba as mi

    from render.kernel.surface import evaluate, sample

    def density(directions):
        incoming = mi.Vector3f(*(mi.Float(d.astype(np.float32)) for d in directions))
        return np.array(evaluate(palette, surface, point, outgoing, incoming, mi.Bool(True))[2], float)

    rng = mi.PCG32(size=N)
    directions = sample(surface, point, outgoing, rng.next_float32(), rng.next_float32(), rng.next_float32())
    counts = _cells(np.array(directions, float))
    probabilities = _cell_probabilities(density)
    upper = np.arange(ROWS) >= ROWS // 2
    if parameters[2] == 0:  # mirrored directions below an opaque surface carry nothing and have no density
        counts, probabilities = counts[upper], probabilities[upper]
        assert probabilities.sum() <= 1 + 2e-3
    else:
        assert probabilities.sum() == pytest.approx(1, abs=2e-3)
    del dr
    assert _chi_square_p(counts, probabilities) > ALPHA


@pytest.mark.parametrize("shape", LIGHT_SHAPES)
def test_light_sampling(shape):
    init("auto")
    import drjit as dr
    import mitsuba as mi

    from render.kernel.luminaire import FAR_M, light_at, upload_lights
    from render.kernel.toward import arriving, sample_light
    from tests.render.sets import fixture, light

    of = None
    if shape != "ambient":
        size = {"rectangle": (0.8, 0.5), "ring": (1.6, 1.6)}.get(shape, (0.8, 0.8))
        of = fixture("disk" if shape == "ring" else shape, size, at=(0.2, 0.1, 0.9), toward=(-0.2, -0.3, -0.9))
        of = replace(of, hole_m=0.4 if shape == "ring" else 0.0)
    lamp = light_at(upload_lights([light(of)], [0]), mi.UInt32(0))
    origin, normal = mi.Point3f(0), mi.Vector3f(0, 0, 1)
    rng = mi.PCG32(size=N)
    taken = sample_light(lamp, origin, normal, rng.next_float32(), rng.next_float32())
    counts = _cells(np.array(taken.direction, float))

    def solid_angle_density(directions):
        toward = mi.Vector3f(*(mi.Float(d.astype(np.float32)) for d in directions))
        distance, inside = _reach(of, directions)
        reach = mi.Float(distance.astype(np.float32))
        _, values = arriving(lamp, origin, toward, reach, dr.maximum(toward.z, 0))
        return np.where(inside, np.array(values, float), 0)

    def _reach(of, directions):
        if of is None:
            return np.full(directions.shape[1], FAR_M), directions[2] > 0
        if of.shape == "sphere":
            along = of.centre_m @ directions
            return along, (along > 0) & (np.sum(of.centre_m**2) - along**2 < (of.size_m[0] / 2) ** 2)
        distance = (of.forward @ of.centre_m) / np.minimum(of.forward @ directions, -1e-9)
        on_plane = distance * directions - of.centre_m[:, None]
        x, y = np.abs(of.right @ on_plane), np.abs(of.up @ on_plane)
        half = of.size_m / 2
        inside = {
            "rectangle": (x < half[0]) & (y < half[1]),
            "disk": (x**2 + y**2 < half[0] ** 2) & (x**2 + y**2 > of.hole_m**2 / 4),
            "octagon": (x < half[0]) & (y < half[0]) & (x + y < np.sqrt(2) * half[0]),
        }[of.shape]
        return distance, inside & (of.forward @ directions < 0)

    probabilities = _cell_probabilities(solid_angle_density)
    assert probabilities.sum() == pytest.approx(1, abs=0.01)
    # the light's edge crosses fine cells, so compare where no edge passes
    whole = _cell_probabilities(lambda d: _reach(of, d)[1].astype(float)) * (ROWS * COLUMNS) / (4 * np.pi)
    inner = (whole > 0.999) & (probabilities > 0)
    scaled = probabilities[inner] / probabilities[inner].sum()
    expected = scaled * counts[inner].sum()
    statistic = np.sum((counts[inner] - expected) ** 2 / expected)
    assert chi2.sf(statistic, inner.sum() - 1) > ALPHA
    assert counts[inner].sum() / N == pytest.approx(probabilities[inner].sum(), abs=4e-3)


@pytest.mark.parametrize("dome", [False, True])
def test_meter_rays_follow_the_response(dome):
    init("auto")
    import drjit as dr
    import mitsuba as mi

    from render.kernel.meters import MeterHeads, response_density

    rows = np.array([[0, 0, 0, dome, 0, 0, 1, 0]], np.float32)
    heads = MeterHeads(mi.Float(rows.ravel()), mi.UInt32(1), mi.UInt32(N))
    rng = mi.PCG32(size=N)
    start = heads.start(dr.arange(mi.UInt32, N), rng.next_float32(), rng.next_float32())

    def density(directions):
        return np.array(response_density(mi.Bool(dome), mi.Float(directions[2].astype(np.float32))), float)

    probabilities = _cell_probabilities(density)
    assert probabilities.sum() == pytest.approx(1, abs=1e-3)
    assert _chi_square_p(_cells(np.array(start.direction, float)), probabilities) > ALPHA


def test_padded_pairs_are_stratified_and_uniform():
    """64 points of a (0, 2)-sequence in base 2 put one point in each of the 64 cells of every 2^a x 2^b grid."""
    init("auto")
    import drjit as dr
    import mitsuba as mi

    from render.kernel.sampler import pair

    for seed in (1, 2, 77):
        u, v = pair(mi.UInt32(seed), dr.arange(mi.UInt32, 64))
        u, v = np.array(u), np.array(v)
        for a in range(7):
            cells = np.floor(u * 2**a).astype(int) * 2 ** (6 - a) + np.floor(v * 2 ** (6 - a)).astype(int)
            assert len(set(cells)) == 64
        assert u.min() >= 0
        assert u.max() < 1
