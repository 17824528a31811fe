"""The tracing loop: one light, all bands, one lane a pixel or meter.

Light arrives at a surface by next-event sampling of the fixture and by scattered rays that happen to meet it,
weighted by the power heuristic. Paths end by Russian roulette only, so no bounce is cut off.

References
----------
Veach 1997, Robust Monte Carlo methods for light transport simulation, sections 9.2 (power heuristic), 10.4.1.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import drjit as dr
import mitsuba as mi

from .bodies import Bodies, nearest_body
from .geometry import Geometry, surface_point
from .haze import (
    Haze,
    Leg,
    balanced,
    density_at,
    drawn_band,
    free_flight,
    phase,
    scattered_direction,
    share_along,
    span_in_box,
    tracking_seed,
)
from .luminaire import AMBIENT, FAR_M, NO_BODY, SUN
from .nets import Nets, let_through
from .portals import Portals, arriving_through, guided_density, guided_direction, sample_source
from .sampler import mix, pair
from .surface import Palette, evaluate, sample, surface_at
from .toward import arriving, sample_light, span_in_beam
from .types import Luminaire, Path, Surface, SurfacePoint

_ROULETTE_DEPTH = 1
_MAX_SURVIVAL = 0.98
_MIN_SURVIVAL = 0.2
_SURVIVAL_GAIN = 2.0  # least time to equal error among 1, 1.5 and 2, measured on the bench scene
_SHADOW_SHRINK = 1 - 1e-4
_HORIZON = 0.02  # sine of the height at which the sky is as bright as air before what is far away
_START, _LIGHT, _SCATTER, _LOBE, _PLACE, _HAZE_LIGHT, _TURN, _WAY = range(8)
_USES = 8
_TO_LIGHT, _TO_PLACE, _PLACE_TO_LIGHT, _FLIGHT = range(4)
_NEAREST_LIGHT_M = 1e-3
_FROM_HAZE = -1.0


@dataclass
class Scene:
    """All a path needs of the set: `geometry`, `palette`, `bodies`, `nets`, `portals` of a room, the one `light` that
    is lit, and `haze`."""

    geometry: Geometry
    palette: Palette
    bodies: Bodies
    nets: Nets
    portals: Portals
    light: Luminaire
    haze: Haze | None = None


def power_heuristic(pdf: mi.Float, other: mi.Float) -> mi.Float:
    """Weight of a sample of density `pdf` where `other` could have given it too."""
    pdf2 = dr.square(pdf)
    return dr.select(pdf > 0, pdf2 / (pdf2 + dr.square(other)), 0)


def _pair(lane: mi.UInt32, seed: mi.UInt32, path: Path, depth: mi.UInt32, use: int) -> tuple[mi.Float, mi.Float]:
    """Two numbers for one use at one depth. Even and odd samples have sequences of their own: independent halves."""
    half = path.sample & 1
    return pair(mix(mix(lane, seed * 2 + half), depth * _USES + use), path.sample >> 1)


def _add(path: Path, amount: mi.ArrayXf, where: mi.Bool) -> None:
    """Add light that arrives along the path, radiance and first-hit irradiance alike."""
    amount = dr.select(where, amount, 0)
    path.radiance += amount
    path.irradiance += amount * path.irradiance_share
    path.odd += dr.select((path.sample & 1) == 1, dr.mean(amount), 0)
    if path.haze is not None:
        path.haze += dr.select(path.in_haze, amount, 0)


def _meet_light(scene: Scene, path: Path, met_body: mi.Bool, escaped: mi.Bool, distance: mi.Float) -> None:
    """Add the emission of the lit fixture, or of the surroundings, where the path's ray meets it."""
    light = scene.light
    around = (light.kind == AMBIENT) | (light.kind == SUN)
    meets = path.active & (met_body | (escaped & around))
    reach = dr.select(around, FAR_M, dr.select(meets, distance, 1))
    radiance, other = arriving_through(
        light, scene.portals, path.origin, path.direction, reach, path.cos_normal
    )
    weight = dr.select(path.pdf > 0, power_heuristic(path.pdf, other), 1)
    if scene.haze is not None:  # fixtures and the sun were sampled all along the segment before
        weight = dr.select((path.pdf < 0) & (light.kind != AMBIENT), 0, weight)
    _add(path, path.throughput * (radiance * weight), meets)


