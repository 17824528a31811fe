"""Every stock modifier on the same face and on the same person before the same wall, one head, one light.

Each picture is exposed by the meter at the face, as on set, so that what differs is the shape of the light; what the
modifier loses stands beneath.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path

from PIL import Image, ImageDraw, ImageFont
from rich.console import Console

from render import Picture, develop, relight, trace
from render.beam import loss_stops, setup_of
from render.readings import all_readings, find, own_aim
from render.trace import trace_meters
from scenes import build_stage
from scenes.beams import spread
from scenes.check import check_data
from scenes.kit import load_kit
from scenes.stage import Stage

SCENES = Path(__file__).parent / "scenes"
SAMPLES = 48
PICTURE_PX = (232, 290)
GAP_PX, CELL_GAP_PX, CAPTION_PX, MARGIN_PX, TITLE_PX = 4, 22, 58, 26, 62
COLUMNS = 3
INK, PAPER, QUIET = "#1d1f24", "#f4f2ee", "#6b6f78"
REFLECTOR = "standard-reflector"

PAGES = {
    "grid-or-snoot": ("Reflector, grid or snoot", [REFLECTOR, f"{REFLECTOR}+grid-20", "snoot"]),
    "modifiers-hard": (
        "Bare lamp, reflectors, grids, snoots, barn doors",
        ["bare-bulb", REFLECTOR, "wide-reflector", "deep-reflector", f"{REFLECTOR}+grid-40", f"{REFLECTOR}+grid-30",
         f"{REFLECTOR}+grid-20", f"{REFLECTOR}+grid-10", f"{REFLECTOR}+doors-narrow", "snoot", "snoot+snoot-grid",
         f"{REFLECTOR}+sock"],
    ),
    "modifiers-soft": (
        "Dishes, boxes, umbrellas, frame",
        ["dish-white", "dish-silver", "dish-white+dish-grid", "softbox-60x90", "softbox-60x90+fabric-grid-40",
         "strip-30x120", "octabox-90", "octabox-150", "deep-octabox-120", "deep-open-box-120", "umbrella-white-100",
         "umbrella-silver-100", "umbrella-shoot-through-100", f"{REFLECTOR}+frame-120", "softbox-100"],
    ),
    "modifiers-shaped": (
        "Ring, panel, tube, lenses, projected patterns, windows",
        ["ring", "led-panel", "led-tube", "fresnel-spot", "fresnel-flood", "projector", "projector-iris",
         "projector-slot", "projector-blinds", "projector-panes", "projector-dapple", "window-clear",
         "window-frosted"],
    ),
}  # fmt: skip
PLACED = {"ring": {"azimuth_deg": 0, "elevation_deg": 0, "distance_m": 2.35}}
"""Lights that do not stand where the key stands: a ring sits around the lens."""


@dataclass(frozen=True)
class View:
    """A way of looking at a modifier: a demo scene, and where its light stands."""

    scene: str
    distance_m: float
    height_m: float
    focal_length_mm: float


CLOSE, NEAR, FULL = (
    View("close-key", 0.6, 1.65, 80),
    View("close-key", 1.2, 1.85, 150),
    View("full-length", 2.5, 2.0, 55),
)


def picture(view: View, chain: str) -> Picture:
    """The view's scene under a chain of modifiers, exposed by the meter at the face."""
    stage = _stage(view, chain)
    olat = trace(stage, quality="final", samples=SAMPLES)
    return develop(olat, relight(stage, "key", stops=-_stops_at_face(view, chain)))


def _stops_at_face(view: View, chain: str) -> float:
    """Stops over the set aperture that a meter reads at the face; a pattern is metered with its gate open, since the
    face may lie in its dark."""
    stage = _stage(view, "projector" if chain.startswith("projector-") else chain)
    readings = all_readings(trace_meters(stage), stage)
    return find(readings, "face", "key", own_aim(stage.lights[0])).stops or 0.0


