"""Hypothesis strategies for valid scenes, as the tables of a scene file."""

from __future__ import annotations

from typing import Any

from hypothesis import strategies as st

from materials.plain import hidden_character
from scenes.stock_names import stock_names

Tables = dict[str, Any]


def numbers(low: float, high: float, digits: int = 3) -> st.SearchStrategy[float]:
    """Numbers as a person writes them, with few decimals."""
    scale = 10**digits
    return st.integers(round(low * scale), round(high * scale)).map(lambda n: n / scale)


def names(kind: str) -> st.SearchStrategy[str]:
    """Stock names of a kind."""
    return st.sampled_from(stock_names(kind))


def optional(required: Tables, extra: Tables) -> st.SearchStrategy[Tables]:
    """Tables with all of `required` and some of `extra`."""
    return st.fixed_dictionaries(required, optional=extra)


def cameras() -> st.SearchStrategy[Tables]:
    """Cameras in front of the sitter and behind every light, inside the rooms of `rooms`."""
    return optional(
        {"focal_length_mm": numbers(50, 135, 0), "distance_m": numbers(2.2, 2.5), "long_side_px": st.integers(32, 96)},
        {
            "azimuth_deg": numbers(-20, 20, 0),
            "height_m": numbers(1.3, 1.8),
            "look_at": st.sampled_from(["face", "eyes", "chest", "nose"]),
            "aspect": st.sampled_from(["4:5", "1:1", "3:2", "16:9"]),
            "orientation": st.sampled_from(["portrait", "landscape"]),
            "sensor_mm": st.sampled_from([[36, 24], [24, 36], [23.5, 15.6], [44, 33]]),
        },
    )


def exposures() -> st.SearchStrategy[Tables]:
    """Usual camera settings."""
    return optional(
        {},
        {
            "iso": st.sampled_from([50, 100, 400, 3200]),
            "f_number": st.sampled_from([1.4, 2.8, 5.6, 8, 11]),
            "shutter_s": st.sampled_from(["1/125", "1/8", 0.5, 2]),
            "white_balance": st.one_of(st.just("flash"), numbers(2500, 9000, 0)),
        },
    )


def sitters(figure: str | None = None) -> st.SearchStrategy[Tables]:
    """Stock figures near the middle of the set; always the same one when `figure` is given."""
    figures = names("figure") if figure is None else st.just(figure)
    return optional(
        {"figure": figures},
        {
            "turn_deg": numbers(-60, 60, 0),
            "at_m": st.tuples(numbers(-0.2, 0.2), numbers(-0.2, 0.2)).map(list),
            "skin": names("skin"),
            "hair": names("hair"),
            "iris": names("iris"),
            "clothes": optional({}, {"bottom": names("finish"), "shoes": names("finish")}),
        },
    )


def places() -> st.SearchStrategy[Tables]:
    """The place: a room with an open side, or open ground; with or without a background."""
    room = optional(
        {
            "size_m": st.tuples(numbers(6, 9, 1), numbers(7, 10, 1), numbers(3.2, 5, 1)).map(list),
            "open": st.lists(st.sampled_from(["front", "left", "right", "ceiling"]), min_size=1, unique=True),
        },
        {"walls": names("finish"), "floor": names("finish"), "ceiling": names("finish")},
    )
    background = optional(
        {"distance_m": numbers(1.2, 2.5)},
        {
            "width_m": numbers(1.4, 3.5),
            "height_m": numbers(2.2, 3.1),
            "finish": names("finish"),
            "sweep": st.booleans(),
        },
    )
    where = st.one_of(
        st.fixed_dictionaries({"room": room}), optional({}, {"ground": optional({}, {"finish": names("finish")})})
    )
    return st.tuples(where, optional({}, {"background": background})).map(lambda pair: {**pair[0], **pair[1]})


def _strengths() -> st.SearchStrategy[Tables]:
    power = st.one_of(
        st.just({}),
        st.fixed_dictionaries({"power": st.sampled_from([1, 0.5, "1/4", "1/64"])}),
        st.fixed_dictionaries({"power_stops": numbers(-6, 0, 1)}),
    )
    reading = {
        "f_number": st.sampled_from([2.8, 5.6, 8]),
        "distance_m": numbers(1, 3),
        "iso": st.sampled_from([100, 400]),
    }
    flash = st.one_of(
        optional({"energy_ws": numbers(50, 1000, 0)}, {"efficacy_lm_s_per_j": numbers(15, 50, 0)}),
        st.fixed_dictionaries({"guide_number_m": numbers(10, 80, 0)}),
        st.fixed_dictionaries({"meters": st.fixed_dictionaries(reading)}),
    ).map(lambda table: {**table, "source": "flash"})
    steady = st.one_of(
        st.fixed_dictionaries({"lumens": numbers(500, 30000, 0)}),
        st.fixed_dictionaries({"lux": numbers(50, 9000, 0), "lux_distance_m": numbers(1, 3)}),
        st.fixed_dictionaries({"meters": st.fixed_dictionaries({**reading, "shutter_s": st.just("1/60")})}),
    )
    source = st.sampled_from(
        [{"source": "tungsten"}, {"source": "D55"}, {"source": "FL11"}, {"source": "daylight", "cct_k": 5600}]
    )
    steady = st.tuples(steady, source).map(lambda pair: {**pair[0], **pair[1]})
    return st.tuples(st.one_of(flash, steady), power).map(lambda pair: {**pair[0], **pair[1]})


