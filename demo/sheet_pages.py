"""The sheets: key styles, reach and gel pairs compared, a set built up from black, a mood board, a lighting plan."""

from __future__ import annotations

import tempfile
from pathlib import Path

from PIL import Image
from rich.console import Console

from render import TraceSettings
from render.build_up import build_up
from render.compare import compare
from render.terminal import TraceBar
from render.variants import make_grid
from render.work import board_of, plan_of
from scenes.styles import STYLES
from scenes.variations import parse_variation

SCENES = Path(__file__).parent / "scenes"
TRACING = TraceSettings("final", 64)
WIDTH_PX = 1500
MOST_BYTES = 1_400_000

REACH = (
    "light.key.modifiers=bare-bulb,standard-reflector+grid-20,snoot",
    "light.key.distance_m=0.6,1.2,2.5",
)
PAIRS = (
    "light.key.gels,light.rim.gels,light.background.gels="
    "amber:teal:teal,rose:blue:deep-blue,none:violet:purple,yellow:magenta:crimson,quarter-ctb:orange:coral,teal:rose:none"
)
BOARD = (
    "ember-and-tide.toml",
    "plum-dusk.toml",
    'ember-and-tide.toml@title="Rose and deep blue"@light.key.gels=rose@light.rim.gels=deep-blue',
    "haze-after-rehearsal.toml",
    "courtyard-evening.toml",
)


def make_pages(gallery: Path, console: Console) -> None:
    """Trace and draw every sheet into the gallery."""
    with tempfile.TemporaryDirectory() as work:
        folder = Path(work)
        _compare(folder / "styles", "casting-heads", (), list(STYLES), console)
        _compare(folder / "reach", "close-key", REACH, None, console, even=True)
        _compare(folder / "pairs", "ember-and-tide", (PAIRS,), None, console)
        with TraceBar(console) as bar:
            build_up(SCENES / "plum-dusk.toml", folder / "black", TRACING, progress=bar)
            looks = [str(SCENES / name) for name in BOARD]
            board_of(
                looks, folder / "board", TRACING, title="Autumn season", client="For the theatre company's posters",
                progress=bar,
            )  # fmt: skip
            plan_of(SCENES / "prompt-corner.toml", folder / "plan", TRACING, progress=bar)
        for name in ("styles", "reach", "pairs"):
            _keep(folder / name / "compare.png", gallery / f"compare-{name}.png")
        _keep(folder / "black" / "build-up.png", gallery / "build-up.png")
        pages = sorted((folder / "board").glob("board*.png"))
        _keep(pages[0], gallery / "board.png")
        for page in sorted((folder / "plan").glob("plan-*.png")):
            _keep(page, gallery / ("plan.png" if page.stem == "plan-1" else page.name), 1200)


def _compare(
    folder: Path, scene: str, texts: tuple[str, ...], styles: list[str] | None, console: Console, even: bool = False
) -> None:
    console.print(f"compare: {scene}", highlight=False)
    grid = make_grid(SCENES / f"{scene}.toml", [parse_variation(text) for text in texts], styles)
    with TraceBar(console) as bar:
        compare(grid, folder, TRACING, even=even, progress=bar)


def _keep(sheet: Path, to: Path, width_px: int = WIDTH_PX) -> None:
    """The sheet at gallery size; smaller where its file would be large."""
    image = Image.open(sheet).convert("RGB")
    while True:
        size = (width_px, round(image.height * width_px / image.width))
        image.resize(size, Image.Resampling.LANCZOS).save(to, optimize=True)
        if to.stat().st_size <= MOST_BYTES:
            return
        width_px = round(0.9 * width_px)