def _meet_air(scene: Scene, path: Path, point: SurfacePoint, on_surface: mi.Bool) -> None:
    """Add the light of the sky at the horizon that stands in front of what is far away, which nothing else finds, and
    dim what comes from there."""
    veil = dr.select(on_surface, point.veil, 0)
    toward = dr.normalize(mi.Vector3f(path.direction.x, dr.maximum(path.direction.y, _HORIZON), path.direction.z))
    radiance, _ = arriving(scene.light, path.origin, toward, mi.Float(FAR_M), mi.Float(1))
    _add(path, path.throughput * (radiance * veil), path.active & (veil > 0) & (scene.light.kind == AMBIENT))
    path.throughput *= 1 - veil


def reaching(scene: Scene, origin: mi.Point3f, direction: mi.Vector3f, distance: mi.Float, active: mi.Bool) -> mi.Float:
    """Share of the light that gets from the point `distance` away on the lit fixture to `origin`: 0 where something
    solid stands between, the fixture's own convex body excepted; nets dim it. Haze does too: see `share_along`."""
    reach = distance * _SHADOW_SHRINK
    shadowed = scene.geometry.accel.ray_test(mi.Ray3f(origin, direction, reach, 0, []), active=active)
    body = nearest_body(scene.bodies, origin, direction, mi.Bool(False), scene.light.body)
    clear = active & ~shadowed & (body.distance >= reach)
    return dr.select(clear, let_through(scene.nets, origin, direction, reach), 0)


def _offset(scene: Scene, point: SurfacePoint, direction: mi.Vector3f) -> mi.Point3f:
    side = dr.copysign(scene.geometry.offset_m, dr.dot(point.normal_geometric, direction))
    return mi.Point3f(point.position + point.normal_geometric * side)


def _next_event(
    scene: Scene, path: Path, point: SurfacePoint, surface: Surface, on_surface: mi.Bool, u: mi.Float, v: mi.Float,
    seed: mi.UInt32,
) -> None:  # fmt: skip
    """Add what the lit fixture sends straight to the surface point."""
    light = sample_source(scene.light, scene.portals, point.position, point.normal, u, v)
    outgoing = -path.direction
    coat, base, pdf = evaluate(scene.palette, surface, point, outgoing, light.direction, on_surface)
    useful = on_surface & (light.weight > 0) & (coat + base > 0)
    pdf = guided_density(scene.light, scene.portals, point.position, light.direction, pdf)
    origin = _offset(scene, point, light.direction)
    share = reaching(scene, origin, light.direction, light.distance, useful)
    visible = share > 0
    received = dr.select(visible, share * light.weight * power_heuristic(light.pdf, pdf), 0)
    if scene.haze is not None:
        received = received * share_along(scene.haze, [Leg(origin, light.direction, light.distance, seed)], visible)
    _add(path, path.throughput * (coat + surface.reflectance * base) * received, visible)
    cosine = dr.maximum(dr.dot(point.normal, light.direction), 0)
    first = dr.select(visible & (path.depth == 0), received * cosine, 0)
    if scene.haze is None:
        path.irradiance_direct += first
    else:
        path.irradiance += first


def _scatter(
    scene: Scene, path: Path, point: SurfacePoint, surface: Surface, on_surface: mi.Bool,
    u: mi.Float, v: mi.Float, u_lobe: mi.Float, u_survive: mi.Float, u_way: mi.Float,
) -> mi.Bool:  # fmt: skip
    """Send the path on from the surface point; returns where it lives on."""
    outgoing = -path.direction
    direction = sample(surface, point, outgoing, u_lobe, u, v)
    direction = guided_direction(scene.light, scene.portals, point.position, direction, u_way, u, v)
    coat, base, pdf = evaluate(scene.palette, surface, point, outgoing, direction, on_surface)
    pdf = guided_density(scene.light, scene.portals, point.position, direction, pdf)
    alive = on_surface & (pdf > 1e-8) & (coat + base > 0)
    inverse = dr.select(alive, dr.rcp(pdf), 0)
    factor = (coat + surface.reflectance * base) * inverse
    throughput = path.throughput * factor

    cosine = dr.dot(point.normal, direction)
    first_share = dr.select(alive, dr.maximum(cosine, 0) * inverse * dr.rcp(dr.maximum(throughput, 1e-9)), 0)
    share = dr.select(path.depth == 0, first_share, path.irradiance_share)

    survival = dr.clip(dr.max(throughput) * _SURVIVAL_GAIN, _MIN_SURVIVAL, _MAX_SURVIVAL)
    survival = dr.select(path.depth < _ROULETTE_DEPTH, 1, survival)
    alive &= u_survive < survival

    path.throughput = throughput * dr.rcp(survival)
    path.irradiance_share = share
    path.origin = _offset(scene, point, direction)
    path.direction = mi.Vector3f(direction)
    path.pdf = pdf
    path.cos_normal = dr.maximum(cosine, 0)
    path.depth += 1
    return alive


