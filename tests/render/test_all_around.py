"""Round sources: balls and tubes shine to every side, near and far, through the traced path; the sun is a disk."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from materials import default_bands
from render.backend import init
from render.merge import merge
from render.tracer import Tracer
from scenes import field
from scenes.stage import Distant, Fixture, Output

from .sets import far_speck, fixture, light, stage

BALL = fixture("sphere", (0.3, 0.3), at=(0, 0, 0), toward=(0.36, 0.48, 0.8))
TUBE = fixture("tube", (0.6, 0.1), at=(0, 0, 0), toward=(0.36, 0.48, 0.8))
TURNS = np.arange(12) * np.pi / 6


def _lux(of: Fixture, places: np.ndarray, facing: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """What meters read of one lumen, and the standard error."""
    lamp = light(of)
    built = stage([far_speck()], [lamp])
    tracer = Tracer(built, merge(built), default_bands(), "auto", None)
    heads = (places, facing, np.zeros(len(places), bool))
    runs = np.array([tracer.meters((lamp,), heads, 4096, seed)[0].mean(axis=0) for seed in range(4)])
    return runs.mean(axis=0), runs.std(axis=0, ddof=1) / 2


def _rod(of: Fixture, places: np.ndarray, facing: np.ndarray) -> np.ndarray:
    """Lux of a Lambertian rod with dark ends, summed over every point of its side: n.w f.w / d^4, where positive."""
    (length, diameter), turn = of.size_m, (np.arange(180) + 0.5) / 90 * np.pi
    along = ((np.arange(300) + 0.5) / 300 - 0.5) * length
    normal = np.cos(turn)[:, None] * of.up + np.sin(turn)[:, None] * of.forward
    side = of.centre_m + along[:, None, None] * of.right + diameter / 2 * normal
    lux = []
    for place, faces in zip(places, facing, strict=True):
        way = place - side
        lux.append(
            (np.maximum((way * normal).sum(-1), 0) * np.maximum(-(way @ faces), 0) / (way**2).sum(-1) ** 2).mean()
        )
    return np.array(lux) / np.pi  # luminance 1 / (pi area), times the area the mean is over


def _around_tube() -> tuple[np.ndarray, np.ndarray]:
    """A ring of points about the tube, 3 cm off its side and 0.8 m away in turn, each facing its axis."""
    out = np.cos(TURNS)[:, None] * TUBE.forward + np.sin(TURNS)[:, None] * TUBE.up
    shift = np.array([0, 0.1, -0.2, 0.28])[np.arange(12) % 4]
    return out * np.where(np.arange(12) % 2, 0.08, 0.8)[:, None] + shift[:, None] * TUBE.right, -out


def _beyond_tube() -> tuple[np.ndarray, np.ndarray]:
    """Points beyond both ends, from the axis out, facing along it."""
    places = [
        end * x * TUBE.right + np.cos(turn) * y * TUBE.forward + np.sin(turn) * y * TUBE.up
        for end, turn in ((1, 0.0), (1, 2.5), (-1, 4.0))
        for x, y in ((0.31, 0.0), (0.32, 0.03), (0.4, 0.04), (1.5, 0.02), (0.35, 0.1), (0.5, 0.4), (2.0, 0.6))
    ]
    return np.array(places), np.repeat([-TUBE.right, -TUBE.right, TUBE.right], 7, axis=0)


@pytest.mark.slow
def test_an_even_ball_lights_every_side_alike() -> None:
    """1 / (4 pi d^2) a lumen for a meter that faces its middle (Howell and Menguc), 3 cm off it and 1.5 m away."""
    way = np.random.default_rng(3).normal(size=(14, 3))
    way[:2] = BALL.forward, -BALL.forward
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    away = np.where(np.arange(14) % 4 < 2, 0.18, 1.5)
    read, _ = _lux(BALL, way * away[:, None], -way)
    assert read * 4 * np.pi * away**2 == pytest.approx(1, rel=2e-3)


def test_a_tube_lights_every_side_as_its_surface_says() -> None:
    """Against a sum over the rod's side, good to 0.1 %, and 2 mm off it against r / h of an endless cylinder (Howell and
    Menguc): 4 standard errors, each at most 1 %."""
    places, facing = _around_tube()
    skin = np.array([0.1 * TUBE.right - 0.052 * facing[1]])
    (read, error), exact = _lux(TUBE, np.vstack([places, skin]), facing[[*range(12), 1]]), _rod(TUBE, places, facing)
    exact = np.append(exact, 0.05 / 0.052 / (np.pi * 0.1 * 0.6))
    assert (error < 0.01 * exact).all()
    assert (np.abs(read - exact) < 4 * error + 1e-3 * exact).all(), read / exact


@pytest.mark.slow
def test_the_ends_of_a_tube_are_dark() -> None:
    """Where a meter sees nothing but an end it reads nothing; a little aside, what it sees of the rod's side."""
    places, facing = _beyond_tube()
    (read, error), exact = _lux(TUBE, places, facing), _rod(TUBE, places, facing)
    dark = exact == 0
    assert dark.sum() == 12
    assert read[dark].max() == 0
    assert (error < 0.03 * exact)[~dark].all()
    apart = np.abs(read - exact)[~dark] / exact[~dark]
    assert (apart < (4 * error[~dark] / exact[~dark]) + 2e-3).all(), apart


