"""Chromatic adaptation and display primaries, for developing.

References
----------
Li et al. 2017, Comprehensive color solutions: CAM16, CAT16, and CAM16-UCS, eq. 7 (CAT16 matrix).
Lam 1985, as in ICC.1:2010 annex E (Bradford matrix).
IEC 61966-2-1 (sRGB primaries); SMPTE EG 432-1 primaries with a D65 white (Display P3).
"""

from __future__ import annotations

import numpy as np

from .errors import KeyfallError, unknown_name

ADAPTATIONS = {
    "CAT16": np.array(
        [[0.401288, 0.650173, -0.051461], [-0.250268, 1.204414, 0.045854], [-0.002079, 0.048952, 0.953127]]
    ),
    "Bradford": np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]),
}
"""Cone-like responses of each adaptation transform, (3, 3) from XYZ."""

_WHITE_D65_XY = (0.3127, 0.3290)
_PRIMARIES_XY = {
    "srgb": ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06)),
    "p3": ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060)),
}


def adapt_matrix(source_white_xyz: np.ndarray, target_white_xyz: np.ndarray, method: str = "CAT16") -> np.ndarray:
    """Full adaptation from one white to another, (3, 3) for column vectors of XYZ.

    Each white is scaled to Y = 1 first, so luminance is kept and the whites map on each other exactly.

    Raises
    ------
    UnknownName
        For a method not in `ADAPTATIONS`.
    KeyfallError
        For a white that is not three finite numbers with positive responses.
    """
    if method not in ADAPTATIONS:
        raise unknown_name("adaptation transform", method, ADAPTATIONS)
    response = ADAPTATIONS[method]
    source, target = (_white_response(white, response) for white in (source_white_xyz, target_white_xyz))
    return np.linalg.inv(response) @ ((target / source)[:, None] * response)


def _white_response(white_xyz: np.ndarray, response: np.ndarray) -> np.ndarray:
    white = np.asarray(white_xyz, np.float64)
    if white.shape != (3,) or not np.isfinite(white).all() or white[1] <= 0:
        raise KeyfallError("A white needs three finite tristimulus values with Y above 0.")
    cones = response @ (white / white[1])
    if (cones <= 0).any():
        raise KeyfallError("This white is too saturated to adapt to. Choose one nearer a black body or daylight.")
    return cones


def display_matrix(gamut: str) -> np.ndarray:
    """From XYZ (Y = 1 at display white, D65) to linear RGB of "srgb" or "p3", (3, 3).

    Raises
    ------
    UnknownName
        For another gamut.
    """
    if gamut not in _PRIMARIES_XY:
        raise unknown_name("display gamut", gamut, _PRIMARIES_XY)
    primaries = np.array([_xy_to_xyz(xy) for xy in _PRIMARIES_XY[gamut]]).T
    strengths = np.linalg.solve(primaries, _xy_to_xyz(_WHITE_D65_XY))
    return np.linalg.inv(primaries * strengths)


def _xy_to_xyz(xy: tuple[float, float]) -> np.ndarray:
    x, y = xy
    return np.array([x / y, 1.0, (1 - x - y) / y])
