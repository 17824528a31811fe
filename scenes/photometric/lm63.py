"""Reader of LM-63 files, the editions of 1986, 1991, 1995, 2002 and 2019.

References
----------
ANSI/IES LM-63-19, ANSI/IESNA LM-63-02, IESNA LM-63-95, -91 and -86: Standard file format for the electronic transfer
of photometric data. Opening shapes: table 1 of the editions of 1995 and 2002 (signs of width, length and height).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from materials.plain import visible

from .lm63_header import FIRST_LINE, TILT, edition_of, name_of, opening, read_header, read_tilt
from .photometry import Photometry, make_photometry
from .planes import INEXACT, to_type_c
from .text import Numbers, broken, check_ascending, check_intensities, stream
from .turn import unfold


def is_lm63(lines: list[str]) -> bool:
    """Whether a text is an LM-63 file: it has a TILT line, or its first line says so."""
    return bool(lines and FIRST_LINE.match(lines[0])) or any(TILT.match(line) for line in lines)


def read_lm63(path: Path, lines: list[str]) -> Photometry:
    """Read the lines of an LM-63 file, see `scenes.photometric.read_photometric`."""
    edition = edition_of(path, lines)
    tilt_at = next((i for i, line in enumerate(lines) if TILT.match(line)), None)
    if tilt_at is None:
        raise broken(path, len(lines), "no TILT line. Allowed: TILT=NONE or TILT=INCLUDE before the numbers; add it.")
    numbers = stream(path, lines, tilt_at + 1)
    notes = read_tilt(path, lines[tilt_at], tilt_at + 1, numbers)
    header = read_header(path, numbers, edition)
    vertical = numbers.take(header.vertical, "vertical angles")
    horizontal = numbers.take(header.horizontal, "horizontal angles")
    table = numbers.take(header.vertical * header.horizontal, "intensities")
    numbers.finish()
    check_ascending(path, vertical, "vertical")
    check_ascending(path, horizontal, "horizontal")
    check_intensities(path, table)
    candela = table.values.reshape(header.horizontal, header.vertical) * header.scale
    spread = _type_c if header.kind == "C" else _other_type
    c_deg, gamma_deg, candela, more = spread(path, header.kind, horizontal, vertical, candela)
    width, length, height, is_round = opening(header.signed_m, edition, header.kind)
    return make_photometry(
        visible(name_of(lines[:tilt_at]) or path.stem), candela, c_deg, gamma_deg,
        width_m=width, length_m=length, height_m=height, round=is_round,
        rated_lumens=header.rated_lumens, watts=header.watts, notes=(*notes, *header.notes, *more),
    )  # fmt: skip


def _type_c(
    path: Path, kind: str, horizontal: Numbers, vertical: Numbers, candela: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray, list[str]]:
    gamma = vertical.values
    for at, wrong in ((0, gamma[0] not in (0, 90)), (-1, gamma[-1] > 180)):
        if wrong:
            raise broken(
                path, vertical.lines[at], f"vertical angles from {gamma[0]:g} to {gamma[-1]:g} degrees. Allowed for "
                "type C: from 0 or 90, up to 180. Export the whole range."
            )  # fmt: skip
    if len(gamma) < 2:
        raise broken(path, vertical.lines[0], "one vertical angle only. Allowed: at least two. Export the whole range.")
    whole = unfold(horizontal.values, candela)
    if whole is None:
        raise broken(
            path, horizontal.lines[-1], f"horizontal angles from {horizontal.values[0]:g} to "
            f"{horizontal.values[-1]:g} degrees leave the rest of the turn unknown. Allowed for type C: 0 alone, 0 to "
            "90, 0 to 180, 90 to 270, or 0 to 360. Export the whole turn."
        )  # fmt: skip
    c_deg, candela, notes = whole
    return c_deg, gamma, candela, notes


def _other_type(
    path: Path, kind: str, horizontal: Numbers, vertical: Numbers, candela: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray, list[str]]:
    h, v = horizontal.values, vertical.values
    if len(v) < 2 or v[0] < -90 or v[0] >= 0 or v[-1] > 90 or v[-1] <= 0:
        raise broken(
            path, vertical.lines[0], f"vertical angles from {v[0]:g} to {v[-1]:g} degrees leave it open what the other "
            f"half looks like. Allowed for type {kind}: from below 0 to above 0, within -90 to 90. Export it as type C."
        )  # fmt: skip
    if len(h) < 2 or h[0] < -90 or h[0] > 0 or h[-1] > 90 or h[-1] <= 0:
        raise broken(
            path, horizontal.lines[0], f"horizontal angles from {h[0]:g} to {h[-1]:g} degrees. Allowed for type "
            f"{kind}: from 0 (the left is the mirror of the right) or from below 0, up to 90. Export it as type C."
        )  # fmt: skip
    if h[0] == 0:
        h, candela = np.concatenate([-h[:0:-1], h]), np.concatenate([candela[:0:-1], candela])
    converted = to_type_c(kind, h, v, candela)
    if converted is None:
        raise broken(path, horizontal.lines[0], f"type {kind} photometry {INEXACT}. Export it as type C.")
    c_deg, gamma_deg, candela = converted
    return c_deg, gamma_deg, candela, [f"type {kind} photometry, converted to type C"]
