"""Opening a photometric file of either kind."""

from __future__ import annotations

from pathlib import Path

from .eulumdat import is_eulumdat, read_eulumdat
from .lm63 import is_lm63, read_lm63
from .photometry import Photometry
from .text import broken, read_lines


def read_photometric(path: Path) -> Photometry:
    """Read an LM-63 (1986, 1991, 1995, 2002, 2019) or EULUMDAT file, told apart by what is in it.

    Multiplier, ballast factor, lamp counts and units are applied, symmetry is unfolded to the full turn, and type A
    and B photometry is converted to type C where that is exact to 0.5 % of the flux and 3 % of the peak. What is odd
    about the file, but leaves its meaning clear, is told in `notes`.

    Raises
    ------
    DataError
        When the file is missing, of neither kind, or broken: as "path:line: what is wrong. Allowed: ... fix".
    """
    lines = read_lines(Path(path))
    if is_lm63(lines):
        return read_lm63(Path(path), lines)
    if is_eulumdat(lines):
        return read_eulumdat(Path(path), lines)
    raise broken(
        Path(path), 1, "this is neither LM-63 (no TILT line) nor EULUMDAT (lines 2 to 7 are not all numbers). Give a "
        "photometric file of one of these kinds."
    )  # fmt: skip
