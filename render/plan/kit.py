"""What to carry in for a lighting plan, counted."""

from __future__ import annotations

from collections import Counter

from scenes.meters import format_amount

from .record import KitItem, PlanBackground, PlanCamera, PlanPiece
from .set import PlanLight, PlanSet
from .words import metres, piece_words

_SHAPES = {
    "disk": "disk", "rectangle": "rectangle", "octagon": "octagon", "sphere": "ball", "spot": "spot", "tube": "tube",
}  # fmt: skip


def kit_list(
    plan: PlanSet, camera: PlanCamera, background: PlanBackground | None, pieces: list[PlanPiece]
) -> list[KitItem]:
    """Heads, modifiers, gels, supports, the set and the tools, of every light on the plan that is switched on.

    Supports follow `Support`; sandbags are one a stand and two a boom (common practice, no source).
    """
    heads: Counter[str] = Counter()
    modifiers: Counter[str] = Counter()
    gels: Counter[str] = Counter()
    supports: Counter[str] = Counter()
    for light, _ in plan.placed():
        if not light.row.on or light.form.form == "window":
            continue
        heads[head_words(light)] += 1
        modifiers.update(light.light.modifiers)
        gels.update(light.gels)
        if light.support.kind != "none":
            supports[_support_words(light)] += 1
    flashes = any(light.row.on and light.light.flash for light in plan.lights)
    found = [("Heads", heads), ("Modifiers", modifiers), ("Gels", Counter({f"{k}, sheet": v for k, v in gels.items()}))]
    items = [KitItem(group=g, count=n, what=what) for g, counts in found for what, n in sorted(counts.items())]
    bags = sum(n * (2 if what.startswith("boom") else 1) for what, n in supports.items())
    items += [KitItem(group="Supports", count=n, what=what) for what, n in sorted(supports.items())]
    held = [f"stand and arm for the {piece_words(p.kind, p.name)}" for p in pieces]
    items += [KitItem(group="Supports", count=1, what=what) for what in held]
    if bags + len(pieces):
        items.append(KitItem(group="Supports", count=bags + len(pieces), what="sandbags"))
    return [*items, *_set_items(background, pieces, plan.stage.haze is not None), *_tools(camera, bool(heads), flashes)]


def head_words(light: PlanLight) -> str:
    """A head by its name in the kit; one that the scene describes, by its energy or source, and its front."""
    head, fixture = light.light.head, light.light.fixture
    if head is not None and head.name:
        return head.name
    if head is not None and head.energy_ws is not None:
        kind = f"{head.energy_ws:g} Ws flash"
    else:
        kind = "flash" if light.light.flash else light.light.source.name
    if light.light.modifiers or fixture is None:
        return kind
    across, up = (f"{float(v):g}" for v in fixture.size_m)
    size = {"rectangle": f"{across} x {up} m", "tube": f"{across} m"}.get(fixture.shape, f"{across} m")
    return f"{kind}, {size} {_SHAPES[fixture.shape]}"


def _support_words(light: PlanLight) -> str:
    support = light.support
    if support.kind == "boom":
        return f"boom on a stand, arm of {metres(support.reach_m)} or more"
    words = {
        "floor stand": "floor stand, under 0.6 m", "stand": "light stand, 0.6 to 2.6 m",
        "tall stand": "tall light stand, over 2.6 m",
    }  # fmt: skip
    return words[support.kind]


def _set_items(background: PlanBackground | None, pieces: list[PlanPiece], haze: bool) -> list[KitItem]:
    items = [KitItem(group="Set", count=1, what="haze machine with its fluid")] if haze else []
    if background is not None and background.what == "background":
        size = f"{metres(background.width_m)} wide, {metres(background.height_m)} high"
        items.append(KitItem(group="Set", count=1, what=f"background, {background.finish}, {size}, with its supports"))
    for piece in pieces:
        size = f"{piece.size_m[0]:.2f} x {metres(piece.size_m[1])}"
        unit = "stop" if piece.stops == 1 else "stops"
        cloth = "" if piece.stops is None else f"{format_amount(piece.stops, 2)} {unit}, "
        items.append(KitItem(group="Set", count=1, what=f"{piece_words(piece.kind, piece.name)}, {cloth}{size}"))
    return items


def _tools(camera: PlanCamera, heads: bool, flashes: bool) -> list[KitItem]:
    lens = f"lens of {camera.focal_length_mm:.0f} mm on a frame of 36 x 24 mm, or its like"
    tools = [
        f"camera on a tripod, {lens}", "hand meter with flat and dome", "tape measure, and tape for the floor",
        *(["trigger for the flashes"] if flashes else []),
        *(["set of power cables, and tape for them"] if heads else []),
    ]  # fmt: skip
    return [KitItem(group="Camera and tools", count=1, what=tool) for tool in tools]
