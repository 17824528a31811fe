"""What differs between Linux, macOS and Windows when files are named and put in place, and a set is drawn.

Neither Windows nor macOS is at hand where Keyfall is tested: the tests run this logic on fakes.
"""

from __future__ import annotations

import os
import platform
import sys
import time
from collections.abc import Sequence
from pathlib import Path

from materials.reading import device_name

PATIENCE_S = 2.0
_PAUSE_S = 0.05
_LONGEST_STEM = 100
_GL = {
    "Linux": "On Debian or Ubuntu: apt-get install libegl1 libgl1 libgl1-mesa-dri.",
    "Darwin": "On macOS it needs someone logged in at the screen, since it draws through a hidden window.",
    "Windows": "On Windows it needs a graphics driver with OpenGL 3.3 or newer, and someone logged in at the screen.",
}


def replace(source: Path, target: Path) -> None:
    """Put a file in the place of another, at once.

    Windows refuses while another program has one of the two open, which virus scanners do for a moment with every new
    file; so there it is tried for two seconds.

    Raises
    ------
    OSError
        When it cannot be done.
    """
    until = time.monotonic() + PATIENCE_S
    while True:
        try:
            os.replace(source, target)
            return
        except PermissionError:
            if sys.platform != "win32" or time.monotonic() > until:
                raise
            time.sleep(_PAUSE_S)


def file_stems(names: Sequence[str]) -> list[str]:
    """A stem of a file for each name: all different whatever the case, none too long, none that Windows keeps for a
    device or cuts."""
    stems: list[str] = []
    for name in names:
        stem = name[:_LONGEST_STEM].rstrip(" .") or "unnamed"
        stems.append(f"{stem}_" if device_name(stem) else stem)
    small = [stem.lower() for stem in stems]
    taken = {stem for stem in small if small.count(stem) == 1}
    found = []
    for number, stem in enumerate(stems, start=1):
        chosen, tail = stem, number
        while small.count(stem.lower()) > 1 and (chosen == stem or chosen.lower() in taken):
            chosen, tail = f"{stem}-{tail}", tail + 1
        taken.add(chosen.lower())
        found.append(chosen)
    return found


def drawing_settings() -> dict[str, str]:
    """Variables for the process that draws off screen: EGL on Linux; elsewhere the system's own hidden window."""
    return {"PYOPENGL_PLATFORM": "egl"} if platform.system() == "Linux" else {}


def how_to_get_gl() -> str:
    """What off-screen drawing needs on this system, in a sentence."""
    return _GL.get(platform.system(), _GL["Linux"])
