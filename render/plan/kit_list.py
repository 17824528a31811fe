"""The kit list on the page: groups side by side, every thing with its count."""

from __future__ import annotations

from ..sheet import LABEL, Page, Type, wrapped
from .flow import Flow
from .record import KitItem

_ITEM = Type(9)
_COUNT_MM, _GUTTER_MM = 6.5, 8.0
_GROUP_GAP_MM = 3.0


def draw_kit(flow: Flow, kit: list[KitItem]) -> None:
    """Groups in two columns, as even as their order allows, kept together on a page."""
    groups: dict[str, list[KitItem]] = {}
    for item in kit:
        groups.setdefault(item.group, []).append(item)
    width = (flow.measure - _GUTTER_MM) / 2
    heights = {group: _group_mm(items, width) for group, items in groups.items()}
    columns: list[list[str]] = [[]]
    filled, half = 0.0, sum(heights.values()) / 2
    for group, height in heights.items():
        if len(columns) == 1 and filled and filled + height / 2 > half:
            columns.append([])
        columns[-1].append(group)
        filled += height
    flow.heading("Kit", min(0.7 * flow.height_mm, max(sum(heights[g] for g in column) for column in columns)))
    page, top, deepest = flow.page, flow.y, flow.y
    for k, column in enumerate(columns):
        y = top
        for group in column:
            y = _group(page, flow.left + k * (width + _GUTTER_MM), y, width, group, groups[group])
        deepest = max(deepest, y)
    flow.y = deepest - _GROUP_GAP_MM


def _group_mm(items: list[KitItem], width: float) -> float:
    lines = sum(len(wrapped(item.what, _ITEM, width - _COUNT_MM)) for item in items)
    return LABEL.line_mm + 1.0 + lines * _ITEM.line_mm + _GROUP_GAP_MM


def _group(page: Page, x: float, y: float, width: float, group: str, items: list[KitItem]) -> float:
    y = page.text(x, y, group, LABEL, colour=page.theme.quiet)
    page.rule(x, y + 0.2, width)
    y += 1.0
    for item in items:
        page.text(x + _COUNT_MM - 2.2, y, str(item.count), _ITEM.bold(), align="right")
        y = page.paragraph(x + _COUNT_MM, y, width - _COUNT_MM, item.what, _ITEM)
    return y + _GROUP_GAP_MM
