"""Photometric files: reading LM-63 and EULUMDAT, fixtures made of them, and writing LM-63."""

from .from_fixture import conserved, gamma_grid
from .optics import to_optics
from .photometry import POINT_SIZE_M, Photometry, flux_lm, make_photometry
from .read import read_photometric
from .write import lm63_text, write_lm63

__all__ = [
    "POINT_SIZE_M",
    "Photometry",
    "conserved",
    "flux_lm",
    "gamma_grid",
    "lm63_text",
    "make_photometry",
    "read_photometric",
    "to_optics",
    "write_lm63",
]
