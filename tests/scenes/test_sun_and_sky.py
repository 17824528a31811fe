"""Sun, sky and tubes in a scene file: where they stand, how strong they are, what they are made of."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from scenes import Scene, build_stage, dump_scene
from scenes.bodies import exit_outline, in_fixture
from scenes.check import check_data
from scenes.far import SUN_SPREAD_DEG
from scenes.field import illuminance
from scenes.findings import Problem, dotted
from scenes.model import Room
from scenes.stage import Distant, Light
from scenes.sunlit import shut_out

from .examples import changed

CLOCK = {"time": "2025-06-20T12:02:00Z", "latitude_deg": 50.0, "longitude_deg": 0.0, "front_bearing_deg": 180.0}


def checked(**keys: Any) -> tuple[Scene | None, list[Problem]]:
    return check_data(changed(light__key=None, light__far=keys), Path("."))


def far(**keys: Any) -> Light:
    scene, found = checked(**keys)
    assert scene is not None, found
    return build_stage(scene).lights[0]


def test_sun_by_angles_stands_where_a_light_would() -> None:
    sun = far(shape="sun", lux=60000, azimuth_deg=30, elevation_deg=40)
    assert sun.fixture is None
    assert sun.distant is not None
    level = math.cos(math.radians(40))
    expected = [level * math.sin(math.radians(30)), math.sin(math.radians(40)), level * math.cos(math.radians(30))]
    assert sun.distant.toward == pytest.approx(expected, abs=1e-12)
    assert (sun.distant.kind, sun.distant.spread_deg, sun.distant.luminance) == ("sun", SUN_SPREAD_DEG, None)
    assert (sun.output.lumens, sun.output.reading_lux) == (60000, None)
    assert (sun.flash, sun.source.name, sun.role) == (False, "sunlight 5160 K", "other")


def test_sun_at_noon_of_the_solstice_looks_along_the_front() -> None:
    # the obliquity of the ecliptic, 23.44 degrees, is the sun's declination at the June solstice
    sun = far(shape="sun", lux=60000, **CLOCK)
    assert sun.distant is not None
    elevation = math.radians(90 - 50 + 23.44)
    expected = np.array([0, math.sin(elevation), math.cos(elevation)])
    assert math.degrees(math.acos(min(1.0, float(sun.distant.toward @ expected)))) < 0.5


@pytest.mark.parametrize(
    ("front", "axis"),
    # the sun stands in the south: with the front to the east it is on the left of one who looks there from the camera's
    # place toward the sitter (the west), and so on
    [(180, [0, 1]), (0, [0, -1]), (90, [-1, 0]), (270, [1, 0])],
)
def test_the_bearing_of_the_front_turns_the_set_under_the_sun(front: float, axis: list[int]) -> None:
    sun = far(shape="sun", lux=60000, **{**CLOCK, "front_bearing_deg": front})
    assert sun.distant is not None
    level = sun.distant.toward[[0, 2]] / np.linalg.norm(sun.distant.toward[[0, 2]])
    assert float(level @ axis) > math.cos(math.radians(1))


def test_the_offset_of_a_time_counts() -> None:
    here = far(shape="sun", lux=1000, **CLOCK)
    there = far(shape="sun", lux=1000, **{**CLOCK, "time": "2025-06-20T14:02:00+02:00"})
    later = far(shape="sun", lux=1000, **{**CLOCK, "time": "2025-06-20T14:02:00+00:00"})
    assert here.distant is not None
    assert there.distant is not None
    assert later.distant is not None
    assert np.array_equal(here.distant.toward, there.distant.toward)
    assert later.distant.toward[0] < -0.3  # the sun has gone on to the west, which is camera left


def test_ev_of_sun_and_sky_is_that_of_a_flat_meter_in_the_open() -> None:
    # ISO 2720: E = C 2^EV / 100, C = 250 flat
    assert far(shape="sun", ev=14, elevation_deg=30).output.lumens == pytest.approx(250 * 2**14 / 100)
    assert far(shape="sky", ev=12, sky="overcast").output.lumens == pytest.approx(250 * 2**12 / 100)


def test_sky_by_name_and_number() -> None:
    named, numbered = far(shape="sky", lux=9000, sky="overcast"), far(shape="sky", lux=9000, sky=1)
    assert named.distant is not None
    assert numbered.distant is not None
    assert named.distant.luminance is not None
    assert numbered.distant.luminance is not None
    assert np.array_equal(named.distant.luminance.values, numbered.distant.luminance.values)
    assert named.distant.toward == pytest.approx([0, 1, 0])
    assert (named.output.lumens, named.output.reading_lux) == (9000, None)
    assert (named.source.name, named.role, named.flash) == ("daylight 6500 K", "ambient", False)


def test_a_clear_sky_is_brightest_around_the_sun() -> None:
    sky = far(shape="sky", lux=9000, sky=12, azimuth_deg=90, elevation_deg=45, cct_k=12000)
    assert sky.distant is not None
    assert sky.distant.luminance is not None
    values = sky.distant.luminance.values
    row, column = np.unravel_index(np.argmax(values), values.shape)
    assert row == 0  # azimuth 90 of a light is +x, where rows begin
    assert math.degrees(column * sky.distant.luminance.widest_rad / (values.shape[1] - 1)) == pytest.approx(45, abs=1.5)
    assert sky.source.name == "daylight 12000 K"


def test_a_named_source_replaces_daylight() -> None:
    assert far(shape="sun", lux=500, elevation_deg=10, source="blackbody", cct_k=3000).source.name == "blackbody 3000 K"


@pytest.mark.parametrize(
    ("azimuth", "elevation", "side"),
    [(0, 20, ""), (180, 20, "back"), (90, 20, "right"), (-90, 20, "left"), (0, 85, "ceiling"), (0, 60, "ceiling")],
)
def test_sun_through_a_closed_side_is_told(azimuth: float, elevation: float, side: str) -> None:
    scene, found = checked(shape="sun", lux=50000, azimuth_deg=azimuth, elevation_deg=elevation)
    assert scene is not None
    assert [dotted(p.path) for p in found] == (["light.far"] if side else [])
    if side:
        assert side in found[0].message
        assert found[0].severity == "warning"


def test_no_room_shuts_nothing_out() -> None:
    sun = Distant("sun", np.array([0.0, 1.0, 0.0]), SUN_SPREAD_DEG, None)
    assert shut_out(sun, np.array([0, 1.5, 0]), None) == ""
    room = Room(size_m=[6, 7, 3], open=["ceiling"])
    assert shut_out(sun, np.array([0, 1.5, 0]), room) == ""


@pytest.mark.parametrize(
    "keys", [{"shape": "sun", "lux": 60000, **CLOCK}, {"shape": "sky", "ev": 11, "sky": "clear", **CLOCK}]
)
def test_sun_and_sky_go_round(keys: dict[str, Any]) -> None:
    scene, found = checked(**keys)
    assert scene is not None, found
    again, _ = check_data(tomllib.loads(dump_scene(scene)), Path("."))
    assert again == scene


def test_toml_time_and_text_mean_the_same() -> None:
    moment = tomllib.loads("t = 2025-06-20T12:02:00Z")["t"]
    by_toml, by_text = checked(shape="sun", lux=1, **{**CLOCK, "time": moment}), checked(shape="sun", lux=1, **CLOCK)
    assert by_toml[0] == by_text[0]


def test_a_tube_lies_along_its_right_and_shines_as_a_rod() -> None:
    scene, found = check_data(
        changed(light__key__shape="tube", light__key__size_m=[1.2, 0.04], light__key__distance_m=1.5), Path(".")
    )
    assert scene is not None, found
    (light,) = build_stage(scene).lights
    tube = light.fixture
    assert tube is not None
    assert (tube.shape, tuple(tube.size_m), tube.body_depth_m) == ("tube", (1.2, 0.04), 0.0)
    along, across = tube.centre_m + 0.59 * tube.right, tube.centre_m + 0.019 * tube.up
    inside = in_fixture(
        tube, np.array([along, across, tube.centre_m + 0.03 * tube.up, tube.centre_m + 0.61 * tube.right])
    )
    assert inside.tolist() == [True, True, False, False]
    assert np.ptp(exit_outline(tube) @ tube.right) == pytest.approx(1.2)
    # a thin diffuse rod of one lumen and length l sends 1 / (pi^2 l) cd across for each metre; a point before its middle
    # at h gets that times the integral of cos^2 of the angle along the rod, a + sin a cos a, over h; the skin of one 4 cm
    # thick is nearer, which gives 0.87 % more at 1.5 m (worked by quadrature over the skin)
    point = tube.centre_m + 1.5 * tube.forward
    a = math.atan(0.6 / 1.5)
    expected = (a + math.sin(a) * math.cos(a)) / (math.pi**2 * 1.2 * 1.5)
    assert illuminance(tube, point, -tube.forward)[0] == pytest.approx(1.00867 * expected, rel=2e-3)


@pytest.mark.parametrize("time", ["0001-01-01T00:00:00+05:00", "9999-12-31T23:30:00-05:00"])
def test_a_year_no_calendar_reaches_is_one_clear_error(time: str) -> None:
    _, found = checked(shape="sun", lux=60000, **(CLOCK | {"time": time}))
    assert [(dotted(p.path), p.allowed) for p in found] == [("light.far.time", "Allowed: 1800 to 2200.")]


def both(sun: dict[str, Any], sky: dict[str, Any]) -> tuple[tuple[Light, ...] | None, list[tuple[str, str, str]]]:
    """Lights of a set with a sun and a sky, or the findings (path, severity, message)."""
    scene, found = check_data(changed(light__key=None, light__sun=sun, light__sky=sky), Path("."))
    told = [(dotted(p.path), p.severity, p.message) for p in found]
    return (build_stage(scene).lights if scene is not None else None), told


def test_strength_and_colour_follow_from_the_height_of_the_sun() -> None:
    """What a scene leaves out comes from the air (`materials.atmosphere`, tested against published values); what it
    names stays."""
    from materials import clear_sky, sun_through_air

    low = sun_through_air(8, "hazy")
    lights, found = both(
        {"shape": "sun", "azimuth_deg": 20, "elevation_deg": 8, "air": "hazy"}, {"shape": "sky", "sky": "clear"}
    )
    assert lights is not None
    assert not found
    sun, sky = lights
    assert sun.output.lumens == pytest.approx(low.lux)
    assert np.array_equal(sun.source.spd, low.source.spd)
    assert sky.output.lumens == pytest.approx(clear_sky(8, "hazy").lux)
    assert sky.distant is not None
    assert sun.distant is not None
    assert np.array_equal(sky.distant.toward, sun.distant.toward)
    lights, _ = both({"shape": "sun", "elevation_deg": 8, "lux": 123, "cct_k": 4500}, {"shape": "sky", "sky": "milky"})
    assert lights is not None
    assert (lights[0].output.lumens, lights[0].source.name) == (123, "daylight 4500 K")
    # without a word about the air, the sun shines through that of the sky
    lights, _ = both({"shape": "sun", "elevation_deg": 30}, {"shape": "sky", "sky": "milky"})
    assert lights is not None
    assert lights[0].output.lumens == pytest.approx(sun_through_air(30, "hazy").lux)


def test_a_cloudy_sky_is_as_bright_as_the_handbook_says() -> None:
    # IES Lighting Handbook, daylight availability (from memory): 0.3 + 21 sin h klx cloudy, 0.3 + 45 sin h partly cloudy
    for name, rise in (("overcast", 21e3), ("partly", 45e3)):
        sky = far(shape="sky", sky=name, azimuth_deg=0, elevation_deg=30)
        assert sky.output.lumens == pytest.approx(300 + rise / 2)
        assert sky.source.name == "daylight 6500 K"


@pytest.mark.parametrize(
    ("sun", "sky", "expected"),
    [
        ({"elevation_deg": 20}, {"sky": "clear", "azimuth_deg": 90, "elevation_deg": 20},
         [("light.sky.elevation_deg", "error", "this sky has the sun 83 degrees away from where the sun of this set stands")]),
        ({"elevation_deg": 20, "air": "clean"}, {"sky": "clear", "air": "hazy"},
         [("light.sky.air", "error", "the air of this sky (hazy) is not that of the sun (clean)")]),
        ({"elevation_deg": 20}, {"sky": "overcast"},
         [("light.sun", "warning", "the sky 'sky' is overcast and hides the sun")]),
        ({"elevation_deg": 20}, {"sky": "partly", "air": "hazy"},
         [("light.sky.air", "error", "air says nothing of this sky (partly), which is cloudy")]),
        ({**CLOCK, "time": "2025-06-20T00:02:00Z"}, {"sky": "clear"},
         [("light.sun.time", "error", "at this time and place the sun stands 16.6 degrees below the horizon")]),
        ({**CLOCK, "time": "2025-06-20T00:02:00Z"}, {"sky": "clear", **CLOCK, "time": "2025-06-20T00:02:00Z"},
         [("light.sun.time", "error", "at this time and place the sun stands 16.6 degrees below the horizon")]),
        ({"elevation_deg": 20, "air": "clean", "lux": 9, "cct_k": 5000}, {"sky": "overcast"},
         [("light.sun.air", "warning", "air changes nothing here: strength and colour are both given")]),
        ({"elevation_deg": 20, "air": "claen"}, {"sky": "partly", "lux": 9},
         [("light.sun.air", "error", "there is no air 'claen'")]),
    ],
)  # fmt: skip
def test_sun_and_sky_that_contradict_are_told(sun: dict[str, Any], sky: dict[str, Any], expected: list[Any]) -> None:
    _, found = both({"shape": "sun", **sun}, {"shape": "sky", **sky})
    assert [f[:2] for f in found] == [e[:2] for e in expected], found
    assert all(f[2].startswith(e[2]) for f, e in zip(found, expected, strict=True)), found


def test_an_overcast_sky_alone_needs_a_strength_or_a_height() -> None:
    _, found = checked(shape="sky", sky="overcast")
    assert [(dotted(p.path), p.message) for p in found] == [("light.far", "nothing says how bright this sky is")]
