"""A small scene file for tests of the command line, and a way to run commands on it."""

from __future__ import annotations

import copy
from pathlib import Path
from typing import Any

from typer.testing import CliRunner, Result

from render.cli import app
from scenes.dump import dump_tables

SMALL: dict[str, Any] = {
    "format": 1,
    "title": "Two lamps and a gel",
    "camera": {"focal_length_mm": 85, "distance_m": 2.2, "look_at": "face", "long_side_px": 40, "aspect": "4:5"},
    "exposure": {"iso": 100, "f_number": 5.6, "shutter_s": "1/125"},
    "sitter": {"figure": "marta"},
    "room": {"size_m": [6, 7, 3], "open": ["front"]},
    "background": {"distance_m": 1.8},
    "light": {
        "key": {
            "shape": "spot",
            "size_m": 0.2,
            "beam_deg": 30,
            "field_deg": 50,
            "azimuth_deg": 40,
            "height_m": 2.1,
            "distance_m": 1.3,
            "energy_ws": 400,
            "power": "1/32",
            "gels": ["half-cto"],
        },
        "fill": {
            "shape": "rectangle",
            "size_m": [0.8, 1.2],
            "azimuth_deg": -30,
            "elevation_deg": 5,
            "distance_m": 2.0,
            "source": "D55",
            "lumens": 20000,
        },
    },
}


def write_scene(path: Path, **changes: Any) -> Path:
    """Write the small scene with keys changed, named as table__key or light__key__KEY; None removes one."""
    tables = copy.deepcopy(SMALL)
    for name, value in changes.items():
        *outer, last = name.split("__")
        inner = tables
        for part in outer:
            inner = inner.setdefault(part, {})
        if value is None:
            inner.pop(last, None)
        else:
            inner[last] = value
    path.write_text(dump_tables(tables), encoding="utf-8")
    return path


def keyfall(*words: object, env: dict[str, str] | None = None) -> Result:
    """Run `keyfall` with these words in this process; nothing but an exit may come out of it."""
    result = CliRunner().invoke(app, [str(word) for word in words], env=env)
    unexpected = result.exception
    assert unexpected is None or isinstance(unexpected, SystemExit), unexpected
    assert "Traceback" not in result.output
    return result
