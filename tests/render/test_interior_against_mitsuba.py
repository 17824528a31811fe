"""Light out of bowls as `scenes.interior` computes it and as Mitsuba's path integrator traces a mesh of the same body.

Mitsuba looks at the mouth from far away (an orthographic camera), so the sum over its picture is the intensity; and from
places near by (a pinhole), so the sum over its picture, weighted by cosine and solid angle, is the illuminance there. White
walls are its own diffuse, mirrors its own conductor; the gloss lobe and the diffusing sheet are told to it as a BSDF
written out here from the formula in `scenes.interior_surfaces`, which only shares the table of E.

Tolerance 3 %: noise of both together is under 1 %, the meshes' 128 sides take 0.1 %. `test_a_bias_is_caught` shows that
a wall a twentieth darker fails.
"""

from __future__ import annotations

import dataclasses
import functools
import math

import numpy as np
import pytest

from render.backend import init
from scenes.field import illuminance
from scenes.interior import Interior, Lamp, Sheet, Wall, emergent
from scenes.interior_surfaces import lobe_exponent, lobe_share
from tests.scenes.modified import revolved, round_mouth, stock_inside

pytestmark = pytest.mark.slow

ANGLES_DEG = (0, 10, 20, 30, 45, 60)
SIDES, STEPS, PIXELS, SPP = 128, 65, 64, 400
NEAR_PIXELS, NEAR_SPP = 96, 128
TOLERANCE = 0.03
NEAR_BY = ("standard-reflector", "dish-white", "dish-silver", "deep-open-box-120", "umbrella-silver-100")

SILVER = {"reflectance": 0.85, "gloss": 0.8, "spread_deg": 12.0}
MIRROR = {"reflectance": 0.9, "gloss": 1.0, "spread_deg": 0.5}
WHITE = {"reflectance": 0.88}
BODIES = {
    "reflector": Interior(
        (Wall(0, 0.09, -0.12, 0.045, **SILVER), Wall(-0.12, 0.045, -0.12, 0, **SILVER)), (), Lamp(-0.07, 0.03), 0.09
    ),
    "mirror": Interior(
        (Wall(0, 0.09, -0.12, 0.045, **MIRROR), Wall(-0.12, 0.045, -0.12, 0, 0.3)), (), Lamp(-0.07, 0.03), 0.09
    ),
    "dish": Interior(
        (
            Wall(0, 0.275, -0.1, 0.17, **WHITE),
            Wall(-0.1, 0.17, -0.16, 0.05, **WHITE),
            Wall(-0.16, 0.05, -0.16, 0, 0.5),
            Wall(-0.06, 0, -0.06, 0.07, **WHITE),
        ),
        (),
        Lamp(-0.115, 0.03),
        0.275,
    ),
    "box": Interior(
        (
            Wall(0, 0.4, -0.06, 0.4, 0.5),
            Wall(-0.06, 0.4, -0.4, 0.1, 0.85, 0.6, 20),
            Wall(-0.4, 0.1, -0.4, 0, 0.85, 0.6, 20),
        ),
        (Sheet(-0.06, 0.4, 0.5, 0.4), Sheet(-0.2, 0.22, 0.55, 0.4)),
        Lamp(-0.32, 0.04),
        0.4,
    ),
}


