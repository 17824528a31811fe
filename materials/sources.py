"""Light sources as spectra of one lumen.

References
----------
CIE 015:2018, Colorimetry, tables 5, 10 and 12 (illuminants).
ISO 7589:2002, Illuminants for sensitometry (photographic daylight, studio tungsten; 350 to 690 nm).
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from .errors import DataError, KeyfallError, unknown_name
from .locus import beside_locus, correlated_colour_temperature, daylight, planck
from .spectra import WAVELENGTHS_NM, read_csv_spectrum, resample, xyz

_DATA = Path(__file__).parent / "data"

SOURCE_KINDS: dict[str, str] = tomllib.loads((_DATA / "sources.toml").read_text(encoding="utf-8"))
"""Every kind `make_source` takes, and what it is."""

FLASH_CCT_K = 5500.0
TUNGSTEN_CCT_K = 3200.0
_CCT_RANGE_K = {
    "flash": (3000, 15000),
    "daylight": (4000, 25000),
    "blackbody": (1000, 25000),
    "tungsten": (2000, 6000),
}
_WHITE_RANGE_K = (1000, 25000)
_DAYLIGHT_FROM_K, _DAYLIGHT_FULL_K = 4000.0, 5000.0


@dataclass(frozen=True, slots=True)
class Source:
    """A light's spectrum.

    Attributes
    ----------
    name, description : for lists and reports.
    spd : (401,) W/nm of one lumen, so that ``xyz(spd)[1] == 1``.
    """

    name: str
    description: str
    spd: np.ndarray


def make_source(kind: str, cct_k: float | None = None, csv: Path | None = None) -> Source:
    """A source by kind.

    Parameters
    ----------
    kind : one of `SOURCE_KINDS`.
    cct_k : correlated colour temperature in kelvin, for "flash" (5500 if left out), "tungsten" (3200 if left
        out), "daylight" and "blackbody"; no other kind takes one.
    csv : the file of kind "csv".

    Raises
    ------
    UnknownName
        For a kind that does not exist.
    KeyfallError
        When the colour temperature or the file is missing, out of range or not wanted.
    DataError
        When the file is broken, negative anywhere, or dark.
    """
    if kind not in SOURCE_KINDS:
        raise unknown_name("source", kind, SOURCE_KINDS)
    if kind == "csv":
        return _measured(cct_k, csv)
    if csv is not None:
        raise KeyfallError(f"The source '{kind}' takes no file. Use the source 'csv', or leave the file out.")
    if kind not in _CCT_RANGE_K:
        if cct_k is not None:
            raise KeyfallError(
                f"The source '{kind}' has a fixed colour. Leave cct_k out, or use one of {', '.join(_CCT_RANGE_K)}."
            )
        return _source(kind, SOURCE_KINDS[kind], _illuminants()[kind])
    return _tuned(kind, cct_k)


def _tuned(kind: str, cct_k: float | None) -> Source:
    preset = {"flash": FLASH_CCT_K, "tungsten": TUNGSTEN_CCT_K}.get(kind)
    wanted = preset if cct_k is None else float(cct_k)
    low, high = _CCT_RANGE_K[kind]
    if wanted is None:
        raise KeyfallError(f"The source '{kind}' needs cct_k, its colour temperature: {low} to {high} K.")
    _check_cct(wanted, low, high, f"The source '{kind}'")
    shapes = {"daylight": daylight, "blackbody": planck, "flash": _flash, "tungsten": _tungsten}
    return _source(f"{kind} {wanted:g} K", f"{kind}, {wanted:g} K", shapes[kind](wanted))


def _check_cct(cct_k: float, low: float, high: float, subject: str) -> None:
    if not (np.isfinite(cct_k) and low <= cct_k <= high):
        raise KeyfallError(
            f"{subject} cannot have a colour temperature of {cct_k:g} K. Allowed: {low:g} to {high:g} K."
        )


def _measured(cct_k: float | None, csv: Path | None) -> Source:
    if csv is None:
        raise KeyfallError("The source 'csv' needs a file of wavelengths and powers.")
    if cct_k is not None:
        raise KeyfallError("A measured source has its own colour. Leave cct_k out.")
    spd = read_csv_spectrum(csv)
    if (spd < 0).any():
        raise DataError(f"{csv}: a source cannot have negative power (at {_where(spd < 0)} nm). Correct the file.")
    if xyz(spd)[1] <= 0:
        raise DataError(f"{csv}: this source gives no visible light. Some power between 380 and 780 nm is needed.")
    return _source(Path(csv).stem, "measured spectrum", spd)


def _where(mask: np.ndarray) -> str:
    return f"{WAVELENGTHS_NM[int(np.argmax(mask))]:g}"


def _source(name: str, description: str, shape: np.ndarray) -> Source:
    spd = shape / xyz(shape)[1]
    spd.flags.writeable = False
    return Source(name, description, spd)


@cache
def _illuminants() -> dict[str, np.ndarray]:
    path = _DATA / "illuminants.csv"
    names = path.read_text(encoding="utf-8").splitlines()[1].split(",")[1:]
    table = np.loadtxt(path, delimiter=",", skiprows=2)
    values = resample(table[:, 0], table[:, 1:], "the table of illuminants")
    return dict(zip(names, values.T, strict=True))


@cache
def _photographic(column: int, reference_k: float) -> np.ndarray:
    """An ISO 7589 shape on our grid: its ratio to a smooth reference of like colour is drawn by straight lines.

    Above 690 nm, where the standard ends, the ratio stays at its last value; that red end carries 0.1 % of
    the luminous power.
    """
    table = np.loadtxt(_DATA / "iso7589.csv", delimiter=",", skiprows=2)
    reference = daylight(reference_k) if column == 1 else planck(reference_k)
    ratio = table[:, column] / np.interp(table[:, 0], WAVELENGTHS_NM, reference)
    return reference * np.interp(WAVELENGTHS_NM, table[:, 0], ratio)


def _flash(cct_k: float) -> np.ndarray:
    return _shifted(_photographic(1, 5500.0), cct_k)


def _tungsten(cct_k: float) -> np.ndarray:
    return _shifted(_photographic(2, 3200.0), cct_k)


def _shifted(shape: np.ndarray, cct_k: float) -> np.ndarray:
    """Multiply a shape by a ratio of black bodies until its colour temperature is `cct_k` (to 0.01 K).

    An equal step in mired moves every source by about an equal step, so a few corrections suffice.
    """
    own, _ = correlated_colour_temperature(xyz(shape))
    reference, mired = planck(own), 1e6 / cct_k
    for _ in range(50):
        moved = shape * planck(1e6 / mired) / reference
        reached, _ = correlated_colour_temperature(xyz(moved))
        if abs(reached - cct_k) < 0.01:
            return moved
        mired += 1e6 / cct_k - 1e6 / reached
    raise KeyfallError(
        f"A colour temperature of {cct_k:g} K cannot be reached from this source. Choose one nearer {own:.0f} K."
    )


def white_point(cct_k: float, duv: float | None = None) -> np.ndarray:
    """White for a camera set to a colour temperature, (3,) XYZ with Y = 1.

    With `duv` it is the colour at that distance from the black body in CIE 1960 u, v, positive toward green. Without:
    black bodies up to 4000 K, CIE daylight from 5000 K; between, the two are mixed by a smooth step in mired,
    because daylight is a little greener than a black body and a jump would show when the setting is moved.

    Raises
    ------
    KeyfallError
        Outside 1000 to 25000 K.
    """
    _check_cct(cct_k, *_WHITE_RANGE_K, "White balance")
    if duv is not None:
        return beside_locus(cct_k, duv)
    white = np.zeros(3)
    full, none = 1e6 / _DAYLIGHT_FULL_K, 1e6 / _DAYLIGHT_FROM_K
    t = float(np.clip((none - 1e6 / cct_k) / (none - full), 0, 1))
    share = t * t * (3 - 2 * t)
    if share > 0:
        tristimulus = xyz(daylight(cct_k))
        white += share * tristimulus / tristimulus[1]
    if share < 1:
        tristimulus = xyz(planck(cct_k))
        white += (1 - share) * tristimulus / tristimulus[1]
    return white
