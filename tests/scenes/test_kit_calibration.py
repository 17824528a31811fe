"""Readings of a kit: closed forms, known truths recovered, and the rule where readings leave a choice."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scenes import build_stage
from scenes.check import check_data
from scenes.field import axial_illuminance_per_lumen
from scenes.kit import calibrate, check_kit, load_kit
from scenes.kit.calibrate import solve

from .examples import changed

HEADS = """format = 1
[head.one]
energy_ws = 500
[head.two]
energy_ws = 300
[head.lamp]
source = "tungsten"
lumens = 10000
[modifier.box]
kind = "softbox"
size_m = [0.6, 0.9]
depth_m = 0.4
[modifier.dish]
kind = "dish"
diameter_m = 0.5
depth_m = 0.15
deflector_diameter_m = 0.12
"""


def reading(head: str, f_number: float, distance_m: float, *modifiers: str, **more: object) -> str:
    keys = {"head": head, "f_number": f_number, "distance_m": distance_m, "modifiers": list(modifiers), **more}
    lines = (f"{k} = {v!r}".replace("'", '"') for k, v in keys.items())
    return "[[reading]]\n" + "\n".join(lines) + "\n"


def kit_file(folder: Path, *readings: str) -> Path:
    path = folder / "kit.toml"
    path.write_text(HEADS + "".join(readings), "utf-8")
    return path


def test_a_bare_flash_against_the_meter_equation(tmp_path: Path) -> None:
    # ISO 2720: H = C N^2 / S, 160 lx s for f/8 at ISO 100 and C = 250; a diffuse ball sends I = Q / 4 pi
    found = calibrate(load_kit(kit_file(tmp_path, reading("one", 8, 3), reading("two", 8, 2, iso=200, power="1/2"))))
    assert 500 * 40 * 2 ** found.heads["one"].stops == pytest.approx(160 * 3**2 * 4 * math.pi, rel=1e-9)
    assert 300 * 40 / 2 * 2 ** found.heads["two"].stops == pytest.approx(80 * 2**2 * 4 * math.pi, rel=1e-9)
    assert found.rms_stops < 1e-9
    assert all(fitted.told_apart for fitted in found.heads.values())


def test_continuous_light_counts_the_shutter(tmp_path: Path) -> None:
    found = calibrate(load_kit(kit_file(tmp_path, reading("lamp", 4, 2, shutter_s="1/60"))))
    assert 10000 * 2 ** found.heads["lamp"].stops == pytest.approx(40 * 60 * 2**2 * 4 * math.pi, rel=1e-9)


def test_a_modifier_takes_what_makes_readings_of_one_head_differ(tmp_path: Path) -> None:
    bare = calibrate(load_kit(kit_file(tmp_path, reading("one", 8, 3)))).heads["one"].stops
    both = kit_file(tmp_path, reading("one", 8, 3), reading("one", 8, 1.5, "box"))
    found = calibrate(load_kit(both))
    assert found.heads["one"].stops == pytest.approx(bare, abs=1e-9)
    assert found.modifiers["box"].stops == pytest.approx(found.readings[1].stops - bare, abs=1e-9)
    assert found.modifiers["box"].told_apart
    assert found.rms_stops < 1e-9


def test_the_head_takes_all_where_nothing_tells_them_apart(tmp_path: Path) -> None:
    found = calibrate(load_kit(kit_file(tmp_path, reading("one", 8, 1.5, "box"), reading("two", 5.6, 1.5, "box"))))
    for index, name in enumerate(("one", "two")):
        assert found.heads[name].stops == pytest.approx(found.readings[index].stops, abs=1e-9)
        assert not found.heads[name].told_apart
    assert found.modifiers["box"].stops == 0
    assert not found.modifiers["box"].told_apart


def test_contradicting_readings_are_told(tmp_path: Path) -> None:
    path = kit_file(tmp_path, reading("one", 8, 2), reading("one", 16, 2), reading("one", 8, 2))
    kit, findings = check_kit(path)
    assert kit is not None
    # readings two stops apart: the fit takes their mean, 2/3 stop above the two
    assert [r.residual_stops for r in calibrate(kit).readings] == pytest.approx([-2 / 3, 4 / 3, -2 / 3], abs=1e-9)
    assert calibrate(kit).rms_stops == pytest.approx(math.sqrt((4 / 9 + 16 / 9 + 4 / 9) / 3), abs=1e-9)
    assert [f.severity for f in findings] == ["warning"] * 3
    assert "reading 2 (one) lies 1.3 stops over" in findings[1].message
    assert [f.line for f in findings] == [18, 23, 28]
    agreeing = kit_file(tmp_path, reading("one", 8, 2), reading("one", 9, 2))
    assert check_kit(agreeing)[1] == []


def test_an_impossible_efficacy_is_told(tmp_path: Path) -> None:
    (finding,) = check_kit(kit_file(tmp_path, reading("one", 22, 3)))[1]
    assert finding.severity == "warning"
    assert "lm s/J" in finding.message


def test_readings_made_from_a_known_truth_give_it_back(tmp_path: Path) -> None:
    """Heads and modifiers with known errors; f-numbers written to three digits, so 0.01 stop is what may be lost."""
    truth = {"one": -0.4, "two": 0.25, "box": -0.7, "dish": 0.3}
    chains = [
        ("one", ()), ("two", ()), ("one", ("box",)), ("two", ("box",)), ("one", ("dish",)), ("two", ("dish", "sock"))
    ]  # fmt: skip
    blank = load_kit(kit_file(tmp_path, *(reading(h, 8, 1.6, *m) for h, m in chains)))
    made = []
    for (head, modifiers), r in zip(chains, calibrate(blank).readings, strict=True):
        lux = r.predicted_lux * 2 ** sum(truth.get(name, 0.0) for name in (head, *modifiers))
        made.append(reading(head, float(f"{math.sqrt(lux * 100 / 250):.4g}"), 1.6, *modifiers))
    found = calibrate(load_kit(kit_file(tmp_path, *made)))
    fitted = {**found.heads, **found.modifiers}
    for name, stops in truth.items():
        assert fitted[name].stops == pytest.approx(stops, abs=0.01), name
    assert fitted["sock"].stops == pytest.approx(0, abs=0.01)
    assert found.rms_stops < 0.01


def test_a_calibrated_light_reads_what_the_meter_read(tmp_path: Path) -> None:
    kit_file(tmp_path, reading("one", 11, 2), reading("one", 8, 1.5, "box"))
    tables = changed(
        kit="kit.toml", light__key__shape=None, light__key__size_m=None, light__key__energy_ws=None,
        light__key__power=None, light__key__head="one", light__key__modifiers=["box"],
    )  # fmt: skip
    scene, found = check_data(tables, tmp_path)
    assert scene is not None, found
    light = build_stage(scene).lights[0]
    assert light.fixture is not None
    assert light.head is not None
    assert light.head.calibrated
    exposure = light.output.lumens * axial_illuminance_per_lumen(light.fixture, 1.5)
    assert exposure == pytest.approx(160, rel=1e-6)  # f/8 at ISO 100 is 160 lx s, ISO 2720 with C = 250


matrices = st.integers(1, 3).flatmap(
    lambda heads: st.tuples(
        st.just(heads),
        st.lists(
            st.tuples(st.integers(0, heads - 1), st.lists(st.integers(0, 1), min_size=3, max_size=3)),
            min_size=heads, max_size=8,
        ),
        st.integers(0, 2**32 - 1),
    )
)  # fmt: skip


@settings(deadline=None)
@given(matrices)
def test_the_fit_is_least_squares_and_asks_least_of_the_modifiers(
    case: tuple[int, list[tuple[int, list[int]]], int],
) -> None:
    heads, rows, seed = case
    rows = [*rows, *((h, [0, 0, 0]) for h in range(heads) if h not in {r[0] for r in rows})]
    matrix = np.array([[float(h == k) for k in range(heads)] + [float(m) for m in ms] for h, ms in rows])
    rng = np.random.default_rng(seed)
    stops = rng.normal(size=len(rows))
    parts, fixed = solve(matrix, stops, heads)
    best = np.linalg.norm(stops - matrix @ parts)
    assert np.abs(matrix.T @ (stops - matrix @ parts)).max() < 1e-8  # the normal equations
    _, values, vectors = np.linalg.svd(matrix)
    free = vectors[(np.concatenate([values, np.zeros(len(vectors) - len(values))]) < 1e-9)]
    for _ in range(5 if len(free) else 0):
        other = parts + rng.normal(size=len(free)) @ free
        assert np.linalg.norm(stops - matrix @ other) == pytest.approx(best, abs=1e-9)
        assert np.linalg.norm(other[heads:]) >= np.linalg.norm(parts[heads:]) - 1e-9
    moves = np.abs(free).max(axis=0) if len(free) else np.zeros(len(parts))
    assert np.array_equal(fixed, moves < 1e-6)
