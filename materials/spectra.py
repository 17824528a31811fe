"""Spectra on one grid, the standard observer, and the step from a spectrum to XYZ.

Every spectrum in Keyfall is 401 float64 values at `WAVELENGTHS_NM`.

References
----------
CIE 015:2018, Colorimetry, section 7.1 (tristimulus values by summation at 1 nm).
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np

from .errors import DataError
from .plain import hidden_character, shortened, visible
from .reading import MISSING, MOST_TEXT_BYTES, NotRead, read_bounded

WAVELENGTHS_NM: np.ndarray = np.arange(380.0, 781.0)
WAVELENGTHS_NM.flags.writeable = False

KM_LM_PER_W = 683.002
"""Luminous efficacy of 555 nm radiation for the CIE observer, lm/W (CIE 018:2019)."""

_DATA = Path(__file__).parent / "data"


@cache
def colour_matching() -> np.ndarray:
    """CIE 1931 2 degree colour-matching functions, (401, 3), read-only."""
    matching = np.loadtxt(_DATA / "observer.csv", delimiter=",", skiprows=2)[:, 1:]
    matching.flags.writeable = False
    return matching


def luminance_weight() -> np.ndarray:
    """Lumens per watt at each wavelength, (401,): `KM_LM_PER_W` times y-bar."""
    return KM_LM_PER_W * colour_matching()[:, 1]


def xyz(spd: np.ndarray) -> np.ndarray:
    """Tristimulus values of spectra.

    Parameters
    ----------
    spd : (..., 401) radiometric quantity per nm (W/nm, or W/m2/nm and so on).

    Returns
    -------
    (..., 3), Y in the matching photometric unit (lm, lx, ...): a source of one lumen has Y = 1.
    """
    return KM_LM_PER_W * (np.asarray(spd, np.float64) @ colour_matching())


def chromaticity(spd: np.ndarray) -> tuple[float, float]:
    """CIE 1931 x, y of one spectrum (401,)."""
    x, y, z = (float(v) for v in xyz(spd))
    return x / (x + y + z), y / (x + y + z)


def resample(wavelength_nm: np.ndarray, values: np.ndarray, name: str) -> np.ndarray:
    """Bring a measured spectrum to `WAVELENGTHS_NM` by straight lines, as CIE 015 does for illuminants.

    A spectrum measured in steps under a nanometre is averaged over each whole one instead, so that no line falls
    between two of them.

    Parameters
    ----------
    wavelength_nm : (n,) strictly increasing, from at most 380 to at least 780.
    values : (n,) or (n, k).
    name : what it is, for the error's sentence.

    Returns
    -------
    (401,) or (401, k).

    Raises
    ------
    DataError
        Too few, unordered, non-finite or missing wavelengths. Nothing is extrapolated.
    """
    nm, table = np.asarray(wavelength_nm, np.float64), np.asarray(values, np.float64)
    if nm.ndim != 1 or len(nm) < 2 or len(table) != len(nm):
        raise DataError(f"{name} needs at least two wavelengths and one value for each.")
    if not (np.isfinite(nm).all() and np.isfinite(table).all()):
        raise DataError(f"{name} holds a value that is not a finite number. Remove or correct it.")
    if (np.diff(nm) <= 0).any():
        raise DataError(f"The wavelengths of {name} must increase from line to line. Sort them and remove doubles.")
    if nm[0] > WAVELENGTHS_NM[0] or nm[-1] < WAVELENGTHS_NM[-1]:
        raise DataError(
            f"{name} covers {nm[0]:g} to {nm[-1]:g} nm; 380 to 780 nm is needed and nothing is made up beyond "
            "the data. Extend it."
        )
    bring = _averaged if np.diff(nm).min() < 1 - 1e-6 else _interpolated
    return bring(nm, table) if table.ndim == 1 else np.stack([bring(nm, column) for column in table.T], axis=1)


def _interpolated(nm: np.ndarray, column: np.ndarray) -> np.ndarray:
    return np.interp(WAVELENGTHS_NM, nm, column)


def _averaged(nm: np.ndarray, column: np.ndarray) -> np.ndarray:
    """Means over half a nanometre to either side of straight lines through the data, exactly."""
    edges = np.clip(np.append(WAVELENGTHS_NM - 0.5, WAVELENGTHS_NM[-1] + 0.5), nm[0], nm[-1])
    grid = np.union1d(nm, edges)
    value = np.interp(grid, nm, column)
    whole = np.concatenate([[0.0], np.cumsum(np.diff(grid) * (value[1:] + value[:-1]) / 2)])
    return np.diff(np.interp(edges, grid, whole)) / np.diff(edges)


def smooth_curve(wavelength_nm: list[float] | np.ndarray, values: list[float] | np.ndarray) -> np.ndarray:
    """Smooth curve (401,) through a few control points, level beyond them, never outside their range.

    Monotone cubic pieces (Fritsch and Carlson 1980, with the three-point harmonic slopes of Fritsch and
    Butland 1984), so a curve between reflectances of 0 and 1 stays there.
    """
    nm, value = np.asarray(wavelength_nm, np.float64), np.asarray(values, np.float64)
    step, secant = np.diff(nm), np.diff(value) / np.diff(nm)
    slope = np.zeros_like(value)
    if len(nm) > 2:
        left, right = 2 * step[1:] + step[:-1], step[1:] + 2 * step[:-1]
        same = secant[1:] * secant[:-1] > 0
        a, b = np.where(same, secant[:-1], 1.0), np.where(same, secant[1:], 1.0)
        slope[1:-1] = np.where(same, (left + right) * a * b / (left * b + right * a), 0.0)
    x = np.clip(WAVELENGTHS_NM, nm[0], nm[-1])
    cell = np.clip(np.searchsorted(nm, x, side="right") - 1, 0, len(step) - 1)
    h, t = step[cell], (x - nm[cell]) / step[cell]
    return (
        value[cell] * (1 + 2 * t) * (1 - t) ** 2
        + value[cell + 1] * t * t * (3 - 2 * t)
        + h * (slope[cell] * t * (1 - t) ** 2 + slope[cell + 1] * t * t * (t - 1))
    )


def read_csv_spectrum(path: Path) -> np.ndarray:
    """Read a two-column CSV (wavelength in nm, value), (401,).

    Lines that are empty or start with # are skipped, and one line of column titles may come first.

    Raises
    ------
    DataError
        With file and line when the file is missing, unreadable, or a line is not two finite numbers.
    """
    nm: list[float] = []
    values: list[float] = []
    titles_allowed = True
    for number, line in enumerate(_lines(path), start=1):
        text = line.strip()
        if not text or text.startswith("#"):
            continue
        cells = [cell.strip() for cell in text.replace(";", ",").split(",")]
        if titles_allowed and not any(_is_number(cell) for cell in cells):
            titles_allowed = False
            continue
        titles_allowed = False
        nm_value = _two_numbers(cells, f"{path}:{number}")
        if nm and nm_value[0] <= nm[-1]:
            raise DataError(
                f"{path}:{number}: wavelength {nm_value[0]:g} nm does not follow {nm[-1]:g} nm. "
                "Wavelengths must increase from line to line."
            )
        nm.append(nm_value[0])
        values.append(nm_value[1])
    if not nm:
        raise DataError(
            f"{path} holds no numbers. Each line must give a wavelength in nm and a value, as in '550,0.83'."
        )
    return resample(np.array(nm), np.array(values), str(path))


def _lines(path: Path) -> list[str]:
    shown = visible(str(path))
    try:
        data = read_bounded(path, MOST_TEXT_BYTES)
    except NotRead as problem:
        if problem.kind == MISSING:
            raise DataError(
                f"There is no file {shown}. Check its name; it is looked for relative to the scene file."
            ) from None
        raise DataError(f"{problem}. Name a plain CSV file.") from None
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        line = data.count(b"\n", 0, problem.start) + 1
        raise DataError(
            f"{shown}:{line}: cannot be read as text: this line is not UTF-8. Save it as a plain CSV file in UTF-8."
        ) from None
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    for number, text in enumerate(lines, start=1):
        held = hidden_character(text.replace("\t", " "))
        if held is not None:
            raise DataError(f"{shown}:{number}: this line holds {held}. Remove it.")
    return lines


def _is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True


def _two_numbers(cells: list[str], place: str) -> tuple[float, float]:
    wanted = "Allowed: a wavelength in nm and a value, as in '550,0.83'."
    shown = shortened(",".join(cells))
    if len(cells) != 2:
        raise DataError(f"{place}: {len(cells)} columns, but two are needed. {wanted}")
    if not all(_is_number(cell) for cell in cells):
        raise DataError(f"{place}: '{shown}' is not two numbers. {wanted}")
    first, second = float(cells[0]), float(cells[1])
    if not (np.isfinite(first) and np.isfinite(second)):
        raise DataError(f"{place}: '{shown}' is not finite. {wanted}")
    return first, second
