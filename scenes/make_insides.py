"""Traces the inside of every stock modifier on every stock head and writes what comes out for `interior_store`.

``python -m scenes.make_insides`` takes some minutes. It is due whenever a module that traces insides, a stock modifier
or a lining has changed; until then the changed ones are traced by each user once.
"""

from __future__ import annotations

import os
import sys
import tempfile
import zipfile
from collections.abc import Iterator
from pathlib import Path

from .cache_folder import ENV_FOLDER, ENV_LIMIT
from .interior_store import PATTERN, STOCK
from .kit import Kit, stock_kit
from .modifiers import Bulb, ModifierMismatch

_NOTE = (
    "What leaves the insides of the stock modifiers, one record each: see scenes/interior_store.py.\n"
    "Traced by Keyfall itself from scenes/data/stock-modifiers.toml and linings.toml; made by\n"
    "python -m scenes.make_insides.\n"
)
_DATE = (1980, 1, 1, 0, 0, 0)


def chains(kit: Kit) -> Iterator[tuple[str, ...]]:
    """Every modifier that goes on a head, alone and with every one that closes it."""
    for name in kit.modifiers:
        yield (name,)
        yield from ((name, cover) for cover, m in kit.modifiers.items() if m.kind == "sock")


def bulbs(kit: Kit) -> list[float]:
    """Diameters of the lamps of the heads, metres, and of a lamp without a head."""
    return sorted({Bulb().diameter_m, *(head.bulb_diameter_m for head in kit.heads.values())})


def trace_all(kit: Kit) -> None:
    """Trace every inside of the kit; each is kept in the cache folder."""
    for diameter in bulbs(kit):
        for chain in chains(kit):
            try:
                kit.shaped(chain, Bulb(diameter), Path())
            except ModifierMismatch:
                continue


def main() -> None:
    """Write the archive."""
    STOCK.unlink(missing_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        os.environ[ENV_FOLDER] = folder
        os.environ.pop(ENV_LIMIT, None)
        trace_all(stock_kit())
        records = sorted(Path(folder).glob(PATTERN))
        with zipfile.ZipFile(STOCK, "w") as archive:
            for name, content in (("README", _NOTE.encode()), *((r.name, r.read_bytes()) for r in records)):
                member = zipfile.ZipInfo(name, _DATE)
                member.compress_type = zipfile.ZIP_DEFLATED
                archive.writestr(member, content, compresslevel=9)
    sys.stdout.write(f"{STOCK} is written: {len(records)} insides, {STOCK.stat().st_size / 1e6:.2f} MB\n")


if __name__ == "__main__":
    main()