def _shapes() -> st.SearchStrategy[Tables]:
    round_ones = st.fixed_dictionaries(
        {"shape": st.sampled_from(["disk", "octagon", "sphere"]), "size_m": numbers(0.1, 0.9)}
    )
    rectangle = st.fixed_dictionaries(
        {
            "shape": st.just("rectangle"),
            "size_m": st.one_of(numbers(0.2, 0.8), st.tuples(numbers(0.1, 0.5), numbers(0.3, 0.9)).map(list)),
        }
    )
    spot = st.tuples(numbers(8, 60, 0), numbers(1.05, 2)).map(
        lambda pair: {"shape": "spot", "size_m": 0.12, "beam_deg": pair[0], "field_deg": round(pair[0] * pair[1], 2)}
    )
    return st.one_of(round_ones, rectangle, spot)


def _aims() -> st.SearchStrategy[Tables]:
    around = optional(
        {"azimuth_deg": numbers(-80, 80, 0), "elevation_deg": numbers(-5, 45, 0), "distance_m": numbers(1.3, 1.6)},
        {"aim": st.sampled_from(["face", "eyes", "chest"]), "roll_deg": numbers(-45, 45, 0)},
    )
    point = st.fixed_dictionaries(
        {
            "at_m": st.tuples(numbers(1.4, 1.8), numbers(1.2, 2.4), numbers(-0.5, 1.5)).map(list),
            "aim": st.just([0, 1.4, 0]),
        }
    )
    return st.one_of(around, point)


def lights() -> st.SearchStrategy[Tables]:
    """Lights with a fixture, clear of the sitter and above the floor."""
    extra = optional(
        {},
        {
            "gels": st.lists(names("gel"), max_size=2),
            "on": st.booleans(),
            "visible": st.booleans(),
            "role": st.sampled_from(["key", "fill", "rim", "hair", "other"]),
        },
    )
    return st.tuples(_shapes(), _aims(), _strengths(), extra).map(
        lambda parts: {k: v for p in parts for k, v in p.items()}
    )


def ambients() -> st.SearchStrategy[Tables]:
    """Ambient light."""
    strength = st.one_of(
        st.fixed_dictionaries({"lux": numbers(10, 5000, 0)}), st.fixed_dictionaries({"ev": numbers(2, 13, 1)})
    )
    return strength.map(lambda table: {"shape": "ambient", "source": "daylight", "cct_k": 6000, **table})


def hazes() -> st.SearchStrategy[Tables]:
    """Haze, even or in a layer."""
    even = st.fixed_dictionaries({"visibility_m": st.floats(15, 500).map(lambda v: round(v, 1))})
    layered = st.fixed_dictionaries(
        {
            "fluid": st.sampled_from(["glycol", "oil", "dry-ice"]),
            "concentration_mg_m3": st.floats(1, 60).map(lambda v: round(v, 1)),
            "form": st.just("layered"),
            "thins_m": st.floats(0.1, 3).map(lambda v: round(v, 2)),
        }
    )
    return even | layered


def pieces() -> st.SearchStrategy[Tables]:
    """Set pieces behind the sitter, clear of sitter, lights and floor."""
    kind = st.one_of(
        st.just({"kind": "flag"}),
        optional({"kind": st.just("board")}, {"finish": names("finish"), "back": names("finish")}),
        st.fixed_dictionaries({"kind": st.sampled_from(["net", "silk"]), "stops": numbers(0.3, 3, 1)}),
    )
    form = st.one_of(
        optional({"size_m": numbers(0.1, 0.4)}, {"round": st.booleans()}),
        st.fixed_dictionaries({"size_m": st.tuples(numbers(0.1, 0.4), numbers(0.1, 0.4)).map(list)}),
    )
    place = optional(
        {"azimuth_deg": numbers(130, 230, 0), "distance_m": numbers(1, 1.15)},
        {"elevation_deg": numbers(-10, 30, 0), "roll_deg": numbers(-45, 45, 0), "visible": st.booleans()},
    )
    return st.tuples(kind, form, place).map(lambda parts: {k: v for p in parts for k, v in p.items()})


@st.composite
def scene_tables(draw: st.DrawFn, figure: str | None = None, most_lights: int = 4) -> Tables:
    """Tables of a valid scene; `check_scene` finds no error in them."""
    light_names = st.sampled_from(["key", "fill", "rim", "hair", "background", "kicker", "light-2"])
    chosen = draw(st.dictionaries(light_names, lights(), min_size=1, max_size=most_lights))
    if draw(st.booleans()):
        chosen["window"] = draw(ambients())
    tables: Tables = {"format": 1, "title": draw(st.text(max_size=20).filter(lambda text: hidden_character(text) is None)), "camera": draw(cameras())}
    if draw(st.booleans()):
        tables["haze"] = draw(hazes())
    if draw(st.booleans()):
        tables["piece"] = draw(
            st.dictionaries(st.sampled_from(["flag", "cloth", "piece-3"]), pieces(), min_size=1, max_size=2)
        )
    if draw(st.booleans()):
        tables["exposure"] = draw(exposures())
    return {**tables, "sitter": draw(sitters(figure)), **draw(places()), "light": chosen}
