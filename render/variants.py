"""The variants of one scene that a comparison shows: their scenes, checked before anything is traced."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from materials import KeyfallError
from scenes import OpenSet, SceneError
from scenes.findings import Finding
from scenes.stage import Stage
from scenes.styles import apply_style, style_named
from scenes.variations import Variation

from .loading import opened

MOST_CELLS = 48
PLACED_BY_STYLE = ("azimuth_deg", "elevation_deg", "height_m", "at_m", "aim")
_TURN = ("sitter", "turn_deg")


@dataclass(frozen=True, slots=True)
class Variant:
    """One cell of a comparison.

    Attributes
    ----------
    row, column : its place in the grid of two, from 0; with one variation all are in one row.
    labels : what it is called, one label for each variation.
    lights : lights whose own keys are varied here.
    style : key style it is set in, and `key` the light that makes it; None without.
    notes : what else was changed to get there, in sentences.
    """

    row: int
    column: int
    labels: tuple[str, ...]
    stage: Stage
    lights: tuple[str, ...]
    style: str | None
    key: str | None
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Axis:
    """One direction of a comparison: what is varied, in words, and the label of each step."""

    name: str
    labels: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Grid:
    """All variants, row by row; `down` is None with one variation, and `base` the scene as its file has it."""

    title: str
    base: Stage
    across: Axis
    down: Axis | None
    variants: tuple[Variant, ...]


def make_grid(
    scene: Path | OpenSet, variations: list[Variation], styles: list[str] | None = None, key: str | None = None
) -> Grid:
    """Every variant of a scene, given as a file or an open set.

    Parameters
    ----------
    variations : one or two; with key styles, none or one. The first of two runs down, the last across.
    styles : key styles by name, which run across; None without.
    key : the light that makes the styles; the scene's key if None.

    Raises
    ------
    KeyfallError
        Too many or too few variations, an unknown style, or (SceneError) variants that cannot be set up, all at once.
    """
    _allowed(variations, styles)
    base = opened(scene)
    axes = [Axis(v.name, v.labels) for v in variations] + ([Axis("key style", tuple(styles))] if styles else [])
    down = axes[0] if len(axes) == 2 else None
    across = axes[-1]
    variants: list[Variant] = []
    faults: dict[tuple[str, str], Finding] = {}
    for row in range(len(down.labels) if down else 1):
        for column in range(len(across.labels)):
            steps = [row, column] if down else [column]
            try:
                variants.append(_variant(base, variations, styles, key, steps))
            except SceneError as error:
                for finding in error.findings:
                    if finding.severity == "error":
                        faults.setdefault((finding.where, finding.message), finding)
    if faults:
        raise SceneError(faults.values())
    return Grid(base.name, base.stage, across, down, tuple(variants))


def _allowed(variations: list[Variation], styles: list[str] | None) -> None:
    count = len(variations) + (1 if styles else 0)
    if count == 0:
        raise KeyfallError(
            "There is nothing to compare. Give --vary KEY=VALUE,VALUE,... or --styles, e.g. "
            "--vary light.key.distance_m=0.6,1.2,2.5."
        )
    if count > 2:
        raise KeyfallError(
            f"{count} variations are given. A sheet takes at most two (key styles count as one): leave out {count - 2}."
        )
    keys = _keys(variations)
    twice = next((key for key in keys if keys.count(key) > 1), None)
    if twice is not None:
        raise KeyfallError(f"{'.'.join(twice)} is varied twice. Put its values into one variation.")
    for name in styles or ():
        style_named(name)
    doubled = next((name for name in styles or () if styles and styles.count(name) > 1), None)
    if doubled is not None:
        raise KeyfallError(f"The key style '{doubled}' is named twice. Name each once.")
    cells = len(styles or "x")
    for variation in variations:
        cells *= len(variation.values)
    if cells > MOST_CELLS:
        raise KeyfallError(f"That makes {cells} pictures. Allowed: at most {MOST_CELLS}; leave out some values.")


def _keys(variations: list[Variation]) -> list[tuple[str, ...]]:
    return [key for variation in variations for key in variation.keys]


def _refuse_placed(light: str, variations: list[Variation], path: Path, what: str) -> None:
    """Raise where a varied key says where a light stands that the style places."""
    for key in _keys(variations):
        if key[:2] == ("light", light) and key[-1] in PLACED_BY_STYLE:
            message = f"{'.'.join(key)} is varied, but the key style says where this light stands"
            fix = "Leave one of the two out."
            raise SceneError([Finding(f"{path}, with {what}", None, "error", "", message, fix=fix)])


def _variant(
    base: OpenSet, variations: list[Variation], styles: list[str] | None, key: str | None, steps: list[int]
) -> Variant:
    labels = [variation.labels[step] for variation, step in zip(variations, steps, strict=False)]
    what = [f"{variation.name} = {label}" for variation, label in zip(variations, labels, strict=False)]
    changes = [(variation.keys, variation.values[step]) for variation, step in zip(variations, steps, strict=False)]
    made = base.changed(changes, ", ".join(what)) if changes else base
    style = placed_key = None
    notes: tuple[str, ...] = ()
    if styles:
        style = styles[steps[-1]]
        labels.append(style)
        what.append(f"key style {style}")
        try:
            styled = apply_style(made, style, key, turn=_TURN not in _keys(variations))
        except SceneError:
            raise
        except KeyfallError as error:
            raise SceneError([Finding(f"{base.path}, with {what[-1]}", None, "error", "", str(error))]) from None
        _refuse_placed(styled.key, variations, base.path, what[-1])
        made = made.with_tables(styled.tables, ", ".join(what))
        placed_key, notes = styled.key, styled.notes
    return Variant(
        row=steps[0] if len(steps) == 2 else 0, column=steps[-1], labels=tuple(labels), stage=made.stage,
        lights=tuple(dict.fromkeys(n for v in variations for n in v.lights())), style=style, key=placed_key,
        notes=notes,
    )  # fmt: skip
