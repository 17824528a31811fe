"""Imports go one way, and heavy or graphical libraries stay where they belong."""

from __future__ import annotations

import ast
import graphlib
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


def _modules() -> dict[str, Path]:
    found = {}
    for layer in LAYERS:
        for path in (ROOT / layer).rglob("*.py"):
            name = ".".join(path.relative_to(ROOT).with_suffix("").parts)
            found[name.removesuffix(".__init__")] = path
    return found


def _leads_to(name: str, path: Path, modules: dict[str, Path]) -> set[str]:
    """Modules of ours that a module imports, anywhere in it; what only type checkers read does not count."""
    package = name if path.name == "__init__.py" else name.rpartition(".")[0]
    found: set[str] = set()
    waiting: list[ast.AST] = [ast.parse(path.read_text(encoding="utf-8"))]
    while waiting:
        node = waiting.pop()
        if isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING":
            continue
        waiting += ast.iter_child_nodes(node)
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            above = package.split(".")[: len(package.split(".")) + 1 - node.level] if node.level else []
            base = ".".join([*above, *([node.module] if node.module else [])])
            found |= {inner if (inner := f"{base}.{alias.name}") in modules else base for alias in node.names}
    return found & set(modules) - {name}


def test_no_modules_import_each_other_in_a_circle():
    modules = _modules()
    graph = {name: _leads_to(name, path, modules) for name, path in modules.items()}
    assert graph["render.cli_app"] >= {"render.streams", "render.interrupts", "materials"}  # it sees relative imports
    try:
        graphlib.TopologicalSorter(graph).prepare()
    except graphlib.CycleError as circle:
        pytest.fail(" -> ".join(circle.args[1]))


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
