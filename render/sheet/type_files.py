"""The files of the type family, which come with their licence (SIL OFL 1.1) in `data/`."""

from __future__ import annotations

from functools import cache
from pathlib import Path

FAMILY = "Source Sans Pro"
FALLBACK = "DejaVu Sans"
"""For scripts the family lacks; comes with matplotlib."""

_FOLDER = Path(__file__).parent / "data"
_FILES = {"regular": "Regular", "semibold": "Semibold", "bold": "Bold", "italic": "It"}


@cache
def font_files() -> dict[str, Path]:
    """Files of the family by cut; made known to matplotlib at the first call."""
    from matplotlib import font_manager

    files = {cut: _FOLDER / f"SourceSansPro-{name}.ttf" for cut, name in _FILES.items()}
    for file in files.values():
        font_manager.fontManager.addfont(file)
    return files
