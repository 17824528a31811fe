"""Records that travel through the tracing kernel.

All are mutable dataclasses, which Dr.Jit walks as trees. Band vectors are `ArrayXf` of shape (B, lanes).
"""

from __future__ import annotations

from dataclasses import dataclass

import mitsuba as mi


@dataclass
class SurfacePoint:
    """Where a ray met the set; both normals look toward the side the ray came from."""

    position: mi.Point3f
    normal_geometric: mi.Normal3f
    normal: mi.Normal3f
    material: mi.UInt32
    region: mi.UInt32
    weights: mi.Vector4f
    gloss: mi.Float
    veil: mi.Float  # share of the sky's light that takes the place of its own


@dataclass
class Surface:
    """How a surface point scatters: a spectral diffuse base under a dielectric coat that has no colour."""

    reflectance: mi.ArrayXf
    transmission: mi.Float
    f0: mi.Float
    roughness: mi.Float
    alpha: mi.Float
    cos_out: mi.Float
    coat_albedo: mi.Float  # directional albedo of the coat toward the viewer
    coat_gain: mi.Float  # multiple-scattering gain
    base_level: mi.Float  # share left by the coat toward the viewer, over that let in from above the facet
    choose_coat: mi.Float  # probability of sampling the coat


@dataclass
class Luminaire:
    """One light of unit output in device memory; every member is opaque, so all lights share one kernel.

    Lengths are metres along the fixture's axes; see `scenes.optics` for what the optical members mean.
    """

    kind: mi.UInt32
    body: mi.UInt32
    centre: mi.Point3f  # of the sun: unit vector toward it
    right: mi.Vector3f
    up: mi.Vector3f
    forward: mi.Vector3f
    half_width: mi.Float
    half_height: mi.Float
    hole: mi.Float  # radius
    area: mi.Float  # of the exit, m2; of the sun: 1 - cos of its half angle
    radiance: (
        mi.Float
    )  # 1/(m2 sr), where the luminous area is the same from every direction or has a table of luminance
    intensity: mi.Float  # 1/(m2 sr) on the axis, to be divided by the cosine
    half_beam: mi.Float
    falloff_power: mi.Float
    back: mi.Float
    source_kind: mi.UInt32
    source_depth: mi.Float
    source_half_width: mi.Float
    source_half_height: mi.Float
    widest_slope: mi.Float
    cell_kind: mi.UInt32
    cell_ratio: mi.Float
    cell_walls: Table | None  # of cells whose walls reflect; of one column for black ones, None where no light has any
    cell_repeats: mi.Float
    edge_reach: mi.Vector4f
    edge_offset: mi.Vector4f
    angular: Table
    image: Table
    radial: mi.UInt32  # where the light within squared radii of the disk around the luminous area begins, as a share
    radial_reach: mi.Float  # radius of that disk over the half width
    glow_area: mi.Float  # area in m2 that would be as noisy if it glowed evenly
    image_plane: mi.Float
    image_cut: mi.Bool  # nothing passes outside the image
    tables: mi.Float
    mouth: Mouth


@dataclass
class Mouth:
    """What leaves a mouth by place and direction (`scenes.emission`), metres; `level` is 0 where a light has none."""

    first: mi.UInt32  # where the table begins in the device array
    rows: mi.UInt32
    plate_rows: mi.UInt32
    screen_rows: mi.UInt32
    outward: mi.UInt32
    around: mi.UInt32
    outline: mi.UInt32
    level: mi.Float
    radius: mi.Float
    depth: mi.Float
    slope: mi.Float
    bend: mi.Float
    rear: mi.Float
    wall_way: mi.Float
    stretch_x: mi.Float
    stretch_y: mi.Float
    gain: mi.Float
    screen_depth: mi.Float
    screen_radius: mi.Float  # negative without a screen
    lamp_depth: mi.Float
    lamp_radius: mi.Float
    lamp_luminance: mi.Float
    lamp_share: mi.Float  # share of the samples that go to the lamp
    hot: mi.UInt32  # where the shares within the rings of its hot spot begin; see `hot_spot`
    hot_depth: mi.Float
    hot_share: mi.Float  # of the samples that do not go to the lamp


@dataclass
class Table:
    """Where a table of `rows` by `columns` begins in the device array, and the scales from its arguments to indices."""

    first: mi.UInt32
    rows: mi.UInt32
    columns: mi.UInt32
    scale_x: mi.Float
    scale_y: mi.Float


@dataclass
class LightSample:
    """A direction toward the light: `weight` is radiance over `pdf` (1/sr); `distance` in metres."""

    direction: mi.Vector3f
    distance: mi.Float
    weight: mi.Float
    pdf: mi.Float


@dataclass
class Start:
    """First ray of a sample. Camera rays start at depth 0 with `pdf` 0; meter rays at depth 1 with their density."""

    origin: mi.Point3f
    direction: mi.Vector3f
    weight: mi.Float
    pdf: mi.Float
    cos_normal: mi.Float
    depth: mi.UInt32


@dataclass
class Path:
    """Loop state of one lane, which traces its samples one after the other: no lane waits for a longer path."""

    origin: mi.Point3f
    direction: mi.Vector3f
    throughput: mi.ArrayXf
    irradiance_share: mi.ArrayXf  # turns a radiance contribution into one of first-hit irradiance
    pdf: mi.Float  # solid-angle density of `direction`; 0 for a ray that left the camera, negative for one from haze
    cos_normal: mi.Float  # cosine of `direction` at the surface or meter it left
    depth: mi.UInt32
    sample: mi.UInt32
    radiance: mi.ArrayXf  # summed over the lane's samples
    irradiance: mi.ArrayXf  # summed likewise; without what `irradiance_direct` holds
    irradiance_direct: mi.Float  # in clear air, where all bands have the same
    odd: mi.Float  # band mean of the radiance of odd samples alone
    in_haze: mi.Bool | None  # whether the path's first event was in haze; None without haze
    haze: mi.ArrayXf | None  # the part of `radiance` whose last event before the camera was in haze
    flights: mi.ArrayXf | None  # weights of the bands for the path's flights through haze so far; mean 1
    active: mi.Bool
