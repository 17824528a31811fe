"""Surface scattering: a spectral diffuse base, thin-sheet transmission, and a rough dielectric coat.

The coat is GGX with height-correlated Smith masking and Schlick reflectance, raised so that no energy is
lost to multiple scattering; the base receives what the coat's directional albedo leaves, in both directions.

Shading normals lean off the facets that rays meet, so part of what they scatter would go through the facet. No energy
is lost there: the coat is folded at the facet (what would go through is mirrored in it); the base, which folded would
double along the facet's own edge of shadow, is raised by what it cannot reach (`materials.coat.base_share`).

References
----------
Heitz 2014, Understanding the masking-shadowing function, JCGT 3(2), eqs. 86, 99.
Dupuy and Benyoub 2023, Sampling visible GGX normals with spherical caps, listing 3.
Kelemen and Szirmay-Kalos 2001, A microfacet based coupled specular-matte BRDF model, eq. 6 (base under coat).
Turquin 2019, Practical multiple scattering compensation for microfacet models, eq. 16 (gain).
"""

from __future__ import annotations

from dataclasses import dataclass

import drjit as dr
import mitsuba as mi
import numpy as np

from materials.coat import base_share

from .buffers import buffer
from .frames import cosine_hemisphere, from_local, orthonormal, to_local
from .types import Surface, SurfacePoint

_MIN_ALPHA = 1e-3
_MIN_COS = 1e-3


@dataclass
class Palette:
    """Device tables of all finishes.

    `spectra`: one table a chunk of bands, (M, 4, chunk), chunks being powers of two so that a row is one packet load;
    `parameters` (M, 4): coat reflectance f0 times coat weight, roughness, roughness at full
    gloss, transmission; `coat` (R, U, 4) pairs of neighbouring split-sum terms (A, B); `base` (M, G, 4) pairs of
    neighbouring shares that the coat lets in, at the least and at the full gloss.
    """

    spectra: list[mi.Float]
    parameters: mi.Float
    coat: mi.Float
    base: mi.Float
    coat_last: int
    base_last: int
    band_count: int

    def reflectance(self, point: SurfacePoint, active: mi.Bool) -> mi.ArrayXf:
        """Diffuse reflectance (B, lanes) of a surface point: its finish's four spectra by the tint weights."""
        width = dr.width(point.material)
        values = []
        for table, size in zip(self.spectra, chunk_sizes(self.band_count), strict=True):
            total = None
            for k in range(4):
                used = active if k == 0 else active & (point.weights[k] > 0)  # most surfaces have no tint
                row = dr.gather(mi.ArrayXf, table, point.material * 4 + k, used, shape=(size, width))
                total = row * point.weights[k] if total is None else total + row * point.weights[k]
            values.extend(total)
        return mi.ArrayXf(values)


def chunk_sizes(count: int) -> list[int]:
    """Powers of two, largest first, at most 16, that add up to `count`."""
    sizes = []
    while count:
        sizes.append(min(16, 1 << (count.bit_length() - 1)))
        count -= sizes[-1]
    return sizes


def upload_palette(spectra: np.ndarray, parameters: np.ndarray, coat: np.ndarray) -> Palette:
    """Copy finish tables to the device.

    Parameters
    ----------
    spectra : (M, 4, B) float, base and three tint reflectances a finish.
    parameters : (M, 4) float, columns as in `Palette`.
    coat : (N, N, 2) float, split-sum terms A, B as `materials.ggx_albedo_table` gives them.
    """
    neighbours = np.concatenate([coat[:, :-1], coat[:, 1:]], axis=2)
    shares = np.stack([base_share(parameters[:, 0], parameters[:, k]) for k in (1, 2)], axis=2)
    share_neighbours = np.concatenate([shares[:, :-1], shares[:, 1:]], axis=2)
    palette = Palette(
        spectra=[
            buffer(chunk) for chunk in np.split(spectra, np.cumsum(chunk_sizes(spectra.shape[2]))[:-1], axis=2)
        ],
        parameters=buffer(parameters),
        coat=buffer(neighbours),
        base=buffer(share_neighbours),
        coat_last=coat.shape[0] - 1,
        base_last=shares.shape[1] - 1,
        band_count=spectra.shape[2],
    )
    return palette


def _split(value: mi.Float, last: int) -> tuple[mi.UInt32, mi.Float]:
    """Cell index and fraction of a table coordinate in [0, 1]."""
    scaled = dr.clip(value, 0, 1) * last
    cell = mi.UInt32(dr.minimum(scaled, last - 1))
    return cell, scaled - mi.Float(cell)


