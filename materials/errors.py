"""Errors a user may see. ``str(error)`` is the whole sentence: what is wrong, what is allowed, the fix.

KeyfallError
├── DataError      a data file (spectrum, gel, source) is missing or broken
└── UnknownName    a stock name that does not exist
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable


class KeyfallError(Exception):
    """Root of every error Keyfall raises on purpose."""


class DataError(KeyfallError):
    """A spectrum or a data file that cannot be used."""


class UnknownName(KeyfallError):
    """A stock name that does not exist."""


def unknown_name(kind: str, given: str, allowed: Iterable[str]) -> UnknownName:
    """Build the error for a name that is not in stock.

    Parameters
    ----------
    kind : what the name stands for, e.g. "gel".
    given : the name as written.
    allowed : every name that exists.
    """
    names = list(allowed)
    plain = {name.lower(): name for name in names}
    wanted = given.strip().lower().replace("_", "-").replace(" ", "-")
    close = difflib.get_close_matches(wanted, plain, n=1, cutoff=0.6)
    hint = f" Did you mean '{plain[close[0]]}'?" if close else ""
    return UnknownName(f"There is no {kind} called '{given}'.{hint} Allowed: {', '.join(names)}.")
