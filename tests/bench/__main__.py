"""Speed and memory of Keyfall on this machine, printed as JSON: ``python -m tests.bench``.

Cold runs are whole processes with an empty cache; warm ones repeat with that cache. Peer ratios divide our CPU time to
equal error by that of Mitsuba's stock path integrator, one render a light, in the same run (see `peer`).
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import subprocess
import sys

from .haze import compare_haze
from .modifiers import compare_modifiers
from .peer import compare_with_peer
from .runs import development, previews
from .sheets import sheets


def main() -> None:
    """Run the parts asked for and print one JSON object."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("parts", nargs="*", default=["previews", "development", "peer", "modifiers", "haze", "sheets"])
    parser.add_argument("--repeats", type=int, default=5)
    chosen = parser.parse_args()
    result: dict[str, object] = {"machine": _machine()}
    if "previews" in chosen.parts:
        result["previews"] = previews(chosen.repeats)
    if "development" in chosen.parts:
        result["development"] = development(chosen.repeats)
    if "peer" in chosen.parts:
        result["peer"] = compare_with_peer()
    if "modifiers" in chosen.parts:
        result["modifiers"] = compare_modifiers()
    if "haze" in chosen.parts:
        result["haze"] = compare_haze()
    if "sheets" in chosen.parts:
        result["sheets"] = sheets(chosen.repeats)
    sys.stdout.write(json.dumps(result, indent=2) + "\n")


def _machine() -> dict[str, object]:
    try:
        card = subprocess.run(
            ["nvidia-smi", "--query-gpu=name", "--format=csv,noheader"], capture_output=True, text=True, check=False
        ).stdout.strip()
    except OSError:
        card = ""
    return {"cores": os.cpu_count(), "processor": platform.machine(), "system": platform.system(), "card": card or None}


if __name__ == "__main__":
    main()
