"""Names that are near to what somebody wrote: slips of the pen, not mere likeness."""

from __future__ import annotations

from collections.abc import Iterable

LETTERS_PER_SLIP = 4
"""One slip is forgiven for every so many letters, at least one."""

_LONGEST = 60


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
