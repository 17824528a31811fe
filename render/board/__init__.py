"""The mood board: looks with their pictures, words and the light's own colours, as PDF, PNG and HTML."""

from .facts import seen_light
from .make import BoardReport, BoardSettings, Look, make_board

__all__ = ["BoardReport", "BoardSettings", "Look", "make_board", "seen_light"]
