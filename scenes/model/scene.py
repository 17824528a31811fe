"""The whole scene file."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, PrivateAttr

from ..findings import Problem
from ..names import listed, nearest
from .base import Name, Table
from .camera import Camera, Exposure
from .haze import Haze
from .light import Light
from .light_checks import FAR_WORDS
from .piece import Piece
from .set import Background, Ground, Room
from .sitter import Sitter

FORMAT = 1
ROLE_WORDS = ("key", "fill", "background", "hair", "rim", "ambient")


class Scene(Table):
    """A portrait set: camera, exposure, sitter, room or open ground, background and lights.

    Lengths are metres, angles degrees (full angles), +x is camera right, +y up, +z from the sitter toward the
    front of the set; the origin is on the floor under the sitter.
    """

    format: Literal[1] = Field(description="Version of this format: 1.")
    title: str = Field("", description="Name of the look, for captions.", max_length=200)
    kit: Annotated[str, Field(min_length=1)] | None = Field(
        None, description="Kit file (TOML) with your own heads and modifiers, relative to the scene file."
    )
    camera: Camera = Field(description="Where the camera stands and what it takes in.")
    exposure: Exposure = Field(Exposure(), description="ISO, aperture, shutter and white balance.")
    sitter: Sitter = Field(description="Who sits.")
    room: Room | None = Field(None, description="The room; leave it out for an open location.")
    ground: Ground | None = Field(None, description="The ground of an open location, or outside a room.")
    background: Background | None = Field(None, description="A paper or panel across the set behind the sitter.")
    haze: Haze | None = Field(None, description="Haze, smoke or fog in the air; leave it out for clear air.")
    light: Annotated[dict[Name, Light], Field(min_length=1)] = Field(
        description="The lights, each a table [light.NAME]."
    )
    set_up: list[Name] = Field(
        [],
        description="Names of lights in the order in which they are set up; those not named follow in the usual order: "
        "ambient, sky, sun, key, fill, background, hair, rim, the rest.",
    )
    piece: dict[Name, Piece] = Field({}, description="Flags, nets, silks and boards, each a table [piece.NAME].")

    _folder: Path = PrivateAttr(default_factory=Path)

    @property
    def folder(self) -> Path:
        """Folder from which file names in the scene are read."""
        return self._folder

    def in_folder(self, folder: Path) -> Scene:
        """The same scene with its file names read from `folder`."""
        copy = self.model_copy()
        copy._folder = folder
        return copy

    def problems(self) -> Iterator[Problem]:
        """Cross-checks between the keys of this table."""
        yield from scene_problems(self.room, self.ground, self.light)
        yield from set_up_problems(self.set_up, self.light)


def role_of(name: str, light: Light) -> str:
    """Role of a light: its own, else its name where that is a role, else "other"."""
    if light.role is not None:
        return light.role
    if light.shape in ("ambient", "sky"):
        return "ambient"
    return name if name in ROLE_WORDS else "other"


RESERVED_LIGHT_NAMES = ("all", "surface")
"""Words the reports use beside the lights' names: all lights together, and a meter facing out from a surface."""


def set_up_problems(order: list[str], lights: Mapping[str, object]) -> Iterator[Problem]:
    """Whether the order of setting up names lights of the scene, each once."""
    for index, name in enumerate(order):
        if name not in lights:
            close = nearest(name, lights)
            yield Problem(
                ("set_up", index),
                f"there is no light '{name}' to set up",
                f"Allowed: {listed(lights, 12)}.",
                f"Did you mean {close}?" if close else "Name a light of this scene, or remove it.",
            )
        elif name in order[:index]:
            yield Problem(("set_up", index), f"the light '{name}' is named twice", fix="Remove one.")


def scene_problems(room: Room | None, ground: Ground | None, lights: dict[str, Light]) -> Iterator[Problem]:
    """Checks between tables; None and missing lights stand for tables that are absent or faulty."""
    closed = room is not None and not room.open and not room.window
    if closed and ground is not None:
        yield Problem(
            ("ground",), "the ground lies outdoors, and this room is closed",
            "Allowed in an open location, and where the room has a window or an open side.",
            "Remove [ground] or [room], or give the room a window.",
        )  # fmt: skip
    if room is None and ground is not None and ground.below_m is not None:
        message = "below_m counts from a room's floor, and there is no room"
        yield Problem(("ground", "below_m"), message, fix="Remove it.")
    for name, light in lights.items():
        if name in RESERVED_LIGHT_NAMES:
            yield Problem(
                ("light", name),
                f"a light cannot be called '{name}'; the reports use that word",
                fix="Give it another name.",
            )
        if closed and light.far():
            what = FAR_WORDS[str(light.shape)]
            yield Problem(
                ("light", name),
                f"{what} cannot get into a closed room",
                f"Allowed: {light.shape} in an open location, or where the room has a window or an open side.",
                'Add a window, e.g. [room.window.north], or open = ["front"] under [room]; or remove this light.',
            )
    if lights and not any(light.on for light in lights.values()):
        yield Problem(
            ("light",),
            "every light is off, so the picture will be black",
            fix="Set on = true for one.",
            severity="warning",
        )
