"""The coat's albedo against closed forms and quadrature; each test names its source."""

from __future__ import annotations

import numpy as np
import pytest

from materials import ggx_albedo_table
from materials.coat import split_albedo
from tests.published.tables import table

COSINES = np.array([0.1, 0.25, 0.5, 0.75, 1.0])


def test_the_roughest_coat_keeps_one_less_log_two() -> None:
    # exact: single-scattering GGX with height-correlated Smith masking at alpha = 1, normal incidence, F = 1
    scale, bias = ggx_albedo_table()
    assert scale[-1, -1] + bias[-1, -1] == pytest.approx(1 - np.log(2), abs=5e-4)


@pytest.mark.parametrize("row", table("ggx_albedo.csv"), ids=lambda row: row["roughness"])
def test_albedo_of_a_perfect_reflector(row: dict[str, str]) -> None:
    # table computed by quadrature apart from this code; it and ours each carry up to 3e-4
    scale, bias = split_albedo(COSINES, float(row["alpha"]))
    np.testing.assert_allclose(scale + bias, [float(row[f"{mu:g}"]) for mu in COSINES], atol=8e-4)


def test_the_split_is_exact_for_schlick_by_direct_sampling() -> None:
    # the same integral by random visible normals (Heitz 2018): a second route through other variables
    random = np.random.default_rng(7)
    mu, alpha, f0, count = 0.6, 0.35, 0.04, 400_000
    view = np.array([np.sqrt(1 - mu * mu), 0.0, mu])
    azimuth = 2 * np.pi * random.random(count)
    cos2 = 1 - random.random(count)
    tangent = alpha * np.sqrt((1 - cos2) / cos2)  # GGX slope distribution, sampled by projected area of the facets
    facet = np.stack([tangent * np.cos(azimuth), tangent * np.sin(azimuth), np.ones(count)], axis=1)
    facet /= np.linalg.norm(facet, axis=1, keepdims=True)
    cos_half = facet @ view
    mirrored = 2 * cos_half[:, None] * facet - view
    cos_in = mirrored[:, 2]
    valid = (cos_half > 0) & (cos_in > 0)

    def smith(cosine: np.ndarray | float) -> np.ndarray:
        return (np.sqrt(1 + alpha**2 * (1 / np.square(cosine) - 1)) - 1) / 2

    masking = 1 / (1 + smith(mu) + smith(np.where(valid, cos_in, 1)))
    fresnel = f0 + (1 - f0) * np.clip(1 - cos_half, 0, 1) ** 5
    value = np.where(valid, fresnel * masking * cos_half / (mu * facet[:, 2]), 0)
    scale, bias = split_albedo(np.array([mu]), alpha)
    error = value.std() / np.sqrt(count)
    assert error < 2e-3 * value.mean()
    assert value.mean() == pytest.approx(float(f0 * scale[0] + bias[0]), abs=4 * error)


def test_the_table_lies_on_nodes_from_mirror_to_roughest() -> None:
    scale, bias = ggx_albedo_table()
    assert scale.shape == bias.shape == (32, 32)
    assert scale[0, -1] == pytest.approx(1)  # a mirror straight on reflects f0
    assert bias[0, 0] == pytest.approx(1, abs=0.006)  # and everything at grazing
    assert (scale + bias <= 1 + 1e-9).all()
    assert scale.min() >= 0
    assert bias.min() >= 0