def _register(mi) -> None:
    import drjit as dr

    class Lining(mi.BSDF):
        """A surface of `scenes.interior_surfaces`, on both sides."""

        def __init__(self, props):
            mi.BSDF.__init__(self, props)
            self.reflectance, self.transmittance = props["reflectance"], props["transmittance"]
            self.gloss, spread = props["gloss"], math.radians(props["spread_deg"])
            table, level = lobe_share(spread), np.linspace(0, 1, 129)
            self.exponent, self.table = lobe_exponent(spread), mi.Float(table)
            self.lost = max(1 - 2 * np.trapezoid(table * level, level), 1e-9)
            sides = mi.BSDFFlags.FrontSide | mi.BSDFFlags.BackSide
            self.m_components = [mi.BSDFFlags.DiffuseReflection | mi.BSDFFlags.DiffuseTransmission | sides]
            self.m_flags = self.m_components[0]

        def share(self, cosine):
            at = dr.clip(cosine, 0, 1) * 128
            low = dr.minimum(mi.UInt32(at), 127)
            first = dr.gather(mi.Float, self.table, low)
            return first + (at - mi.Float(low)) * (dr.gather(mi.Float, self.table, low + 1) - first)

        def chances(self, out):
            through = self.transmittance / max(self.transmittance + self.reflectance, 1e-9)
            return through, (1 - through) * self.gloss * self.share(out.z)

        def eval_pdf(self, ctx, si, wo, active=True):
            side = dr.sign(si.wi.z)
            out, into = mi.Vector3f(si.wi) * side, mi.Vector3f(wo) * side
            facing = dr.abs(into.z)
            mirrored = mi.Vector3f(-out.x, -out.y, out.z)
            lobe = (self.exponent + 1) / dr.two_pi * dr.maximum(dr.dot(into, mirrored), 0) ** self.exponent
            glossy = lobe * facing / dr.maximum(facing, out.z)
            glossy += (1 - self.share(facing)) * (1 - self.share(out.z)) / self.lost * facing * dr.inv_pi
            back = self.reflectance * ((1 - self.gloss) * facing * dr.inv_pi + self.gloss * glossy)
            through, in_lobe = self.chances(out)
            density = in_lobe * lobe + (1 - through - in_lobe) * facing * dr.inv_pi
            value = dr.select(into.z > 0, back, self.transmittance * facing * dr.inv_pi)
            density = dr.select(into.z > 0, density, through * facing * dr.inv_pi)
            good = active & (out.z > 0) & (facing > 0)
            return dr.select(good, mi.Spectrum(value), 0), dr.select(good, density, 0)

        def eval(self, ctx, si, wo, active=True):
            return self.eval_pdf(ctx, si, wo, active)[0]

        def pdf(self, ctx, si, wo, active=True):
            return self.eval_pdf(ctx, si, wo, active)[1]

        def sample(self, ctx, si, sample1, sample2, active=True):
            side = dr.sign(si.wi.z)
            out = mi.Vector3f(si.wi) * side
            through, in_lobe = self.chances(out)
            cosine, turn = sample2.x ** (1 / (self.exponent + 1)), dr.two_pi * sample2.y
            sine = dr.sqrt(dr.maximum(1 - cosine * cosine, 0))
            about = mi.Frame3f(mi.Vector3f(-out.x, -out.y, out.z))
            lobe = about.to_world(mi.Vector3f(sine * dr.cos(turn), sine * dr.sin(turn), cosine))
            diffuse = mi.warp.square_to_cosine_hemisphere(sample2)
            diffuse.z = dr.select(sample1 > 1 - through, -diffuse.z, diffuse.z)
            wo = dr.select(sample1 < in_lobe, lobe, diffuse) * side
            value, density = self.eval_pdf(ctx, si, wo, active)
            # a lobe sample below the surface brings nothing, whatever `eval` says of the far side
            good = active & (density > 0) & ((sample1 >= in_lobe) | (wo.z * side > 0))
            record = dr.zeros(mi.BSDFSample3f)
            record.wo, record.pdf, record.eta = wo, density, 1.0
            record.sampled_type, record.sampled_component = mi.UInt32(+self.m_flags), mi.UInt32(0)
            return record, dr.select(good, value / dr.maximum(density, 1e-30), 0)

        def to_string(self):
            return "Lining[]"

    mi.register_bsdf("lining", Lining)


def _bsdf(part: Wall | Sheet) -> dict:
    if isinstance(part, Sheet):
        return {
            "type": "lining", "reflectance": part.reflectance, "transmittance": part.transmittance,
            "gloss": 0.0, "spread_deg": 15.0,
        }  # fmt: skip
    uniform = {"type": "uniform", "value": part.reflectance}
    if part.gloss == 0:
        return {"type": "twosided", "bsdf": {"type": "diffuse", "reflectance": uniform}}
    if part.gloss == 1 and part.spread_deg < 1:
        return {"type": "twosided", "bsdf": {"type": "conductor", "material": "none", "specular_reflectance": uniform}}
    return {
        "type": "lining", "reflectance": part.reflectance, "transmittance": 0.0, "gloss": part.gloss,
        "spread_deg": part.spread_deg,
    }  # fmt: skip


def _mesh(mi, name: str, part: Wall | Sheet):
    if isinstance(part, Sheet):
        profile = np.array([(part.z_m, 0.0), (part.z_m, part.radius_m)])
    else:
        profile = part.profile(STEPS if part.bulge else 2)
    vertices, faces = revolved(profile, SIDES)
    properties = mi.Properties()
    properties["bsdf"] = mi.load_dict(_bsdf(part))
    properties["face_normals"] = True
    mesh = mi.Mesh(name, len(vertices), len(faces), props=properties)
    parameters = mi.traverse(mesh)
    parameters["vertex_positions"] = vertices.ravel()
    parameters["faces"] = faces.astype(np.uint32).ravel()
    parameters.update()
    return mesh


def _scene(interior: Interior):
    init("auto")
    import mitsuba as mi

    _register(mi)
    lamp = interior.lamp
    black = {"type": "diffuse", "reflectance": {"type": "uniform", "value": 0.0}}
    glow = {"type": "area", "radiance": {"type": "uniform", "value": 1 / (4 * math.pi**2 * lamp.radius_m**2)}}
    scene = {
        "type": "scene",
        "integrator": {"type": "path", "max_depth": -1, "rr_depth": 16},
        "lamp": {"type": "sphere", "center": [0, 0, lamp.z_m], "radius": lamp.radius_m, "bsdf": black, "emitter": glow},
    }
    for k, part in enumerate((*interior.walls, *interior.sheets)):
        scene[f"part{k}"] = _mesh(mi, f"part{k}", part)
    return mi.load_dict(scene)


