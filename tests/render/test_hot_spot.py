"""Samples of a mouth's hot spot: their density is the one that is told."""

from __future__ import annotations

import numpy as np
import pytest

from render.backend import init
from tests.scenes.modified import fixture, stock

from .sets import light


@pytest.mark.parametrize("name", ["dish-white", "deep-open-box-120"])
def test_samples_of_the_hot_spot_have_the_density_they_are_told_to_have(name):
    """The mean of 1 / density is the area they cover, and that of place / density its middle: near, far and aside. 1.5 %
    of the area, and of its radius, for 2^18 samples."""
    init("auto")
    import mitsuba as mi

    from render.kernel.luminaire import light_at, upload_lights
    from render.kernel.mouth_samples import on_spot, spot_density

    lit = light_at(upload_lights([light(fixture(stock(name)))], [0]), mi.UInt32(0))
    assert float(lit.mouth.hot_share[0]) > 0
    side = 512
    u, v = ((number.ravel() + 0.5) / side for number in np.meshgrid(np.arange(side), np.arange(side)))
    for place in ((0.0, 0.0, 5.0), (0.3, -0.2, 0.6), (-2.0, 1.5, 2.0)):
        local = mi.Vector3f(*place)
        x, y = on_spot(lit, local, mi.Float(u), mi.Float(v))
        weight = 1 / spot_density(lit, local, x, y).numpy().astype(float)
        assert np.isfinite(weight).all()
        depth = float((lit.mouth.hot_depth + lit.source_depth)[0])
        shrink = place[2] / (place[2] + depth)
        radius = shrink * float(lit.mouth.radius[0])
        area = np.pi * radius**2
        assert weight.mean() == pytest.approx(area, rel=0.015)
        for found, at in ((x, place[0]), (y, place[1])):
            middle = float((found.numpy() * weight).mean()) / area
            assert abs(middle - at * (1 - shrink)) < 0.015 * radius + 0.015 * abs(at * (1 - shrink))