def lit_place(
    haze: Haze, light: Luminaire, path: Path, end: mi.Float, u: mi.Float
) -> tuple[mi.Float, mi.Float, mi.Bool]:
    """Distance along the path's segment at which haze is looked at, its density (1/m), and whether light gets there at
    all: by the angle seen from the fixture, of the sun by what the thinnest band lets through."""
    start, stop = span_in_beam(light, path.origin, path.direction, mi.Float(0), dr.minimum(end, FAR_M))
    lit = path.active & (start < stop) & (light.kind != AMBIENT)
    along = dr.dot(light.centre - path.origin, path.direction)
    nearest = dr.maximum(dr.norm(light.centre - path.origin - path.direction * along), _NEAREST_LIGHT_M)
    first, last = dr.atan2(start - along, nearest), dr.atan2(stop - along, nearest)
    turned = nearest * dr.tan(dr.lerp(first, last, u))
    far = light.kind == SUN
    lost = 1 - dr.exp(-haze.least * (stop - start))
    drop = -dr.log(1 - u * lost) / haze.least
    t = dr.clip(dr.select(far, start + drop, along + turned), start, stop)
    about = nearest / ((last - first) * (dr.square(nearest) + dr.square(turned)))
    return t, dr.select(far, haze.least * dr.exp(-haze.least * drop) / lost, about), lit


def _in_scatter(scene: Scene, path: Path, lane: mi.UInt32, seed: mi.UInt32, end: mi.Float) -> None:
    """Add what the lit fixture, or the sun, sends into the haze along the path's segment and from there along it."""
    haze, light = scene.haze, scene.light
    u, _ = _pair(lane, seed, path, path.depth, _PLACE)
    t, density, lit = lit_place(haze, light, path, end, u)
    place = mi.Point3f(path.origin + path.direction * t)

    u, v = _pair(lane, seed, path, path.depth, _HAZE_LIGHT)
    sample = sample_light(light, place, path.direction, u, v)
    enters, leaves = span_in_box(haze, path.origin, path.direction, end)
    useful = lit & (sample.weight > 0) & (density > 0) & (t >= enters) & (t <= leaves) & (enters < leaves)
    share = reaching(scene, place, sample.direction, sample.distance, useful)
    own = (tracking_seed(lane, seed, path.sample, path.depth, use) for use in (_TO_PLACE, _PLACE_TO_LIGHT))
    here = Leg(path.origin, path.direction, t, next(own))
    there = Leg(place, sample.direction, sample.distance, next(own))
    through = share_along(haze, [here, there], share > 0)
    turn = phase(haze, dr.dot(sample.direction, path.direction))
    value = dr.select(share > 0, share * sample.weight / density, 0)
    if not haze.even:
        value *= density_at(haze, place)
    outer = path.in_haze
    path.in_haze = outer | (path.depth == 0)
    _add(path, path.throughput * haze.scattering * through * (turn * value), value > 0)
    path.in_haze = outer


