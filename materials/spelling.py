"""Names that are near to what somebody wrote: slips of the pen, not mere likeness."""

from __future__ import annotations

from collections.abc import Iterable

LETTERS_PER_SLIP = 4
"""One slip is forgiven for every so many letters, at least one."""

_LONGEST = 60
_MOST_NAMED, _LEAST_BEGINNING = 4, 4


def nearest(given: str, allowed: Iterable[str]) -> str | None:
    """The allowed name that `given` is a slip of, whatever its case and separators; None when none is near.

    A slip is a letter too many, missing, wrong, or exchanged with its neighbour; one for every four letters. A name
    that lacks only its last words ("octabox" for "octabox-90"), or has its words in another order, counts as near.
    """
    wanted = plain(given)
    if not wanted or len(wanted) > _LONGEST:
        return None
    most = max(1, len(wanted) // LETTERS_PER_SLIP)
    best: tuple[int, str] | None = None
    for name in allowed:
        other = plain(name)
        if abs(len(other) - len(wanted)) <= most:
            count = slips(wanted, other)
            if count <= most and (best is None or count < best[0]):
                best = (count, name)
        if best is None and sorted(other.split("-")) == sorted(wanted.split("-")):
            best = (0, name)
    if best is not None:
        return best[1]
    return next((name for name in allowed if plain(name).startswith(f"{wanted}-")), None)


def did_you_mean(given: str, allowed: Iterable[str]) -> str:
    """A question that names what was meant: a slip of the pen, else up to four names that hold every word of `given`
    or begin with it ("cto": full-cto, half-cto); empty where nothing is near.

    Examples
    --------
    >>> did_you_mean("octa-90", ("octabox-90", "octabox-150")), did_you_mean("cto", ("full-cto", "half-cto", "teal"))
    ('Did you mean octabox-90?', 'Did you mean full-cto or half-cto?')
    """
    names = list(allowed)
    wanted, close = plain(given), nearest(given, names)
    slip = close is not None and not plain(close).startswith(f"{wanted}-")
    found = [close] if close is not None and slip else [n for n in names if _holds(plain(n), wanted)][:_MOST_NAMED]
    if not found:
        return ""
    *first, last = found
    return f"Did you mean {', '.join(first)} or {last}?" if first else f"Did you mean {last}?"


def _holds(name: str, wanted: str) -> bool:
    """Whether every word of `wanted` begins a word of a name; short ones must be it."""
    left = name.split("-")
    for word in wanted.split("-") if wanted and len(wanted) <= _LONGEST else [""]:
        match = next((w for w in left if w == word or (len(word) >= _LEAST_BEGINNING and w.startswith(word))), None)
        if match is None:
            return False
        left.remove(match)
    return True


def plain(name: str) -> str:
    """A name in small letters with its words joined by hyphens."""
    return "-".join(name.lower().replace("_", " ").replace("-", " ").split())


def slips(first: str, second: str) -> int:
    """Fewest single-letter slips between two words: insertions, losses, changes, exchanges of neighbours.

    References
    ----------
    Damerau, Comm. ACM 7 (1964) 171; here no letter is touched twice (optimal string alignment).
    """
    before: list[int] = []
    last = list(range(len(second) + 1))
    for i, a in enumerate(first, start=1):
        row = [i]
        for j, b in enumerate(second, start=1):
            cost = min(last[j] + 1, row[j - 1] + 1, last[j - 1] + (a != b))
            if i > 1 and j > 1 and a == second[j - 2] and first[i - 2] == b:
                cost = min(cost, before[j - 2] + 1)
            row.append(cost)
        before, last = last, row
    return last[-1]
