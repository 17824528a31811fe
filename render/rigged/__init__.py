"""The set as it is rigged, as meshes: figure, stands, housings, beams; for 3-D viewers and for the plan."""

from .gltf import write_gltf
from .view import SetView, SetViewError, draw_set_view

__all__ = ["SetView", "SetViewError", "draw_set_view", "write_gltf"]
