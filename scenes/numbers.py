"""How numbers are written for people: plain decimals, never powers of ten."""

from __future__ import annotations

import math


def significant(value: float, digits: int) -> str:
    """A number to so many significant digits, without an exponent and without trailing noughts after the point.

    Examples
    --------
    >>> significant(2130.0, 2), significant(0.0456, 2), significant(-0.0, 3), significant(12.0, 3)
    ('2100', '0.046', '0', '12')
    """
    if value == 0 or not math.isfinite(value):
        return "0" if value == 0 else f"{value}"
    places = digits - 1 - math.floor(math.log10(abs(value)))
    rounded = round(value, places)
    text = f"{rounded:.{max(places, 0)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