def _coat_terms(palette: Palette, roughness: mi.Float, cosine: mi.Float, active: mi.Bool) -> tuple[mi.Float, mi.Float]:
    """Bilinear (A, B); the coat's single-scattering albedo is f0 A + B."""
    row, y = _split(dr.sqrt(roughness), palette.coat_last)
    column, x = _split(dr.sqrt(cosine), palette.coat_last)
    cell = row * palette.coat_last + column
    low = dr.gather(mi.Vector4f, palette.coat, cell, active)
    high = dr.gather(mi.Vector4f, palette.coat, cell + palette.coat_last, active)
    both = dr.lerp(low, high, y)
    return dr.lerp(both.x, both.z, x), dr.lerp(both.y, both.w, x)


def _share_let_in(palette: Palette, point: SurfacePoint, active: mi.Bool) -> mi.Float:
    """Share of diffuse light that the coat lets in from above the facet; see `materials.coat.base_share`."""
    lean = dr.safe_sqrt(1 - dr.dot(point.normal, point.normal_geometric))
    cell, x = _split(lean, palette.base_last)
    both = dr.gather(mi.Vector4f, palette.base, point.material * palette.base_last + cell, active)
    return dr.lerp(dr.lerp(both.x, both.z, x), dr.lerp(both.y, both.w, x), point.gloss)


def _albedo(terms: tuple[mi.Float, mi.Float], f0: mi.Float) -> tuple[mi.Float, mi.Float]:
    """Albedo of the coat with its multiple-scattering gain, and the gain."""
    single = terms[0] + terms[1]
    gain = 1 + f0 * (dr.rcp(dr.maximum(single, 1e-3)) - 1)
    return dr.minimum((f0 * terms[0] + terms[1]) * gain, 1), gain


def _coat_albedo(palette: Palette, f0: mi.Float, roughness: mi.Float, cosine: mi.Float, active: mi.Bool) -> mi.Float:
    albedo, _ = _albedo(_coat_terms(palette, roughness, cosine, active), f0)
    return dr.select(f0 > 0, albedo, 0)


def surface_at(palette: Palette, point: SurfacePoint, outgoing: mi.Vector3f, active: mi.Bool) -> Surface:
    """Mix the finish of a surface point from its tint weights; `outgoing` points toward the viewer."""
    parameters = dr.gather(mi.Vector4f, palette.parameters, point.material, active)
    reflectance = palette.reflectance(point, active)
    f0, transmission = parameters.x, parameters.w
    roughness = dr.lerp(parameters.y, parameters.z, point.gloss)
    cos_out = dr.maximum(dr.dot(point.normal, outgoing), _MIN_COS)
    albedo, gain = _albedo(_coat_terms(palette, roughness, cos_out, active), f0)
    coated = f0 > 0
    albedo = dr.select(coated, albedo, 0)
    base = (1 - albedo) * dr.mean(reflectance)
    return Surface(
        reflectance=reflectance,
        transmission=transmission,
        f0=f0,
        roughness=roughness,
        alpha=dr.maximum(dr.square(roughness), _MIN_ALPHA),
        cos_out=cos_out,
        coat_albedo=albedo,
        coat_gain=gain,
        base_level=(1 - albedo) / _share_let_in(palette, point, active),
        choose_coat=dr.select(coated, dr.clip(albedo / (albedo + base + 1e-6), 0.1, 0.9), 0),
    )


def _smith_lambda(alpha: mi.Float, cosine: mi.Float) -> mi.Float:
    cos2 = dr.square(cosine)
    return 0.5 * (dr.sqrt(1 + dr.square(alpha) * (1 - cos2) / cos2) - 1)


def _coat(
    surface: Surface, normal: mi.Normal3f, outgoing: mi.Vector3f, incoming: mi.Vector3f, cosine: mi.Float
) -> tuple[mi.Float, mi.Float]:
    """Scattering by the coat alone, cosine included, and the density of its samples, unfolded.

    `cosine` is that of `incoming`; samples come up below the horizon too, where they carry nothing.
    """
    half = dr.normalize(outgoing + incoming)
    cos_half = dr.dot(normal, half)
    alpha2 = dr.square(surface.alpha)
    density = alpha2 * dr.inv_pi * dr.rcp(dr.square(dr.fma(dr.square(cos_half), alpha2 - 1, 1)))
    lambda_out = _smith_lambda(surface.alpha, surface.cos_out)
    lambda_in = _smith_lambda(surface.alpha, dr.maximum(cosine, 1e-6))
    fresnel = surface.f0 + (1 - surface.f0) * dr.power(dr.maximum(1 - dr.dot(outgoing, half), 0), 5)
    seen = dr.select((surface.f0 > 0) & (cos_half > 0), density / (4 * surface.cos_out), 0)
    value = dr.select(cosine > 0, seen * fresnel * surface.coat_gain / (1 + lambda_out + lambda_in), 0)
    return value, seen / (1 + lambda_out)