def _stage(view: View, chain: str) -> Stage:
    data = tomllib.loads((SCENES / f"{view.scene}.toml").read_text(encoding="utf-8"))
    key = {"head": "flash-800", "modifiers": chain.split("+"), "azimuth_deg": 45, "height_m": view.height_m}
    data["light"] = {"key": {**key, "distance_m": view.distance_m}}
    if view is NEAR and chain in PLACED:
        data["light"]["key"].pop("height_m")
        data["light"]["key"] |= PLACED[chain]
    data["camera"] |= {"long_side_px": 2 * PICTURE_PX[1], "focal_length_mm": view.focal_length_mm}
    scene, problems = check_data(data, SCENES)
    if scene is None:
        raise SystemExit("\n".join(f"{chain}: {p.message}. {p.fix}" for p in problems if p.severity == "error"))
    return build_stage(scene)


def caption(chain: str) -> tuple[str, str]:
    """Name and numbers of a chain."""
    kit = load_kit(None)
    setup, reference = (setup_of(text, kit, "flash-800") for text in (chain, REFLECTOR))
    loss = loss_stops(reference.fixture, setup.fixture, 1.2)
    wide, high = spread(setup.fixture, 2.5).beam_m
    size = "wider than the wall" if wide is None or high is None else f"{wide:.1f} x {high:.1f} m"
    size = size if "projector-" not in chain else "as its pattern"
    kind = "the reference" if chain == REFLECTOR else f"{abs(loss):.1f} stops {'less' if loss > 0 else 'more'}"
    return chain.replace("+", " + "), f"on its axis {kind}; beam at 2.5 m {size}"


def make_page(name: str, folder: Path, console: Console) -> Path:
    """Trace and lay out one page."""
    title, chains = PAGES[name]
    first = CLOSE if name == "grid-or-snoot" else NEAR
    width_px, height_px = PICTURE_PX
    cell = (2 * width_px + GAP_PX, height_px + CAPTION_PX)
    rows = -(-len(chains) // COLUMNS)
    size = (
        2 * MARGIN_PX + COLUMNS * cell[0] + (COLUMNS - 1) * CELL_GAP_PX,
        MARGIN_PX + TITLE_PX + rows * (cell[1] + CELL_GAP_PX),
    )
    page = Image.new("RGB", size, PAPER)
    draw = ImageDraw.Draw(page)
    draw.text((MARGIN_PX, MARGIN_PX), title, font=label_font(24, bold=True), fill=INK)
    beside = f"{first.distance_m:g} m away, and full length at 2.5 m; each exposed by the meter at the face"
    draw.text((MARGIN_PX, MARGIN_PX + 34), beside, font=label_font(14), fill=QUIET)
    for index, chain in enumerate(chains):
        console.print(f"{name}: {chain}", highlight=False)
        x = MARGIN_PX + index % COLUMNS * (cell[0] + CELL_GAP_PX)
        y = MARGIN_PX + TITLE_PX + index // COLUMNS * (cell[1] + CELL_GAP_PX)
        for column, view in enumerate((first, FULL)):
            image = Image.fromarray(picture(view, chain).to_8_bit()).resize(PICTURE_PX, Image.Resampling.LANCZOS)
            page.paste(image, (x + column * (width_px + GAP_PX), y))
        heading, numbers = caption(chain)
        draw.text((x, y + height_px + 6), heading, font=label_font(15, bold=True), fill=INK)
        draw.text((x, y + height_px + 28), numbers, font=label_font(13), fill=QUIET)
    path = folder / f"{name}.png"
    page.save(path, optimize=True)
    return path


def label_font(size: int, bold: bool = False) -> ImageFont.FreeTypeFont:
    """The sheets' typeface at a size in pixels."""
    import matplotlib

    file = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return ImageFont.truetype(f"{matplotlib.get_data_path()}/fonts/ttf/{file}", size)
