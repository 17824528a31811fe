"""The command about files that earlier runs wrote: verify."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Annotated

import typer

from materials import KeyfallError

from .cli_app import AsJson, app, plain_errors
from .streams import Console


@app.command()
def verify(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Folder with results.", show_default=False)],
    as_json: AsJson = False,
) -> None:
    """Whether results are as they were written: nothing missing, changed since, or of another run.

    Exit code 0 when every set of files in the folder is whole, else 1.
    """
    with plain_errors():
        from .publish import sets_in

        if not folder.is_dir():
            raise KeyfallError(f"'{folder}' is no folder. Name one with results, as given to -o.")
        sets = sets_in(folder)
        if not sets:
            raise KeyfallError(f"'{folder}' holds no results: there is no report.json or other record of a run in it.")
        if as_json:
            sys.stdout.write(json.dumps(sets, indent=2) + "\n")
        else:
            for name, faults in sets.items():
                for line in [f"{name}: {fault}" for fault in faults] or [f"{name}: all its files are whole."]:
                    Console().print(line, markup=False, highlight=False, soft_wrap=True)
        if any(sets.values()):
            raise typer.Exit(1)