def evaluate(
    palette: Palette,
    surface: Surface,
    point: SurfacePoint,
    outgoing: mi.Vector3f,
    incoming: mi.Vector3f,
    active: mi.Bool,
) -> tuple[mi.Float, mi.Float, mi.Float]:
    """Scattering from `incoming` to `outgoing`, both pointing away from the surface, cosine included.

    Returns
    -------
    coat, base, pdf : the value is ``coat + base * reflectance``; `pdf` is the density (1/sr) of `sample`.
    """
    cos_in = dr.dot(point.normal, incoming)
    height = dr.dot(point.normal_geometric, incoming)
    above = height > 0
    reflects, transmits = above & (cos_in > 0), ~above & (cos_in < 0)
    coat, coat_pdf = _coat(surface, point.normal, outgoing, incoming, cos_in)

    folded = incoming - point.normal_geometric * (2 * height)
    folded_cos = dr.dot(point.normal, folded)
    more, more_pdf = _coat(surface, point.normal, outgoing, folded, folded_cos)
    folds = reflects & (folded_cos > 0)
    coat = dr.select(reflects, coat + dr.select(folds, more, 0), 0)
    coat_pdf += dr.select(folds, more_pdf, 0)

    cosine = dr.abs(cos_in)
    share = dr.select(reflects, 1 - surface.transmission, dr.select(transmits, surface.transmission, 0)) * dr.inv_pi
    base_pdf = share * (cosine + dr.maximum(dr.select(reflects, folded_cos, -folded_cos), 0))
    albedo_in = _coat_albedo(palette, surface.f0, surface.roughness, cosine, active)
    base = share * cosine * surface.base_level * (1 - albedo_in)
    return coat, base, dr.select(reflects | transmits, dr.lerp(base_pdf, coat_pdf, surface.choose_coat), 0)


def _visible_normal(outgoing: mi.Vector3f, alpha: mi.Float, u: mi.Float, v: mi.Float) -> mi.Vector3f:
    """GGX microfacet normal seen from local direction `outgoing` (spherical-cap method)."""
    stretched = dr.normalize(mi.Vector3f(outgoing.x * alpha, outgoing.y * alpha, outgoing.z))
    z = dr.fma(-v, 1 + stretched.z, 1)
    sine, cosine = dr.sincos(2 * dr.pi * u)
    radius = dr.safe_sqrt(1 - dr.square(z))
    half = mi.Vector3f(radius * cosine, radius * sine, z) + stretched
    return dr.normalize(mi.Vector3f(half.x * alpha, half.y * alpha, dr.maximum(half.z, 1e-6)))


def sample(
    surface: Surface, point: SurfacePoint, outgoing: mi.Vector3f, u_lobe: mi.Float, u: mi.Float, v: mi.Float
) -> mi.Vector3f:
    """Direction that follows the coat's visible normals or the base's cosine, by `surface.choose_coat`.

    `evaluate` gives a density of 0 to directions that nothing is scattered into.
    """
    s, t = orthonormal(point.normal)
    local_out = to_local(outgoing, s, t, point.normal)
    local_out = dr.normalize(mi.Vector3f(local_out.x, local_out.y, surface.cos_out))
    take_coat = u_lobe < surface.choose_coat
    u_base = (u_lobe - surface.choose_coat) / dr.maximum(1 - surface.choose_coat, 1e-6)

    facet = _visible_normal(local_out, surface.alpha, u, v)
    mirrored = facet * (2 * dr.dot(local_out, facet)) - local_out
    diffuse = cosine_hemisphere(u, v)
    flip = u_base < surface.transmission
    diffuse.z = dr.select(flip, -diffuse.z, diffuse.z)
    chosen = dr.select(take_coat, mirrored, diffuse)
    direction = from_local(chosen, s, t, point.normal)
    height = dr.dot(point.normal_geometric, direction)
    through = ((chosen.z > 0) & (height < 0)) | ((chosen.z < 0) & (height > 0) & ~take_coat)
    return mi.Vector3f(dr.select(through, direction - point.normal_geometric * (2 * height), direction))
