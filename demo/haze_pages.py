"""Haze: the same set with the hard light in front and behind, at three densities, and as a plume."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from modifier_pages import INK, PAPER, QUIET, label_font
from PIL import Image, ImageDraw
from rich.console import Console

from render import develop, trace
from render.hazing import haze_report
from scenes import build_stage
from scenes.check import check_data

SCENE = Path(__file__).parent / "scenes" / "haze-after-rehearsal.toml"
SAMPLES = 96
SIZE_PX = (288, 360)
GAP_PX, CAPTION_PX, MARGIN_PX, TITLE_PX = 14, 60, 26, 44
FRONT = {"at_m": [1.6, 2.2, 2.4]}
VIEWS: tuple[tuple[str, dict[str, Any], dict[str, Any]], ...] = (
    ("from the front, 60 m", {"visibility_m": 60}, FRONT),
    ("from behind, clear air", {}, {}),
    ("from behind, 200 m", {"visibility_m": 200}, {}),
    ("from behind, 100 m", {"visibility_m": 100}, {}),
    ("from behind, 50 m", {"visibility_m": 50}, {}),
    (
        "a plume",
        {"visibility_m": 12, "form": "plume", "from_m": [-1.6, 0.5, -1.0], "toward_deg": 100, "rise_deg": 22},
        {},
    ),
)
"""Caption, haze table, and what of the hard light is changed."""


def make_page(path: Path, console: Console) -> None:
    """Trace the views and lay them out in two rows."""
    width, height = SIZE_PX
    columns = 3
    rows = -(-len(VIEWS) // columns)
    sheet = (
        2 * MARGIN_PX + columns * width + (columns - 1) * GAP_PX,
        MARGIN_PX + TITLE_PX + rows * (height + CAPTION_PX),
    )
    page = Image.new("RGB", sheet, PAPER)
    draw = ImageDraw.Draw(page)
    draw.text((MARGIN_PX, MARGIN_PX - 4), "Will the haze show?", font=label_font(24, bold=True), fill=INK)
    for index, (name, haze, changed) in enumerate(VIEWS):
        console.print(f"haze: {name}", highlight=False)
        data = tomllib.loads(SCENE.read_text(encoding="utf-8"))
        data.pop("haze")
        if haze:
            data["haze"] = {"fluid": "glycol", **haze}
        data["light"]["back"] |= changed
        data["camera"]["long_side_px"] = 2 * height
        scene, problems = check_data(data, SCENE.parent)
        if scene is None:
            raise SystemExit("\n".join(p.message for p in problems if p.severity == "error"))
        stage = build_stage(scene)
        olat = trace(stage, quality="final", samples=SAMPLES)
        x = MARGIN_PX + index % columns * (width + GAP_PX)
        y = MARGIN_PX + TITLE_PX + index // columns * (height + CAPTION_PX)
        image = Image.fromarray(develop(olat, stage).to_8_bit()).resize(SIZE_PX, Image.Resampling.LANCZOS)
        page.paste(image, (x, y))
        draw.text((x, y + height + 6), name, font=label_font(15, bold=True), fill=INK)
        report = haze_report(olat, stage)
        draw.text((x, y + height + 27), "no haze" if report is None else _peak(report), font=label_font(13), fill=QUIET)
    page.save(path, optimize=True)


def _peak(report: Any) -> str:
    beam = next(beam for beam in report.beams if beam.light == "back")
    shown = beam.brightest_stops or 0.0
    return f"beam {shown:.1f} stops over its background"
