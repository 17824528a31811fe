"""Writer of LM-63-2019 files."""

from __future__ import annotations

import datetime
import math
import re
import textwrap
from collections.abc import Mapping
from pathlib import Path

import numpy as np

from materials.errors import DataError

from .photometry import Photometry

SIMULATED = "1.00010"
"""File generation type of a computer simulation (ANSI/IES LM-63-19, table 2)."""

_REQUIRED = ("TEST", "TESTLAB", "ISSUEDATE", "MANUFAC")
_KEYWORD = re.compile(r"^[A-Z][A-Z0-9]*$|^_[A-Z0-9_]+$")
_LINE = 80
_DIGITS = 7
_EDGE_DEG = 0.05
_SAME = 1e-9


def lm63_text(photometry: Photometry, issued: datetime.date, keywords: Mapping[str, str] | None = None) -> str:
    """The text of an LM-63-2019 file, type C, in metres, marked as a computer simulation.

    Planes that symmetry implies are left out. Candela are written to seven digits of the largest. A file must reach
    90 or 180 degrees: what was dark beyond the last angle is written as 0.

    Parameters
    ----------
    issued : date of issue.
    keywords : more keywords, or other values of those written anyway (TEST, TESTLAB, MANUFAC, LUMINAIRE), without
        brackets; one of your own begins with an underscore.

    Raises
    ------
    DataError
        When a keyword is none, or a text holds more than ASCII.
    """
    words = {
        "TEST": "none (computer simulation)",
        "TESTLAB": "none (computer simulation)",
        "ISSUEDATE": issued.strftime("%d-%b-%Y").upper(),
        "MANUFAC": "none",
        "LUMINAIRE": photometry.name,
        **(keywords or {}),
    }
    c_deg, gamma_deg, candela = _listed(photometry)
    peak = float(candela.max())
    decimals = min(max(_DIGITS - 1 - math.floor(math.log10(peak)), 0), 15)
    lamps = "1 -1" if photometry.rated_lumens is None else f"1 {_plain(photometry.rated_lumens)}"
    right, up, deep = photometry.width_m, photometry.length_m, photometry.height_m
    if photometry.round:
        ball = math.isclose(deep, math.sqrt(right * up), rel_tol=1e-3)
        right, up, deep = -right, -up, -deep if ball else deep
    sizes = " ".join(_plain(size) for size in (up, right, deep))  # the standard's width lies across C0
    return "\n".join([
        "IES:LM-63-2019",
        *(line for word, value in words.items() for line in _keyword(word, value)),
        "TILT=NONE",
        f"{lamps} 1 {len(gamma_deg)} {len(c_deg)} 1 2 {sizes}",
        f"1 {SIMULATED} {_plain(photometry.watts or 0.0)}",
        _wrapped([_plain(angle) for angle in gamma_deg]),
        _wrapped([_plain(angle) for angle in c_deg]),
        *(_wrapped([_trimmed(f"{value:.{decimals}f}") for value in row]) for row in candela),
        "",
    ])  # fmt: skip


def write_lm63(
    path: Path, photometry: Photometry, issued: datetime.date, keywords: Mapping[str, str] | None = None
) -> None:
    """Write `lm63_text` to a file, with the line ends the standard asks for (CR LF)."""
    Path(path).write_bytes(lm63_text(photometry, issued, keywords).replace("\n", "\r\n").encode("ascii"))


def _keyword(word: str, value: str) -> list[str]:
    if not _KEYWORD.match(word):
        raise DataError(
            f"'{word}' is no keyword of LM-63. Allowed: capitals and digits, or _ before a word of your own."
        )
    text = " ".join(str(value).split()) or "none"
    if not text.isascii():
        raise DataError(f"[{word}] '{text}' holds letters that LM-63 cannot (it is ASCII). Write it without accents.")
    first, *more = textwrap.wrap(text, _LINE)
    return [f"[{word}] {first}", *(f"[MORE] {line}" for line in more)]


def _listed(photometry: Photometry) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Planes, angles and candela to write: folded by symmetry, and filled up to 90 or 180 degrees."""
    c, gamma, candela = photometry.c_deg, photometry.gamma_deg, photometry.candela
    end = 90.0 if gamma[-1] <= 90 else 180.0
    if gamma[-1] < end:
        if candela[:, -1].any() and gamma[-1] + _EDGE_DEG < end:
            gamma = np.append(gamma, gamma[-1] + _EDGE_DEG)
            candela = np.pad(candela, ((0, 0), (0, 1)))
        gamma, candela = np.append(gamma, end), np.pad(candela, ((0, 0), (0, 1)))
    c, candela = _folded(c, candela)
    return c, gamma, candela


def _folded(c_deg: np.ndarray, candela: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The fewest planes that symmetry allows: one, 0 to 90, 0 to 180, or 0 to 360."""
    allowed = _SAME * float(candela.max())
    if np.abs(candela - candela[0]).max() <= allowed:
        return np.zeros(1), candela[:1]
    rows = {round(float(angle), 6) % 360: row for angle, row in zip(c_deg, candela, strict=True)}

    def mirrored(total_deg: float) -> bool:
        images = [(row, rows.get(round(total_deg - angle, 6) % 360)) for angle, row in rows.items()]
        return all(image is not None and np.abs(row - image).max() <= allowed for row, image in images)

    if 180.0 in rows and mirrored(360):
        end = 90.0 if 90.0 in rows and mirrored(180) else 180.0
        return c_deg[c_deg <= end], candela[c_deg <= end]
    return np.append(c_deg, 360.0), np.concatenate([candela, candela[:1]])


def _wrapped(words: list[str]) -> str:
    return "\n".join(textwrap.wrap(" ".join(words), _LINE))


def _plain(value: float) -> str:
    return _trimmed(f"{value:.6f}")


def _trimmed(text: str) -> str:
    return text.rstrip("0").rstrip(".") if "." in text else text