def test_the_field_of_a_tube_is_that_of_its_surface() -> None:
    """In front, behind and beyond its ends, also facing it askew, to 1 % (the field's raster is coarse beside an end);
    and on its axis in closed form."""
    for places, facing in (_around_tube(), _beyond_tube()):
        askew = facing + 0.5 * TUBE.up
        askew /= np.linalg.norm(askew, axis=1, keepdims=True)
        for normals in (facing, askew):
            exact = _rod(TUBE, places, normals)
            assert field.illuminance(TUBE, places, normals) == pytest.approx(exact, rel=0.01, abs=1e-3 * exact.max())
    for away in (0.06, 0.3, 5.0):
        seen = field.illuminance(TUBE, away * TUBE.forward, -TUBE.forward, steps=256)[0]
        assert field.plain_axial_illuminance(TUBE, away) == pytest.approx(seen, rel=2e-4)


@pytest.mark.parametrize("of", [BALL, TUBE], ids=["ball", "tube"])
def test_samples_lie_on_the_side_that_is_seen(of: Fixture) -> None:
    """Their distance ends on the surface, on the side toward the point, whatever direction that is: what stands behind
    or inside the source must not shade it."""
    init("auto")
    import mitsuba as mi

    from render.kernel.luminaire import light_at, upload_lights
    from render.kernel.toward import sample_light

    lamp = light_at(upload_lights([light(of)], [0]), mi.UInt32(0))
    way = np.repeat(np.random.default_rng(8).normal(size=(40, 3)), 64, axis=0)
    places = way / np.linalg.norm(way, axis=1, keepdims=True) * 0.7
    random = mi.PCG32(size=len(places))
    taken = sample_light(
        lamp, mi.Point3f(places.T.astype("f4")), mi.Vector3f(0, 1, 0), random.next_float32(), random.next_float32()
    )
    lit = np.array(taken.weight) > 0
    assert lit.mean() > 0.6
    met = (places + np.array(taken.direction).T * np.array(taken.distance)[:, None])[lit]
    spine = met @ of.right if of is TUBE else np.zeros(len(met))
    normal = met - spine[:, None] * of.right
    assert np.abs(spine).max() <= of.size_m[0] / 2 * (1 + 1e-5)
    assert np.linalg.norm(normal, axis=1) == pytest.approx(of.size_m[-1] / 2, rel=2e-3)
    assert (np.einsum("ij,ij->i", normal, places[lit]) > 0).all()


def test_a_ray_finds_the_sun_over_its_whole_disk_and_not_beside_it() -> None:
    """A disk of 0.53 degrees gives 1 lux at 1 / (pi sin^2 0.265) its radiance; rays 0.25 and 0.28 degrees off its middle."""
    init("auto")
    import mitsuba as mi

    from render.kernel.luminaire import FAR_M, light_at, upload_lights
    from render.kernel.toward import arriving

    sun = replace(
        light(None), distant=Distant("sun", np.array([0.0, 1, 0]), 0.53, None), output=Output(1.0, reading_lux=None)
    )
    lamp = light_at(upload_lights([sun], [0]), mi.UInt32(0))
    off = np.radians([0.0, 0.25, -0.25, 0.28, -0.28])
    way = mi.Vector3f(np.stack([np.sin(off), np.cos(off), 0 * off]).astype("f4"))
    radiance, pdf = arriving(lamp, mi.Point3f(0), way, mi.Float(FAR_M), mi.Float(1))
    full = 1 / (np.pi * np.sin(np.radians(0.265)) ** 2)
    assert np.array(radiance) == pytest.approx([full, full, full, 0, 0], rel=1e-3)
    assert np.array(pdf)[:3] == pytest.approx(full, rel=1e-3)