def _scatter_in_haze(
    scene: Scene, path: Path, lane: mi.UInt32, seed: mi.UInt32, distance: mi.Float, where: mi.Bool, u_survive: mi.Float
) -> mi.Bool:
    """Send the paths in `where` on from a droplet `distance` away; returns where they live on."""
    u, v = _pair(lane, seed, path, path.depth, _TURN)
    reach = dr.select(where, distance, 0)
    band = drawn_band(scene.haze, lane, seed, path.sample)
    turned = scattered_direction(scene.haze, path.direction, band, u, v)
    throughput = path.throughput * scene.haze.albedo
    if len(scene.haze.lobes) > 1:  # drawn by one band's phase function, it counts for all
        flights, factor = balanced(path.flights, phase(scene.haze, dr.dot(turned, path.direction)))
        throughput = throughput * factor
        path.flights = dr.select(where, flights, path.flights)
    survival = dr.clip(dr.max(throughput) * _SURVIVAL_GAIN, _MIN_SURVIVAL, _MAX_SURVIVAL)
    survival = dr.select(path.depth < _ROULETTE_DEPTH, 1, survival)
    path.origin = mi.Point3f(dr.select(where, path.origin + path.direction * reach, path.origin))
    path.throughput = dr.select(where, throughput * dr.rcp(survival), path.throughput)
    path.irradiance_share = dr.select(where & (path.depth == 0), 0, path.irradiance_share)
    path.in_haze |= where & (path.depth == 0)
    path.direction = mi.Vector3f(dr.select(where, turned, path.direction))
    path.pdf = dr.select(where, _FROM_HAZE, path.pdf)
    path.depth += dr.select(where, 1, 0)
    return where & (u_survive < survival)


def step(scene: Scene, path: Path, lane: mi.UInt32, seed: mi.UInt32) -> mi.Bool:
    """Follow one segment of every lane's path; returns where the path lives on."""
    geometry = scene.geometry
    hit = geometry.accel.ray_intersect_preliminary(
        mi.Ray3f(path.origin, path.direction), coherent=False, active=path.active
    )
    met_surface = hit.is_valid() & path.active
    surface_distance = dr.select(met_surface, hit.t, dr.inf)
    body = nearest_body(scene.bodies, path.origin, path.direction, path.pdf == 0, mi.UInt32(NO_BODY))
    blocked = body.distance < surface_distance
    path.throughput *= let_through(scene.nets, path.origin, path.direction, dr.minimum(surface_distance, body.distance))
    met_exit = blocked & body.front & (body.index == scene.light.body)
    scattered, drop = mi.Bool(False), mi.Float(0)
    if scene.haze is not None:
        end = dr.minimum(surface_distance, body.distance)
        _in_scatter(scene, path, lane, seed, end)
        own = tracking_seed(lane, seed, path.sample, path.depth, _FLIGHT)
        _, u = _pair(lane, seed, path, path.depth, _PLACE)
        band = drawn_band(scene.haze, lane, seed, path.sample)
        drop, density = free_flight(scene.haze, path.origin, path.direction, end, band, u, own, path.active)
        path.flights, factor = balanced(path.flights, density)
        path.throughput = path.throughput * factor
        scattered = path.active & (drop < end)
    _meet_light(scene, path, met_exit & ~scattered, ~met_surface & ~blocked & ~scattered, body.distance)

    on_surface = met_surface & ~blocked & ~scattered
    point = surface_point(geometry, hit.prim_index, hit.prim_uv, path.direction, on_surface)
    if geometry.airy:
        _meet_air(scene, path, point, on_surface)
    surface = surface_at(scene.palette, point, -path.direction, on_surface)
    u, v = _pair(lane, seed, path, path.depth, _LIGHT)
    own = tracking_seed(lane, seed, path.sample, path.depth, _TO_LIGHT)
    _next_event(scene, path, point, surface, on_surface, u, v, own)
    u, v = _pair(lane, seed, path, path.depth, _SCATTER)
    u_lobe, u_survive = _pair(lane, seed, path, path.depth, _LOBE)
    u_way, _ = _pair(lane, seed, path, path.depth, _WAY)
    if scene.haze is None:
        return _scatter(scene, path, point, surface, on_surface, u, v, u_lobe, u_survive, u_way)
    before = replace(path, depth=mi.UInt32(path.depth), in_haze=mi.Bool(path.in_haze))  # += writes through aliases
    alive = _scatter(scene, path, point, surface, on_surface, u, v, u_lobe, u_survive, u_way)
    drifting = _scatter_in_haze(scene, before, lane, seed, drop, scattered, u_survive)
    _take(path, before, scattered)
    return dr.select(scattered, drifting, alive)


