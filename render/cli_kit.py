"""What `keyfall kit` shows: heads, modifiers, and what the readings of a kit file say of them."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from rich.text import Text

from scenes.kit import Calibration, Head, Kit, KitError, calibrate, check_kit, load_kit
from scenes.kit.settings import format_step
from scenes.meters import format_shutter, format_stops
from scenes.modifiers import Modifier

from .streams import Console, Table
from .terminal import findings_to_console

_UNSURE = "~"
_NOTE = (
    "Stops: by how much the readings say a head or modifier gives more (+) or less (-) than its description. "
    f"{_UNSURE}: the readings cannot tell it from the head; measure the head with and without it."
)


def show_kit(path: Path | None, as_json: bool, console: Console, talk: Console) -> None:
    """Print a kit, the stock kit if `path` is None: as JSON on standard output, or as tables on `console`.

    Warnings about the file go to `talk`.

    Raises
    ------
    KitError
        When the file has any error.
    """
    kit = load_kit() if path is None else _checked(path, talk)
    if as_json:
        sys.stdout.write(json.dumps(kit_tables(kit), indent=2) + "\n")
    else:
        kit_to_console(console, kit)


def _checked(path: Path, talk: Console) -> Kit:
    kit, findings = check_kit(path)
    if kit is None:
        raise KitError(findings)
    findings_to_console(talk, findings)
    return kit


def kit_tables(kit: Kit) -> dict[str, Any]:
    """A kit and its calibration as plain tables; energies Ws, output lm s (flash) or lm, lengths m, times s."""
    fit = calibrate(kit)
    return {
        "format": 1,
        "file": None if kit.path is None else str(kit.path),
        "title": kit.title,
        "heads": {name: _head(name, head, name in kit.own_heads, fit) for name, head in kit.heads.items()},
        "modifiers": {
            name: {
                "own": name in kit.own_modifiers,
                **modifier.model_dump(mode="json", exclude_none=True),
                "stops": fit.modifiers[name].stops if name in fit.modifiers else 0.0,
                "readings": fit.modifiers[name].readings if name in fit.modifiers else 0,
                "told_apart": fit.modifiers[name].told_apart if name in fit.modifiers else None,
            }
            for name, modifier in kit.modifiers.items()
        },
        "readings": [
            {
                "head": r.head,
                "modifiers": list(r.modifiers),
                "predicted_lux": r.predicted_lux,
                "measured_lux": r.measured_lux,
                "stops": r.stops,
                "residual_stops": r.residual_stops,
            }
            for r in fit.readings
        ],
        "rms_residual_stops": fit.rms_stops if fit.readings else None,
        "warnings": [f"{warning.message}. {warning.fix}" for warning in fit.warnings],
    }


def _head(name: str, head: Head, own: bool, fit: Calibration) -> dict[str, Any]:
    fitted = fit.heads.get(name)
    gain = 2.0 ** (fitted.stops if fitted is not None else 0.0)
    return {
        "own": own,
        "note": head.note,
        "flash": head.is_flash(),
        "source": head.source,
        "cct_k": head.cct_k,
        "cct_drift_k": head.cct_drift_k,
        "energy_ws": head.energy_ws,
        "efficacy_lm_s_per_j": head.efficacy_lm_s_per_j * gain if head.is_flash() else None,
        "output": head.full_output() * gain,
        "lowest_power": head.lowest(),
        "step_stops": head.step_stops,
        "recycle_s": head.recycle_s,
        "sync_s": head.sync_s,
        "bulb_diameter_m": head.bulb_diameter_m,
        "stops": fitted.stops if fitted is not None else 0.0,
        "readings": fitted.readings if fitted is not None else 0,
        "told_apart": fitted.told_apart if fitted is not None else None,
    }


def kit_to_console(console: Console, kit: Kit) -> None:
    """A kit as tables: what is the user's own first, then the stock."""
    fit = calibrate(kit)
    if kit.path is not None:
        _section(console, kit, fit, own=True)
        if fit.readings:
            console.print(_reading_table(fit))
            console.print(f"Residuals: {fit.rms_stops:.2f} stops, root mean square.", highlight=False)
            console.print(Text(_NOTE, style="dim"), soft_wrap=True)
            console.print()
    _section(console, kit, fit, own=False)


