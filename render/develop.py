"""Developing: from the OLAT set to a picture, by one matrix product and a per-pixel curve."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from materials import KeyfallError, adapt_matrix, display_matrix, make_source, white_point, xyz
from scenes.stage import Exposure, Stage

from .gamut import map_to_gamut
from .look import mid_grey_scale, xyz_weights
from .olat import OlatSet
from .tone import CURVES, apply_curve, clip_level, norm

GAMUTS = {"srgb": "sRGB, the web's and most screens' colours", "p3": "Display P3, wider, for newer screens"}
_SRGB_LEVELS = 65536


@dataclass(frozen=True, slots=True)
class Picture:
    """A developed picture.

    Attributes
    ----------
    linear : (3, H, W) float32, display-linear RGB in [0, 1] of `gamut`.
    clipped : (H, W) bool, where the scene is too bright for the tone curve to show detail.
    mapped : (H, W) bool, where a colour was too saturated for `gamut` and lost chroma (hue and lightness kept).
    """

    linear: np.ndarray
    clipped: np.ndarray
    mapped: np.ndarray
    gamut: str
    curve: str

    def to_8_bit(self) -> np.ndarray:
        """(H, W, 3) uint8 with the sRGB transfer curve (IEC 61966-2-1; Display P3 shares it)."""
        index = (self.linear * (_SRGB_LEVELS - 1) + 0.5).astype(np.uint16)
        return np.ascontiguousarray(_encode_table()[index].transpose(1, 2, 0))

    def to_16_bit(self) -> np.ndarray:
        """(H, W, 3) uint16 with the sRGB transfer curve."""
        encoded = encode_srgb(self.linear.astype(np.float64)) * 65535
        return np.ascontiguousarray(np.round(encoded).astype(np.uint16).transpose(1, 2, 0))


def enlarge(picture: Picture, width: int, height: int) -> Picture:
    """The picture at another size, smoothly interpolated; itself when it has that size already."""
    if picture.clipped.shape == (height, width):
        return picture
    from PIL import Image

    def resized(plane: np.ndarray, method: Image.Resampling) -> np.ndarray:
        return np.asarray(Image.fromarray(plane).resize((width, height), method))

    linear = np.stack([resized(plane, Image.Resampling.BICUBIC) for plane in picture.linear])
    clipped, mapped = (
        resized(mask.astype(np.uint8), Image.Resampling.NEAREST) > 0 for mask in (picture.clipped, picture.mapped)
    )
    return replace(picture, linear=np.clip(linear, 0, 1), clipped=clipped, mapped=mapped)


def encode_srgb(linear: np.ndarray) -> np.ndarray:
    """sRGB transfer curve of values in [0, 1] (IEC 61966-2-1)."""
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 1e-12) ** (1 / 2.4) - 0.055)


_table: np.ndarray | None = None


def _encode_table() -> np.ndarray:
    global _table
    if _table is None:
        codes = encode_srgb(np.linspace(0, 1, _SRGB_LEVELS)) * 255
        _table = np.round(codes).astype(np.uint8)
    return _table


def scene_white(exposure: Exposure) -> np.ndarray:
    """XYZ of the white the camera is set to: that of a 5500 K flash, or of a colour temperature in kelvin."""
    if exposure.white_balance == "flash":
        white = xyz(make_source("flash").spd)
        return white / white[1]
    return white_point(float(exposure.white_balance))


def scene_rgb_matrix(exposure: Exposure, gamut: str) -> np.ndarray:
    """(3, 3) from absolute XYZ (Y in cd s/m2) to white-balanced linear RGB in which mid-grey is 0.18.

    Raises
    ------
    KeyfallError
        For an unknown gamut.
    """
    if gamut not in GAMUTS:
        raise KeyfallError(f"There is no gamut '{gamut}'. Allowed: {', '.join(GAMUTS)}.")
    display = display_matrix(gamut)
    display_white = np.linalg.inv(display) @ np.ones(3)
    return display @ adapt_matrix(scene_white(exposure), display_white) * mid_grey_scale(exposure)


def scene_rgb(olat: OlatSet, stage: Stage, gamut: str = "srgb") -> np.ndarray:
    """White-balanced linear RGB (3, H, W) float32 of the whole set, before any tone curve; may lie outside [0, 1]."""
    weights = xyz_weights(olat.meters, stage) @ scene_rgb_matrix(stage.exposure, gamut).T
    return olat.weighted(weights)


def scene_rgb_each(olat: OlatSet, stage: Stage, gamut: str = "srgb") -> np.ndarray:
    """`scene_rgb` of every light alone, (L, 3, H, W); they add up to it."""
    return olat.weighted_each(xyz_weights(olat.meters, stage) @ scene_rgb_matrix(stage.exposure, gamut).T)


def develop(olat: OlatSet, stage: Stage, *, curve: str = "shoulder", gamut: str = "srgb") -> Picture:
    """Develop the set under the stage's lights, gels, powers and exposure. Nothing is traced.

    Parameters
    ----------
    olat : the traced set of this stage's geometry.
    stage : gives lights and exposure; `render.relight` makes variants.
    curve : "shoulder" or "linear" (see `render.tone.CURVES`); gamut : "srgb" or "p3".

    Raises
    ------
    KeyfallError
        For unknown curve or gamut, or lights that are not the set's.
    """
    if curve not in CURVES:
        raise KeyfallError(f"There is no tone curve '{curve}'. Allowed: {', '.join(CURVES)}.")
    rgb = scene_rgb(olat, stage, gamut)
    shape = rgb.shape
    rgb = rgb.reshape(3, -1)
    rgb_to_xyz = np.linalg.inv(display_matrix(gamut))
    brightness = norm(rgb, rgb_to_xyz[1].astype(np.float32) @ rgb)
    clipped = brightness >= clip_level(curve)
    rgb *= apply_curve(brightness, curve) / np.maximum(brightness, 1e-12)
    rgb, mapped = map_to_gamut(rgb, rgb_to_xyz)
    return Picture(rgb.reshape(shape), clipped.reshape(shape[1:]), mapped.reshape(shape[1:]), gamut, curve)
