"""Colours of a light: on white paper and on the sitter, at one lightness, and how far two of them lie apart.

A spectrum becomes XYZ by summation over every nanometre, is adapted from the white the camera is set to (CAT16) to D65,
and is scaled to one lightness, so that only hue and chroma are compared.

References
----------
CIE 015:2018, section 8.2.1 (CIELAB, chroma and hue angle h_ab).
ISO/CIE 11664-6:2014 (CIEDE2000), through colour-science.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import numpy as np

from materials import adapt_matrix, display_matrix, xyz
from materials.finishes import Finish
from scenes.stage import Exposure, Light, Shape, Stage

from ..develop import encode_srgb
from ..gamut import map_to_gamut
from ..look import light_spectrum
from ..white import scene_white

PAPER_LIGHTNESS, SITTER_LIGHTNESS = 72.0, 58.0
"""L* to which every colour on paper and every colour on the sitter is scaled: white paper stays bright, blues stay
blue, and the two parts of a swatch stay apart."""

NEUTRAL_CHROMA = 5.0
"""C*ab under which a colour has no hue worth naming (common practice, no source)."""

METHOD = (
    "Each swatch is a colour of light: the crescent on white paper, on the side it comes from, the disc on the sitter. "
    "Computed as light × gel × reflectance at every nanometre and adapted to the camera's white (CAT16). So that hues "
    f"compare, paper is shown at lightness L* {PAPER_LIGHTNESS:.0f}, the sitter at L* {SITTER_LIGHTNESS:.0f}. dE00 is "
    "the colour difference CIEDE2000: 1 is about the least that one sees side by side. Hues are angles around the "
    "colour circle (CIELAB, D65): 0° rose, 90° yellow, 180° green, 270° blue; between two lights, how far "
    "theirs are apart."
)

_KAPPA, _EPSILON = 24389 / 27, 216 / 24389


@dataclass(frozen=True, slots=True)
class Colour:
    """A colour at a set lightness.

    Attributes
    ----------
    lab : (3,) CIELAB under D65, before any mapping into the display's gamut.
    rgb : (3,) sRGB codes 0 to 255, as shown. mapped : whether sRGB cannot show it, so that it is shown paler.
    """

    lab: np.ndarray
    rgb: tuple[int, int, int]
    mapped: bool

    @property
    def chroma(self) -> float:
        """C*ab."""
        return math.hypot(self.lab[1], self.lab[2])

    @property
    def hue_deg(self) -> float | None:
        """h_ab in degrees, 0 to 360; None for a neutral."""
        if self.chroma < NEUTRAL_CHROMA:
            return None
        return math.degrees(math.atan2(self.lab[2], self.lab[1])) % 360

    @property
    def hexadecimal(self) -> str:
        """As #rrggbb."""
        return "#{:02x}{:02x}{:02x}".format(*self.rgb)


def light_colour(light: Light, exposure: Exposure, reflectance: np.ndarray | None = None) -> Colour | None:
    """Colour of ideal white paper, or of a reflectance (401,), under one light after its gels; None without light."""
    lightness = PAPER_LIGHTNESS if reflectance is None else SITTER_LIGHTNESS
    spectrum = light_spectrum(light)
    seen = xyz(spectrum if reflectance is None else spectrum * reflectance)
    if not seen[1] > 1e-12:
        return None
    adapted = adapt_matrix(scene_white(exposure), _display_white()) @ seen
    return _at_lightness(adapted, lightness) if adapted[1] > 0 else None


@cache
def _display_white() -> np.ndarray:
    white = np.linalg.inv(display_matrix("srgb")) @ np.ones(3)
    white.flags.writeable = False
    return white


def _at_lightness(adapted: np.ndarray, lightness: float) -> Colour:
    tristimulus = adapted / adapted[1] * ((lightness + 16) / 116) ** 3
    lab = to_lab(tristimulus)
    to_rgb = display_matrix("srgb")
    linear = (to_rgb @ tristimulus).astype(np.float32)[:, None]
    shown, moved = map_to_gamut(linear, np.linalg.inv(to_rgb))
    red, green, blue = (int(code) for code in np.round(encode_srgb(shown[:, 0].astype(np.float64)) * 255))
    return Colour(lab, (red, green, blue), bool(moved[0]))


def to_lab(tristimulus: np.ndarray) -> np.ndarray:
    """CIELAB (3,) under D65 of XYZ (3,), Y = 1 for white."""
    share = tristimulus / _display_white()
    f = np.where(share > _EPSILON, np.cbrt(share), (_KAPPA * share + 16) / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def subject_of(stage: Stage) -> Shape:
    """What the light is judged on: the sitter's skin, or the finish of a sitter without skin."""
    sitter = [shape for shape in stage.shapes if shape.name.startswith("sitter.")] or list(stage.shapes)

    def rank(shape: Shape) -> tuple[bool, bool, bool]:
        return not is_skin(shape.finish), shape.region != "face", shape.region != "skin"

    return min(sitter, key=rank)


def is_skin(finish: Finish) -> bool:
    """Whether a finish is one of the skins."""
    return finish.name.endswith(" skin")


def seen_reflectance(finish: Finish) -> np.ndarray:
    """Reflectance (401,) of a finish as an integrating sphere measures it: its coat over its body."""
    coat = finish.coat * finish.f0
    return coat + (1 - coat) * finish.reflectance[0]


def colour_difference(a: np.ndarray, b: np.ndarray) -> float:
    """CIEDE2000 (ISO/CIE 11664-6) of two CIELAB colours (3,)."""
    import colour

    return float(colour.delta_E(np.asarray(a, np.float64), np.asarray(b, np.float64), method="CIE 2000"))


def hue_difference(a: Colour, b: Colour) -> float | None:
    """Difference of the hue angles in degrees, 0 to 180; None where either is neutral."""
    first, second = a.hue_deg, b.hue_deg
    if first is None or second is None:
        return None
    return 180 - abs(180 - abs(first - second))
