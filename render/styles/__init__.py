"""Key styles verified: what a traced key draws on the face, against what its style asks for."""

from .check import StyleReport, check_style, read_face

__all__ = ["StyleReport", "check_style", "read_face"]
