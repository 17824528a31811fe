"""The light table: every number is the scene's or the report's, and the CSV reads back."""

from __future__ import annotations

import csv
import io
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from render import Cache, Report, TraceSettings, preview
from render.light_table import LightRow, light_csv, light_rows
from scenes import build_stage, load_scene
from scenes.aiming import place_around
from scenes.meters import exact_f_number
from scenes.stage import Stage

from .cli_scene import write_scene

EIGHT: dict[str, Any] = {
    "light__day": {"shape": "ambient", "source": "daylight", "cct_k": 6000, "lux": 40},
    "light__rim-left_2": {
        "role": "rim", "head": "flash-400", "modifiers": ["standard-reflector", "grid-20"], "azimuth_deg": 215,
        "elevation_deg": 25, "distance_m": 1.5, "power": "1/16", "gels": ["teal", "half-cto"],
    },
    "light__background": {
        "head": "flash-400", "modifiers": ["wide-reflector"], "at_m": [0.9, 0.5, -0.7], "aim": "background",
        "power": "1/8",
    },
    "light__hair": {
        "head": "flash-400", "modifiers": ["snoot"], "at_m": [0.4, 2.7, -0.9], "aim": "crown", "power": "1/16",
    },
    "light__lamp": {"shape": "sphere", "size_m": 0.1, "at_m": [1.2, 1.2, 0.4], "source": "tungsten", "lumens": 900, "on": False},
    "light__floor": {
        "role": "other", "head": "flash-400", "modifiers": ["standard-reflector"], "at_m": [-1.5, 1.0, 1.0],
        "aim": [-1.0, 0.0, -0.2], "power": "1/32",
    },
}  # fmt: skip
OUTSIDE: dict[str, Any] = {
    "room": None, "ground": {"finish": "concrete"}, "light__fill": None,
    "light__sun": {"shape": "sun", "azimuth_deg": 150, "elevation_deg": 35, "lux": 60000},
    "light__sky": {"shape": "sky", "sky": "overcast", "lux": 5000},
}  # fmt: skip


class Table:
    def __init__(self, folder: Path, changes: dict[str, Any]) -> None:
        path = write_scene(folder / "scene.toml", camera__long_side_px=24, **changes)
        self.report: Report = preview(path, folder, TraceSettings("draft", 4), cache=Cache(folder / "cache"))
        self.stage: Stage = build_stage(load_scene(path))
        self.list = light_rows(self.stage, self.report)
        self.rows: dict[str, LightRow] = {row.name: row for row in self.list}


@pytest.fixture(scope="module")
def table(tmp_path_factory) -> Table:
    return Table(tmp_path_factory.mktemp("eight"), EIGHT)


@pytest.fixture(scope="module")
def outside(tmp_path_factory) -> Table:
    return Table(tmp_path_factory.mktemp("outside"), OUTSIDE)


def test_rows_come_in_the_order_of_setting_up(table):
    assert [row.name for row in table.list] == [
        "day", "key", "fill", "background", "hair", "rim-left_2", "lamp", "floor",
    ]  # fmt: skip
    assert [row.number for row in table.list] == list(range(1, 9))


def test_daylight_comes_first(outside):
    assert [row.name for row in outside.list] == ["sky", "sun", "key"]


def test_a_light_placed_by_angles_comes_back_so(table):
    rim = table.rows["rim-left_2"]
    assert (rim.azimuth_deg % 360, rim.elevation_deg) == (pytest.approx(215), pytest.approx(25))
    assert (rim.distance_to_face_m, rim.distance_to_aim_m) == (pytest.approx(1.5), pytest.approx(1.5))
    assert rim.tilt_down_deg == pytest.approx(25)
    assert rim.aim == "face"
    key = table.rows["key"]
    assert (key.azimuth_deg, key.height_m, key.distance_to_face_m) == tuple(map(pytest.approx, (40, 2.1, 1.3)))


def test_angles_and_distance_give_the_place_back(table):
    for row in table.list:
        if row.height_m is None:
            continue
        place = place_around(table.stage.landmarks["face"], row.azimuth_deg, row.elevation_deg, row.distance_to_face_m)
        assert place == pytest.approx([row.x_to_camera_right_m, row.height_m, row.z_toward_camera_m])


def test_an_aim_that_is_no_landmark_is_the_place_the_axis_meets(table):
    floor = table.rows["floor"]
    assert floor.aim == "[-1.00, 0.00, -0.20]"
    assert floor.distance_to_aim_m == pytest.approx(math.dist((-1.5, 1.0, 1.0), (-1.0, 0.0, -0.2)), abs=5e-3)
    assert table.rows["background"].aim == "background"
    assert table.rows["background"].tilt_down_deg < 0
    assert table.rows["hair"].aim == "crown"


