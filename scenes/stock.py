"""Whether the names and files a scene mentions exist: figures, finishes, colours, sources, gels.

These checks read the tables as they are written, so that a fault elsewhere in a table hides none of its names.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from materials.errors import KeyfallError
from materials.reading import why_unreadable

from .findings import KeyPath, Problem
from .model.light import CLOUD_CCT_K
from .names import did_you_mean, listed
from .placing import stock_figure
from .stock_names import stock_names

if TYPE_CHECKING:
    from .kit import Kit

_FINISHES = {"room": ("walls", "floor", "ceiling"), "ground": ("finish", "beyond_finish"), "background": ("finish",)}
_WORDS = {"skin": "skin tone", "hair": "hair colour", "iris": "eye colour"}
_MOST_LISTED = 12


def name_problems(data: dict[str, Any], folder: Path) -> Iterator[Problem]:
    """Every name in a scene's tables that is not in stock, and every file that cannot be used."""
    yield from _sitter(_table(data, "sitter"))
    for table, keys in _FINISHES.items():
        for key in keys:
            yield from _check(_table(data, table), key, "finish", (table,))
    for name, window in _table(_table(data, "room"), "window").items():
        for key in ("frame", "curtain", "blind"):
            yield from _check(window if isinstance(window, dict) else {}, key, "finish", ("room", "window", name))
    for name, light in _table(data, "light").items():
        if isinstance(light, dict):
            yield from source_problems(light, ("light", name), folder)
            yield from _gels(light, ("light", name), folder)
            yield from _check(light, "sky", "sky", ("light", name))
            yield from _check(light, "air", "air", ("light", name))
    for name, piece in _table(data, "piece").items():
        for key in ("finish", "back"):
            yield from _check(piece if isinstance(piece, dict) else {}, key, "finish", ("piece", name))


def _table(data: dict[str, Any], key: str) -> dict[str, Any]:
    table = data.get(key)
    return table if isinstance(table, dict) else {}


def check_name(kind: str, given: str, key: KeyPath) -> Iterator[Problem]:
    """One problem when `given` is no stock name of its kind."""
    allowed = stock_names(kind)
    if given in allowed:
        return
    fix = did_you_mean(given, allowed)
    rest = "; keyfall list shows them all" if len(allowed) > _MOST_LISTED else ""
    message = f"there is no {_WORDS.get(kind, kind)} '{given}'"
    yield Problem(key, message, f"Allowed: {listed(allowed, _MOST_LISTED)}{rest}.", fix)


def _check(table: dict[str, Any], key: str, kind: str, path: KeyPath) -> Iterator[Problem]:
    given = table.get(key)
    if isinstance(given, str) and given:
        yield from check_name(kind, given, (*path, key))


def kit_name_problems(data: dict[str, Any], kit: Kit) -> Iterator[Problem]:
    """Every head and modifier in a scene's lights that the kit does not have."""
    for name, light in _table(data, "light").items():
        if not isinstance(light, dict):
            continue
        head, modifiers = light.get("head"), light.get("modifiers")
        if isinstance(head, str) and head:
            yield from absent("head", head, kit.heads, ("light", name, "head"))
        for index, modifier in enumerate(modifiers if isinstance(modifiers, list) else []):
            if isinstance(modifier, str) and modifier:
                yield from absent("modifier", modifier, kit.modifiers, ("light", name, "modifiers", index))


def absent(kind: str, given: str, allowed: Mapping[str, object], key: KeyPath) -> Iterator[Problem]:
    """One problem when the kit has no head or modifier (`kind`) of this name."""
    if given in allowed:
        return
    fix = did_you_mean(given, allowed)
    rest = "; keyfall kit shows them all" if len(allowed) > _MOST_LISTED else ""
    message = f"there is no {kind} '{given}' in the kit"
    yield Problem(key, message, f"Allowed: {listed(allowed, _MOST_LISTED)}{rest}.", fix)


def _sitter(sitter: dict[str, Any]) -> Iterator[Problem]:
    for key, kind in (("figure", "figure"), ("skin", "skin"), ("hair", "hair"), ("iris", "iris")):
        yield from _check(sitter, key, kind, ("sitter",))
    for key in ("finish", "seat"):
        yield from _check(sitter, key, "finish", ("sitter",))
    clothes = _table(sitter, "clothes")
    for slot in clothes:
        yield from _check(clothes, slot, "finish", ("sitter", "clothes"))
    if sitter.get("figure") in stock_names("figure") and (clothes or "seat" in sitter):
        yield from _garments(str(sitter["figure"]), clothes, "seat" in sitter)


def _garments(name: str, clothes: dict[str, Any], seat: bool) -> Iterator[Problem]:
    """Cloth for a garment, or a seat, that the figure does not have."""
    from .model import Clothes

    worn = stock_figure(name).clothes
    for slot in clothes:
        if slot in Clothes.model_fields and slot not in worn:
            garments = ", ".join(s for s in worn if s != "seat")
            fix = f"Remove {slot}, or choose another figure."
            yield Problem(("sitter", "clothes", slot), f"{name} wears no {slot}", f"Allowed: {garments}.", fix)
    if seat and "seat" not in worn:
        yield Problem(
            ("sitter", "seat"), f"{name} stands, and has no seat", fix="Remove seat, or choose a seated figure."
        )


def source_problems(
    light: dict[str, Any], path: KeyPath, folder: Path, beside: str = "the scene file"
) -> Iterator[Problem]:
    """Whether the source of a light or head can be used; what a light leaves to its head is not looked at.

    Parameters
    ----------
    beside : what files are named relative to, for messages.
    """
    from materials.sources import make_source

    given, cct = light.get("source", "flash"), light.get("cct_k")
    if "source" not in light and light.get("shape") in ("sun", "sky"):
        given, cct = "daylight", cct if cct is not None else CLOUD_CCT_K
    if not isinstance(given, str) or not given or ("head" in light and "source" not in light):
        return
    if given.lower().endswith(".csv"):
        yield from _file((*path, "source"), folder / given, lambda file: make_source("csv", csv=file), beside)
        return
    known = list(check_name("source", given, (*path, "source")))
    yield from known
    usable = cct is None or (isinstance(cct, int | float) and not isinstance(cct, bool) and 1000 <= cct <= 25000)
    if usable and not known and (cct is not None or given in ("daylight", "blackbody")):
        try:
            make_source(given, cct)
        except KeyfallError as problem:
            yield Problem((*path, "source" if cct is None else "cct_k"), str(problem))


def _gels(light: dict[str, Any], path: KeyPath, folder: Path) -> Iterator[Problem]:
    from materials.gels import read_gel_csv

    gels = light.get("gels")
    for index, gel in enumerate(gels if isinstance(gels, list) else []):
        key = (*path, "gels", index)
        if not isinstance(gel, str) or not gel:
            continue
        if gel.lower().endswith(".csv"):
            yield from _file(key, folder / gel, read_gel_csv)
        else:
            yield from check_name("gel", gel, key)


def _file(
    key: KeyPath, path: Path, read: Callable[[Path], object], beside: str = "the scene file"
) -> Iterator[Problem]:
    absent_file = why_unreadable(path)
    if absent_file is not None:
        yield Problem(key, f"the file {absent_file}", fix=f"Names are read relative to {beside}; correct it.")
        return
    try:
        read(path)
    except KeyfallError as problem:
        yield Problem(key, str(problem))
    except (OverflowError, ValueError):
        yield Problem(key, f"the file '{path}' holds numbers that cannot be used", fix="Save it again.")
