"""Developing: from the OLAT set to a picture, by one matrix product and a per-pixel curve."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from materials import KeyfallError, adapt_matrix, display_matrix
from scenes.stage import Exposure, Stage

from .gamut import BARELY, TOLERANCE, above_zero, from_oklab, to_oklab, under_one
from .look import mid_grey_scale, xyz_weights
from .olat import OlatSet
from .tone import CURVES, SHOULDER_START, apply_curve, no_detail, whitening
from .white import scene_white, settled

GAMUTS = {"srgb": "sRGB, the web's and most screens' colours", "p3": "Display P3, wider, for newer screens"}
_SRGB_LEVELS = 65536
_FAINT = 1e-3
"""Share of the brightest luminance below zero that still counts as rounding of the bands' curve."""

_BLOCK_PX = 32768
"""Pixels developed at a time: what is in work stays in the processor's own memory, which is several times faster."""


@dataclass(frozen=True, slots=True)
class Picture:
    """A developed picture.

    Attributes
    ----------
    linear : (3, H, W) float32, display-linear RGB in [0, 1] of `gamut`.
    no_detail : (H, W) bool, where all that is left is white; see `render.tone.no_detail`.
    mapped : (H, W) bool, where a colour was too saturated for `gamut`. It lost chroma, hue and lightness kept; on the
        linear curve its channels below 0 were cut off.
    put_back : share of the pixels whose light was negative or no number and for which the traced light stands.
    """

    linear: np.ndarray
    no_detail: np.ndarray
    mapped: np.ndarray
    gamut: str
    curve: str
    put_back: float = 0.0

    @property
    def warnings(self) -> tuple[str, ...]:
        """What to know of the picture."""
        if not self.put_back:
            return ()
        share = max(100 * self.put_back, 0.01)
        return (f"Developing failed in {share:.2g} % of the picture: those pixels are shown as traced, with noise.",)

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
    if picture.no_detail.shape == (height, width):
        return picture
    from PIL import Image

    def resized(plane: np.ndarray, method: Image.Resampling) -> np.ndarray:
        return np.asarray(Image.fromarray(plane).resize((width, height), method))

    linear = np.stack([resized(plane, Image.Resampling.BICUBIC) for plane in picture.linear])
    lost, mapped = (
        resized(mask.astype(np.uint8), Image.Resampling.NEAREST) > 0 for mask in (picture.no_detail, picture.mapped)
    )
    return replace(picture, linear=np.clip(linear, 0, 1), no_detail=lost, mapped=mapped)


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
    weights = xyz_weights(olat.meters, stage) @ scene_rgb_matrix(settled(stage, olat.meters).exposure, gamut).T
    return olat.weighted(weights)


def scene_rgb_each(olat: OlatSet, stage: Stage, gamut: str = "srgb") -> np.ndarray:
    """`scene_rgb` of every light alone, (L, 3, H, W); they add up to it."""
    exposure = settled(stage, olat.meters).exposure
    return olat.weighted_each(xyz_weights(olat.meters, stage) @ scene_rgb_matrix(exposure, gamut).T)


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
    rgb, put_back = _sound_rgb(olat, stage, gamut)
    display, mapped = to_display(rgb.reshape(3, -1), gamut, curve)
    picture = display.reshape(rgb.shape)
    return Picture(picture, no_detail(picture), mapped.reshape(rgb.shape[1:]), gamut, curve, put_back)


def _sound_rgb(olat: OlatSet, stage: Stage, gamut: str) -> tuple[np.ndarray, float]:
    """`scene_rgb`, finite and nowhere of negative luminance, and the share of pixels for which the traced light had to
    stand in."""
    with np.errstate(all="ignore"):
        rgb = scene_rgb(olat, stage, gamut)
        luminance = np.tensordot(np.linalg.inv(display_matrix(gamut))[1].astype(np.float32), rgb, 1)
        least = -_FAINT * luminance.max(initial=0)
    if luminance.min(initial=0) >= least and np.isfinite(least):  # no number compares false
        return rgb, 0.0
    sound = np.isfinite(rgb).all(axis=0)
    wrong = ~sound | ~(luminance >= -_FAINT * luminance.max(initial=0, where=sound))
    rgb[:, wrong] = np.nan_to_num(scene_rgb(olat.noisy(), stage, gamut)[:, wrong], nan=0, posinf=0, neginf=0)
    return rgb, float(wrong.mean())


def to_display(rgb: np.ndarray, gamut: str = "srgb", curve: str = "shoulder") -> tuple[np.ndarray, np.ndarray]:
    """Tone and gamut: scene-linear RGB of a gamut to display-linear RGB in [0, 1].

    On the shoulder, the largest channel runs through the curve and the colour with it; what the gamut cannot hold loses
    chroma; then, as far as `whitening` says, lightness rises to that of a neutral on the curve and chroma falls, all in
    Oklab at constant hue. In gamut and below the shoulder nothing changes.

    Parameters
    ----------
    rgb : (3, n) float32, mid-grey 0.18, changed in place.

    Returns
    -------
    rgb : the same array; mapped : (n,) bool, see `Picture`.

    Raises
    ------
    KeyfallError
        For an unknown curve.
    """
    if curve not in CURVES:
        raise KeyfallError(f"There is no tone curve '{curve}'. Allowed: {', '.join(CURVES)}.")
    mapped = np.empty(rgb.shape[1], bool)
    rgb_to_xyz = np.linalg.inv(display_matrix(gamut))
    for start in range(0, rgb.shape[1], _BLOCK_PX):
        block = rgb[:, start : start + _BLOCK_PX]
        if curve == "shoulder":
            mapped[start : start + _BLOCK_PX] = _roll_off(block, rgb_to_xyz)
        else:
            mapped[start : start + _BLOCK_PX] = block.min(axis=0) < -TOLERANCE
            np.clip(block, 0, 1, out=block)
    return rgb, mapped


def _roll_off(block: np.ndarray, rgb_to_xyz: np.ndarray) -> np.ndarray:
    """`to_display` on the shoulder of a block (3, n), in place; returns where the gamut took chroma, (n,)."""
    level, least = block.max(axis=0), block.min(axis=0)
    mapped = np.zeros(len(level), bool)
    busy = (level > SHOULDER_START) | (least < -BARELY * level)
    at = np.flatnonzero(busy)
    if len(at):
        most = len(at) > len(busy) / 2  # then all of the block is worked on, which is cheaper than picking
        level = np.maximum(level if most else level.take(at), np.float32(1e-6))
        shown, white = apply_curve(level, "shoulder"), whitening(level)
        colours = (block if most else block.take(at, axis=1)) * (shown / level)
        outside = colours.min(axis=0) * (1 - white) < -TOLERANCE
        above_zero(colours, rgb_to_xyz)
        lab = to_oklab(colours, rgb_to_xyz)
        lab[0] += white * (np.cbrt(shown) - lab[0])
        lab[1:] *= 1 - white
        colours = from_oklab(lab, rgb_to_xyz)
        under_one(colours, rgb_to_xyz)
        if most:
            mapped = busy & outside
            np.copyto(block, colours, where=busy)
        else:
            mapped[at], block[:, at] = outside, colours
    np.clip(block, 0, 1, out=block)
    return mapped
