"""Pictures of sets nobody tuned, as contact sheets to be looked at: ``python -m tests.looks -o DIR``.

Every set is drawn from its own seed, so set 17 of seed 1 is always the same one; its scene file lies beside the sheets.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageFont
from rich.progress import track

from materials import KeyfallError
from render.preview import preview
from render.report import Report
from render.trace import TraceSettings

from .draw import draw_set

COLUMNS, ROWS = 5, 4
_CAPTION_PX = 44


def main() -> None:
    """Draw, preview and lay out the sets asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("-o", "--output", type=Path, default=Path("looks"))
    parser.add_argument("--count", type=int, default=40)
    parser.add_argument("--first", type=int, default=1, help="number of the first set")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--quality", default="draft", choices=["draft", "preview", "final"])
    parser.add_argument("--long-side", type=int, default=400, help="pixels")
    chosen = parser.parse_args()
    chosen.output.mkdir(parents=True, exist_ok=True)
    cells = []
    for number in track(range(chosen.first, chosen.first + chosen.count), description="sets"):
        rng = np.random.default_rng([chosen.seed, number])
        path = chosen.output / f"set-{number:03d}.toml"
        draw_set(rng, path, chosen.long_side)
        cells.append(_cell(number, path, chosen.quality))
    for page, start in enumerate(range(0, len(cells), COLUMNS * ROWS), 1):
        _sheet(cells[start : start + COLUMNS * ROWS]).save(chosen.output / f"sheet-{chosen.quality}-{page}.png")


def _cell(number: int, path: Path, quality: str) -> Image.Image:
    folder = path.with_suffix("") / quality
    try:
        report = preview(path, folder, TraceSettings(quality))
    except KeyfallError as error:
        return _captioned(Image.new("RGB", (320, 400)), f"{number}  {error}")
    with Image.open(folder / "preview.png") as picture:
        return _captioned(picture.convert("RGB"), _caption(number, report))


def _caption(number: int, report: Report) -> str:
    brightest = report.maps["exposure"].maximum
    lights = ", ".join(f"{light.name}: {'+'.join(light.modifiers)}" for light in report.lights)
    repaired = [w for w in report.warnings if "denoise" in w]
    return f"{number}  brightest {brightest or 0:+.1f}\n{lights}" + (f"\n{repaired[0]}" if repaired else "")


def _captioned(picture: Image.Image, text: str) -> Image.Image:
    cell = Image.new("RGB", (picture.width, picture.height + _CAPTION_PX), "#202020")
    cell.paste(picture, (0, 0))
    wrapped = "\n".join(line[i : i + 58] for line in text.splitlines() for i in range(0, len(line), 58))
    ImageDraw.Draw(cell).text((4, picture.height + 2), wrapped, "#d0d0d0", ImageFont.load_default(10))
    return cell


def _sheet(cells: list[Image.Image]) -> Image.Image:
    width, height = max(c.width for c in cells) + 6, max(c.height for c in cells) + 6
    rows = -(-len(cells) // COLUMNS)
    sheet = Image.new("RGB", (COLUMNS * width, rows * height), "#101010")
    for index, cell in enumerate(cells):
        sheet.paste(cell, (index % COLUMNS * width, index // COLUMNS * height))
    return sheet


if __name__ == "__main__":
    sys.exit(main())