def _theirs(interior: Interior) -> np.ndarray:
    """Intensity at `ANGLES_DEG`, cd per lm."""
    loaded, reach, intensity = _scene(interior), interior.exit_radius_m, []
    import mitsuba as mi

    for angle in np.radians(ANGLES_DEG):
        look = mi.ScalarTransform4f().look_at(
            origin=[5 * reach * math.sin(angle), 0, 5 * reach * math.cos(angle)], target=[0, 0, 0], up=[0, 1, 0]
        )
        sensor = mi.load_dict(
            {
                "type": "orthographic", "near_clip": reach, "far_clip": 20 * reach,
                "to_world": look @ mi.ScalarTransform4f().scale([reach, reach, 1]),
                "film": {"type": "hdrfilm", "width": PIXELS, "height": PIXELS, "pixel_format": "luminance",
                         "rfilter": {"type": "box"}},
                "sampler": {"type": "independent"},
            }
        )  # fmt: skip
        picture = np.array(mi.render(loaded, sensor=sensor, spp=SPP, seed=3), float)
        intensity.append(picture.mean() * (2 * reach) ** 2)
    return np.array(intensity)


def _theirs_near(interior: Interior) -> np.ndarray:
    """Illuminance at `NEAR`, facing the middle of the mouth, lx per lm."""
    loaded, reach, lit = _scene(interior), interior.exit_radius_m, []
    import mitsuba as mi

    for place in _near_places(interior):
        away = np.linalg.norm(place)
        half = min(math.asin(min(reach / away, 0.98)) * 1.02, 1.4)
        look = mi.ScalarTransform4f().look_at(origin=place.tolist(), target=[0, 0, 0], up=[0, 1, 0])
        sensor = mi.load_dict(
            {
                "type": "perspective", "fov": math.degrees(2 * half), "near_clip": 1e-3, "far_clip": 100.0, "to_world": look,
                "film": {"type": "hdrfilm", "width": NEAR_PIXELS, "height": NEAR_PIXELS, "pixel_format": "luminance",
                         "rfilter": {"type": "box"}},
                "sampler": {"type": "independent"},
            }
        )  # fmt: skip
        picture = np.array(mi.render(loaded, sensor=sensor, spp=NEAR_SPP, seed=5), float)[..., 0]
        across = ((np.arange(NEAR_PIXELS) + 0.5) / NEAR_PIXELS * 2 - 1) * math.tan(half)
        cosine4 = (1 + across[:, None] ** 2 + across[None, :] ** 2) ** -2
        # outside the mouth Mitsuba would see the bowl's own back, which is not light
        x, y = _through(place, across)
        lit.append((picture * cosine4 * (np.hypot(x, y) <= reach * 1.01)).mean() * (2 * math.tan(half)) ** 2)
    return np.array(lit)


def _through(place: np.ndarray, across: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Where the rays of a pinhole's pixels cross the plane of the mouth."""
    forward = -place / np.linalg.norm(place)
    left = np.cross([0.0, 1.0, 0.0], forward)
    left /= np.linalg.norm(left)
    up = np.cross(forward, left)
    columns, rows = np.meshgrid(-across, -across)
    way = forward + columns[..., None] * left + rows[..., None] * up
    there = place - place[2] / way[..., 2:] * way
    return there[..., 0], there[..., 1]


def _near_places(interior: Interior) -> np.ndarray:
    """Places near the mouth, metres: on the axis and off it, 1.2 to 8 radii of the mouth away."""
    turn = np.radians([0.0, 0.0, 0.0, 25.0, 50.0])
    away = interior.exit_radius_m * np.array([1.2, 3.0, 8.0, 2.0, 3.0])
    return np.stack([away * np.sin(turn), 0 * turn, away * np.cos(turn)], axis=1)


@functools.cache
def _theirs_of(name: str) -> np.ndarray:
    return _theirs(BODIES[name])


def _ours(interior: Interior) -> np.ndarray:
    light = emergent(interior)
    return np.interp(np.radians(ANGLES_DEG), light.angles_rad, light.intensity)


@pytest.mark.parametrize("name", list(BODIES))
def test_intensity_agrees(name):
    assert _ours(BODIES[name]) == pytest.approx(_theirs_of(name), rel=TOLERANCE)


@pytest.mark.parametrize("name", NEAR_BY)
def test_illuminance_near_by_agrees(name):
    """Within 0.05 stop, on the axis and off it."""
    interior = stock_inside(name)
    places = _near_places(interior)
    ours = illuminance(round_mouth(interior), places, -places / np.linalg.norm(places, axis=1)[:, None])
    apart = np.log2(ours / _theirs_near(interior))
    assert np.abs(apart).max() < 0.05, np.round(apart, 3)


def test_a_bias_is_caught():
    dish = BODIES["dish"]
    walls = tuple(dataclasses.replace(wall, reflectance=0.95 * wall.reflectance) for wall in dish.walls)
    darker = _ours(dataclasses.replace(dish, walls=walls))
    assert np.all(np.abs(darker / _theirs_of("dish") - 1) > TOLERANCE)
