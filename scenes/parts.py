"""The sound tables of a scene, and what a walk round the set makes of them."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from . import stage
from .far import Far
from .findings import Problem
from .kit import Equipment
from .model import Background, Camera, Exposure, Ground, Haze, Light, Piece, Room, Sitter
from .pieces import Sheet
from .placing import PlacedSitter


@dataclass(frozen=True, slots=True)
class Parts:
    """The tables of a scene that are sound; None stands for one that is absent or faulty."""

    folder: Path
    camera: Camera | None = None
    exposure: Exposure | None = None
    sitter: Sitter | None = None
    room: Room | None = None
    ground: Ground | None = None
    background: Background | None = None
    lights: dict[str, Light] = field(default_factory=dict)
    pieces: dict[str, Piece] = field(default_factory=dict)
    haze: Haze | None = None


@dataclass(slots=True)
class Survey:
    """What a walk round the set found: places, and the problems met on the way; `of_standing` are those of them that
    only what stands where decides."""

    problems: list[Problem] = field(default_factory=list)
    sitter: PlacedSitter | None = None
    places: dict[str, np.ndarray] = field(default_factory=dict)
    camera: stage.Camera | None = None
    fixtures: dict[str, stage.Fixture | None] = field(default_factory=dict)
    far: dict[str, Far] = field(default_factory=dict)
    equipment: dict[str, Equipment] = field(default_factory=dict)
    sheets: dict[str, Sheet] = field(default_factory=dict)
    of_standing: list[Problem] | None = None
