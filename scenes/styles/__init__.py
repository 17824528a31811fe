"""Key styles: what they are, and a key placed in one from the sitter's own face."""

from .apply import apply_style
from .style import STYLES, Style, StyledScene, key_of, style_named

__all__ = ["STYLES", "Style", "StyledScene", "apply_style", "key_of", "style_named"]
