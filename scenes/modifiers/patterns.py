"""What stands in a projector's gate: irises, slots, a few patterns, and pictures from a file."""

from __future__ import annotations

import io
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from materials.plain import shortened, visible
from materials.reading import NotRead, read_bounded

from .base import Unfit

if TYPE_CHECKING:
    from PIL import Image

SLIDE_CELLS = 256
"""Cells a side of the picture in the beam."""

FINER = 4
"""Points a side of each cell at which an edge is drawn."""

MOST_PICTURE_BYTES = 64_000_000
MOST_PIXELS = 40_000_000
"""Largest picture that is opened: more than any camera's slide needs, and 160 MB in memory."""

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
    from PIL import Image

    shown = visible(shortened(str(path), 120))
    advice = "Names are read relative to the file that holds the modifier; correct it."
    try:
        data = read_bounded(path, MOST_PICTURE_BYTES)
    except NotRead as problem:
        raise Unfit(f"the picture {problem}", "Allowed: a grey PNG file.", advice) from None
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)  # the bound here is a lower one
            file = Image.open(io.BytesIO(data))
        _check_size(*file.size, shown)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what the readers say of odd files, they say to programmers
            picture = _grey(file, shown)
    except (Unfit, MemoryError):
        raise
    except Exception:  # the readers of many formats raise whatever they meet
        message = f"'{shown}' is no picture that can be read, or it is damaged"
        raise Unfit(message, "Allowed: a grey PNG file.", "Save it again as a grey PNG.") from None
    height, width = picture.shape
    scale = SLIDE_CELLS / max(height, width)
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    small = np.asarray(Image.fromarray(picture).resize(size, Image.Resampling.BOX), float)
    values = np.zeros((SLIDE_CELLS, SLIDE_CELLS))
    top, left = (SLIDE_CELLS - size[1]) // 2, (SLIDE_CELLS - size[0]) // 2
    values[top : top + size[1], left : left + size[0]] = small
    if not values.any():
        raise Unfit(f"the picture '{shown}' is black all over", fix="Draw in white what lets light through.")
    return values


def _check_size(width: int, height: int, shown: str) -> None:
    if width < 1 or height < 1 or width * height > MOST_PIXELS:
        raise Unfit(
            f"the picture '{shown}' has {width} x {height} pixels",
            f"Allowed: up to {MOST_PIXELS // 1_000_000} megapixels; {SLIDE_CELLS} x {SLIDE_CELLS} are used.",
            "Make it smaller.",
        )


def _grey(file: Image.Image, shown: str) -> np.ndarray:
    """Grey values 0 to 1 (h, w) float32 of a picture without transparency."""
    if file.mode.startswith("I;16"):
        return (np.asarray(file, float) / 65535).astype(np.float32)
    if file.mode in ("I", "F"):
        return _wide(np.asarray(file, float), file.mode == "F", shown)
    colours = np.asarray(file.convert("RGBA"), np.uint8)
    if (colours[..., 3] < 255).any():
        raise Unfit(f"the picture '{shown}' is partly transparent", "Allowed: grey, opaque.", "Put it on black.")
    if (colours[..., :1] != colours[..., :3]).any():
        raise Unfit(f"the picture '{shown}' is in colour", "Allowed: grey.", "Save it in shades of grey.")
    return (colours[..., 0].astype(float) / 255).astype(np.float32)


def _wide(values: np.ndarray, fractions: bool, shown: str) -> np.ndarray:
    """Grey values of a picture of 32 bits: fractions from 0 to 1, or whole numbers from 0 to 65535."""
    top = 1.0 if fractions else 65535.0
    bad = ~np.isfinite(values) | (values < 0) | (values > top)
    if bad.any():
        raise Unfit(
            f"the picture '{shown}' has 32 bits a pixel and holds the value {values[bad][0]:g}",
            f"Allowed there: 0 to {top:g}, where {top:g} lets all light through.",
            "Save it as a grey picture of 8 or 16 bits.",
        )
    return (values / top).astype(np.float32)