def _section(console: Console, kit: Kit, fit: Calibration, own: bool) -> None:
    title = (kit.title or "Own") if own else "Stock"
    heads = {n: h for n, h in kit.heads.items() if (n in kit.own_heads) == own}
    if heads:
        console.print(_head_table(f"{title}: heads", heads, fit))
        console.print()
    names = [name for name in kit.modifiers if (name in kit.own_modifiers) == own]
    if names:
        console.print(_modifier_table(f"{title}: modifiers", kit, names, fit))
        console.print()


def _widest(names: Iterable[str]) -> int:
    return max(map(len, names))


def _table(title: str, *columns: str, widest: int = 0) -> Table:
    table = Table(title=title, title_justify="left", box=None, pad_edge=False)
    for column in columns:
        table.add_column(column, no_wrap=column == "name", min_width=widest if column == "name" else None)
    return table


def _head_table(title: str, heads: dict[str, Head], fit: Calibration) -> Table:
    rows = {name: _head_cells(name, head, fit) for name, head in heads.items()}
    # a column nobody fills only costs width
    columns = [key for key in next(iter(rows.values())) if any(row[key] for row in rows.values())]
    table = _table(title, "name", *columns, widest=_widest(heads))
    for name, row in rows.items():
        table.add_row(Text(name, style="bold"), *(Text(row[key]) for key in columns))
    return table


def _head_cells(name: str, head: Head, fit: Calibration) -> dict[str, str]:
    known, lowest = _head(name, head, True, fit), head.lowest()
    return {
        "output": f"{head.energy_ws:g} Ws" if head.is_flash() else f"{known['output']:,.0f} lm",
        "stops": _stops(fit.heads, name),
        "lm s/J": f"{known['efficacy_lm_s_per_j']:.3g}" if head.is_flash() and name in fit.heads else "",
        "lowest": "" if lowest is None else f"1/{round(1 / lowest)}",
        "step": "" if head.step_stops is None else format_step(head.step_stops),
        "colour": head.source if head.cct_k is None else f"{head.cct_k:g} K",
        "recycles": "" if head.recycle_s is None else f"{head.recycle_s:g} s",
        "syncs": "" if head.sync_s is None else format_shutter(head.sync_s),
    }


def _modifier_table(title: str, kit: Kit, names: list[str], fit: Calibration) -> Table:
    fitted = any(name in fit.modifiers for name in names)
    table = _table(title, "name", "kind", *(["stops"] if fitted else []), "sizes", widest=_widest(names))
    for name in names:
        modifier = kit.modifiers[name]
        cells = (modifier.kind, *([_stops(fit.modifiers, name)] if fitted else []), sizes_of(modifier))
        table.add_row(Text(name, style="bold"), *map(Text, cells))
    return table


def sizes_of(modifier: Modifier) -> str:
    """What a modifier's description says besides its kind, on one line."""
    told = modifier.model_dump(exclude_unset=True, exclude={"kind"})
    return ", ".join(f"{key} {_plain(value)}" for key, value in told.items())


def _reading_table(fit: Calibration) -> Table:
    table = _table("Readings", "#", "with", "off its description", "left after the fit")
    for number, reading in enumerate(fit.readings, start=1):
        chain = " + ".join((reading.head, *reading.modifiers))
        off, left = f"{format_stops(reading.stops)} stops", f"{round(reading.residual_stops, 2) + 0.0:+.2f} stops"
        table.add_row(str(number), Text(chain), off, left)
    return table


def _stops(fitted: dict[str, Any], name: str) -> str:
    if name not in fitted:
        return ""
    return f"{format_stops(fitted[name].stops)}{'' if fitted[name].told_apart else _UNSURE}"


def _plain(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list | tuple):
        return " x ".join(_plain(v) for v in value)
    return f"{value:g}" if isinstance(value, float) else str(value)
