"""A plain valid scene for tests to start from."""

from __future__ import annotations

import copy
from pathlib import Path
from typing import Any

from scenes import Scene
from scenes.check import check_data
from scenes.findings import Problem

PLAIN: dict[str, Any] = {
    "format": 1,
    "title": "Plain key",
    "camera": {"focal_length_mm": 85, "distance_m": 2.4, "look_at": "face", "long_side_px": 640, "aspect": "4:5"},
    "exposure": {"iso": 100, "f_number": 8, "shutter_s": "1/125"},
    "sitter": {"figure": "marta"},
    "room": {"size_m": [6, 7, 3], "open": ["front"]},
    "background": {"distance_m": 1.8},
    "light": {
        "key": {
            "shape": "octagon",
            "size_m": 0.9,
            "azimuth_deg": 45,
            "height_m": 2.1,
            "distance_m": 1.2,
            "energy_ws": 500,
            "power": "1/8",
        }
    },
}


def changed(**changes: Any) -> dict[str, Any]:
    """The plain scene with keys changed, named as table__key or light__key__KEY; None removes one."""
    tables = copy.deepcopy(PLAIN)
    for name, value in changes.items():
        *path, last = name.split("__")
        inner = tables
        for part in path:
            inner = inner.setdefault(part, {})
        if value is None:
            inner.pop(last, None)
        else:
            inner[last] = value
    return tables


def problems(**changes: Any) -> list[Problem]:
    """Problems of the plain scene with keys changed."""
    return check_data(changed(**changes), Path("."))[1]


def scene(**changes: Any) -> Scene:
    """The plain scene with keys changed; it must be without errors."""
    built, found = check_data(changed(**changes), Path("."))
    assert built is not None, found
    return built
