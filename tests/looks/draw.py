"""Sets drawn at random, as a person who tunes nothing might write them: every sitter, modifier, finish and gel."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from render.meterset import FACE_PROBE
from render.readings import all_readings, find
from render.trace import trace_meters
from scenes import build_stage, check_scene, load_scene
from scenes.dump import dump_tables
from scenes.kit import stock_kit
from scenes.meters import nominal_f_number
from scenes.stock_names import stock_names

Tables = dict[str, Any]
FOCAL_LENGTHS_MM = (35, 50, 85, 105, 135)
PLACES = {  # role: azimuth, elevation and distance from, to
    "key": ((-75, 75), (0, 55), (0.5, 2.5)),
    "fill": ((-60, 60), (-15, 35), (0.9, 3.0)),
    "rim": ((125, 235), (0, 50), (0.7, 2.2)),
    "hair": ((150, 210), (35, 65), (0.7, 1.6)),
}
_TRIES = 400


def draw_set(rng: np.random.Generator, path: Path, long_side_px: int) -> Tables:
    """Write a valid set to `path`, exposed for what the meter reads at the face; returns its tables."""
    for _ in range(_TRIES):
        tables = _tables(rng, long_side_px)
        path.write_text(dump_tables(tables), encoding="utf-8")
        if any(finding.severity == "error" for finding in check_scene(path)):
            continue
        stage = build_stage(load_scene(path))
        reading = find(all_readings(trace_meters(stage), stage), FACE_PROBE, "all", "dome")
        if not 0.7 < reading.f_number < 90:
            continue
        tables["exposure"]["f_number"] = float(nominal_f_number(reading.f_number))
        path.write_text(dump_tables(tables), encoding="utf-8")
        return tables
    raise RuntimeError(f"no valid set in {_TRIES} tries")


def _tables(rng: np.random.Generator, long_side_px: int) -> Tables:
    tables: Tables = {
        "format": 1,
        "title": "Drawn at random",
        "camera": {
            "focal_length_mm": int(rng.choice(FOCAL_LENGTHS_MM)),
            "distance_m": _number(rng, 0.9, 3.5),
            "height_m": _number(rng, 1.1, 1.9),
            "look_at": str(rng.choice(["face", "throat", "chest"])),
            "long_side_px": long_side_px,
            "aspect": "4:5",
        },
        "exposure": {"iso": 100, "f_number": 8, "shutter_s": "1/125"},
        "sitter": {"figure": _name(rng, "figure"), "turn_deg": int(rng.integers(-70, 71))},
        "background": {"distance_m": _number(rng, 0.6, 3.0), "finish": _name(rng, "finish")},
    }
    if rng.random() < 0.8:
        size = [_number(rng, 4, 8), _number(rng, 6.5, 10), _number(rng, 2.6, 4)]
        tables["room"] = {"size_m": size} | {part: _name(rng, "finish") for part in ("walls", "floor", "ceiling")}
    else:
        tables["ground"] = {"finish": _name(rng, "finish")}
    if rng.random() < 0.25:
        tables["haze"] = {
            "fluid": str(rng.choice(["glycol", "oil"])),
            "visibility_m": float(round(10 ** rng.uniform(1.3, 2.5))),
        }
    tables["light"] = _lights(rng)
    if rng.random() < 0.3:
        tables["piece"] = {"card": _piece(rng)}
    return tables


def _lights(rng: np.random.Generator) -> Tables:
    roles = ["key", *(role for role in ("fill", "rim", "hair", "pocket") if rng.random() < 0.5)]
    lights = {role: _light(rng, role) for role in roles}
    if rng.random() < 0.15:
        lights["day"] = {"shape": "ambient", "source": "daylight", "cct_k": 6500, "lux": int(rng.integers(20, 400))}
    return lights


def _light(rng: np.random.Generator, role: str) -> Tables:
    heads = [name for name, head in stock_kit().heads.items() if "flash" in name]
    light: Tables = {
        "head": str(rng.choice(heads)),
        "modifiers": _modifiers(rng),
        "power": f"1/{2 ** int(rng.integers(0, 7))}",
    }
    if rng.random() < 0.5:
        light["gels"] = [_name(rng, "gel") for _ in range(int(rng.integers(1, 3)))]
    if role == "pocket":
        side = _number(rng, -1.0, 1.0)
        return light | {"at_m": [side, _number(rng, 0.4, 1.6), _number(rng, -0.6, -0.3)], "aim": "background"}
    (azimuth, elevation, distance) = PLACES[role]
    return light | {
        "azimuth_deg": int(rng.integers(*azimuth)),
        "elevation_deg": int(rng.integers(*elevation)),
        "distance_m": _number(rng, *distance),
        "aim": str(rng.choice(["face", "crown", "chest"])),
    }


def _modifiers(rng: np.random.Generator) -> list[str]:
    """A modifier of the stock kit, and often what goes in front of it."""
    front = [name for name, modifier in stock_kit().modifiers.items() if modifier.kind in _ATTACHED]
    shapers = [name for name in stock_kit().modifiers if name not in front]
    chosen = [str(rng.choice(shapers))]
    if rng.random() < 0.5:
        chosen.append(str(rng.choice(front)))
    return chosen


_ATTACHED = ("grid", "fabric-grid", "doors", "sock", "frame")


def _piece(rng: np.random.Generator) -> Tables:
    kind = str(rng.choice(["flag", "board", "net", "silk"]))
    piece: Tables = {
        "kind": kind,
        "size_m": [_number(rng, 0.3, 1.0), _number(rng, 0.3, 1.4)],
        "azimuth_deg": int(rng.integers(-110, 111)),
        "distance_m": _number(rng, 0.5, 1.2),
    }
    return piece | ({"stops": 1.0} if kind in ("net", "silk") else {})


def _name(rng: np.random.Generator, kind: str) -> str:
    return str(rng.choice(stock_names(kind)))


def _number(rng: np.random.Generator, low: float, high: float) -> float:
    return round(float(rng.uniform(low, high)), 2)
