"""Imports go one way, and heavy or graphical libraries stay where they belong."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.quick

ROOT = Path(__file__).parents[1]
LAYERS = ("materials", "scenes", "render")
ONLY_UNDER = {
    "mitsuba": "render/",
    "drjit": "render/",
    "mitsuba_oidn": "render/denoise.py",
    "matplotlib": ("render/plot.py", "render/beam_plot.py", "render/sheet/"),
    "pyrender": "render/rigged/view",
    "rich": "render/",
    "typer": "render/cli",
}
MOST_LINES = 400


def _imported(text: str) -> set[str]:
    names = set()
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Import):
            names |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
            names.add(node.module.split(".")[0])
    return names


def test_imports_go_one_way_libraries_stay_in_their_place_and_modules_small():
    faults = []
    for number, layer in enumerate(LAYERS):
        above = {*LAYERS[number + 1 :], "tests", "demo"}
        for path in sorted((ROOT / layer).rglob("*.py")):
            place, text = path.relative_to(ROOT).as_posix(), path.read_text(encoding="utf-8")
            names = _imported(text)
            faults += [f"{place} imports {name}, which lies above it" for name in sorted(names & above)]
            faults += [
                f"{place} imports {name}, which belongs to {ONLY_UNDER[name]}"
                for name in sorted(names & set(ONLY_UNDER))
                if not place.startswith(ONLY_UNDER[name])
            ]
            if text.count("\n") > MOST_LINES:
                faults.append(f"{place} has more than {MOST_LINES} lines")
    assert not faults, "\n".join(faults)


@pytest.mark.parametrize("package", LAYERS)
def test_public_names_are_sorted_and_exist(package):
    module = __import__(package)
    order = sorted(module.__all__, key=lambda name: (not name.isupper(), not name[0].isupper(), name))
    assert list(module.__all__) == order  # constants, classes, functions
    for name in module.__all__:
        assert getattr(module, name) is not None


@pytest.mark.parametrize("package", ["materials", "scenes", "render", "render.cli"])
def test_importing_loads_no_tracing_library(package):
    code = (
        f"import {package}, sys; print([m for m in ('mitsuba', 'drjit', 'colour', 'matplotlib') if m in sys.modules])"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True)
    assert run.stdout.strip() == "[]"
