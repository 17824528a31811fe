"""The usual cautions of haze, smoke and fog, raised by rules. They certify nothing.

Guidance values, mg of droplets in a cubic metre of air: glycols 10 as a mean over a working day and 40 at the peak
(commonly quoted from ANSI E1.5; the peak also in Moline, Golden and ENVIRON 2000 for Actors' Equity and the League);
mineral oil 5 and 25 (the same study; 5 is also the usual occupational value for oil mist). The standards themselves
were not opened. Health effects near machines: Varughese et al. 2005, Am. J. Ind. Med. 47, 411. Dry ice gives off
carbon dioxide: common practice of stages.
"""

from __future__ import annotations

from scenes.meters import format_amount
from scenes.stage import Stage

DAY_MG_M3 = {"glycol": 10.0, "oil": 5.0}
PEAK_MG_M3 = {"glycol": 40.0, "oil": 25.0}
SIZE_FACTOR = 5
"""Span of the masses behind one visibility over droplets from 0.5 to 3 micrometres."""

_FACTOR_TEXT = f"coarser droplets can weigh up to {SIZE_FACTOR} times as much for the same look"


def haze_cautions(stage: Stage) -> list[str]:
    """Cautions for the haze of a stage; none on a clear set."""
    if stage.haze is None:
        return []
    medium = stage.haze.medium
    if medium.fluid == "dry-ice":
        return [_DRY_ICE, _AIR, _FLOOR]
    even = stage.haze.density is None
    amount = _amount(medium.fluid, medium.concentration_mg_m3, medium.droplet_um, even=even)
    return [amount, _AIR, _kind(medium.fluid), _FLOOR]


def _amount(fluid: str, mass: float, droplet_um: float, *, even: bool) -> str:
    day, peak = DAY_MG_M3[fluid], PEAK_MG_M3[fluid]
    told = (
        f"Haze this thick takes about {format_amount(mass, 2)} mg/m3 of {fluid} droplets of {droplet_um:g} um"
        f"{'' if even else ' where it is densest'} "
        f"({_FACTOR_TEXT}). "
        f"Published guidance for workers: {day:g} mg/m3 over a day, {peak:g} at the peak."
    )
    if mass >= peak:
        return f"{told} This lies over the peak: thin it, shorten it, keep people out, and measure the air."
    if mass >= day:
        return f"{told} This lies over the day's value: thin it or keep it short, and have the air measured."
    if mass * SIZE_FACTOR >= day:
        return f"{told} With coarser droplets it could lie over the day's value: have the air measured."
    return f"{told} Being under a value does not make it safe for everyone; measure where people stay in it."


_AIR = (
    "Haze: tell everyone first and ask about asthma, pregnancy, voice and children; keep machines away from people, "
    "ventilate between takes, and stop at coughing or tightness. Smoke detectors and extinguishing systems may only be "
    "switched off by the person responsible for the building, with a fire watch."
)
_FLOOR = "Floors under machines and in low fog become slippery and hide steps and cables: mat, mark and wipe them."
_DRY_ICE = (
    "Dry ice gives off carbon dioxide, which pools in low places and pushes the air out: never in pits or small closed "
    "rooms, ventilate and watch the air low down, keep faces out of the fog; handle with gloves, never seal it in."
)


def _kind(fluid: str) -> str:
    if fluid == "oil":
        return (
            "Oil haze hangs for hours and films lenses and floors: use only the maker's own oil and machine, keep it "
            "thin, and follow its safety sheet."
        )
    return "Glycol and glycerine haze: use only the maker's own fluid in its machine and follow its safety sheet."
