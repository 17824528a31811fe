"""Ten clothed figures to light, ready to be placed on a set."""

from .figure import SLOTS, Landmark, Sitter, SitterPart
from .loader import load_sitter
from .roster import SITTERS

__all__ = ["SITTERS", "SLOTS", "Landmark", "Sitter", "SitterPart", "load_sitter"]
