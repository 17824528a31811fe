"""The mood board: looks with their pictures, words and the light's own colours, as PDF, PNG and HTML."""

from .make import BoardReport, BoardSettings, Look, make_board

__all__ = ["BoardReport", "BoardSettings", "Look", "make_board"]
