"""Picture files: ICC-tagged PNG, 16-bit TIFF, and linear OpenEXR with one layer a light."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from scenes.stage import Stage

from .develop import Picture, scene_rgb_each
from .icc import icc_profile
from .olat import OlatSet


def write_png(path: Path, picture: Picture) -> None:
    """8-bit PNG tagged with its gamut's ICC profile."""
    write_pixels(path, picture.to_8_bit(), picture.gamut)


def write_pixels(path: Path, pixels: np.ndarray, gamut: str = "srgb") -> None:
    """Codes (h, w, 3) uint8 of a gamut as a PNG tagged with its ICC profile."""
    from PIL import Image

    Image.fromarray(pixels).save(path, format="PNG", icc_profile=icc_profile(gamut), compress_level=4)


def write_tiff(path: Path, picture: Picture) -> None:
    """16-bit TIFF tagged with its gamut's ICC profile."""
    import tifffile

    tifffile.imwrite(
        path, picture.to_16_bit(), photometric="rgb", iccprofile=icc_profile(picture.gamut), compression="zlib"
    )


def write_exr(path: Path, olat: OlatSet, stage: Stage) -> None:
    """Linear OpenEXR, Rec. 709 primaries, white-balanced, mid-grey at 0.18: the sum, and a layer for each light.

    The layers add up to the sum; a switched-off light's layer is black.
    """
    import OpenEXR

    channels: dict[str, np.ndarray] = {}
    for name, planes in zip(olat.names, scene_rgb_each(olat, stage), strict=True):
        for letter, plane in zip("RGB", planes, strict=True):
            channels[f"{name}.{letter}"] = np.ascontiguousarray(plane)
    for letter in "RGB":
        channels[letter] = np.asarray(np.sum([channels[f"{name}.{letter}"] for name in olat.names], axis=0), np.float32)
    header = {"compression": OpenEXR.ZIP_COMPRESSION, "type": OpenEXR.scanlineimage}
    OpenEXR.File(header, channels).write(str(path))
