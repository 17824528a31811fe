"""Where results that take long are kept between commands, and how much of them."""

from __future__ import annotations

import os
from pathlib import Path

from materials.errors import KeyfallError

ENV_FOLDER = "KEYFALL_CACHE_DIR"
ENV_LIMIT = "KEYFALL_CACHE_GB"
DEFAULT_LIMIT_GB = 4.0


def cache_folder() -> Path:
    """The user's cache folder, or KEYFALL_CACHE_DIR; it need not exist."""
    named = os.environ.get(ENV_FOLDER)
    if named:
        return Path(named)
    import platformdirs

    return Path(platformdirs.user_cache_dir("keyfall", appauthor=False))


def cache_limit_bytes() -> int:
    """Size kept: 4 GB, or KEYFALL_CACHE_GB.

    Raises
    ------
    KeyfallError
        When that is no number of gigabytes.
    """
    text = os.environ.get(ENV_LIMIT, str(DEFAULT_LIMIT_GB))
    try:
        limit = float(text)
    except ValueError:
        limit = -1.0
    if not 0 <= limit < 1e6:
        raise KeyfallError(f"{ENV_LIMIT} is '{text}'. Allowed: a number of gigabytes, 0 or more; 0 keeps nothing.")
    return int(limit * 1e9)
