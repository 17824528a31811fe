"""How much a rough dielectric coat reflects, averaged over all directions.

References
----------
Walter et al. 2007, Microfacet models for refraction (GGX distribution, eq. 33).
Heitz 2014, Understanding the masking-shadowing function, JCGT 3(2), eqs. 72 and 99 (Smith, height-correlated).
Heitz 2018, Sampling the GGX distribution of visible normals, JCGT 7(4).
Schlick 1994, An inexpensive BRDF model, eq. 15 (Fresnel); Karis 2013 (split into scale and bias).
"""

from __future__ import annotations

from functools import cache

import numpy as np

_GRAZING = 1e-3
_LEAST_SINGLE = 1e-3
_LEAST_SHARE = 1e-3
_RINGS = 2048


@cache
def ggx_albedo_table(n_mu: int = 32, n_rough: int = 32) -> tuple[np.ndarray, np.ndarray]:
    """Directional albedo of the coat, single scattering: ``E(mu, r) = f0 A + B``.

    Rows are the square root of the roughness r, columns the square root of the cosine mu (a coat changes fastest near
    the mirror and at grazing), both node-centred over [0, 1] (the first node is 0, the last 1); the GGX width alpha is
    r squared. The column mu = 0 holds the value at mu = 0.001, the row r = 0 the smooth mirror.

    Returns
    -------
    A, B : (n_rough, n_mu) float64, read-only.
    """
    roughness, mu = np.linspace(0, 1, n_rough) ** 2, np.maximum(np.linspace(0, 1, n_mu) ** 2, _GRAZING)
    rows = [_mirror(mu) if r == 0 else split_albedo(mu, r * r) for r in roughness]
    a, b = (np.stack(part) for part in zip(*rows, strict=True))
    a.flags.writeable = b.flags.writeable = False
    return a, b


def coat_albedo(f0: np.ndarray, roughness: np.ndarray, cosine: np.ndarray) -> np.ndarray:
    """Share of light that a coat reflects, all scattering between its facets included; in [0, 1].

    Linear between the nodes of `ggx_albedo_table`, as the tracer reads it; the gain for multiple scattering is Turquin
    2019, Practical multiple scattering compensation for microfacet models, eq. 16.

    Parameters
    ----------
    f0, roughness, cosine : arrays that broadcast, each in [0, 1].
    """
    f0, roughness, cosine = np.broadcast_arrays(*(np.asarray(v, float) for v in (f0, roughness, cosine)))
    last = np.array(ggx_albedo_table()[0].shape) - 1
    y, x = np.sqrt(roughness) * last[0], np.sqrt(cosine) * last[1]
    i, j = np.minimum(y.astype(int), last[0] - 1), np.minimum(x.astype(int), last[1] - 1)
    y, x = y - i, x - j
    scale, bias = (
        (t[i, j] * (1 - x) + t[i, j + 1] * x) * (1 - y) + (t[i + 1, j] * (1 - x) + t[i + 1, j + 1] * x) * y
        for t in ggx_albedo_table()
    )
    gain = 1 + f0 * (1 / np.maximum(scale + bias, _LEAST_SINGLE) - 1)
    return np.where(f0 > 0, np.minimum((f0 * scale + bias) * gain, 1), 0)


def base_share(f0: np.ndarray, roughness: np.ndarray, nodes: int = 33) -> np.ndarray:
    """Share of diffuse light that a coat lets in from the directions above a facet, cosine-weighted, (..., nodes).

    Directions count from a shading normal that leans by an angle gamma off the facet's own normal; of the half space
    about it only what lies above the facet can send light. Nodes are evenly spaced over [0, 1] in the square root of
    ``1 - cos(gamma)``: the first is a flat surface. Without a coat the share is ``(1 + cos(gamma)) / 2``, the view
    factor of a tilted plane (Duffie and Beckman, Solar Engineering of Thermal Processes, eq. 2.15.1).
    """
    ring = (np.arange(_RINGS) + 0.5) / _RINGS  # sin^2 of the angle off the shading normal: equal weights
    cosine, sine = np.sqrt(1 - ring), np.sqrt(ring)
    lean_cos = 1 - np.linspace(0, 1, nodes) ** 2
    lean_sin = np.sqrt(np.maximum(1 - lean_cos**2, 1e-12))
    edge = np.clip(lean_cos[:, None] * cosine / (lean_sin[:, None] * sine), -1, 1)
    above = 1 - np.arccos(edge) / np.pi
    let_in = 1 - coat_albedo(np.asarray(f0)[..., None], np.asarray(roughness)[..., None], cosine)
    return np.maximum(let_in @ above.T / _RINGS, _LEAST_SHARE)


def _mirror(mu: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    bias = (1 - mu) ** 5
    return 1 - bias, bias


def split_albedo(mu: np.ndarray, alpha: float, radii: int = 96, angles: int = 16) -> tuple[np.ndarray, np.ndarray]:
    """A and B of ``E = f0 A + B`` at cosines `mu` (n,) for one GGX width, by quadrature.

    Facet normals are placed as `mu`'s observer sees them, which cancels the distribution and one masking term
    from the integrand; what is left is smooth in the unit square of the placement and is summed by the
    Gauss-Legendre (radius) and mid-point (angle) rules.
    """
    x, weight = np.polynomial.legendre.leggauss(radii)
    radius, weight = np.sqrt((x + 1) / 2), weight / 2
    phi = (np.arange(angles) + 0.5) * (np.pi / angles)
    facet = _visible_facets(mu[:, None, None], alpha, radius[None, :, None], phi[None, None, :])
    view = np.stack(np.broadcast_arrays(np.sqrt(1 - mu**2), 0 * mu, mu), axis=-1)[:, None, None, :]
    cos_half = np.sum(view * facet, axis=-1)
    cos_out = 2 * cos_half * facet[..., 2] - mu[:, None, None]
    up = cos_out > 0
    shown = (1 + _smith(mu, alpha))[:, None, None]
    both = shown / (shown + _smith(np.where(up, cos_out, 1.0), alpha)) * up
    bias = np.clip(1 - cos_half, 0, 1) ** 5
    mean = weight[None, :, None] / angles
    return np.sum(both * (1 - bias) * mean, axis=(1, 2)), np.sum(both * bias * mean, axis=(1, 2))


def _smith(cosine: np.ndarray, alpha: float) -> np.ndarray:
    return (np.sqrt(1 + alpha**2 * (1 / cosine**2 - 1)) - 1) / 2


def _visible_facets(mu: np.ndarray, alpha: float, radius: np.ndarray, phi: np.ndarray) -> np.ndarray:
    """Normals of facets seen from (sqrt(1 - mu^2), 0, mu): a disk warped onto the stretched half sphere."""
    sine = np.sqrt(1 - mu**2)
    length = np.sqrt((alpha * sine) ** 2 + mu**2)
    vx, vz = alpha * sine / length, mu / length
    along, across = radius * np.cos(phi), radius * np.sin(phi)
    lean = (1 + vz) / 2
    # The disk's half away from the observer is squeezed by the slant of the half sphere's rim.
    along = (1 - lean) * np.sqrt(np.maximum(1 - across**2, 0)) + lean * along
    height = np.sqrt(np.maximum(1 - across**2 - along**2, 0))
    nx, ny = vx * height - vz * along, across
    nz = vz * height + vx * along
    nx, ny, nz = alpha * nx, alpha * ny * np.ones_like(nx), np.maximum(nz, 0)
    norm = np.sqrt(nx**2 + ny**2 + nz**2)
    return np.stack([nx / norm, ny / norm, nz / norm], axis=-1)
