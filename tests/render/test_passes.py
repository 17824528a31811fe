"""How many paths a light gets: the usual ones, more where it is noisy, exactly those asked for."""

from __future__ import annotations

import numpy as np
import pytest

from render.passes import QUALITIES, USUAL_NOISE_STOPS, PassState, PassSums, SamplePlan, trace_light
from render.trace import sample_plan

pytestmark = pytest.mark.quick

SIDE, BANDS = 64, 2


def traced(plan: SamplePlan, spread: float) -> tuple[int, float, list[tuple[int, int]]]:
    """Samples taken of a light whose samples differ by `spread` times their mean; its noise at last; what was told."""
    rng = np.random.default_rng(5)
    told: list[tuple[int, int]] = []
    state = PassState()

    def run(first: int, end: int, rows: tuple[int, int]) -> PassSums:
        each = rng.gamma(1 / spread**2, spread**2, (end - first, rows[1] - rows[0], SIDE)).astype(np.float32)
        radiance = np.repeat(each.sum(axis=0)[None], BANDS, axis=0)
        odd = each[[i for i in range(end - first) if (first + i) % 2]].sum(axis=0)
        return PassSums(radiance, radiance, odd)

    face = np.ones((SIDE, SIDE), bool)
    picture = trace_light(run, plan, face, state, lambda done, planned, _: told.append((done, planned)), lambda: None)
    assert picture.radiance.mean() == pytest.approx(1, abs=0.2 * max(spread, 1) / np.sqrt(picture.samples))
    return picture.samples, float(picture.noise_stops or 0), told


def test_only_noisy_lights_take_more_paths_than_usual() -> None:
    for quality in ("draft", "preview"):
        plan = QUALITIES[quality]
        samples, noise, told = traced(plan, 0.5)
        assert samples == plan.least
        assert noise < USUAL_NOISE_STOPS
        assert told == [(plan.least, plan.least)]
        samples, noise, told = traced(plan, 20.0)
        assert samples == plan.samples == 4 * plan.least
        assert told[0] == (plan.least, plan.least)
        assert told[-1] == (plan.samples, plan.samples)


def test_a_count_asked_for_is_kept_and_a_target_met() -> None:
    assert traced(sample_plan("draft", 6, None), 20.0)[0] == 6
    samples, noise, _ = traced(sample_plan("preview", None, 0.1), 4.0)
    assert noise <= 0.1
    assert 8 <= samples < 2**20
