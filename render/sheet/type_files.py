"""The files of the type family."""

from __future__ import annotations

from functools import cache
from pathlib import Path

FAMILY = "Source Sans Pro"
FALLBACK = "DejaVu Sans"
"""For scripts the family lacks; comes with matplotlib."""

_FILES = {"regular": "Regular", "semibold": "Semibold", "bold": "Bold", "italic": "It"}


@cache
def font_files() -> dict[str, Path]:
    """Files of the family by cut; made known to matplotlib at the first call."""
    import font_source_sans_pro
    from matplotlib import font_manager

    folder = Path(font_source_sans_pro.__file__).parent / "files"
    files = {cut: folder / f"SourceSansPro-{name}.ttf" for cut, name in _FILES.items()}
    for file in files.values():
        font_manager.fontManager.addfont(file)
    return files
