"""The scene-file format as typed tables: one module a table, every key with its unit and meaning."""

from .base import Table
from .camera import Camera, Exposure
from .haze import Haze
from .light import Light, MeterReading
from .piece import Piece
from .scene import FORMAT, Scene
from .set import Background, Ground, Room, Window
from .sitter import Clothes, Sitter

__all__ = [
    "FORMAT",
    "Background",
    "Camera",
    "Clothes",
    "Exposure",
    "Ground",
    "Haze",
    "Light",
    "MeterReading",
    "Piece",
    "Room",
    "Scene",
    "Sitter",
    "Table",
    "Window",
]
