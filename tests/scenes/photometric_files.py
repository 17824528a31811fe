"""Photometric files for tests, written from intensities by direction."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from scenes.photometric import Photometry, read_photometric

GAMMA = tuple(range(0, 91, 5))
TURN = tuple(range(0, 360, 15))

Intensity = Callable[[np.ndarray, np.ndarray], np.ndarray]
"""Candela by C and gamma (degrees)."""


def read_text(folder: Path, content: str | bytes | list[str], name: str = "test.ies") -> Photometry:
    """Write a file (lines end with CR LF) and read it."""
    if isinstance(content, list):
        content = "\r\n".join(content)
    path = folder / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return read_photometric(path)


def mirrored_c(c_deg: np.ndarray, planes: str) -> np.ndarray:
    """Azimuth on the half or quarter that a symmetric luminaire repeats."""
    c = np.asarray(c_deg, float) % 360
    if planes in ("half", "quarter"):
        c = np.where(c > 180, 360 - c, c)
    if planes == "quarter":
        c = np.where(c > 90, 180 - c, c)
    if planes == "rear half":
        c = np.where((c < 90) | (c > 270), (180 - c) % 360, c)
    if planes == "upright":
        c = np.where((c > 90) & (c < 270), (180 - c) % 360, c)
    return c


def lopsided(c_deg: np.ndarray, gamma_deg: np.ndarray) -> np.ndarray:
    """A beam with no symmetry at all: it leans to C20 and is wider upward."""
    c, g = np.radians(c_deg), np.radians(gamma_deg)
    return (
        1000 * np.cos(g / 2) ** 4 * (1 + 0.5 * np.sin(g) * np.cos(c - np.radians(20)) + 0.2 * np.sin(g) * np.sin(2 * c))
    )


def table(intensity: Intensity, c_deg: Sequence[float], gamma_deg: Sequence[float]) -> np.ndarray:
    """Candela (c, g)."""
    return intensity(np.asarray(c_deg, float)[:, None], np.asarray(gamma_deg, float)[None, :])


def ies(
    horizontal: Sequence[float] = (0,),
    vertical: Sequence[float] = (0, 30, 60, 90),
    candela: np.ndarray | Sequence[Sequence[float]] = ((100, 80, 40, 0),),
    *,
    first: str | None = "IESNA:LM-63-2002",
    keywords: Sequence[str] = (),
    tilt: str = "TILT=NONE",
    lamps: str = "1 -1",
    multiplier: float = 1,
    kind: int = 1,
    units: int = 2,
    size: Sequence[float] = (0.3, 0.2, 0),
    ballast: str = "1 1 50",
) -> str:
    """The text of an LM-63 file."""
    counts = f"{lamps} {multiplier:g} {len(vertical)} {len(horizontal)} {kind} {units}"
    return "\n".join(
        [
            *([] if first is None else [first]),
            *keywords,
            tilt,
            f"{counts} {' '.join(f'{s:g}' for s in size)}",
            ballast,
            " ".join(f"{v:g}" for v in vertical),
            " ".join(f"{h:g}" for h in horizontal),
            *(" ".join(f"{v:.6f}" for v in row) for row in np.asarray(candela, float)),
            "",
        ]
    )


def ldt(
    symmetry: int = 1,
    c_deg: Sequence[float] = (0,),
    gamma_deg: Sequence[float] = (0, 30, 60, 90),
    candela: np.ndarray | Sequence[Sequence[float]] = ((100, 80, 40, 0),),
    *,
    sizes_mm: Sequence[float] = (300, 200, 0, 0, 0, 0),
    output_percent: str = "",
    factor: str = "1",
    tilt: str = "0",
    lamps: Sequence[str] = ("1", "LED", "1000", "", "", "50"),
    sets: int = 1,
) -> list[str]:
    """The lines of an EULUMDAT file; `candela` per 1000 lm, of the planes that the symmetry stores."""
    return [
        "made for a test",
        "1" if symmetry == 1 else "3",
        str(symmetry),
        str(len(c_deg)),
        "0",
        str(len(gamma_deg)),
        "0",
        "",
        "Test luminaire",
        "",
        "test",
        "",
        *("0", "0", "0"),
        *(f"{size:g}" for size in sizes_mm),
        "",
        output_percent,
        factor,
        tilt,
        str(sets),
        *(list(lamps) * sets),
        *(["0"] * 10),
        *(f"{c:g}" for c in c_deg),
        *(f"{g:g}" for g in gamma_deg),
        *(f"{v:.6f}" for row in np.asarray(candela, float) for v in row),
    ]
