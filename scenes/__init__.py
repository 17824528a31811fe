"""What is on set: scene files, sitters, rooms, fixtures, meters and exposure arithmetic."""

from .model import Scene  # isort: skip  # first: modifiers build on its base and are part of its lights

from .build import build_stage
from .check import check_scene, load_scene
from .dump import dump_scene
from .findings import Finding, SceneError
from .open_set import OpenSet, open_set
from .schema import scene_json_schema

__all__ = [
    "Finding",
    "OpenSet",
    "Scene",
    "SceneError",
    "build_stage",
    "check_scene",
    "dump_scene",
    "load_scene",
    "open_set",
    "scene_json_schema",
]
