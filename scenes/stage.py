"""The set as the tracer sees it: meshes, camera, lights and meter points, all resolved to numbers.

World frame: metres, +y up, +z from the sitter toward the camera, +x to the camera's right, origin on the
floor under the sitter. Every array here is built the same way from the same scene file, so a hash of the
bytes names the set.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np

from .optics import PLAIN, Angular, Optics
from .window_place import SetWindow

if TYPE_CHECKING:
    from materials.finishes import Finish
    from materials.gels import Gel
    from materials.haze import Medium
    from materials.sources import Source

    from .appearance import Appearance, Front

REGIONS = ("face", "skin", "hair", "eye", "cloth", "background", "floor", "wall", "prop")
FIXTURE_SHAPES = ("disk", "rectangle", "octagon", "sphere", "spot", "tube")


@dataclass(frozen=True, slots=True)
class Shape:
    """A triangle mesh with one finish.

    Attributes
    ----------
    name : what the shape is, e.g. "sitter.top".
    region : one of `REGIONS`.
    vertices : (n, 3) float32, metres.
    faces : (m, 3) int32, indices into `vertices`.
    normals : (n, 3) float32, unit length.
    finish : the material of the whole shape.
    tints : (n, 3) uint8, weights (0-255) of the finish's three tint spectra.
    gloss : (n,) uint8, weight (0-255) of the finish's gloss roughness.
    veil : (n,) float32, share of the light of the sky or ambient light behind it, at the horizon, that takes the place
        of its own, because of the air before it; None without.
    """

    name: str
    region: str
    vertices: np.ndarray
    faces: np.ndarray
    normals: np.ndarray
    finish: Finish
    tints: np.ndarray
    gloss: np.ndarray
    veil: np.ndarray | None = None


@dataclass(frozen=True, slots=True)
class Camera:
    """A pinhole: place, orthonormal frame (each (3,) float64) and the tangents of the half view angles.

    `azimuth_deg` is where it stands as the scene file says it, 0 the front of the set; of a camera given by its place,
    the bearing of that place from the floor mark under the sitter.
    """

    origin_m: np.ndarray
    right: np.ndarray
    up: np.ndarray
    forward: np.ndarray
    tan_half_width: float
    tan_half_height: float
    width_px: int
    height_px: int
    azimuth_deg: float = 0.0


@dataclass(frozen=True, slots=True)
class Fixture:
    """The exit area of a light and the body behind it.

    Attributes
    ----------
    shape : one of `FIXTURE_SHAPES`.
    size_m : (2,) float64; rectangle (width, height), tube (length, diameter), else (diameter, diameter). An octagon's
        diameter is measured across its flats.
    centre_m : (3,) float64, centre of the exit area (of the ball for a sphere).
    right, up, forward : (3,) float64, orthonormal; `forward` is the direction in which the light travels.
    beam_deg, field_deg : full angles at 50 % and 10 % of the axial intensity; None unless `shape` is "spot".
    visible : whether the camera sees the fixture.
    body_depth_m : depth of the opaque body behind the exit area; 0 for a sphere and a tube.
    hole_m : diameter of the opening through a ring, a disk only; 0 for all others.
    optics : what shapes the light inside.
    """

    shape: str
    size_m: np.ndarray
    centre_m: np.ndarray
    right: np.ndarray
    up: np.ndarray
    forward: np.ndarray
    beam_deg: float | None
    field_deg: float | None
    visible: bool
    body_depth_m: float
    hole_m: float = 0.0
    optics: Optics = PLAIN


@dataclass(frozen=True, slots=True)
class Distant:
    """Light from far away instead of a fixture: the sun, or a sky that is not even.

    Attributes
    ----------
    kind : "sun" or "sky".
    toward : (3,) float64, unit vector from the set toward the sun's centre.
    spread_deg : the sun's full angle across; 0 for a sky.
    luminance : of a sky, by angle from the zenith and azimuth from +x toward -z, of any scale; None for the sun.
    """

    kind: str
    toward: np.ndarray
    spread_deg: float
    luminance: Angular | None


@dataclass(frozen=True, slots=True)
class Net:
    """A net on a frame: dims the light that passes, scattering none.

    Attributes
    ----------
    centre_m, right, up, forward : (3,) float64, place and orthonormal axes; `forward` is across the net.
    size_m : (2,) float64, width and height; the diameter twice when `round`.
    transmittance : share of the light that passes, 0 to 1.
    """

    name: str
    centre_m: np.ndarray
    right: np.ndarray
    up: np.ndarray
    forward: np.ndarray
    size_m: np.ndarray
    round: bool
    transmittance: float


@dataclass(frozen=True, slots=True)
class Opening:
    """A way for light from outside into a room: an open side, or the outer edge of a window.

    Attributes
    ----------
    centre_m, right, up, inward : (3,) float64, place and orthogonal unit axes; `inward` points into the room.
    size_m : (2,) float64, along `right` and `up`.
    depth_m : from here to the inner face of the wall.
    """

    centre_m: np.ndarray
    right: np.ndarray
    up: np.ndarray
    inward: np.ndarray
    size_m: np.ndarray
    depth_m: float


@dataclass(frozen=True, slots=True)
class Openings:
    """All ways into a room, whose corners are `low_m` and `high_m` (3,)."""

    low_m: np.ndarray
    high_m: np.ndarray
    ways: tuple[Opening, ...]


@dataclass(frozen=True, slots=True)
class SetPiece:
    """A flat piece on a stand, as the scene file names it.

    Attributes
    ----------
    name : that of its table. kind : "flag", "net", "silk" or "board".
    centre_m, right, up, forward : (3,) float64, place and orthonormal axes; `forward` is where its face looks.
    size_m : (2,) float64, width and height; the diameter twice when `round`. stops : what a net or silk stops.
    """

    name: str
    kind: str
    centre_m: np.ndarray
    right: np.ndarray
    up: np.ndarray
    forward: np.ndarray
    size_m: np.ndarray
    round: bool
    stops: float | None = None


@dataclass(frozen=True, slots=True)
class Haze:
    """Haze in a box of the set.

    Attributes
    ----------
    medium : what it is made of, where it is densest.
    low_m, high_m : (3,) float64, corners of the box it fills.
    density : (z, y, x) float32 from 0 to 1, relative to `medium`, at the nodes of an even grid over the box; None where
        it is the same everywhere.
    """

    medium: Medium
    low_m: np.ndarray
    high_m: np.ndarray
    density: np.ndarray | None


@dataclass(frozen=True, slots=True)
class Output:
    """Strength of a light at its set power, before gels.

    Attributes
    ----------
    lumens : luminous energy in lm s (flash) or flux in lm (continuous) of the lamp (what leaves the exit area, where
        nothing is known of the inside); for the sun lx on a surface that faces it; None for sky and ambient.
    reading_lux : sky and ambient only: illuminance in lx that a dome at the face, turned to the camera, would
        measure in an empty set.
    """

    lumens: float | None
    reading_lux: float | None


@dataclass(frozen=True, slots=True)
class HeadInfo:
    """A head, for reports; None stands for what its owner does not say.

    Attributes
    ----------
    name : in the kit; empty for a flash that the scene itself describes by its energy.
    energy_ws : stored energy of a flash at full power; None for continuous light.
    power : the setting, as a fraction of full.
    lowest : the lowest setting as a fraction of full. step_stops : from one setting to the next.
    recycle_s : time to charge again after full power. sync_s : shortest shutter time that catches the flash.
    calibrated : whether meter readings in the kit correct its output.
    """

    name: str
    energy_ws: float | None
    power: float
    lowest: float | None
    step_stops: float | None
    recycle_s: float | None
    sync_s: float | None
    calibrated: bool


@dataclass(frozen=True, slots=True)
class Light:
    """A light: `fixture` is None for ambient light, sun and sky; `gel` is None without gels (a stack is one gel).

    `power_setting` says how the head is set, for people, e.g. "500 Ws at 1/8 (-3.0)"; None where that means nothing.
    `modifiers` names what is on the head, from the head outward. `appearance` says how it looks, None where only its
    fixture tells, and `fronts` what stands before that.
    `aim` is the landmark it is pointed at, None where the scene gives a place; `aim_m` (3,) is where that is, None for
    light from no fixture. `power` is the setting as a fraction of full; None where that means nothing.
    `bare` makes the standard reflector on the same lamp, at the origin, and `modifier_stops` is what the kit's readings
    add to the light's modifiers over that reflector's; None and 0 for a light without modifiers.
    `moment` is the date and time that a sun or sky was placed by; None where angles place it.
    """

    name: str
    role: str
    fixture: Fixture | None
    source: Source
    gel: Gel | None
    output: Output
    flash: bool
    on: bool
    power_setting: str | None = None
    distant: Distant | None = None
    head: HeadInfo | None = None
    modifiers: tuple[str, ...] = ()
    appearance: Appearance | None = None
    fronts: tuple[Front, ...] = ()
    aim: str | None = None
    aim_m: np.ndarray | None = None
    power: float | None = None
    bare: Callable[[], Fixture] | None = None
    modifier_stops: float = 0.0
    moment: datetime | None = None

    @property
    def gels(self) -> tuple[str, ...]:
        """Names of the sheets of gel in front of it, from the light outward."""
        return () if self.gel is None else self.gel.sheets


@dataclass(frozen=True, slots=True)
class Probe:
    """A point where a hand meter is held: place (3,) in metres, unit normal (3,), and the region it sits on."""

    name: str
    position_m: np.ndarray
    normal: np.ndarray
    region: str


@dataclass(frozen=True, slots=True)
class White:
    """What the camera takes as white.

    Attributes
    ----------
    words : how sheets and reports say it.
    xyz : tristimulus values with Y = 1; None where the lights of the set decide (`render.white.settled`).
    light : the light that is white, after its gels. card : the meter point at a grey card.
    """

    words: str
    xyz: tuple[float, float, float] | None = None
    light: str | None = None
    card: str | None = None


@dataclass(frozen=True, slots=True)
class Exposure:
    """Camera settings; `white_balance` is "flash", a correlated colour temperature in kelvin, or a white."""

    iso: float
    f_number: float
    shutter_s: float
    white_balance: str | float | White


@dataclass(frozen=True, slots=True)
class Stage:
    """Everything on the set. `landmarks` maps a name to a place (3,) in metres.

    `surroundings` are traced like `shapes` but lie around the set: far ground, what stands at its far side. `panes` are
    the glass of windows, `openings` the ways for light from outside into a room; None without a room or without any.
    `windows` say of each window what whoever rigs the set has to know.
    `set_up` names lights in the order in which the scene wants them set up; empty where it leaves that to custom.
    `notes` say what was done about the set, and ask nothing of anybody.
    """

    title: str
    shapes: tuple[Shape, ...]
    camera: Camera
    lights: tuple[Light, ...]
    probes: tuple[Probe, ...]
    exposure: Exposure
    landmarks: dict[str, np.ndarray]
    warnings: tuple[str, ...]
    nets: tuple[Net, ...] = ()
    surroundings: tuple[Shape, ...] = ()
    panes: tuple[Net, ...] = ()
    openings: Openings | None = None
    windows: tuple[SetWindow, ...] = ()
    haze: Haze | None = None
    pieces: tuple[SetPiece, ...] = ()
    set_up: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
