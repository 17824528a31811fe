"""Make every picture that README.md shows: ``python demo/make_gallery.py``.

Traces all scenes of demo/scenes and writes demo/gallery. Repeats are quick: traced lights stay in the cache.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path

from PIL import Image
from rich.console import Console

from render import PictureSettings, TraceSettings, preview
from render.terminal import TraceBar

DEMO = Path(__file__).parent
GALLERY = DEMO / "gallery"
SAMPLES = 64
GAP_PX = 10
LOOKS = ("classic-loop", "ember-and-tide", "plum-dusk", "rehearsal-break")
MAPPED = "ember-and-tide"


def make(name: str, folder: Path) -> None:
    """Trace one scene into `folder`."""
    console = Console(stderr=True)
    console.print(f"{name}", highlight=False)
    with TraceBar(console) as bar:
        preview(
            DEMO / "scenes" / f"{name}.toml", folder, TraceSettings("final", SAMPLES), PictureSettings(), progress=bar
        )


def row(pictures: list[Path], height_px: int) -> Image.Image:
    """Pictures side by side, each scaled to `height_px`, on white."""
    images = [Image.open(path).convert("RGB") for path in pictures]
    scaled = [
        im.resize((round(im.width * height_px / im.height), height_px), Image.Resampling.LANCZOS) for im in images
    ]
    sheet = Image.new("RGB", (sum(im.width for im in scaled) + GAP_PX * (len(scaled) - 1), height_px), "white")
    x = 0
    for image in scaled:
        sheet.paste(image, (x, 0))
        x += image.width + GAP_PX
    return sheet


def main() -> None:
    """Make the gallery."""
    GALLERY.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as work:
        folders = {name: Path(work) / name for name in LOOKS}
        for name, folder in folders.items():
            make(name, folder)
            shutil.copy(folder / "preview.png", GALLERY / f"{name}.png")
        row([folder / "preview.png" for folder in folders.values()], 480).save(GALLERY / "looks.png", optimize=True)
        maps = [folders[MAPPED] / f"map-{name}.png" for name in ("exposure", "face", "incident")]
        row(maps, 560).save(GALLERY / "maps.png", optimize=True)
    sys.stdout.write(f"The gallery is in {GALLERY}\n")


if __name__ == "__main__":
    main()
