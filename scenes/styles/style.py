"""Classic portrait key styles, placed from the sitter's own face.

Angles count from the sitter's nose axis and along the face, so a style follows a turned or tipped head. The windows are
common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from materials.errors import KeyfallError

from ..model import Scene
from ..model.scene import role_of
from ..names import nearest


@dataclass(frozen=True, slots=True)
class Style:
    """A key style.

    Attributes
    ----------
    name, description : one word, and one sentence in a photographer's words.
    azimuth_deg, elevation_deg : window of the key from the nose axis, degrees (least, most); azimuth to either side.
    first_deg : azimuth and elevation tried first.
    shadow_deg : window of the nose shadow from straight down, away from the key, degrees; None where none is expected.
    nose_shadow, cheek : what to expect of the nose shadow and of the far cheek, in words.
    triangle : whether a lit triangle on the cheek away from the key belongs to it; None where it does not matter.
    """

    name: str
    description: str
    azimuth_deg: tuple[float, float]
    elevation_deg: tuple[float, float]
    first_deg: tuple[float, float]
    shadow_deg: tuple[float, float] | None
    nose_shadow: str
    cheek: str
    triangle: bool | None = False


STYLES: dict[str, Style] = {
    style.name: style
    for style in (
        Style(
            "butterfly",
            "Key high and straight over the nose: a small even shadow under it, both cheeks alike.",
            (0, 0), (30, 50), (0, 47), (-20, 20),
            "short, straight down under the nose", "both cheeks lit alike, no triangle",
        ),
        Style(
            "loop",
            "Key a little to the side and above: the nose throws a small loop toward the corner of the mouth, "
            "clear of the cheek's own shadow.",
            (30, 45), (25, 40), (36, 32), (15, 75),
            "slanting down away from the key, clear of the cheek's shadow", "far cheek open to the light, no triangle",
        ),
        Style(
            "rembrandt",
            "Key well to the side and high: the nose's shadow meets that of the cheek and leaves a lit triangle under "
            "the far eye.",
            (45, 60), (35, 50), (48, 40), (10, 70),
            "slanting down away from the key, into the cheek's shadow", "a lit triangle under the far eye", True,
        ),
        Style(
            "split",
            "Key square to the nose at the height of the face: one half lit, the other dark.",
            (80, 100), (0, 15), (90, 6), None,
            "lost in the dark half", "far half dark, no triangle",
        ),
        Style(
            "short",
            "Key on the far, narrow side of a turned face: the broad side, toward the camera, falls into shadow and "
            "the face looks slimmer.",
            (30, 60), (25, 45), (38, 32), (15, 75),
            "slanting down toward the camera's side of the face", "the camera's side the darker one, no triangle",
        ),
        Style(
            "broad",
            "Key on the near, broad side of a turned face: the side toward the camera is lit, the narrow one falls "
            "into shadow.",
            (30, 60), (25, 45), (38, 32), (15, 75),
            "slanting down toward the far side of the face", "the camera's side the brighter one, no triangle",
        ),
        Style(
            "clamshell",
            "Key high over the nose and a fill or white board under the chin: soft from above and below, few shadows.",
            (0, 0), (30, 45), (0, 44), (-20, 20),
            "short, straight down, lifted by the light from under", "both cheeks lit alike, no triangle",
        ),
        Style(
            "profile-rim",
            "Face in profile and key behind it: the line of forehead, nose and chin burns, the rest stays dark.",
            (45, 85), (0, 45), (62, 12), None,
            "away from the camera", "the camera's side dark but for the edge", None,
        ),
    )
}  # fmt: skip
"""Key styles by name."""

UNDER_DEG = (-45.0, -30.0)
"""Elevation window of the fill under a clamshell, degrees (common practice, no source)."""

STRAIGHT_DEG = 3.0
"""A key nearer the nose axis than this is on neither side."""

TURNED_DEG = 15.0
"""From this turn away from the camera a face has a broad and a narrow side."""

THREE_QUARTER_DEG = 30.0
"""Turn given to a face that a style wants turned, degrees."""


@dataclass(frozen=True, slots=True)
class StyledScene:
    """A scene with its key in a style.

    Attributes
    ----------
    tables : as a TOML reader gives them. key : name of the key light.
    notes : what else was changed, in plain sentences.
    """

    tables: dict[str, Any]
    key: str
    notes: tuple[str, ...]


def style_named(name: str) -> Style:
    """The style of that name.

    Raises
    ------
    KeyfallError
        When there is none.
    """
    if name in STYLES:
        return STYLES[name]
    close = nearest(name, STYLES)
    hint = f" Did you mean {close}?" if close else ""
    raise KeyfallError(f"There is no key style '{name}'.{hint} Allowed: {', '.join(STYLES)}.")


def key_of(scene: Scene, key: str | None = None) -> str:
    """Name of the light that a style moves: the one named, else the first with the role key.

    Raises
    ------
    KeyfallError
        When there is no such light, or it cannot be moved.
    """
    if key is None:
        key = next((name for name, light in scene.light.items() if role_of(name, light) == "key"), None)
        if key is None:
            raise KeyfallError(
                f"This scene has no key light. Lights: {', '.join(scene.light)}. "
                'Write role = "key" in the one that shapes the face, or name it.'
            )
    if key not in scene.light:
        close = nearest(key, scene.light)
        hint = f" Did you mean {close}?" if close else ""
        raise KeyfallError(f"There is no light '{key}' in this scene.{hint} Lights: {', '.join(scene.light)}.")
    shape = scene.light[key].shape
    if scene.light[key].far():
        what = {"sun": "is the sun", "sky": "is the sky"}.get(str(shape), "is ambient light")
        raise KeyfallError(
            f"The light '{key}' {what}, which no one can move. A key style needs a light on a stand: "
            "name another light, or add one."
        )
    return key


def spots(style: Style, side: int) -> Iterator[tuple[float, float]]:
    """Azimuths (positive: to the sitter's left) and elevations in a style's window, nearest to its first choice first.

    Parameters
    ----------
    side : 1 for the sitter's left, -1 for the right.
    """
    (low, high), (bottom, top) = style.azimuth_deg, style.elevation_deg
    step = 5.0
    azimuths = [low + step * k for k in range(int((high - low) / step) + 1)]
    elevations = [bottom + step * k for k in range(int((top - bottom) / step) + 1)]
    places = {style.first_deg, *((a, e) for a in azimuths for e in elevations)}
    near = sorted(places, key=lambda p: (math.hypot(p[0] - style.first_deg[0], p[1] - style.first_deg[1]), p))
    for azimuth, elevation in near:
        yield side * azimuth, elevation
