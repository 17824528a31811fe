"""What a light of a scene sends out: its source and its gels; and whether the traced bands carry their colours."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from .findings import Problem

if TYPE_CHECKING:
    from materials.gels import Gel
    from materials.sources import Source

    from .far import Far
    from .kit import Equipment
    from .model import Light


def source_of(light: Light, kit: Equipment | None, far: Far | None, folder: Path) -> Source:
    """The source of a light: that of its head in the kit, of the sky of its hour, or its own.

    Raises
    ------
    KeyfallError
        For a name that is not in stock, or a file that cannot be used.
    """
    from materials.sources import make_source

    if kit is not None and kit.source is not None:
        return kit.source
    if far is not None and far.daylight is not None and light.natural():
        return far.daylight.source
    if light.measured():
        return make_source("csv", csv=folder / light.source)
    return make_source(*light.emission())


def gel_of(light: Light, folder: Path) -> Gel | None:
    """The gels of a light as one, None without.

    Raises
    ------
    KeyfallError
        For a name that is not in stock, or a file that cannot be used.
    """
    from materials.gels import make_gel, read_gel_csv, stack

    gels = [read_gel_csv(folder / g) if g.lower().endswith(".csv") else make_gel(g) for g in light.gels]
    return stack(gels) if gels else None


Emitted = dict[str, tuple["Source", "Gel | None"]]
"""Source and gels of lights by their names."""


def emitted_by(
    lights: dict[str, Light], equipment: dict[str, Equipment], far: dict[str, Far], folder: Path
) -> Emitted:
    """What every light sends out whose source and gels can be used; the others are told of elsewhere."""
    from materials.errors import KeyfallError

    found: Emitted = {}
    for name, light in lights.items():
        kit = equipment.get(name)
        if kit is None and light.from_kit():
            continue
        try:
            found[name] = source_of(light, kit, far.get(name), folder), gel_of(light, folder)
        except KeyfallError:
            continue
    return found


def narrow_problems(lights: Emitted) -> Iterator[Problem]:
    """A note on each light whose narrow lines ask for more bands, and a warning on each that no bands carry well."""
    from materials.bands import default_bands
    from materials.narrow import LIMIT_DE00, bands_for, colour_error

    usual, bands = default_bands(), bands_for([source.spd for source, _ in lights.values()])
    for name, (source, gel) in lights.items():
        spd = source.spd if gel is None else source.spd * gel.transmittance
        off = colour_error(bands, spd, source.spd)
        if off > LIMIT_DE00:
            through = "" if gel is None else " through its gels"
            yield Problem(
                ("light", name),
                f"colours under this light{through} may be up to {off:.1f} dE00 off: its lines are too narrow for the "
                f"{len(bands.nodes_nm)} bands that are traced",
                fix="Trust its brightness, not its colours; or take a source and gels of broader light.",
                severity="warning",
            )
        elif bands is not usual and colour_error(usual, source.spd, source.spd) > LIMIT_DE00:
            before = colour_error(usual, source.spd, source.spd)
            yield Problem(
                ("light", name),
                f"this light has narrow lines, so the set is traced in {len(bands.nodes_nm)} bands instead of "
                f"{len(usual.nodes_nm)}: its colours hold within {max(off, 0.1):.1f} dE00, where the usual bands would "
                f"be up to {before:.1f} off",
                severity="note",
            )