def test_the_head_is_told_as_in_the_report(table):
    told = {light.name: light for light in table.report.lights}
    for row in table.list:
        light = told[row.name]
        assert (row.role, row.on, row.head, row.power_setting) == (
            light.role,
            light.on,
            light.head,
            light.power_setting,
        )
        needed = light.power_for_aperture
        assert row.power_needed == (needed.setting if needed and row.meter_point.startswith("at the face") else None)
        assert row.distance_to_face_m == light.distance_to_face_m
    assert table.rows["rim-left_2"].modifiers == "standard-reflector + grid-20"
    assert table.rows["rim-left_2"].gels == "teal + half-cto"
    assert table.rows["key"].power_setting == "400 Ws at 1/32 (-5.0)"


def _told(table: Table, light: str, probe: str, aim: str):
    return next(r for r in table.report.readings if (r.light, r.probe, r.aim) == (light, probe, aim))


@pytest.mark.parametrize(
    ("light", "probe", "aim", "words"),
    [
        ("day", "face", "dome", "at the face, dome toward the camera"),
        ("key", "face", "flat:key", "at the face, flat toward the light"),
        ("background", "background_centre", "flat:surface", "on the background, clear of the sitter, flat on the surface"),
    ],
)
def test_readings_are_the_reports(table, light, probe, aim, words):
    row, reading = table.rows[light], _told(table, light, probe, aim)
    assert reading.stops is not None
    assert (row.meter_point, row.reading_f_number, row.reading_stops) == (words, reading.f_number, reading.stops)
    assert 2 * math.log2(row.reading_f_number / exact_f_number(5.6)) == pytest.approx(row.reading_stops)


@pytest.mark.parametrize("name", ["hair", "rim-left_2"])
def test_a_light_from_behind_is_read_where_it_arrives(table, name):
    """The lit meter point on the sitter nearest to the light; -6 stops is the report's own bound of "lit"."""
    centre = next(light.fixture.centre_m for light in table.stage.lights if light.name == name)
    nearest = min(
        (float(np.linalg.norm(probe.position_m - centre)), probe.name)
        for probe in table.stage.probes
        if probe.name
        in ("face", "nose", "forehead", "chin", "cheek_L", "cheek_R", "crown", "chest", "hand_L", "hand_R")
        and (_told(table, name, probe.name, f"flat:{name}").stops or -99) >= -6
    )[1]
    row, reading = table.rows[name], _told(table, name, nearest, f"flat:{name}")
    assert (row.reading_f_number, row.reading_stops) == (reading.f_number, reading.stops)
    assert nearest.split("_")[0] in row.meter_point
    assert row.meter_point.endswith("flat toward the light")


def test_a_light_that_is_off_reads_nothing(table):
    lamp = table.rows["lamp"]
    assert (lamp.on, lamp.reading_f_number, lamp.reading_stops, lamp.reading) == (False, None, None, "no light")


def test_far_light_has_no_place(table, outside):
    for row in (table.rows["day"], outside.rows["sky"]):
        assert (row.height_m, row.x_to_camera_right_m, row.distance_to_aim_m, row.distance_to_face_m) == (None,) * 4
        assert (row.azimuth_deg, row.elevation_deg, row.tilt_down_deg, row.aim) == (None,) * 4
        assert row.reading_stops is not None
    sun = outside.rows["sun"]
    assert (sun.azimuth_deg, sun.elevation_deg) == (pytest.approx(150), pytest.approx(35))
    assert sun.height_m is None


def test_the_csv_reads_back(table, outside):
    for one in (table, outside):
        text = light_csv(one.list)
        assert text.count("\r\n") == len(one.list) + 1  # RFC 4180 2.1: lines end with CRLF
        read = list(csv.DictReader(io.StringIO(text, newline="")))
        assert [line["name"] for line in read] == [row.name for row in one.list]
        assert "nan" not in text.lower()
        assert "None" not in text
        for line, row in zip(read, one.list, strict=True):
            assert set(line) == set(LightRow.model_fields)
            for column in ("height_m", "azimuth_deg", "distance_to_face_m", "reading_stops"):
                value = getattr(row, column)
                assert (line[column] == "") == (value is None)
                if value is not None:
                    assert float(line[column]) == pytest.approx(value, abs=0.051)
            assert line["on"] == ("yes" if row.on else "no")


def test_what_a_spreadsheet_would_run_is_text(table):
    tricky = table.rows["key"].model_copy(update={"gels": '=HYPERLINK("a", "b")', "name": "-1_key", "head": "+x"})
    line = next(csv.DictReader(io.StringIO(light_csv([tricky]), newline="")))
    assert (line["gels"], line["name"], line["head"]) == ('\'=HYPERLINK("a", "b")', "'-1_key", "'+x")


def test_a_report_of_another_set_is_refused(table, outside):
    with pytest.raises(ValueError, match="not of this stage"):
        light_rows(table.stage, outside.report)
