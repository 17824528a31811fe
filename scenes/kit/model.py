"""The kit-file format as typed tables: heads, modifiers, and readings that calibrate both."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field

from ..findings import Problem
from ..meters import format_power
from ..model.base import Kelvin, Length, Number, Positive, Power, Shutter, Step, Table, named
from ..model.light import MeterReading
from ..modifiers import Modifier

COOLEST_K, HOTTEST_K = 1000.0, 25000.0
DEEPEST_STOPS = 12.0
_FLASH_KEYS = ("efficacy_lm_s_per_j", "recycle_s", "sync_s")
Name = Annotated[str, Field(pattern=r"^[A-Za-z0-9_-]+$", max_length=40)]
Strong = Annotated[Positive, Field(le=1e9)]


class Head(Table):
    """A head: a flash of so many watt-seconds, or a continuous lamp of so many lumens. Its lamp is bare."""

    note: str = Field("", description="What it is, for lists.", max_length=200)
    source: Annotated[str, named("source")] = Field(
        "flash",
        description="Spectrum: a stock source, or a CSV file of wavelengths and powers relative to the kit file.",
    )
    energy_ws: Strong | None = Field(None, description="Flash: stored energy at full power, watt-seconds (joules).")
    efficacy_lm_s_per_j: Annotated[Number, Field(gt=0, le=683)] = Field(
        40.0, description="Flash: light of the bare lamp per joule, lm s/J; about 15 to 50. Readings correct it."
    )
    lumens: Strong | None = Field(
        None, description="Continuous light: luminous flux of the bare lamp at full power, lumens. Readings correct it."
    )
    lowest_power: Power | None = Field(
        None, description='Lowest power setting as a fraction of full: "1/256". Any is taken if left out.'
    )
    lowest_stops: Annotated[Number, Field(ge=-DEEPEST_STOPS, le=0)] | None = Field(
        None, description="Lowest power setting in stops under full, instead of lowest_power: 0 to -12."
    )
    step_stops: Step | None = Field(
        None, description='Step between power settings, stops: "1/10", "1/3" or 1. Without steps if left out.'
    )
    cct_k: Kelvin | None = Field(None, description="Correlated colour temperature at full power, kelvin.")
    cct_drift_k: Annotated[Number, Field(ge=-1000, le=1000)] = Field(
        0.0, description="Change of the colour temperature for each stop under full, kelvin; negative is warmer."
    )
    bulb_diameter_m: Annotated[Length, Field(le=1)] = Field(0.06, description="Diameter of the bare lamp, metres.")
    recycle_s: Annotated[Number, Field(gt=0, le=120)] | None = Field(
        None, description="Flash: time to charge again after a pop at full power, seconds."
    )
    sync_s: Shutter | None = Field(None, description='Flash: shortest shutter time that catches it, seconds: "1/200".')

    def is_flash(self) -> bool:
        """Whether it is a flash."""
        return self.energy_ws is not None

    def measured(self) -> bool:
        """Whether the source is a CSV file."""
        return self.source.lower().endswith(".csv")

    def full_output(self) -> float:
        """Output of the bare lamp at full power as the file says it: lm s of a flash, lm of continuous light."""
        if self.energy_ws is not None:
            return self.energy_ws * self.efficacy_lm_s_per_j
        return self.lumens or 0.0

    def lowest(self) -> float | None:
        """Lowest power setting as a fraction of full; None where the file does not say."""
        if self.lowest_stops is not None:
            return float(2.0**self.lowest_stops)
        return self.lowest_power

    def cct_at(self, stops: float) -> float | None:
        """Colour temperature in kelvin at a setting so many stops under full (0 or negative); None for the source's."""
        return None if self.cct_k is None else self.cct_k - self.cct_drift_k * stops

    def problems(self) -> Iterator[Problem]:
        """Cross-checks between the keys of this table."""
        yield from self._output_problems()
        if self.lowest_power is not None and self.lowest_stops is not None:
            message = "lowest_power and lowest_stops are both given"
            yield Problem(("lowest_stops",), message, "Allowed: one of them.", "Remove one.")
        if self.cct_drift_k:
            yield from self._drift_problems()

    def _output_problems(self) -> Iterator[Problem]:
        given = [key for key in ("energy_ws", "lumens") if getattr(self, key) is not None]
        choice = "Allowed: energy_ws (a flash) or lumens (continuous light)."
        if len(given) != 1:
            message = "energy_ws and lumens are both given" if given else "this head has no output"
            yield Problem(tuple(given[1:]), message, choice, "Keep one." if given else "Add one of them.")
        elif self.source == "flash" and self.lumens is not None:
            fix = 'Give energy_ws instead, or name a continuous source, e.g. source = "tungsten".'
            yield Problem(("lumens",), "lumens do not give the output of a flash", choice, fix)
        elif self.source != "flash" and not self.measured() and self.is_flash():
            message = f'energy_ws does not give the output of a continuous light (source "{self.source}")'
            yield Problem(("energy_ws",), message, choice, "Give lumens instead, or remove source.")
        if self.lumens is not None and self.energy_ws is None:
            for extra in self.given(*_FLASH_KEYS):
                message = f"{extra} belongs to a flash, and this head burns continuously"
                yield Problem((extra,), message, fix=f"Remove {extra}.")

    def _drift_problems(self) -> Iterator[Problem]:
        if self.cct_k is None:
            message = "a drift needs the colour temperature it starts from"
            yield Problem(("cct_drift_k",), message, fix="Add cct_k, at full power.")
            return
        lowest = self.lowest()
        if lowest is None:
            message = "a drift needs to know how far the power goes down"
            yield Problem(("cct_drift_k",), message, fix='Add lowest_power, e.g. "1/256".')
            return
        end = self.cct_at(math.log2(lowest)) or 0.0
        if not COOLEST_K <= end <= HOTTEST_K:
            message = f"with this drift the head would have {end:.0f} K at {format_power(lowest)}"
            yield Problem(("cct_drift_k",), message, "Allowed: 1000 to 25000 K at every setting.", "Make it smaller.")


class Reading(MeterReading):
    """A reading of a flat hand meter on the axis of a head with modifiers, turned to it, no other light on."""

    head: Annotated[str, Field(min_length=1)] = Field(description="Name of the head it was taken with.")
    modifiers: list[Annotated[str, Field(min_length=1)]] = Field(
        [], description="Names of the modifiers on it, from the head outward; a bare bulb if left out."
    )


class KitFile(Table):
    """A photographer's heads and modifiers, and meter readings that calibrate them."""

    format: Literal[1] = Field(description="Version of this format: 1.")
    title: str = Field("", description="Whose or which kit it is.", max_length=200)
    head: dict[Name, Head] = Field({}, description="The heads, each a table [head.NAME].")
    modifier: dict[Name, Modifier] = Field({}, description="The modifiers, each a table [modifier.NAME] with a kind.")
    reading: list[Reading] = Field([], description="Readings, each a table [[reading]].")
