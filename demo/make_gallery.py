"""Make every picture that README.md and demo/gallery.md show: ``python demo/make_gallery.py [PART ...]``.

Parts: looks (the four demo looks), places (daylight, and a kit file), modifiers (every stock modifier on the same face
and wall), haze, beams (the wall sheet and the near field), sheets (compare, build-up, board, plan). All of them, about
half an hour on two cores, when none is named. Repeats are quick: traced lights stay in the cache.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))  # demo/scenes must not pass for the package of that name

import haze_pages
import sheet_pages
from modifier_pages import PAGES, make_page
from near_field import write_near_field
from PIL import Image
from rich.console import Console

from render import PictureSettings, TraceSettings, preview
from render.cli_beam import show_beams
from render.terminal import TraceBar

DEMO = Path(__file__).parent
GALLERY = DEMO / "gallery"
SAMPLES = 64
GAP_PX = 10
LOOKS = ("classic-loop", "ember-and-tide", "plum-dusk", "rehearsal-break")
PLACES = ("courtyard-evening", "prompt-corner")
MAPPED = "ember-and-tide"
BEAMS = ["standard-reflector", "standard-reflector+grid-20", "snoot"]


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


def make_looks() -> None:
    """The four looks side by side, and the maps of one."""
    with tempfile.TemporaryDirectory() as work:
        folders = {name: Path(work) / name for name in LOOKS}
        for name, folder in folders.items():
            make(name, folder)
            shutil.copy(folder / "preview.png", GALLERY / f"{name}.png")
        row([folder / "preview.png" for folder in folders.values()], 480).save(GALLERY / "looks.png", optimize=True)
        maps = [folders[MAPPED] / f"map-{name}.png" for name in ("exposure", "face", "incident")]
        row(maps, 560).save(GALLERY / "maps.png", optimize=True)


def make_places() -> None:
    """Daylight with a board, and a set from a kit file, side by side."""
    with tempfile.TemporaryDirectory() as work:
        for name in PLACES:
            make(name, Path(work) / name)
        row([Path(work) / name / "preview.png" for name in PLACES], 560).save(
            GALLERY / "outside-and-in.png", optimize=True
        )


def make_modifiers() -> None:
    """Every stock modifier, a page a family."""
    for name in PAGES:
        make_page(name, GALLERY, Console(stderr=True))


def make_haze() -> None:
    """The same set at several densities, lit from front and behind, and the map of one."""
    haze_pages.make_page(GALLERY / "haze.png", Console(stderr=True))
    with tempfile.TemporaryDirectory() as work:
        make("haze-after-rehearsal", Path(work))
        shutil.copy(Path(work) / "map-haze.png", GALLERY / "map-haze.png")


def make_beams() -> None:
    """The wall sheet of the commonest question, and the near field."""
    with tempfile.TemporaryDirectory() as work:
        console = Console(stderr=True)
        show_beams(BEAMS, [0.6, 2.5], None, None, Path(work), False, False, console)
        shutil.copy(Path(work) / "beam.png", GALLERY / "beam.png")
    write_near_field(GALLERY / "near-field.png")


PARTS = {
    "looks": make_looks,
    "places": make_places,
    "modifiers": make_modifiers,
    "haze": make_haze,
    "beams": make_beams,
    "sheets": lambda: sheet_pages.make_pages(GALLERY, Console(stderr=True)),
}


def main(parts: list[str]) -> None:
    """Make the parts of the gallery asked for."""
    unknown = [part for part in parts if part not in PARTS]
    if unknown:
        sys.exit(f"There is no part {', '.join(unknown)}. Allowed: {', '.join(PARTS)}.")
    GALLERY.mkdir(exist_ok=True)
    for part in parts or PARTS:
        PARTS[part]()
    sys.stdout.write(f"The gallery is in {GALLERY}\n")


if __name__ == "__main__":
    main(sys.argv[1:])
