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


@cache
def ggx_albedo_table(n_mu: int = 32, n_rough: int = 32) -> tuple[np.ndarray, np.ndarray]:
    """Directional albedo of the coat, single scattering: ``E(mu, r) = f0 A + B``.

    Rows are roughness r, columns the cosine mu, both node-centred over [0, 1] (the first node is 0, the last
    1); alpha = r squared. The column mu = 0 holds the value at mu = 0.001, the row r = 0 the smooth mirror.

    Returns
    -------
    A, B : (n_rough, n_mu) float64, read-only.
    """
    roughness, mu = np.linspace(0, 1, n_rough), np.maximum(np.linspace(0, 1, n_mu), _GRAZING)
    rows = [_mirror(mu) if r == 0 else split_albedo(mu, r * r) for r in roughness]
    a, b = (np.stack(part) for part in zip(*rows, strict=True))
    a.flags.writeable = b.flags.writeable = False
    return a, b


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
