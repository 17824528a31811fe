"""Reader of EULUMDAT files.

References
----------
Stockmar 1990, EULUMDAT: ein Leuchtendatenformat fuer den europaeischen Beleuchtungsplaner, Licht '90; Stockmar 1998,
EULUMDAT/2, CIBSE National Lighting Conference. Line numbers below are those of that description.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from materials.plain import visible

from .one_a_line import OneALine
from .photometry import Photometry, make_photometry
from .text import Numbers, broken, check_ascending, check_intensities
from .turn import unfold

_SYMMETRIES = {
    0: "none",
    1: "about the axis",
    2: "to the plane C0-C180",
    3: "to the plane C90-C270",
    4: "to both planes",
}
_TURNS = {2: (0, 180), 3: (-90, 90), 4: (0, 90)}
"""First and last plane that a symmetry stores."""

_STEP_ROUNDING = 0.01
_RATIOS = 10
_LAMP_LINES = 6
_FIRST_LAMP = 27


def is_eulumdat(lines: list[str]) -> bool:
    """Whether a text looks like EULUMDAT: whole numbers on lines 2, 3 and 4, numbers on lines 5 to 7."""
    try:
        heads = [float(line.replace(",", ".")) for line in lines[1:7]]
    except ValueError:
        return False
    return len(heads) == 6 and all(value == int(value) for value in heads[:3])


def read_eulumdat(path: Path, lines: list[str]) -> Photometry:
    """Read the lines of an EULUMDAT file, see `scenes.photometric.read_photometric`."""
    at = OneALine(path, lines)
    symmetry = int(at.value(3, "the symmetry Isym"))
    if symmetry not in _SYMMETRIES:
        allowed = ", ".join(f"{key} ({text})" for key, text in _SYMMETRIES.items())
        raise broken(path, 3, f"the symmetry Isym is {symmetry}. Allowed: {allowed}.")
    planes, angles = at.count(4, "the number of planes Mc"), at.count(6, "the number of angles Ng", 2)
    divisor = {2: 2, 3: 4, 4: 4}.get(symmetry, 1)
    if planes % divisor:
        raise broken(
            path, 4, f"{planes} planes cannot be symmetric {_SYMMETRIES[symmetry]}. Allowed: a multiple of {divisor}; "
            "or the symmetry Isym 0 on line 3."
        )  # fmt: skip
    flux, absolute, watts, sets = _lamps(at)
    first = _FIRST_LAMP + _LAMP_LINES * sets + _RATIOS
    c, gamma = at.block(first, planes, "a C angle"), at.block(first + planes, angles, "a gamma angle")
    check_ascending(path, c, "C")
    check_ascending(path, gamma, "gamma")
    stored = _stored_planes(symmetry, c)
    table = at.block(first + planes + angles, len(stored) * angles, "an intensity")
    end = first + planes + angles + len(table)
    if any(line.strip() for line in lines[end - 1 :]):
        raise broken(
            path, end, f"more lines than the {len(table)} intensities that the counts ask for. Correct the symmetry "
            "Isym (line 3), Mc (line 4), Ng (line 6) or the number of lamp sets (line 26), or remove what is too much."
        )  # fmt: skip
    check_intensities(path, table)
    if gamma.values[0] not in (0, 90) or gamma.values[-1] > 180:
        raise broken(
            path, gamma.lines[0], f"gamma angles from {gamma.values[0]:g} to {gamma.values[-1]:g} degrees. Allowed: "
            "from 0 or 90, up to 180. Export the whole range."
        )  # fmt: skip
    factor = at.optional(24, "the conversion factor")
    if factor is not None and factor <= 0:
        raise broken(path, 24, f"a conversion factor of {factor:g}. Allowed: above 0, mostly 1.")
    scale = flux / 1000 * (1.0 if factor is None else factor)
    candela = table.values.reshape(len(stored), angles) * scale
    whole = _full_turn(symmetry, stored, candela)
    if whole is None:
        raise broken(
            path, c.lines[-1], f"C angles from {c.values[0]:g} to {c.values[-1]:g} degrees do not close the turn with "
            f"symmetry {symmetry} ({_SYMMETRIES[symmetry]}). Allowed: planes at 0, 90, 180 and 270 where the symmetry "
            "turns, the last one step before 360. Correct them or the symmetry Isym on line 3."
        )  # fmt: skip
    c_deg, candela, notes = whole
    light_output = at.optional(23, "the light output ratio")
    width, length, height, is_round = _opening(at)
    return make_photometry(
        visible(lines[8].strip() or path.stem), candela, c_deg, gamma.values,
        width_m=width, length_m=length, height_m=height, round=is_round, watts=watts,
        rated_lumens=None if absolute else flux, expected_lumens=flux * light_output / 100 if light_output else None,
        notes=(*notes, *_notes(at, c, gamma, sets)),
    )  # fmt: skip


def _lamps(at: OneALine) -> tuple[float, bool, float | None, int]:
    """Flux of the first set of lamps (lm), whether it is the luminaire's own, watts, and the number of sets."""
    sets = at.count(26, "the number of lamp sets")
    lamps = at.value(_FIRST_LAMP, "the number of lamps")
    flux = at.value(_FIRST_LAMP + 2, "the lamps' flux")
    if flux <= 0:
        raise broken(at.path, _FIRST_LAMP + 2, f"the lamps' flux is {flux:g} lm. Allowed: above 0; intensities are per "
                     "1000 lm of it.")  # fmt: skip
    watts = at.optional(_FIRST_LAMP + 5, "the lamps' watts")
    if watts is not None and watts < 0:
        raise broken(at.path, _FIRST_LAMP + 5, f"{watts:g} watts. Allowed: 0 (unknown) or more.")
    return flux, lamps < 0, watts or None, sets


