"""How meter readings are said: f-numbers, shutter times, stops over or under, lighting ratios.

Two ratios share the name in practice, so both are computed and always named:

- *key to fill*, K:F, compares the two lights;
- *lit to shadow*, (K+F):F, compares the two sides of the face where the fill lights both.

One stop of key over fill is 2:1 key to fill and 3:1 lit to shadow.
"""

from __future__ import annotations

import math

NOMINAL_WHOLE_STOPS = (
    "0.7", "1", "1.4", "2", "2.8", "4", "5.6", "8", "11", "16", "22", "32", "45", "64", "90", "128",
)  # fmt: skip
"""Engraved marks one stop apart from f/0.7; the exact values are 2^(k/2), k from -1."""

NOMINAL_THIRDS = (
    "0.7", "0.8", "0.9", "1", "1.1", "1.2", "1.4", "1.6", "1.8", "2", "2.2", "2.5", "2.8", "3.2", "3.5",
    "4", "4.5", "5", "5.6", "6.3", "7.1", "8", "9", "10", "11", "13", "14", "16", "18", "20", "22", "25",
    "29", "32", "36", "40", "45", "51", "57", "64", "72", "80", "90", "102", "114", "128",
)  # fmt: skip
"""Engraved marks a third of a stop apart from f/0.7; the exact values are 2^(k/6), k from -3."""

_MARKS = {mark: 2.0 ** ((k - 3) / 6) for k, mark in enumerate(NOMINAL_THIRDS)}


def f_number_stops(f_number: float) -> float:
    """Stops above f/1: 2 log2(N)."""
    return 2.0 * math.log2(f_number)


def exact_f_number(f_number: float) -> float:
    """The exact value behind an engraved mark (5.6 means 2^2.5 = 5.657); any other number is left as it is."""
    return _MARKS.get(f"{f_number:g}", f_number)


def nominal_f_number(f_number: float) -> str:
    """Nearest engraved third-stop mark, e.g. "7.1".

    Raises
    ------
    ValueError
        Outside f/0.7 to f/128 by more than a sixth of a stop.
    """
    k = round(3 * f_number_stops(f_number)) + 3
    if not 0 <= k < len(NOMINAL_THIRDS):
        raise ValueError(f"f/{f_number:g} is outside the scale of f/0.7 to f/128")
    return NOMINAL_THIRDS[k]


def format_f_number(f_number: float) -> str:
    """Reading to the nearest third of a stop: "f/8", "f/8 + 1/3", "f/8 + 2/3"; plain decimals off the scale.

    Examples
    --------
    >>> format_f_number(9.0)
    'f/8 + 1/3'
    """
    if not f_number > 0:
        return "no light"
    thirds = round(3 * f_number_stops(f_number))
    return _mark_and_rest(f_number, thirds // 3, ("", " + 1/3", " + 2/3")[thirds % 3])


def format_f_number_tenths(f_number: float) -> str:
    """Reading to the nearest tenth of a stop, as hand meters show it: "f/8 + 0.3".

    Examples
    --------
    >>> format_f_number_tenths(9.0)
    'f/8 + 0.3'
    """
    if not f_number > 0:
        return "no light"
    tenths = round(10 * f_number_stops(f_number))
    rest = f" + 0.{tenths % 10}" if tenths % 10 else ""
    return _mark_and_rest(f_number, tenths // 10, rest)


def aperture_words(f_number: float) -> str:
    """Reading to the nearest tenth of a stop; what lies under a meter's scale as "under f/0.7"."""
    if 0 < f_number < _MARKS[NOMINAL_THIRDS[0]] * 2 ** (-1 / 40):
        return f"under f/{NOMINAL_WHOLE_STOPS[0]}"
    return format_f_number_tenths(f_number)


def _mark_and_rest(f_number: float, whole_stop: int, rest: str) -> str:
    index = whole_stop + 1
    if not 0 <= index < len(NOMINAL_WHOLE_STOPS):
        return f"f/{f_number:.2g}" if f_number < 1 else f"f/{f_number:.0f}"
    return f"f/{NOMINAL_WHOLE_STOPS[index]}{rest}"


def format_shutter(shutter_s: float) -> str:
    """Shutter time as cameras write it: "1/125 s", "0.5 s", "2 s"."""
    if shutter_s < 0.3:
        return f"1/{1 / shutter_s:.0f} s"
    return f"{shutter_s:g} s"


def format_stops(value: float) -> str:
    """Stops with a sign and one decimal: "+1.3", "-0.7", "0.0"."""
    text = f"{value:+.1f}"
    return "0.0" if text in ("+0.0", "-0.0") else text


def format_amount(value: float, digits: int) -> str:
    """A number to so many digits, never with an exponent: "2100", "0.021".

    Examples
    --------
    >>> format_amount(2114.0, 2)
    '2100'
    """
    if value == 0 or not math.isfinite(value):
        return f"{value:g}"
    places = digits - 1 - math.floor(math.log10(abs(value)))
    text = f"{round(value, places):.{max(places, 0)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def format_power(fraction: float) -> str:
    """Power setting as heads show it and in stops: "full", "1/8 (-3.0)", "1/4 + 0.3 (-1.7)"; a whole fraction, and
    tenths of a stop over it.

    Examples
    --------
    >>> format_power(2**-1.7)
    '1/4 + 0.3 (-1.7)'
    """
    tenths = round(-10 * math.log2(fraction))
    if tenths == 0:
        return "full"
    whole = -(-tenths // 10)
    over = 10 * whole - tenths
    head = f"1/{2**whole}" if whole > 0 else "full"
    rest = f" + 0.{over}" if over else ""
    return f"{head}{rest} ({format_stops(-tenths / 10)})"


def stops_over(f_number: float, set_f_number: float) -> float:
    """Stops by which a reading lies over (+) or under (-) the set aperture."""
    return f_number_stops(f_number) - f_number_stops(set_f_number)


def key_to_fill(key: float, fill: float) -> float:
    """Key to fill, K:F, from the exposures of the two lights alone (lx s or lx)."""
    return key / fill if fill > 0 else math.inf


def lit_to_shadow(key: float, fill: float) -> float:
    """Lit to shadow, (K+F):F, from the exposures of the two lights alone: the fill lights both sides."""
    return (key + fill) / fill if fill > 0 else math.inf


def key_stops_for_lit_to_shadow(ratio: float) -> float:
    """Stops of key over fill that give a lit-to-shadow ratio: log2(ratio - 1).

    Raises
    ------
    ValueError
        Unless the ratio is above 1.
    """
    if not ratio > 1:
        raise ValueError(f"a lit-to-shadow ratio lies above 1:1, not {ratio:g}:1")
    return math.log2(ratio - 1.0)


def format_ratio(ratio: float) -> str:
    """A ratio as "3:1" or "2.8:1"; "no fill" when there is nothing to compare with."""
    if math.isinf(ratio):
        return "no fill"
    return f"{ratio:.1f}".removesuffix(".0") + ":1"
