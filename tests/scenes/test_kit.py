"""Kit files and the lights of a scene that are made of them."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scenes import SceneError, build_stage, dump_scene, load_scene
from scenes.check import check_data
from scenes.exposure import exposure_from_f_number
from scenes.field import axial_illuminance_per_lumen
from scenes.findings import Problem, dotted
from scenes.kit import Head, Kit, KitError, check_kit, load_kit, nearest_setting, stock_kit
from scenes.kit.settings import format_step
from scenes.model import Scene
from scenes.stage import Light

from .examples import changed

OWN = """format = 1
title = "Corner studio"

[head.left]
energy_ws = 500
efficacy_lm_s_per_j = 30
lowest_power = "1/32"
step_stops = "1/3"
cct_k = 5600
cct_drift_k = -60
recycle_s = 1.5
sync_s = "1/160"

[head.lamp]
source = "tungsten"
lumens = 9000
cct_k = 3200

[modifier.grid-20]
kind = "grid"
degrees = 25
"""


def light_tables(**keys: Any) -> dict[str, Any]:
    """The plain scene with its key light made of kit."""
    plain: dict[str, Any] = {"light__key__shape": None, "light__key__size_m": None, "light__key__energy_ws": None}
    return changed(**{**plain, "light__key__power": None, **keys})


def checked(folder: Path = Path("."), **keys: Any) -> tuple[Scene | None, list[Problem]]:
    return check_data(light_tables(**{f"light__key__{k}" if k != "kit" else k: v for k, v in keys.items()}), folder)


def key_light(folder: Path = Path("."), **keys: Any) -> Light:
    scene, found = checked(folder, **keys)
    assert scene is not None, found
    return build_stage(scene).lights[0]


def said(found: list[Problem]) -> list[tuple[str, str]]:
    return [(dotted(p.path), p.message) for p in found]


@pytest.fixture
def own(tmp_path: Path) -> Path:
    path = tmp_path / "my-kit.toml"
    path.write_text(OWN, "utf-8")
    return path


@pytest.mark.parametrize("name", list(stock_kit().heads))
def test_every_stock_head_lights_a_scene(name: str) -> None:
    light = key_light(head=name)
    head = stock_kit().heads[name]
    assert light.output.lumens == pytest.approx(head.full_output())
    assert light.flash is (head.energy_ws is not None)
    assert light.fixture is not None
    assert light.fixture.shape == "sphere"
    assert light.fixture.size_m[0] == head.bulb_diameter_m
    assert light.head is not None
    assert light.head.name == name


@pytest.mark.parametrize("name", list(stock_kit().heads))
def test_every_stock_head_can_be_set_at_both_ends(name: str) -> None:
    lowest = stock_kit().heads[name].lowest() or 2.0**-6
    assert checked(head=name, power=lowest)[1] == []
    assert checked(head=name, power=1)[1] == []


def test_head_gives_source_colour_and_strength(own: Path) -> None:
    light = key_light(own.parent, kit=own.name, head="left", power="1/8", modifiers=["standard-reflector"])
    assert light.output.lumens == pytest.approx(500 * 30 / 8)
    assert light.source.name == "flash 5420 K"  # 5600 K, and 60 K less for each of three stops down
    assert light.power_setting == "500 Ws at 1/8 (-3.0)"
    assert light.modifiers == ("standard-reflector",)
    assert light.head is not None
    assert (light.head.lowest, light.head.step_stops) == (1 / 32, pytest.approx(1 / 3))
    assert (light.head.recycle_s, light.head.sync_s) == (1.5, pytest.approx(1 / 160))
    assert not light.head.calibrated


def test_scene_may_change_source_and_colour_but_not_the_kind(own: Path) -> None:
    assert key_light(head="flash-400", cct_k=6000).source.name == "flash 6000 K"
    lamp = key_light(own.parent, kit=own.name, head="lamp", source="A")
    assert (lamp.source.name, lamp.flash) == ("A", False)
    assert [w for w, _ in said(checked(head="flash-400", source="tungsten")[1])] == ["light.key.source"]
    assert [w for w, _ in said(checked(head="halogen-650", source="flash")[1])] == ["light.key.source"]


def test_own_names_take_the_place_of_stock_names(own: Path) -> None:
    kit = load_kit(own)
    assert kit.modifiers["grid-20"] != stock_kit().modifiers["grid-20"]
    assert kit.own_heads == {"left", "lamp"}
    assert kit.own_modifiers == {"grid-20"}
    assert set(stock_kit().heads) < set(kit.heads)
    cells = [
        key_light(
            own.parent, head="flash-400", modifiers=["standard-reflector", "grid-20"], **more
        ).fixture.optics.cells
        for more in ({"kit": own.name}, {})
    ]
    assert cells[0].ratio < cells[1].ratio


def test_a_described_modifier_equals_the_named_one() -> None:
    table = stock_kit().modifiers["octabox-90"].model_dump(exclude_unset=True)
    named, described = (key_light(head="flash-400", modifiers=[m]) for m in ("octabox-90", table))
    assert named.fixture is not None
    assert described.fixture is not None
    assert described.modifiers == ("softbox",)
    assert named.fixture.optics.efficiency == described.fixture.optics.efficiency
    assert np.array_equal(named.fixture.optics.glow, described.fixture.optics.glow)


def test_modifiers_without_a_head_take_the_scenes_own_strength() -> None:
    by_energy = key_light(modifiers=["octabox-90"], energy_ws=400, power="1/4", efficacy_lm_s_per_j=35)
    assert by_energy.output.lumens == pytest.approx(400 * 35 / 4)
    assert by_energy.flash is True
    assert (by_energy.head.name, by_energy.head.energy_ws, by_energy.head.power) == ("", 400, 0.25)
    by_meter = key_light(modifiers=["octabox-90"], meters={"f_number": 8, "distance_m": 1.5})
    assert by_meter.fixture is not None
    lit = by_meter.output.lumens * axial_illuminance_per_lumen(by_meter.fixture, 1.5)
    assert lit == pytest.approx(exposure_from_f_number(8), rel=1e-12)


@pytest.mark.parametrize(
    ("setting", "problem"),
    [
        ({"power": "1/32"}, None),
        ({"power_stops": -5}, None),
        ({"power_stops": -4.7}, None),  # 4 2/3, as a photographer writes it
        ({"power_stops": -1.3}, None),
        (
            {"power_stops": -4.5},
            ("warning", "Nearest: -4.67 stops, 1/32 + 0.3 (-4.7).|Nearest: -4.33 stops, 1/32 + 0.7 (-4.3)."),
        ),
        ({"power": 0.3}, ("warning", "Nearest: -1.67 stops, 1/4 + 0.3 (-1.7).")),
        ({"power": "1/64"}, ("error", "Allowed: 1/32 (-5.0) to full in steps of 1/3 stop.")),
        ({"power_stops": -5.1}, ("error", "Allowed: 1/32 (-5.0) to full in steps of 1/3 stop.")),
    ],
)
def test_power_settings_of_a_head(own: Path, setting: dict[str, Any], problem: tuple[str, str] | None) -> None:
    scene, found = checked(own.parent, kit=own.name, head="left", **setting)
    if problem is None:
        assert found == []
        return
    (only,) = found
    assert only.path == ("light", "key", next(iter(setting)))
    assert only.severity == problem[0]
    assert only.allowed in problem[1].split("|")
    assert (scene is None) == (only.severity == "error")


@given(st.floats(2.0**-12, 1.0), st.sampled_from([0.1, 1 / 3, 0.5, 1.0, None]), st.floats(-9.0, 0.0))
def test_nearest_setting_can_be_set_and_none_is_nearer(power: float, step: float | None, lowest: float) -> None:
    head = Head(energy_ws=100, step_stops=step, lowest_stops=lowest)
    nearest = math.log2(nearest_setting(head, power))
    wanted = math.log2(power)
    assert lowest - 1e-9 <= nearest <= 0
    steps = [lowest, *(-k * step for k in range(200) if -k * step >= lowest)] if step else [max(wanted, lowest)]
    assert abs(nearest - wanted) <= min(abs(s - wanted) for s in steps) + 1e-9
    assert min(abs(s - nearest) for s in steps) < 1e-9


def test_steps_are_said_as_fractions() -> None:
    assert [format_step(s) for s in (0.1, 1 / 3, 0.5, 1.0, 0.37)] == ["1/10", "1/3", "1/2", "1", "0.37"]


def test_a_scene_of_kit_goes_round(tmp_path: Path, own: Path) -> None:
    grid = {"kind": "grid", "degrees": 30.0}
    scene, found = checked(tmp_path, kit=own.name, head="left", modifiers=["standard-reflector", grid], power="1/4")
    assert scene is not None, found
    again = tmp_path / "again.toml"
    again.write_text(dump_scene(scene), "utf-8")
    assert load_scene(again) == scene


def test_errors_of_a_kit_come_with_the_scene_each_with_its_line(tmp_path: Path) -> None:
    (tmp_path / "my-kit.toml").write_text(OWN.replace("9000", "-9000").replace("degrees = 25", "degrees = 0"), "utf-8")
    scene, found = checked(tmp_path, kit="my-kit.toml", head="left")
    assert scene is None
    assert [p.path for p in found] == [("kit",), ("kit",)]
    assert [f":{line}: " in p.message for line, p in zip((16, 21), found, strict=True)] == [True, True]


def test_the_empty_path_is_the_stock_kit_and_a_bad_one_an_error(tmp_path: Path) -> None:
    assert load_kit() is stock_kit()
    with pytest.raises(KitError, match="no such file"):
        load_kit(tmp_path / "none.toml")
    assert issubclass(KitError, SceneError)


def test_files_of_own_modifiers_lie_beside_the_kit(tmp_path: Path) -> None:
    studio = tmp_path / "studio"
    studio.mkdir()
    rows = "\n".join(["0 45 90", "0", "1000 700 0"])
    text = f"IESNA:LM-63-2002\n[TEST] none\n[MANUFAC] none\nTILT=NONE\n1 1000 1 3 1 1 2 -0.2 -0.2 0\n1 1 10\n{rows}\n"
    (studio / "lamp.ies").write_text(text, "utf-8")
    (studio / "kit.toml").write_text('format = 1\n[modifier.lamp]\nkind = "photometric"\nfile = "lamp.ies"\n', "utf-8")
    light = key_light(tmp_path, kit="studio/kit.toml", modifiers=["lamp"], source="A", lumens=500)
    assert light.fixture is not None
    assert light.fixture.optics.angular is not None


def test_one_kit_is_read_once_and_anew_when_it_changes(own: Path) -> None:
    first = load_kit(own)
    assert load_kit(own) is first
    own.write_text(OWN.replace("500", "600"), "utf-8")
    assert load_kit(own).heads["left"].energy_ws == 600


def test_a_measured_head_reads_its_file_beside_the_kit(tmp_path: Path) -> None:
    rows = "".join(f"{w},{1 + (w - 380) / 400}\n" for w in range(380, 781, 5))
    (tmp_path / "tube.csv").write_text(rows, "utf-8")
    kit = tmp_path / "kit.toml"
    kit.write_text('format = 1\n[head.mine]\nsource = "tube.csv"\nenergy_ws = 100\n', "utf-8")
    loaded, findings = check_kit(kit)
    assert isinstance(loaded, Kit), findings
    light = key_light(tmp_path, kit="kit.toml", head="mine")
    assert (light.flash, light.source.name) == (True, "tube")
    (wrong,) = checked(tmp_path, kit="kit.toml", head="mine", cct_k=5000)[1]
    assert wrong.path == ("light", "key", "cct_k")


CHAINS = (
    [], ["bare-bulb"], ["standard-reflector"], ["standard-reflector", "grid-20"], ["snoot"], ["dish-white"],
    ["octabox-90"], ["strip-30x120"], ["umbrella-white-100"], [{"kind": "panel", "size_m": [0.3, 0.4]}],
    [{"kind": "reflector", "diameter_m": 0.2, "depth_m": 0.12}, "grid-30"],
)  # fmt: skip


@st.composite
def kit_lights(draw: st.DrawFn) -> dict[str, Any]:
    """Lights made of kit, set to a power their head can take."""
    name = draw(st.sampled_from(list(stock_kit().heads)))
    head = stock_kit().heads[name]
    power = nearest_setting(head, 2.0 ** draw(st.floats(-9, 0)))
    keys: dict[str, Any] = {"head": name, "modifiers": draw(st.sampled_from(CHAINS)), "power": power}
    if head.cct_k is not None and draw(st.booleans()):
        keys["cct_k"] = 1.05 * head.cct_k
    return keys


@pytest.mark.slow
@settings(max_examples=30, deadline=None)
@given(kit_lights())
def test_any_light_of_kit_is_without_findings_goes_round_and_is_finite(keys: dict[str, Any]) -> None:
    scene, found = checked(**keys)
    assert found == []
    assert scene is not None
    again, _ = check_data(tomllib.loads(dump_scene(scene)), Path("."))
    assert again == scene
    (light,) = build_stage(scene).lights
    assert light.fixture is not None
    assert light.output.lumens is not None
    assert light.output.lumens == pytest.approx(stock_kit().heads[keys["head"]].full_output() * keys["power"])
    assert 0 < axial_illuminance_per_lumen(light.fixture, 1.5) < 10