def _stored_planes(symmetry: int, c: Numbers) -> np.ndarray:
    """C angles (degrees, ascending) of the planes whose intensities the file lists."""
    count, angles = len(c), c.values
    if symmetry == 1:
        return np.zeros(1)
    if symmetry == 2:
        return angles[: count // 2 + 1]
    if symmetry == 3:  # from C270 by C0 to C90
        return np.concatenate([angles[3 * count // 4 :] - 360, angles[: count // 4 + 1]])
    return angles[: count // 4 + 1] if symmetry == 4 else angles


def _full_turn(
    symmetry: int, c_deg: np.ndarray, candela: np.ndarray
) -> tuple[np.ndarray, np.ndarray, list[str]] | None:
    """The stored planes unfolded; None when they do not end where the symmetry turns."""
    if symmetry in _TURNS:
        ends = np.array(_TURNS[symmetry])
        return unfold(c_deg, candela) if np.abs(c_deg[[0, -1]] - ends).max() < _STEP_ROUNDING else None
    if symmetry == 1 or c_deg[-1] > 360 - _STEP_ROUNDING:
        return unfold(c_deg, candela)
    gaps = np.diff(c_deg, append=360.0)  # the last must not hide planes that are missing
    return (c_deg, candela, []) if c_deg[0] == 0 and gaps[-1] <= gaps[:-1].max(initial=0) + _STEP_ROUNDING else None


def _opening(at: OneALine) -> tuple[float, float, float, bool]:
    """Luminous area along C0, along C90 and along the axis (m), and whether it is round (no width)."""
    sizes = [
        at.within(line, what, 0, "0 or more, in millimetres") / 1000
        for line, what in ((16, "the luminous length"), (17, "the luminous width"))
    ]
    heights = [at.optional(line, "a height of the luminous area") or 0.0 for line in range(18, 22)]
    for line, height in zip(range(18, 22), heights, strict=True):
        if height < 0:
            raise broken(at.path, line, f"a height of {height:g} mm. Allowed: 0 or more, in millimetres.")
    length, width = sizes
    is_round = width == 0 and length > 0
    return (length if is_round else width), length, max(heights) / 1000, is_round


def _notes(at: OneALine, c: Numbers, gamma: Numbers, sets: int) -> list[str]:
    notes = []
    if sets > 1:
        notes.append(f"the file lists {sets} sets of lamps; the first is used")
    tilt = at.optional(25, "the tilt")
    if tilt:
        notes.append(f"measured tilted by {tilt:g} degrees; used as listed")
    for line, angles, label in ((5, c, "C"), (7, gamma, "gamma")):
        step = at.optional(line, f"the step of {label}")
        if step and len(angles) > 1 and np.abs(np.diff(angles.values) - step).max() > _STEP_ROUNDING:
            notes.append(
                f"the {label} angles are not {step:g} degrees apart, as line {line} says; they are used as listed"
            )
    return notes
