"""What stands in a projector's gate: irises, slots, a few patterns, and pictures from a file."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np

from .base import Unfit

SLIDE_CELLS = 256
"""Cells a side of the picture in the beam."""

FINER = 4
"""Points a side of each cell at which an edge is drawn."""

_DAPPLE_SEED, _DAPPLES = 20, 70


def _points() -> tuple[np.ndarray, np.ndarray]:
    """Points of the gate, x and y from -1 to 1, top row first."""
    count = SLIDE_CELLS * FINER
    middle = ((np.arange(count) + 0.5) / count * 2 - 1).astype(np.float32)
    x, y = np.meshgrid(middle, -middle, sparse=True)
    return x, y


def _picture(open_: np.ndarray) -> np.ndarray:
    """Share (256, 256) float32 of each cell that is open."""
    full = np.broadcast_to(open_, (SLIDE_CELLS * FINER,) * 2)
    return full.reshape(SLIDE_CELLS, FINER, SLIDE_CELLS, FINER).mean(axis=(1, 3), dtype=np.float32)


def iris(share: float) -> np.ndarray:
    """A round opening of a share of the gate's diameter."""
    x, y = _points()
    return _picture(np.hypot(x, y) <= share)


def slot(width: float, height: float) -> np.ndarray:
    """A rectangular opening, sides relative to the gate's diameter."""
    x, y = _points()
    return _picture((np.abs(x) <= width) & (np.abs(y) <= height))


def blinds() -> np.ndarray:
    """Light between eight level slats."""
    _, y = _points()
    return _picture((y * 4) % 1 < 0.55)


def panes() -> np.ndarray:
    """Two by three window panes."""
    x, y = _points()
    across = (np.abs(x) > 0.05) & (np.abs(x) < 0.5)
    return _picture(across & (np.abs(np.abs(y) - 0.27) > 0.045) & (np.abs(y) < 0.78))


def dapple() -> np.ndarray:
    """Patches of light as under leaves: round holes of many sizes, always the same."""
    x, y = _points()
    rng = np.random.default_rng(_DAPPLE_SEED)
    open_ = np.zeros((SLIDE_CELLS * FINER,) * 2, bool)
    for left, up, size in rng.uniform((-1, -1, 0.03), (1, 1, 0.14), (_DAPPLES, 3)):
        open_ |= np.hypot(x - left, y - up) <= size
    return _picture(open_)


PATTERNS: dict[str, Callable[[], np.ndarray]] = {"blinds": blinds, "panes": panes, "dapple": dapple}
"""Patterns that need no file."""


def read_pattern(path: Path) -> np.ndarray:
    """A grey picture as what it lets through, (256, 256): white 1, black 0, in proportion; the longer side fills it.

    Raises
    ------
    Unfit
        When the file is missing, no picture, or in colour.
    """
    from PIL import Image, UnidentifiedImageError

    advice = "Names are read relative to the file that holds the modifier; correct it."
    if not path.is_file():
        raise Unfit(f"the picture '{path}' does not exist", fix=advice)
    try:
        with Image.open(path) as file:
            file.load()
            picture = _grey(file, path)
    except (UnidentifiedImageError, OSError, ValueError, Image.DecompressionBombError) as problem:
        raise Unfit(f"the picture '{path}' cannot be read: {problem}", "Allowed: a grey PNG file.", advice) from None
    height, width = picture.shape
    scale = SLIDE_CELLS / max(height, width)
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    small = np.asarray(Image.fromarray(picture).resize(size, Image.Resampling.BOX), float)
    values = np.zeros((SLIDE_CELLS, SLIDE_CELLS))
    top, left = (SLIDE_CELLS - size[1]) // 2, (SLIDE_CELLS - size[0]) // 2
    values[top : top + size[1], left : left + size[0]] = small
    if not values.any():
        raise Unfit(f"the picture '{path}' is black all over", fix="Draw in white what lets light through.")
    return values


def _grey(file: object, path: Path) -> np.ndarray:
    """Grey values 0 to 1 (h, w) float32 of a picture without transparency."""
    from PIL import Image

    assert isinstance(file, Image.Image)
    if file.mode.startswith("I"):
        return (np.asarray(file, float) / 65535).astype(np.float32)
    colours = np.asarray(file.convert("RGBA"), np.uint8)
    if (colours[..., 3] < 255).any():
        raise Unfit(f"the picture '{path}' is partly transparent", "Allowed: grey, opaque.", "Put it on black.")
    if (colours[..., :1] != colours[..., :3]).any():
        raise Unfit(f"the picture '{path}' is in colour", "Allowed: grey.", "Save it in shades of grey.")
    return (colours[..., 0].astype(float) / 255).astype(np.float32)
