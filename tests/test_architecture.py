"""Imports go one way, and heavy or graphical libraries stay where they belong."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

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
FILES = [path for layer in LAYERS for path in sorted((ROOT / layer).rglob("*.py"))]


def _imported(path: Path) -> set[str]:
    names = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
            names.add(node.module.split(".")[0])
    return names


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(ROOT)))
def test_imports_go_one_way(path):
    layer = path.relative_to(ROOT).parts[0]
    above = set(LAYERS[LAYERS.index(layer) + 1 :]) | {"tests", "demo"}
    assert not _imported(path) & above


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(ROOT)))
def test_libraries_stay_in_their_place(path):
    place = str(path.relative_to(ROOT))
    for library in _imported(path) & set(ONLY_UNDER):
        assert place.startswith(ONLY_UNDER[library]), f"{library} may be imported only under {ONLY_UNDER[library]}"


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(ROOT)))
def test_modules_stay_small(path):
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 400


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
