"""Haze in the air of the set."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field

from materials.haze import AMOUNTS, FLUIDS, droplet_range_um

from ..findings import Problem
from .base import Angle, Number, Place, Table

LOW_LYING_M = 0.35
"""Height over which dry-ice fog thins where the scene does not say, metres (common practice, no source)."""

LEAST_VISIBILITY_M, MOST_VISIBILITY_M = 1.0, 10_000.0
_LAYERED = ("thins_m",)
_PLUME = ("from_m", "toward_deg", "rise_deg", "spread_deg", "seed", "cells")


class Haze(Table):
    """Haze, smoke or fog. Give its amount once: by visibility, by extinction, or by mass."""

    fluid: Literal["glycol", "oil", "dry-ice"] = Field(
        "glycol", description="What it is made of: " + "; ".join(f"{n}, {d}" for n, d in FLUIDS.items()) + "."
    )
    visibility_m: Annotated[Number, Field(ge=LEAST_VISIBILITY_M, le=MOST_VISIBILITY_M)] | None = Field(
        None, description="How far one would see through it, metres: where a black thing keeps 2 % of its contrast."
    )
    extinction_per_m: Annotated[Number, Field(gt=0, le=4)] | None = Field(
        None, description="Extinction at 550 nm, 1/metres: the share of light lost a metre, where it is thin."
    )
    concentration_mg_m3: Annotated[Number, Field(gt=0, le=2000)] | None = Field(
        None, description="Mass of droplets in the air, milligrams per cubic metre."
    )
    droplet_um: Annotated[Number, Field(gt=0)] | None = Field(
        None, description="Median diameter of the droplets by mass, micrometres; 1 (dry ice: 8) if left out."
    )
    form: Literal["even", "layered", "plume"] | None = Field(
        None, description="Even everywhere, layered over the floor, or a plume; dry ice lies in a layer if left out."
    )
    thins_m: Annotated[Number, Field(ge=0.02, le=100)] | None = Field(
        None, description="Layered: height over which it thins to 37 %, metres. The amount is that at the floor."
    )
    from_m: Place | None = Field(None, description="Plume: place [x, y, z] of the machine's nozzle, metres.")
    toward_deg: Angle = Field(
        0.0, description="Plume: direction of its drift, degrees: 0 to the front of the set, 90 camera right."
    )
    rise_deg: Annotated[Number, Field(ge=-60, le=85)] = Field(15.0, description="Plume: rise above level, degrees.")
    spread_deg: Annotated[Number, Field(ge=5, le=90)] = Field(
        35.0, description="Plume: full angle of its cone, degrees."
    )
    seed: Annotated[int, Field(ge=0, le=2**31 - 1)] = Field(1, description="Plume: which of its endless shapes.")
    cells: Annotated[int, Field(ge=16, le=128)] = Field(
        96, description="Plume: cells of its grid along the longest side."
    )

    def shape(self) -> str:
        """How it fills the set: "even", "layered" or "plume"."""
        if self.form is not None:
            return self.form
        return "layered" if self.fluid == "dry-ice" else "even"

    def amount(self) -> dict[str, float]:
        """The one amount given, by its key."""
        return {key: value for key in AMOUNTS if (value := getattr(self, key)) is not None}

    def falloff_m(self) -> float:
        """Height over which a layer thins to 1/e, metres."""
        return self.thins_m if self.thins_m is not None else LOW_LYING_M

    def problems(self) -> Iterator[Problem]:
        """Cross-checks between the keys of this table."""
        given = list(self.amount())
        if len(given) != 1:
            message = (
                f"the amount is given {len(given)} times: {', '.join(given)}" if given else "this haze has no amount"
            )
            allowed = f"Allowed: exactly one of {', '.join(AMOUNTS)}."
            yield Problem(tuple(given[1:2]), message, allowed, "Keep one." if given else "Add one: visibility_m = 60.")
        if self.droplet_um is not None:
            low, high = droplet_range_um(self.fluid)
            if not low <= self.droplet_um <= high:
                message = f"droplets of {self.droplet_um:g} um are outside what is known of {self.fluid}"
                yield Problem(("droplet_um",), message, f"Allowed: {low:g} to {high:g}.", "Correct droplet_um.")
        shape = self.shape()
        for kind, keys in (("layered", _LAYERED), ("plume", _PLUME)):
            if shape != kind:
                for extra in self.given(*keys):
                    fix = f'Remove it, or write form = "{kind}".'
                    yield Problem(
                        (extra,), f"{extra} belongs to haze that is {_said(kind)}; this is {_said(shape)}", fix=fix
                    )
        if shape == "layered" and self.fluid != "dry-ice" and self.thins_m is None:
            yield Problem((), "nothing says over which height this layer thins", fix="Add thins_m, e.g. 0.8.")
        if shape == "plume" and self.from_m is None:
            yield Problem((), "nothing says where this plume comes from", fix="Add from_m = [x, y, z], in metres.")


def _said(kind: str) -> str:
    return "a plume" if kind == "plume" else kind
