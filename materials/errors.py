"""Errors a user may see. ``str(error)`` is the whole sentence: what is wrong, what is allowed, the fix.

KeyfallError
├── DataError      a data file (spectrum, gel, source) is missing or broken
└── UnknownName    a stock name that does not exist
"""

from __future__ import annotations

from collections.abc import Iterable

from .plain import shortened, visible
from .spelling import did_you_mean


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
    hint = did_you_mean(given, names)
    called = f"There is no {kind} called '{visible(shortened(given))}'."
    return UnknownName(" ".join(part for part in (called, hint, f"Allowed: {', '.join(names)}.") if part))