def _take(path: Path, other: Path, where: mi.Bool) -> None:
    """Give the paths in `where` the place, direction and strength of `other`."""
    path.origin = mi.Point3f(dr.select(where, other.origin, path.origin))
    path.direction = mi.Vector3f(dr.select(where, other.direction, path.direction))
    path.throughput = dr.select(where, other.throughput, path.throughput)
    path.irradiance_share = dr.select(where, other.irradiance_share, path.irradiance_share)
    path.pdf = dr.select(where, other.pdf, path.pdf)
    path.cos_normal = dr.select(where, other.cos_normal, path.cos_normal)
    path.depth = mi.UInt32(dr.select(where, other.depth, path.depth))
    path.in_haze = dr.select(where, other.in_haze, path.in_haze)
    path.flights = dr.select(where, other.flights, path.flights)


def _restart(path: Path, sensor, lane: mi.UInt32, seed: mi.UInt32, where: mi.Bool) -> None:
    """Begin the next sample of the lanes in `where`."""
    u, v = _pair(lane, seed, path, mi.UInt32(0xFFFF), _START)
    start = sensor.start(lane, u, v)
    path.origin = mi.Point3f(dr.select(where, start.origin, path.origin))
    path.direction = mi.Vector3f(dr.select(where, start.direction, path.direction))
    path.throughput = dr.select(where, start.weight, path.throughput)
    path.irradiance_share = dr.select(where, 0, path.irradiance_share)
    path.pdf = dr.select(where, start.pdf, path.pdf)
    path.cos_normal = dr.select(where, start.cos_normal, path.cos_normal)
    path.depth = dr.select(where, start.depth, path.depth)
    if path.haze is not None:
        path.in_haze = dr.select(where, False, path.in_haze)
        path.flights = dr.select(where, 1, path.flights)


def _blank(lanes: int, bands: int, first_sample: mi.UInt32, hazy: bool) -> Path:
    zeros = dr.zeros(mi.ArrayXf, (bands, lanes))
    return Path(
        origin=dr.zeros(mi.Point3f, lanes),
        direction=dr.zeros(mi.Vector3f, lanes),
        throughput=mi.ArrayXf(zeros),
        irradiance_share=mi.ArrayXf(zeros),
        pdf=dr.zeros(mi.Float, lanes),
        cos_normal=dr.zeros(mi.Float, lanes),
        depth=dr.zeros(mi.UInt32, lanes),
        sample=first_sample + dr.zeros(mi.UInt32, lanes),
        radiance=mi.ArrayXf(zeros),
        irradiance=mi.ArrayXf(zeros),
        irradiance_direct=dr.zeros(mi.Float, lanes),
        odd=dr.zeros(mi.Float, lanes),
        in_haze=dr.full(mi.Bool, False, lanes) if hazy else None,
        haze=mi.ArrayXf(zeros) if hazy else None,
        flights=mi.ArrayXf(zeros + 1) if hazy else None,
        active=dr.full(mi.Bool, True, lanes),
    )


@dr.syntax
def trace_lanes(
    scene: Scene, sensor, lanes: int, first_sample: mi.UInt32, end_sample: mi.UInt32, seed: mi.UInt32,
    first_lane: mi.UInt32 | int = 0,
) -> Path:  # fmt: skip
    """Trace samples ``first_sample <= i < end_sample`` of `lanes` lanes of `sensor` from `first_lane` on; returns the
    summed path records. A lane's samples do not depend on which others are traced with it."""
    lane = dr.arange(mi.UInt32, lanes) + first_lane
    path = _blank(lanes, scene.palette.band_count, first_sample, scene.haze is not None)
    _restart(path, sensor, lane, seed, path.active)
    while dr.hint(path.active, exclude=[scene, sensor, lane, end_sample, seed], label="portrait paths"):
        alive = step(scene, path, lane, seed)
        ended = path.active & ~alive
        path.sample += dr.select(ended, 1, 0)
        again = ended & (path.sample < end_sample)
        _restart(path, sensor, lane, seed, again)
        path.active = alive | again
    return path
