"""How meter readings are said: f-numbers, shutter times, stops over or under, lighting ratios.

Two ratios share the name in practice, so both are computed and always named:

- *key to fill*, K:F, compares the two lights;
- *lit to shadow*, (K+F):F, compares the two sides of the face where the fill lights both.

One stop of key over fill is 2:1 key to fill and 3:1 lit to shadow.
"""

from __future__ import annotations

import math

from .numbers import significant

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


def aperture_words(f_number: float) -> str:
    """A reading as hand meters show it, the full stop and tenths of a stop over it: "f/8 + 0.3".

    The one way a reading is said. Outside f/1 to f/128, where no lens and no meter's scale reaches, it is said which
    side it lies on.

    Examples
    --------
    >>> aperture_words(9.0)
    'f/8 + 0.3'
    """
    if not f_number > 0:
        return "no light"
    whole, tenths = divmod(round(10 * f_number_stops(f_number)), 10)
    if whole < 0:
        return "under f/1"
    if whole + 1 >= len(NOMINAL_WHOLE_STOPS) or (whole + 1 == len(NOMINAL_WHOLE_STOPS) - 1 and tenths):
        return f"over f/{NOMINAL_WHOLE_STOPS[-1]}"
    return f"f/{NOMINAL_WHOLE_STOPS[whole + 1]}" + (f" + 0.{tenths}" if tenths else "")


def difference_words(stops: float | None, level: str = "as set") -> str:
    """Stops from the set aperture in words, so that nobody takes them for the tenths of a reading: "0.2 under".

    Examples
    --------
    >>> difference_words(-0.24), difference_words(1.0), difference_words(0.04), difference_words(None)
    ('0.2 under', '1.0 over', 'as set', 'no light')
    """
    if stops is None:
        return "no light"
    tenths = round(10 * stops)
    if tenths == 0:
        return level
    return f"{abs(tenths) / 10:.1f} {'over' if tenths > 0 else 'under'}"


def reading_words(f_number: float, stops: float | None) -> str:
    """A reading and how far it lies from the set aperture, which it names: "f/5.6 + 0.6 (0.4 under f/8)".

    Examples
    --------
    >>> reading_words(8.0 * 2**-0.2, -0.4)
    'f/5.6 + 0.6 (0.4 under f/8)'
    """
    said = aperture_words(f_number)
    if stops is None or said == "no light":
        return said
    return f"{said} ({from_aperture_words(stops, f_number / 2.0 ** (stops / 2))})"


def from_aperture_words(stops: float | None, f_number: float) -> str:
    """Stops from the set aperture, which is named: "0.2 under f/8", "as set"."""
    said = difference_words(stops)
    return f"{said} f/{aperture_mark(f_number)}" if said.endswith((" over", " under")) else said


def aperture_mark(f_number: float) -> str:
    """A set aperture as it was set, without the "f/": the engraved mark where it is one ("5.6" for 5.657), else up to
    three digits."""
    try:
        mark = nominal_f_number(f_number)
    except ValueError:
        return significant(f_number, 3)
    return mark if abs(exact_f_number(float(mark)) / f_number - 1) < 1e-6 else significant(f_number, 3)


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
    return "full" if tenths == 0 else f"{power_mark(fraction)} ({format_stops(-tenths / 10)})"


def power_mark(fraction: float) -> str:
    """The same without the stops: "full", "1/8", "1/4 + 0.3"."""
    tenths = round(-10 * math.log2(fraction))
    whole = -(-tenths // 10)
    over = 10 * whole - tenths
    head = f"1/{2**whole}" if whole > 0 else "full"
    return head + (f" + 0.{over}" if over else "")


def stops_under_full(fraction: float) -> str:
    """How far a power setting lies under full: "1.7 stops under full"; empty at full."""
    tenths = round(-10 * math.log2(fraction))
    return "" if tenths == 0 else f"{tenths / 10:.1f} stops under full"


def stops_over(f_number: float, set_f_number: float) -> float:
    """Stops by which a reading lies over (+) or under (-) the set aperture."""
    return f_number_stops(f_number) - f_number_stops(set_f_number)


def key_to_fill(key: float, fill: float) -> float:
    """Key to fill, K:F, from the exposures of the two lights alone (lx s or lx)."""
    return key / fill if fill > 0 else math.inf


def lit_to_shadow(key: float, fill: float) -> float:
    """Lit to shadow, (K+F):F, from the exposures of the two lights alone: the fill lights both sides."""
    return (key + fill) / fill if fill > 0 else math.inf


def format_ratio(ratio: float) -> str:
    """A ratio as "3:1" or "2.8:1"; "no fill" when there is nothing to compare with."""
    if math.isinf(ratio):
        return "no fill"
    return f"{ratio:.1f}".removesuffix(".0") + ":1"
