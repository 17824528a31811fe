"""Reading the published tables in `data`."""

from __future__ import annotations

import csv
from pathlib import Path

_DATA = Path(__file__).parent / "data"


def table(name: str) -> list[dict[str, str]]:
    """Rows of a CSV file by column title; lines that start with # say where it comes from."""
    lines = (_DATA / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))
