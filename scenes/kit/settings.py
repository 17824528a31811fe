"""Power settings of a head: how low it goes, and in which steps."""

from __future__ import annotations

import math
from collections.abc import Iterator
from fractions import Fraction

from ..findings import Problem
from ..meters import format_power
from .model import Head

NOMINAL_STOPS = 0.04
"""How far a setting may lie from a step and still be meant as that step: -2.3 for two stops and a third."""


def nearest_setting(head: Head, power: float) -> float:
    """The setting (a fraction of full) nearest in stops to `power` that the head can take."""
    wanted, lowest = min(math.log2(power), 0.0), head.lowest()
    settings = [wanted]
    if head.step_stops is not None:
        above = math.floor(-wanted / head.step_stops) * head.step_stops
        settings = [-above, -above - head.step_stops]
    if lowest is not None:  # it need not lie on a step
        bottom = math.log2(lowest)
        settings = [bottom, *(stops for stops in settings if stops > bottom)]
    return float(2.0 ** min(settings, key=lambda stops: abs(stops - wanted)))


def power_problems(name: str, head: Head, power: float) -> Iterator[Problem]:
    """An error for a setting below the lowest of the head called `name`, a warning for one between its steps."""
    lowest, stops = head.lowest(), math.log2(power)
    nearest = nearest_setting(head, power)
    off = abs(math.log2(nearest) - stops)
    if lowest is not None and stops < math.log2(lowest) - NOMINAL_STOPS:
        steps = f" in steps of {format_step(head.step_stops)} stop" if head.step_stops is not None else ""
        yield Problem(
            (),
            f"{format_power(power)} is below the lowest setting of the head '{name}', {format_power(lowest)}",
            f"Allowed: {format_power(lowest)} to full{steps}.",
            "Set the lowest and move the light away, put a gel or net before it, or take a weaker head.",
        )
    elif head.step_stops is not None and off > min(NOMINAL_STOPS, 0.3 * head.step_stops):
        yield Problem(
            (),
            f"{stops:+.2f} stops lies between the settings of the head '{name}', "
            f"which go in steps of {format_step(head.step_stops)} stop",
            f"Nearest: {math.log2(nearest):+.2f} stops, {format_power(nearest)}.",
            f"Set power_stops = {math.log2(nearest):.2f}.",
            "warning",
        )


def format_step(stops: float) -> str:
    """A step as photographers say it: "1/10", "1/3", "1"; decimals for any other."""
    fraction = Fraction(stops).limit_denominator(12)
    return str(fraction) if abs(float(fraction) - stops) < 1e-3 else f"{stops:g}"
