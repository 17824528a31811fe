"""What `keyfall kit` prints: the stock kit, an own kit with its fit, and the errors of a broken one."""

from __future__ import annotations

import io
import json
import math
from pathlib import Path

import pytest
from rich.console import Console

from render.cli_kit import show_kit
from scenes.kit import KitError, calibrate, load_kit, stock_kit

OWN = """format = 1
title = "Corner studio"
[head.left]
energy_ws = 500
lowest_power = "1/32"
step_stops = "1/3"
sync_s = "1/160"
[modifier.big]
kind = "softbox"
size_m = [0.8, 0.8]
depth_m = 0.4
[[reading]]
head = "left"
f_number = 11
distance_m = 2
[[reading]]
head = "left"
modifiers = ["big"]
f_number = 11
distance_m = 1.5
"""


def shown(path: Path | None) -> tuple[str, str]:
    out, talk = io.StringIO(), io.StringIO()
    show_kit(path, False, Console(file=out, width=160), Console(file=talk, width=160))
    return out.getvalue(), talk.getvalue()


@pytest.fixture
def own(tmp_path: Path) -> Path:
    path = tmp_path / "kit.toml"
    path.write_text(OWN, "utf-8")
    return path


def test_the_stock_kit_is_listed_by_name() -> None:
    text, talk = shown(None)
    assert talk == ""
    for name in (*stock_kit().heads, *stock_kit().modifiers):
        assert name in text
    assert "Residuals" not in text


def test_an_own_kit_comes_first_with_what_its_readings_say(own: Path) -> None:
    text, talk = shown(own)
    assert talk == ""
    assert text.index("Corner studio: heads") < text.index("Corner studio: modifiers") < text.index("Stock: heads")
    assert "left + big" in text
    fit = calibrate(load_kit(own))
    row = next(line for line in text.splitlines() if line.startswith("left"))
    assert f"{40 * 2 ** fit.heads['left'].stops:.3g}" in row
    assert "1/32" in row
    assert "1/160 s" in row


def test_json_has_every_number(own: Path, capsys: pytest.CaptureFixture[str]) -> None:
    show_kit(own, True, Console(file=io.StringIO()), Console(file=io.StringIO()))
    data = json.loads(capsys.readouterr().out)
    assert data["title"] == "Corner studio"
    left = data["heads"]["left"]
    assert left["own"]
    assert not data["heads"]["flash-400"]["own"]
    # bare: f/11 is exactly 2^3.5, so H = 250 * 2^7 / 100 = 320 lx s at 2 m, and Q = 4 pi d^2 H of a diffuse ball
    assert left["output"] == pytest.approx(4 * math.pi * 4 * 320, rel=1e-9)
    assert left["efficacy_lm_s_per_j"] == pytest.approx(left["output"] / 500)
    assert data["modifiers"]["big"]["told_apart"]
    assert data["modifiers"]["big"]["kind"] == "softbox"
    assert [r["head"] for r in data["readings"]] == ["left", "left"]
    assert data["rms_residual_stops"] < 1e-9


def test_warnings_are_told_beside_the_tables(own: Path) -> None:
    own.write_text(OWN + '[[reading]]\nhead = "left"\nf_number = 32\ndistance_m = 2\n', "utf-8")
    text, talk = shown(own)
    assert "Residuals" in text
    assert f"{own}:12: warning: reading[1]" in talk


def test_a_broken_kit_is_an_error_with_all_findings(own: Path) -> None:
    own.write_text(OWN.replace("500", "-500").replace("0.4", "0"), "utf-8")
    with pytest.raises(KitError) as caught:
        shown(own)
    assert [f.line for f in caught.value.findings] == [4, 11]
